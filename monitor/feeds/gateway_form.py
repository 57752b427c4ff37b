"""What common gateway stations send to a server of one's own: a form, in US units. Pure.

Two sets of field names are read, both sent by POST only: the gateways' own, and those of the
older upload that many stations also offer (`ID`, `PASSWORD`, `rainin`). That upload is made
for GET; a GET changes nothing in this program, so it is not offered as one. What a station is
known by (`PASSKEY`, `PASSWORD`) never becomes part of a reading.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, CounterResets, Problem
from monitor.feeds.reading_checks import possible, shape_problems, time_problem
from monitor.units import SECONDS_PER_HOUR, UNIT_TABLE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.domain import Reading

_COUNTERS: tuple[tuple[str, CounterResets], ...] = (
    ("totalrainin", "never"),
    ("yearlyrainin", "yearly"),
    ("monthlyrainin", "monthly"),
    ("dailyrainin", "daily"),
)
"""The first that is sent counts. One that resets seldom loses least at its reset. Those of an
hour, a week and an event are not used: it is not known when they begin anew."""
_LAST_HOUR = "rainin"
_OTHERS = {
    "tempf": ("temp_c", "degF"),
    "dewptf": ("dew_point_c", "degF"),
    "humidity": ("humidity_pct", "%"),
    "winddir": ("wind_from_deg", "°"),
    "windspeedmph": ("wind_mps", "mph"),
    "windgustmph": ("gust_mps", "mph"),
}
_NOT_MEASURED = -9999.0
_TIME = "%Y-%m-%d %H:%M:%S"
_DIGITS = 6
"""Of a converted value: 0.01 inch is 0.254 mm, and no more is known."""


def reading_from_form(form: Mapping[str, str], station: str, received_at: datetime) -> Reading:
    """The reading that a posted form stands for.

    Parameters
    ----------
    form : field -> text as decoded; names in any case, fields that are not known ignored, an
        empty one or -9999 not measured
    station : whose it is, as show.toml names it; the form's own names for it are not kept
    received_at : when it came, which is its time where it gives none, or "now"

    Raises
    ------
    BadInputError : with every fault in it
    """
    problems: list[Problem] = []
    given = {key.lower(): value.strip() for key, value in form.items() if value.strip()}
    at = _time_of(given.get("dateutc"), received_at, problems)
    numbers: dict[str, float] = {}
    for key, (name, unit) in _OTHERS.items():
        value = _number(key, given, unit, problems)
        if value is not None:
            numbers[name] = value
    resets: CounterResets = "never"
    for key, begins_anew in _COUNTERS:
        value = _number(key, given, "in", problems)
        if value is not None and "rain_total_mm" not in numbers:
            numbers["rain_total_mm"], resets = value, begins_anew
    last_hour = _number(_LAST_HOUR, given, "in", problems)
    if last_hour is not None and "rain_total_mm" not in numbers:
        numbers["rain_mm"], numbers["period_s"] = last_hour, SECONDS_PER_HOUR
    if not problems:
        problems += shape_problems(numbers)
    if problems:
        raise BadInputError(problems)
    return possible(station, at, numbers, resets=resets)


def _number(key: str, given: Mapping[str, str], unit: str, problems: list[Problem]) -> float | None:
    """In our own unit; None where it is not given, or the station says it is not measured."""
    text = given.get(key)
    if text is None:
        return None
    try:
        value = math.nan if "_" in text else float(text)
    except ValueError:
        value = math.nan
    if math.isnan(value):
        problems.append(
            Problem("not-a-number", f"{key} is not a number.", "Look at the station.", key=key)
        )
        return None
    if value == _NOT_MEASURED:
        return None
    _, scale, offset = UNIT_TABLE[unit]
    return round(value * scale + offset, _DIGITS)


def _time_of(stated: str | None, received_at: datetime, problems: list[Problem]) -> datetime:
    now = received_at.astimezone(UTC)
    if stated is None or stated.lower() == "now":
        return now
    try:
        at = datetime.strptime(stated, _TIME).replace(tzinfo=UTC)
    except ValueError:
        problems.append(
            Problem(
                "bad-time",
                "dateutc is not a time.",
                'It is UTC, like "2027-07-15 12:00:00", or "now".',
                key="dateutc",
            )
        )
        return now
    wrong = time_problem(at, received_at)
    if wrong is None:
        return at
    problems.append(wrong)
    return now
