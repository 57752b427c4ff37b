"""The crew's evening: every task as late as all of them allow, or the order that saves most.

What is asked
-------------
A task is worked by one party from its start to its end. It pauses while the place is blocked and
while the people on site could not make up a party for it; while it is merely blocked its party
waits and does nothing else. At a shift change, when the people on site are no longer the same,
it may go to other hands, with the tickets it needs. Nobody is asked to work as the only person
on site unless the task may be done alone.

The order of merit
------------------
1. Every task done by its do-by, if that can be.
2. Then the earliest start as late as it can be, then the next earliest, and so on.
3. If it cannot be: the most value done in time; then the fewest tasks that these people never
   get done; then the least lateness in sum; then, with the late ones kept to the ends so found,
   the starts as in 2.

Why backward list schedules are enough
--------------------------------------
A period is the time between two shift changes. A list schedule takes tasks in some order, each
with a party for every period, and lays each at its latest start such that in no period its hands
have begun anything laid before it until they are done with it there.

Take any schedule that keeps every do-by, its tasks by their end, latest first, each with the
parties it has there. Then every task starts at least as late in the list schedule. For suppose
that this holds for the first k. Whatever of those a hand of task k+1 holds in the same period of
the given schedule, it holds after task k+1: it does one thing at a time, and none of the first k
ends, or leaves the period, before task k+1 does. In the list schedule the first k start no
earlier, hence still lie after it. So the place that task k+1 has in the given schedule is free
for it, and its latest place starts no earlier. Later starts, one by one, are better or equal in
the order of merit: the best list schedule is the best schedule, and if no list schedule keeps
every do-by, none does. (A hand may leave a task at a shift change and do another afterwards: the
periods have to be looked at one by one.)

Hands with the same tickets on the same shifts are one kind and need not be told apart: a party
is so many of each kind, and of a kind those are taken that are free for the shortest time that
does. Let L be when task k+1 leaves a period in the given schedule. Of the first k, those that
began before L are under way at L there, with different hands; in the list schedule no more than
those have begun before L, so no more hands of a kind are taken before L, and enough are left.

Tasks also fall apart by time: if those due late, laid alone, start after all others are due, the
two parts never meet, and the best of each is the best of both, since whichever sorted list of
starts is better stays better when the same starts are added to both lists.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from monitor.planning.board import EPS, Board
from monitor.planning.give_up import Rescue, RescueExact
from monitor.planning.give_up_lists import RescueLists
from monitor.planning.hands import Hand, Late, Schedule, Task
from monitor.planning.latest_exact import LatestExact
from monitor.planning.latest_lists import Laid, Lists
from monitor.planning.naming import named

SMALL = 10
"""Up to so many tasks that compete for the same time are searched to the end."""
EFFORT_SMALL = 1000
"""What it may cost to find a good schedule that a search to the end begins from."""


class Effort(NamedTuple):
    """What a search may cost before it is broken off, see Board.effort."""

    exact: int = 30000
    """Of a search to the end"""
    lists: int = 25000
    """Of a search among orders"""


FULL = Effort()


def latest(
    tasks: Sequence[Task], crew: Sequence[Hand] | int, now_s: float, effort: Effort = FULL
) -> Schedule:
    """The schedule that is best in the order of merit above.

    Parameters
    ----------
    tasks : what wants doing, with finite do-bys
    crew : the people and when they are on site, or how many parties there are where nobody is
        named: those are always there, of any size, and hold every ticket
    now_s : seconds; nothing starts before it
    effort : what the search may cost; less finds the same in all but rare cases, and proves it
        less often

    Returns
    -------
    Schedule
        `exact` says whether it is proven best. It is never said to keep all do-bys without
        turns that do.
    """
    return _in_time(tasks, crew, now_s, effort) or _most_saved(tasks, crew, now_s, effort)


def _in_time(
    tasks: Sequence[Task], crew: Sequence[Hand] | int, now_s: float, effort: Effort
) -> Schedule | None:
    """A schedule that keeps every do-by, if one was found."""
    if not tasks:
        return Schedule((), (), exact=True)
    board = Board(tasks, crew, now_s)
    laid: Laid = []
    exact = not board.roster.thinned
    for numbers in _apart(board):
        found, proven = _best(board, numbers, effort)
        exact = exact and proven
        if found is None:
            return None
        laid += found
    return Schedule(named(board, laid), (), exact)


def _apart(board: Board) -> list[list[int]]:
    """Tasks in groups that never meet, latest first."""
    groups: list[list[int]] = [[]]
    frees, first = board.empty, math.inf
    for number in sorted(range(len(board.works)), key=lambda n: -board.works[n].cap_s):
        if groups[-1] and first >= board.works[number].cap_s:
            groups.append([])
            frees, first = board.empty, math.inf
        groups[-1].append(number)
        place = board.latest(number, frees)
        if place is None:
            first = -math.inf
        else:
            first = min(first, place.start_s)
            frees = board.put(frees, place)
    return groups


def _best(board: Board, numbers: Sequence[int], effort: Effort) -> tuple[Laid | None, bool]:
    """The best way to lay some of the tasks, and whether it is proven."""
    small = len(numbers) <= SMALL
    share = len(numbers) / len(board.works)
    lists = Lists(board, numbers, int((EFFORT_SMALL if small else effort.lists) * share))
    lists.search()
    laid = lists.laid()
    if not small:
        return laid, False
    merit = () if laid is None else lists.merit
    exact = LatestExact(board, numbers, merit, int(effort.exact * share))
    return exact.laid or laid, exact.complete


def _most_saved(
    tasks: Sequence[Task], crew: Sequence[Hand] | int, now_s: float, effort: Effort
) -> Schedule:
    """Which tasks to do in time where not all can be; the late ones end as soon as was found."""
    board = Board(tasks, crew, now_s, mirrored=True)
    rescue = Rescue(board)
    lists = RescueLists(rescue, effort.lists)
    exact = False
    if len(tasks) > SMALL:
        lists.search()
    lists.sooner()
    laid = lists.laid
    if len(tasks) <= SMALL:
        search = RescueExact(rescue, lists.saved, effort.exact)
        laid = search.laid if search.laid is not None else laid
        exact = search.complete and not board.roster.thinned
    ends = {number: now_s + board.until_s - place.start_s for number, place in laid}
    asked = [replace(tasks[n], do_by_s=max(tasks[n].do_by_s, end)) for n, end in ends.items()]
    kept = _in_time(asked, crew, now_s, effort)
    turns = named(board, laid) if kept is None else kept.turns
    due = {task.key: task.do_by_s for task in tasks}
    done = {turn.key for turn in turns}
    late = [
        Late(turn.key, turn.end_s - due[turn.key])
        for turn in turns
        if turn.end_s > due[turn.key] + EPS
    ]
    late += [Late(task.key, math.inf) for task in tasks if task.key not in done]
    return Schedule(turns, tuple(late), exact and kept is not None and kept.exact)
