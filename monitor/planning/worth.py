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
    rest pays for itself.
    """
    left = dict.fromkeys(rows, math.nan)
    while left:
        fixtures = [f for g in left for f in rows[g]]
        minutes = job_minutes(position, action, sum(f.count for f in fixtures))
        at_stake = sum(f.value * f.count for f in fixtures)
        share = threshold(show, minutes, position.people_needed, at_stake)
        due = {g: deadline_s(g, share) for g in left}
        kept = {g: at for g, at in due.items() if not math.isnan(at)}
        if len(kept) == len(left):
            return share, kept
        left = kept
    return show.policy.risk, {}
