"""Sprinklers, hoses and pressure washers: water at known times, counted as rain is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from monitor.codes import credited_digits
from monitor.domain import (
    Bools,
    Code,
    Condition,
    Floats,
    Part,
    Policy,
    Position,
    Show,
    Washdown,
    WashdownKind,
)
from monitor.exposure.credit import Credit
from monitor.exposure.steps import Steps, daily_spans

RATE_MM_H: Mapping[WashdownKind, float] = {"sprinkler": 15.0, "low": 750.0, "high": 6000.0}
"""Depth an hour where the show gives none. A lawn sprinkler: judgement. Jets: the 12.5 and 100
litres a minute of the tests behind 5 and 6, taken to fall on one square metre, as the 10 litres
a minute behind 3 and 4 are (the flows from IEC 60529, the square metre a judgement) [mm/h].
"""
NEEDS: Mapping[WashdownKind, int] = {"low": 5, "high": 6}
"""The water digit whose test has such jets; a sprinkler is spray, which 4 covers."""


def washdowns_at(position: Position, show: Show) -> tuple[Washdown, ...]:
    """What is thrown at a position at known times, its own `washdown_times` first."""
    found = tuple(one for one in show.washdowns if position.id in one.positions)
    if position.washdown == "none" or not position.washdown_times:
        return found
    kind = position.washdown
    own = Washdown(kind, (position.id,), RATE_MM_H[kind], every_day=position.washdown_times)
    return (own, *found)


def washdown_spans(
    washed: Washdown, start_s: float, end_s: float, zone: ZoneInfo
) -> list[tuple[float, float]]:
    """When it runs, as moments, over a period (seconds)."""
    if washed.start is not None and washed.end is not None:
        once = washed.start.timestamp(), washed.end.timestamp()
        return [once] if once[0] < end_s and once[1] > start_s else []
    spans = daily_spans(washed.every_day, start_s, end_s, zone)
    if not washed.days:
        return spans
    return [span for span in spans if _weekday(span[0], zone) in washed.days]


def _weekday(moment_s: float, zone: ZoneInfo) -> int:
    return datetime.fromtimestamp(moment_s, tz=UTC).astimezone(zone).weekday()


class Washing:
    """What is thrown at one place, step by step, once for everything that hangs there.

    The steps have to be cut at the ends of its spans: each is wholly on or off.
    """

    def __init__(self, washed: Sequence[Washdown], steps: Steps, zone: ZoneInfo) -> None:
        self._on = [(one, _on_steps(one, steps, zone)) for one in washed]
        self._on = [(one, on) for one, on in self._on if on.any()]
        self.rate_mm_h: Floats = np.zeros(len(steps.hours))
        """(step,)"""
        for one, on in self._on:
            self.rate_mm_h += one.rate_mm_h * on

    @property
    def any(self) -> bool:
        """Whether anything is thrown there at all."""
        return bool(self._on)

    def use_rate(
        self, code: Code, condition: Condition, credited: Credit, policy: Policy
    ) -> Floats:
        """Share of a part's allowance used per hour (step,) [1/h]."""
        use = np.zeros(len(self.rate_mm_h))
        for one, on in self._on:
            use += on * (one.rate_mm_h / wash_allowance_mm(one, code, condition, credited, policy))
        return use


def _on_steps(washed: Washdown, steps: Steps, zone: ZoneInfo) -> Bools:
    starts, on = steps.weather.starts, np.zeros(len(steps.hours), dtype=bool)
    if len(starts):
        for begin, end in washdown_spans(washed, starts[0], steps.weather.ends[-1], zone):
            on |= (starts >= begin) & (starts < end)
    return on


def wash_allowance_mm(
    washed: Washdown, code: Code, condition: Condition, credited: Credit, policy: Policy
) -> float:
    """How much of a washdown a part may take; infinite where its code was tested with such.

    Parameters
    ----------
    washed : kind of water
    code, condition : of the part
    credited : what rain is held against
    policy : settings

    Returns
    -------
    allowance [mm]

    Notes
    -----
    A sprinkler is spray from every side: what rain from below would be held against counts. Jets
    lie outside every test up to 4, so a code without their digit counts as unprotected against
    them; so does a worn one. A maker's own statement holds for any water. Errs wet.

    References
    ----------
    Exposure model section 5: 5 for a hose, 6 for a pressure washer; 7, 8 and 9 alone imply
    neither.
    """
    if washed.kind == "sprinkler" or credited.stated:
        return float(credited.at(180.0))
    tested = NEEDS[washed.kind] in credited_digits(code) and condition != "worn"
    return float("inf") if tested else policy.run_off_mm


def jets_beyond(
    washed: Iterable[Washdown], codes: Mapping[Part, Code], condition: Condition
) -> bool:
    """Whether jets come at known times that some part of a chain was never tested with."""
    needed = {NEEDS[one.kind] for one in washed if one.kind in NEEDS}
    return any(
        digit not in credited_digits(code) or condition == "worn"
        for digit in needed
        for code in codes.values()
    )
