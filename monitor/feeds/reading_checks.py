"""What every reading is held against, in whichever form it came: shape, values, time. Pure."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from monitor.domain import CounterResets, Problem, Reading
from monitor.feeds.dew_above_air import STANDS_C, TAKEN_AS_AIR_C
from monitor.feeds.record import POSSIBLE, most_rain_mm
from monitor.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, iso_utc

if TYPE_CHECKING:
    from collections.abc import Mapping

FURTHEST_AHEAD = timedelta(minutes=5)
"""A station's clock may be this much ahead of ours."""
OLDEST = timedelta(days=7)
"""Later than this a reading is no news: a logger that begins to send its whole memory."""

_POSSIBLE: dict[str, tuple[float, float]] = {
    **{key: POSSIBLE[key] for key in ("wind_mps", "gust_mps", "wind_from_deg")},
    **{key: POSSIBLE[key] for key in ("rain_mm", "temp_c", "dew_point_c")},
    "rain_total_mm": (0.0, 1e6),
    "humidity_pct": (1.0, 105.0),  # cheap sensors overshoot in wet air; none reads nothing at all
}
_SATURATED_PCT = 100.0


def shape_problems(numbers: Mapping[str, float]) -> list[Problem]:
    """What is wrong with the numbers of one reading taken together."""
    problems = []
    if "rain_total_mm" in numbers and ("rain_mm" in numbers or "period_s" in numbers):
        problems.append(
            Problem(
                "two-kinds-of-rain",
                "It gives a counter and an amount over a period.",
                "Give rain_total_mm, or rain_mm with period_s; the counter if there is one.",
                key="rain_total_mm",
            )
        )
    elif ("rain_mm" in numbers) != ("period_s" in numbers):
        there, missing = (
            ("rain_mm", "period_s") if "rain_mm" in numbers else ("period_s", "rain_mm")
        )
        problems.append(
            Problem(
                "missing-value",
                f"{there} is given without {missing}.",
                "Give both: rain_mm is what fell in the period_s seconds before the time.",
                key=missing,
            )
        )
    period = numbers.get("period_s", SECONDS_PER_HOUR)
    if not 0.0 < period <= SECONDS_PER_DAY:
        problems.append(
            Problem(
                "impossible-value",
                f"period_s is {period:g}.",
                "A period is longer than 0 and at most 86400 seconds.",
                key="period_s",
            )
        )
    if not numbers:
        problems.append(
            Problem(
                "nothing-measured",
                "It says nothing that was measured.",
                "Give rain_total_mm, or rain_mm with period_s, or wind, or temperature.",
            )
        )
    return problems


def possible(
    station: str,
    at: datetime,
    numbers: Mapping[str, float],
    *,
    resets: CounterResets = "never",
    battery_ok: bool | None = None,
    raining: bool | None = None,
    by: str | None = None,
    told: tuple[str, ...] = (),
) -> Reading:
    """The reading, without the values that cannot be; `numbers` by the field of a Reading."""
    kept = dict(numbers)
    dropped = []

    def drop(key: str, why: str) -> None:
        dropped.append(f"{key} {kept.pop(key):g} was left out: {why}")

    for key in [key for key in kept if key in _POSSIBLE]:
        least, most = _POSSIBLE[key]
        if not least <= kept[key] <= most:
            drop(key, f"it lies between {least:g} and {most:g}")
    if "humidity_pct" in kept:
        kept["humidity_pct"] = min(kept["humidity_pct"], _SATURATED_PCT)
    if kept.get("rain_mm", 0.0) > most_rain_mm(kept.get("period_s", 0.0) / SECONDS_PER_HOUR):
        drop("rain_mm", f"no rain ever brought that in {kept['period_s']:g} s")
    if kept.get("gust_mps", math.inf) < kept.get("wind_mps", 0.0):
        drop("gust_mps", f"the mean wind, {kept['wind_mps']:g}, is above it")
    above_c = kept.get("dew_point_c", -math.inf) - kept.get("temp_c", math.inf)
    if above_c > TAKEN_AS_AIR_C:
        drop("dew_point_c", f"it is above the air, {kept['temp_c']:g}")
    elif above_c > STANDS_C:
        kept["dew_point_c"] = kept["temp_c"]
    if "rain_mm" not in kept:
        kept.pop("period_s", None)
    return Reading(
        station,
        at,
        resets=resets,
        battery_ok=battery_ok,
        raining=raining,
        by=by,
        told=(*told, *dropped),
        **kept,
    )


def time_problem(at: datetime, received_at: datetime) -> Problem | None:
    """Why a reading of `at` cannot be taken at `received_at`, None where it can."""
    if at > received_at + FURTHEST_AHEAD:
        return Problem(
            "time-ahead",
            f"Its time, {iso_utc(at)}, is still to come: it is {iso_utc(received_at)} here.",
            "Set the station's clock, and see which zone it is on.",
            key="time",
        )
    if at < received_at - OLDEST:
        return Problem(
            "time-too-old",
            f"Its time, {iso_utc(at)}, is more than {OLDEST.days} days ago.",
            "Set the station's clock; what is older is not taken in any more.",
            key="time",
        )
    return None
