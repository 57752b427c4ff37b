"""Why those who are there do not get a job begun before it is due, in words."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.planning.hands import Hand, Task

BUSY = "whoever could do it is not free before it is due"


def people_missing(
    task: Task, crew: Sequence[Hand] | int, from_s: float, until_s: float
) -> str | None:
    """Which ticket or how many people are missing; None: there would be enough.

    Parameters
    ----------
    task : what it asks for
    crew : the people, and when each is there
    from_s, until_s : seconds, half-open: the time in which it could be begun
    """
    if isinstance(crew, int):
        return None
    moments = [from_s, *(a for hand in crew for a, _ in hand.there if from_s < a < until_s)]
    shifts = [[h for h in crew if any(a <= at < b for a, b in h.there)] for at in moments]
    if not any(shifts):
        return "nobody is here before it is due"
    lacking = [
        t for t in sorted(task.tickets) if not any(t in h.tickets for s in shifts for h in s)
    ]
    if lacking:
        known = frozenset[str]().union(*(hand.tickets for hand in crew))
        here = "here before it is due" if known.issuperset(lacking) else "here"
        return f"nobody {here} holds {' or '.join(f'a {ticket} ticket' for ticket in lacking)}"
    most = max(len(there) for there in shifts)
    if most < task.people:
        people = "person" if task.people == 1 else "people"
        return f"{most} of {task.people} {people} it takes"
    if most == 1 and not task.alone_ok:
        return "nobody does this as the only person on site"
    if not any(_enough(task, there) for there in shifts):
        return "the people and the tickets it takes are not here together"
    return None


def _enough(task: Task, there: Sequence[Hand]) -> bool:
    held = frozenset[str]().union(*(hand.tickets for hand in there))
    lone = len(there) == 1 and not task.alone_ok
    return len(there) >= task.people and task.tickets <= held and not lone
