"""Weather as the feed JSON of schema dryspell.weather/1."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from monitor.units import SECONDS_PER_MINUTE, iso_utc, to_moment

if TYPE_CHECKING:
    from monitor.domain import Weather

SCHEMA = "dryspell.weather/1"
_NUMBERS = (
    "rain_mm",
    "wind_mps",
    "gust_mps",
    "wind_from_deg",
    "temp_c",
    "dew_point_c",
    "cloud_pct",
)
_PLACES = 6
"""Far below what is known; takes off the last bits of a unit conversion."""


def as_json(weather: Weather, sheet_id: str) -> dict[str, Any]:
    """The feed JSON: steps in order of time, within a step by member; not known is null."""
    columns = {name: getattr(weather, name).tolist() for name in _NUMBERS}
    thunder = weather.thunder.tolist()
    steps = [
        {
            "starts_at": iso_utc(to_moment(start)),
            "minutes": round((end - start) / SECONDS_PER_MINUTE, _PLACES),
            "member": member,
            **{name: _or_null(column[m][i]) for name, column in columns.items()},
            "thunder": _yes_no(thunder[m][i]),
        }
        for i, (start, end) in enumerate(
            zip(weather.starts.tolist(), weather.ends.tolist(), strict=True)
        )
        for m, member in enumerate(weather.members)
    ]
    return {
        "schema": SCHEMA,
        "sheet": sheet_id,
        "issued_at": iso_utc(weather.issued_at),
        "credit": weather.credit,
        "members": len(weather.members),
        "steps": steps,
        "dropped": list(weather.dropped),
    }


def _or_null(value: float) -> float | None:
    return None if math.isnan(value) else round(value, _PLACES)


def _yes_no(flag: float) -> str | None:
    """The words of the weather record."""
    if math.isnan(flag):
        return None
    return "yes" if flag else "no"
