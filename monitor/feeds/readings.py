"""What a station on the site says, as a Reading: every fault at once, impossible values out.

A message that cannot be understood is refused whole. One that can, but with a value that no
weather has, is kept without that value, and says so: the rest of it is still true. Pure.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, get_args

from monitor.domain import BadInputError, CounterResets, Problem, Reading
from monitor.feeds.reading_checks import possible, shape_problems, time_problem

if TYPE_CHECKING:
    from collections.abc import Mapping

CREW = "crew"
"""The station under which the crew's own word on rain is kept."""

NUMBERS = {
    "rain_total_mm": "rain_total_mm",
    "rain_mm": "rain_mm",
    "period_s": "period_s",
    "wind_ms": "wind_mps",
    "wind_mps": "wind_mps",
    "gust_ms": "gust_mps",
    "gust_mps": "gust_mps",
    "wind_from_deg": "wind_from_deg",
    "temp_c": "temp_c",
    "dew_point_c": "dew_point_c",
    "humidity_pct": "humidity_pct",
}
"""A number by the name it comes under -> the field of a Reading."""
_BOOLS = ("battery_ok", "raining")
_KNOWN = ("station", "time", *NUMBERS, *_BOOLS, "resets", "by")
_RATE = "rain_rate"
"""A rate is not kept, whatever unit its name ends in: what fell is in the counter."""

_STATION = re.compile(r"\w[\w.+-]{0,59}")
_LONGEST_NAME = 60
_OFFSETS = (timedelta(hours=-12), timedelta(hours=14))
_LIKENESS = 0.72
_SHOWN = 10
"""More unknown keys than this in one message are not told one by one."""


def reading_from_json(data: Any, received_at: datetime) -> Reading:
    """The reading that parsed JSON stands for.

    Parameters
    ----------
    data : `{station, time?, rain_total_mm (resets?) | rain_mm + period_s, wind_ms?, gust_ms?,
        wind_from_deg?, temp_c?, dew_point_c?, humidity_pct?, battery_ok?}`, or from the crew
        `{"station": "crew", "raining": true or false, time?, by?}`; null is not given
    received_at : when it came, which is its time where it gives none

    Raises
    ------
    BadInputError : with every fault in it
    """
    if not isinstance(data, dict):
        raise BadInputError(
            [
                Problem(
                    "not-an-object",
                    "It is not one reading.",
                    'Send one object like {"station": "mast", "rain_total_mm": 12.4}.',
                )
            ]
        )
    problems: list[Problem] = []
    given = {str(key): value for key, value in data.items() if value is not None}
    told = _unknown(given, problems)
    at = _time_of(given.get("time"), received_at, problems)
    station = _station_of(given.get("station"), problems)
    numbers = _numbers_of(given, problems)
    words: dict[str, Any] = {key: _bool_of(key, given, problems) for key in _BOOLS}
    words["resets"] = _resets_of(given, problems)
    words["by"] = _name_of(given.get("by"), problems)
    if station == CREW:
        _check_crew(given, problems)
    elif "raining" in given or "by" in given:
        problems.append(
            Problem(
                "only-crew",
                "raining and by are the crew's to say.",
                f'Send them with "station": "{CREW}", or leave them out.',
                key="raining" if "raining" in given else "by",
            )
        )
    else:
        problems += shape_problems(numbers)
    if problems:
        raise BadInputError(problems)
    return possible(station, at, numbers, told=told, **words)


def _unknown(given: Mapping[str, Any], problems: list[Problem]) -> tuple[str, ...]:
    """Keys that are not known: told, or refused where one is near to a known key."""
    told = []
    for key in given:
        if key in _KNOWN or key.startswith(_RATE):
            continue
        near = get_close_matches(key, [k for k in _KNOWN if k not in given], 1, _LIKENESS)
        if near:
            problems.append(
                Problem(
                    "unknown-key",
                    f"There is no {key}.",
                    f"Perhaps {near[0]} is meant: rename it, and convert the value to that unit.",
                    key=key,
                )
            )
        else:
            told.append(f"{key[:40]!r} is not known and was ignored")
    return tuple(told[:_SHOWN])


