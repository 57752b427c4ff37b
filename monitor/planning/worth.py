"""Whether acting pays: what the crew's minutes cost against what they save, times its chance."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from monitor.domain import Action, Fixture, Position, Show, Worth

LEAST_SHARE = 0.02
"""No share of members under this asks for work, however cheap the work is (judgement): one
member in fifty is the noise of an ensemble, not its word."""
NOT_WORTH = "the crew's minutes cost more than that saves, times its chance"


def threshold(show: Show, minutes: float, people: int, at_stake: float) -> float:
    """Share of members at which the work of a job is worth doing.

    Parameters
    ----------
    show : its `risk`, or what a minute of one person costs
    minutes : of the job, for the whole working party [min]
    people : in the working party
    at_stake : value of the job's fixtures, in the unit of their value

    Returns
    -------
    Share, 0 to 1; `risk` where the show prices no minute; infinite where no chance, however
    great, makes up for the cost

    Notes
    -----
    The cost-loss decision of a known cost C against a loss L that acting prevents wholly: act
    where chance x L is at least C, so from the chance C / L on. At equality it makes no
    difference in the long run, and the fixtures are the safe side. A cover that keeps out only
    part of the water saves less than L, so C / L errs toward acting.

    References
    ----------
    Murphy (1977), The value of climatological, categorical and probabilistic forecasts in the
    cost-loss ratio situation, Monthly Weather Review 105, 803-816; Wilks, Statistical Methods in
    the Atmospheric Sciences, on the same (both from memory).
    """
    if show.crew.minute_cost is None:
        return show.policy.risk
    cost = people * minutes * show.crew.minute_cost
    if cost >= at_stake:
        return math.inf
    return max(cost / at_stake, LEAST_SHARE)


def worth(show: Show, minutes: float, people: int, at_stake: float, chance: float) -> Worth | None:
    """What acting costs and saves, to be told; None where the show prices no minute."""
    if show.crew.minute_cost is None:
        return None
    return Worth(people * minutes * show.crew.minute_cost, at_stake, chance)


def job_minutes(position: Position, action: Action, count: int) -> float:
    """How long a job takes its working party, set-up and all [min]."""
    each = {
        "cover": position.cover_minutes_each,
        "bring-in": position.bring_in_minutes_each,
    }.get(action, 0.0)
    return position.setup_minutes + count * each


def paying(
    show: Show,
    position: Position,
    action: Action,
    rows: Mapping[int, Sequence[Fixture]],
    deadline_s: Callable[[int, float], float],
) -> tuple[float, dict[int, float]]:
    """At which share of members a job pays, and which of its groups are due when [s].

    Parameters
    ----------
    rows : of the groups in question
    deadline_s : of a group at a share of members; NaN where too few cross

    Returns
    -------
    share : `risk` where the job does not pay
    due : by group; nothing where it does not pay

    Notes
    -----
    What too few members spend leaves the job, and then less is at stake: gone on with until the
    rest pays for itself. Where it does not, what is dear is not lost for what is cheap: the
    dearest alone may still pay.
    """
    share, kept = _shrunk(show, position, action, rows, deadline_s)
    if kept or show.crew.minute_cost is None:
        return share, kept
    left = dict(rows)
    while left:
        best = _dearest(position, action, left)
        share = _share(show, position, action, best)
        if math.isinf(share):
            break
        due = {g for g in left if not math.isnan(deadline_s(g, share))}
        if due.issuperset(best):
            return share, {g: deadline_s(g, share) for g in best}
        # No job of any of these is due at less than that share: the rest is never part of one.
        left = {g: fixtures for g, fixtures in left.items() if g in due}
    return show.policy.risk, {}


def _shrunk(
    show: Show,
    position: Position,
    action: Action,
    rows: Mapping[int, Sequence[Fixture]],
    deadline_s: Callable[[int, float], float],
) -> tuple[float, dict[int, float]]:
    """All of it, less what too few members spend; nothing where that does not pay."""
    left = dict(rows)
    while left:
        share = _share(show, position, action, left)
        due = {g: deadline_s(g, share) for g in left}
        kept = {g: at for g, at in due.items() if not math.isnan(at)}
        if len(kept) == len(left):
            return share, kept
        left = {g: left[g] for g in kept}
    return show.policy.risk, {}


def _share(
    show: Show, position: Position, action: Action, rows: Mapping[int, Sequence[Fixture]]
) -> float:
    fixtures = [f for of_group in rows.values() for f in of_group]
    minutes = job_minutes(position, action, sum(f.count for f in fixtures))
    at_stake = sum(f.value * f.count for f in fixtures)
    return threshold(show, minutes, position.people_needed, at_stake)


def _dearest(
    position: Position, action: Action, rows: Mapping[int, Sequence[Fixture]]
) -> dict[int, Sequence[Fixture]]:
    """Those of some groups that together pay at the least share: so many of the dearest.

    Set-up is the same for any number, and each fixture adds as many minutes as any other: of
    the same number of fixtures the dearest are worth most.
    """

    def each(g: int) -> float:
        return sum(f.value * f.count for f in rows[g]) / sum(f.count for f in rows[g])

    order = sorted(rows, key=lambda g: (-each(g), g))
    count, at_stake, best, most = 0, 0.0, 1, -1.0
    for number, g in enumerate(order, 1):
        count += sum(f.count for f in rows[g])
        at_stake += sum(f.value * f.count for f in rows[g])
        minutes = job_minutes(position, action, count)
        worth_it = math.inf if minutes == 0.0 else at_stake / minutes
        if worth_it >= most:
            best, most = number, worth_it
    return {g: rows[g] for g in order[:best]}
