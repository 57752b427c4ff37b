"""The same evenings for a general solver: OR-tools CP-SAT, on whole minutes.

An independent statement of the task: a table of (start, end) pairs per task, read off the minutes
in which its place is open; anonymous parties as one cumulative resource, named hands each as a
resource without overlap, with a choice of who holds a task. Nobody comes or goes here; shift
changes are in the exhaustive cases.
"""

from __future__ import annotations

from ortools.sat.python import cp_model

MINUTE = 60.0


def pairs(task, until):
    """(start, end) of a task for every minute in which it may begin."""
    shut = [
        any(s.start_s < (m + 1) * MINUTE and s.end_s > m * MINUTE for s in task.blocked)
        for m in range(until)
    ]
    free = [m for m in range(until) if not shut[m]]
    work = round(task.minutes)
    return [(free[n], free[n + work - 1] + 1) for n in range(len(free) - work + 1)]


class Model:
    def __init__(self, tasks, crew, until, optional=False):
        self.model = cp_model.CpModel()
        self.tasks = tasks
        self.starts, self.ends, self.on = [], [], []
        intervals = []
        held = {}
        for n, task in enumerate(tasks):
            model = self.model
            can = [(s, e) for s, e in pairs(task, until) if e * MINUTE <= task.do_by_s]
            on = model.new_bool_var(f"on {n}")
            start, end = model.new_int_var(0, until, f"s{n}"), model.new_int_var(0, until, f"e{n}")
            size = model.new_int_var(0, until, f"d{n}")
            if can:
                model.add_allowed_assignments([start, end], can)
            else:
                model.add(on == 0)
            if not optional:
                model.add(on == 1)
            intervals.append(model.new_optional_interval_var(start, size, end, on, f"i{n}"))
            self.starts.append(start)
            self.ends.append(end)
            self.on.append(on)
            if not isinstance(crew, int):
                picks = []
                for h, hand in enumerate(crew):
                    pick = model.new_bool_var(f"h{n},{h}")
                    held.setdefault(h, []).append(
                        model.new_optional_interval_var(start, size, end, pick, f"i{n},{h}")
                    )
                    picks.append((hand, pick))
                model.add(sum(p for _, p in picks) == task.people * on)
                for ticket in task.tickets:
                    model.add(sum(p for hand, p in picks if ticket in hand.tickets) >= on)
        if isinstance(crew, int):
            self.model.add_cumulative(intervals, [1] * len(tasks), crew)
        else:
            self.model.add_cumulative(intervals, [t.people for t in tasks], len(crew))
            for spans in held.values():
                self.model.add_no_overlap(spans)

    def _solve(self, seconds, hint=None):
        solver = cp_model.CpSolver()
        solver.parameters.max_deterministic_time = seconds
        solver.parameters.num_workers = 1
        return solver, solver.solve(self.model)

    def first_start(self, seconds):
        """(first start found or None, bound, proven) in minutes."""
        first = self.model.new_int_var(0, 10**5, "first")
        for start in self.starts:
            self.model.add(first <= start)
        self.model.maximize(first)
        solver, status = self._solve(seconds)
        if status == cp_model.INFEASIBLE:
            return None, None, True
        found = solver.objective_value if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None
        return found, solver.best_objective_bound, status == cp_model.OPTIMAL

    def value_saved(self, seconds):
        """(value found, bound, proven)."""
        self.model.maximize(
            sum(int(t.value) * on for t, on in zip(self.tasks, self.on, strict=True))
        )
        solver, status = self._solve(seconds)
        return solver.objective_value, solver.best_objective_bound, status == cp_model.OPTIMAL