def _time_of(stated: Any, received_at: datetime, problems: list[Problem]) -> datetime:
    """The time in UTC; `received_at` where none is given, or it is refused."""
    if stated is None:
        return received_at.astimezone(UTC)
    try:
        at = datetime.fromisoformat(stated)
    except (TypeError, ValueError):
        at = None
    offset = None if at is None else at.utcoffset()
    if at is None or offset is None or not _OFFSETS[0] <= offset <= _OFFSETS[1]:
        problems.append(
            Problem(
                "bad-time",
                f"{str(stated)[:40]!r} is not a time with its offset.",
                "Write it like 2027-07-15T12:00:00Z or 2027-07-15T14:00:00+02:00.",
                key="time",
            )
        )
        return received_at.astimezone(UTC)
    wrong = time_problem(at, received_at)
    if wrong is not None:
        problems.append(wrong)
        return received_at.astimezone(UTC)
    return at.astimezone(UTC)


def _station_of(stated: Any, problems: list[Problem]) -> str:
    if isinstance(stated, str) and _STATION.fullmatch(stated):
        return stated
    problems.append(
        Problem(
            "bad-station",
            "It does not say which station it is from."
            if stated is None
            else "Its station is not a name.",
            "Give station as in the [[gauges]] of show.toml.",
            key="station",
        )
    )
    return ""


def _numbers_of(given: Mapping[str, Any], problems: list[Problem]) -> dict[str, float]:
    """By the field of a Reading."""
    numbers: dict[str, float] = {}
    for key, name in NUMBERS.items():
        if key not in given:
            continue
        value = given[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            problems.append(
                Problem(
                    "not-a-number",
                    f"{key} is not a number.",
                    f"Give the bare number in the unit of {key}, not text; leave it out where it"
                    " is not known.",
                    key=key,
                )
            )
        elif name in numbers:
            problems.append(
                Problem(
                    "given-twice",
                    f"{name} is given under two names.",
                    f"Leave out {key}.",
                    key=key,
                )
            )
        else:
            numbers[name] = _float(value)
    return numbers


def _float(value: float) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _bool_of(key: str, given: Mapping[str, Any], problems: list[Problem]) -> bool | None:
    value = given.get(key)
    if value is None or isinstance(value, bool):
        return value
    problems.append(
        Problem("not-yes-or-no", f"{key} is not true or false.", "Write true or false.", key=key)
    )
    return None


def _resets_of(given: Mapping[str, Any], problems: list[Problem]) -> CounterResets:
    value = given.get("resets", "never")
    for known in get_args(CounterResets):
        if value == known:
            return known  # type: ignore[no-any-return]  # one of the words of the type
    problems.append(
        Problem(
            "unknown-word",
            "resets does not say when the counter begins anew.",
            f"Write {', '.join(get_args(CounterResets))}.",
            key="resets",
        )
    )
    return "never"


def _name_of(value: Any, problems: list[Problem]) -> str | None:
    if value is None:
        return None
    if isinstance(value, str) and value.strip().isprintable() and len(value) <= _LONGEST_NAME:
        return value.strip() or None
    problems.append(
        Problem("bad-name", "by is not a name.", "Give the name of who says so.", key="by")
    )
    return None


def _check_crew(given: Mapping[str, Any], problems: list[Problem]) -> None:
    if "raining" not in given:
        problems.append(
            Problem(
                "missing-value",
                "The crew does not say whether it rains.",
                "Give raining: true or false.",
                key="raining",
            )
        )
    problems.extend(
        Problem(
            "not-for-crew",
            f"{key} is what a station measures; {CREW} is kept for the crew's own word.",
            "Give the station another name, or leave it out.",
            key=key,
        )
        for key in given
        if key in NUMBERS or key in ("battery_ok", "resets")
    )
