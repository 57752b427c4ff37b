"""The same dates in past years: what they would have asked of the rig and the crew."""

from monitor.past_years.dates import YearSpan, latest_with_weather, spans
from monitor.past_years.files import write_files
from monitor.past_years.form import as_json
from monitor.past_years.outcome import (
    COMMON_CODES,
    FixtureYears,
    InsteadYears,
    PastYears,
    PositionYears,
    Year,
)
from monitor.past_years.telling import lines
from monitor.past_years.through import YearWeather, go_through

__all__ = [
    "COMMON_CODES",
    "FixtureYears",
    "InsteadYears",
    "PastYears",
    "PositionYears",
    "Year",
    "YearSpan",
    "YearWeather",
    "as_json",
    "go_through",
    "latest_with_weather",
    "lines",
    "spans",
    "write_files",
]
