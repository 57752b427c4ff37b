"""Small cases laid in every possible way on a grid of whole slots: the planner's yardstick.

Nothing here is shared with the planner: no list schedules, no dominance. A task's every start
and every choice of hands in every period is a set of (hand, slot) pairs; all ways to choose one
for each task with no pair used twice are gone through.
"""

from __future__ import annotations

import itertools
import math

from monitor.planning.hands import Hand, Task
from monitor.planning.workable import Span

SLOT = 600.0
"""Seconds; ten minutes."""
SLOTS = 15


def random_case(rng, n_tasks, hopeful=False):
    """Tasks and hands on the grid; now is slot 0."""
    n_hands = int(rng.integers(2, 5) if hopeful else rng.integers(1, 4))
    change = int(rng.integers(3, 10))
    shifts = [
        ((0, SLOTS),),
        ((0, change),),
        ((change, SLOTS),),
        ((0, max(1, change - 2)), (change, SLOTS)),
        ((2, SLOTS),),  # called out
    ]
    hands = tuple(
        Hand(
            f"hand {n}",
            frozenset(t for t in ("ladder", "platform") if rng.random() < 0.5),
            tuple(
                (a * SLOT, b * SLOT)
                for a, b in shifts[int(rng.choice(5, p=[0.4, 0.2, 0.2, 0.1, 0.1]))]
            ),
        )
        for n in range(n_hands)
    )
    tasks = []
    for n in range(n_tasks):
        blocked = []
        if rng.random() < 0.4:
            a = int(rng.integers(0, SLOTS))
            blocked.append(Span(a * SLOT, (a + int(rng.integers(1, 4))) * SLOT, "gust"))
        tasks.append(
            Task(
                key=f"task {n}",
                minutes=10.0 * int(rng.integers(1, 4 if hopeful else 5)),
                people=1 if rng.random() < 0.6 else 2,
                tickets=frozenset(t for t in ("ladder", "platform") if rng.random() < 0.2),
                blocked=tuple(blocked),
                do_by_s=int(rng.integers(6 if hopeful else 2, SLOTS + 1)) * SLOT,
                value=float(rng.integers(0, 6)),
                alone_ok=bool(rng.random() < 0.6),
                ready_s=int(rng.integers(0, 5)) * SLOT if rng.random() < 0.2 else -math.inf,
            )
        )
    return tuple(tasks), hands


def there(hand, slot):
    return any(a <= slot * SLOT and (slot + 1) * SLOT <= b for a, b in hand.there)


def parties(task, hands, slot):
    """Sets of hands that may hold a task in a slot."""
    on_site = [n for n, hand in enumerate(hands) if there(hand, slot)]
    if len(on_site) == 1 and not task.alone_ok:
        return []
    return [
        who
        for who in itertools.combinations(on_site, task.people)
        if task.tickets <= frozenset().union(*(hands[n].tickets for n in who))
    ]


def ways(task, hands):
    """Every (start, end, pairs used as bits) of a task, latest start first."""
    crowd = [tuple(there(h, slot) for h in hands) for slot in range(SLOTS)]
    able = [parties(task, hands, slot) for slot in range(SLOTS)]
    shut = [
        any(s.start_s < (slot + 1) * SLOT and s.end_s > slot * SLOT for s in task.blocked)
        or slot * SLOT < task.ready_s
        for slot in range(SLOTS)
    ]
    found = set()
    for start in range(SLOTS):
        if shut[start] or not able[start]:
            continue
        need, slot = round(task.minutes / 10), start
        while slot < SLOTS and need:
            need -= bool(not shut[slot] and able[slot])
            slot += 1
        if need:
            continue
        end = slot
        stretches = []  # slots between two changes of who is on site
        for slot in range(start, end):
            if not able[slot]:
                continue
            if stretches and stretches[-1][-1] == slot - 1 and crowd[slot] == crowd[slot - 1]:
                stretches[-1].append(slot)
            else:
                stretches.append([slot])
        for chosen in itertools.product(*(able[slots[0]] for slots in stretches)):
            bits = 0
            for who, slots in zip(chosen, stretches, strict=True):
                for hand, slot in itertools.product(who, slots):
                    bits |= 1 << (hand * SLOTS + slot)
            found.add((start, end, bits))
    return sorted(found, key=lambda way: (-way[0], way[1:]))


def latest_starts(tasks, hands):
    """The best sorted starts with every do-by kept [slots], or None."""
    options = [[w for w in ways(t, hands) if w[1] * SLOT <= t.do_by_s] for t in tasks]
    if not all(options):
        return None
    best = None

    def go(n, used, starts):
        nonlocal best
        if n == len(tasks):
            merit = tuple(sorted(starts))
            if best is None or merit > best:
                best = merit
            return
        rest = [options[m][0][0] for m in range(n + 1, len(tasks))]
        for start, _, bits in options[n]:
            if best is not None and tuple(sorted((*starts, start, *rest))) <= best:
                return
            if not bits & used:
                go(n + 1, used | bits, (*starts, start))

    go(0, 0, ())
    return best


def most_saved(tasks, hands):
    """The most (value in time, minus tasks never done, minus slots of lateness)."""
    options = []
    for task in tasks:
        mine = []
        for _, end, bits in ways(task, hands):
            late = end - task.do_by_s / SLOT
            mine.append(((0.0, 0, -late) if late > 0 else (task.value, 0, 0.0), bits))
        mine.append(((0.0, -1, 0.0), 0))
        options.append(sorted(mine, key=lambda o: o[0], reverse=True))
    best = None

    def go(n, used, total):
        nonlocal best
        if n == len(tasks):
            if best is None or total > best:
                best = total
            return
        rest = [options[m][0][0] for m in range(n + 1, len(tasks))]
        for adds, bits in options[n]:
            bound = tuple(sum(column) for column in zip(total, adds, *rest, strict=True))
            if best is not None and bound <= best:
                return
            if not bits & used:
                go(n + 1, used | bits, tuple(a + b for a, b in zip(total, adds, strict=True)))

    go(0, 0, (0.0, 0, 0.0))
    return best
