"""Past years as JSON of schema dryspell.years/1."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from monitor.past_years.outcome import FixtureYears, InsteadYears, PastYears, PositionYears, Year
from monitor.past_years.words import cautions
from monitor.units import iso_utc

SCHEMA = "dryspell.years/1"


def as_json(found: PastYears) -> dict[str, Any]:
    """Everything that was found; moments in UTC, what is not known null."""
    event = found.show.event
    return {
        "schema": SCHEMA,
        "event": {
            "load_in_at": iso_utc(event.load_in_at),
            "load_out_at": iso_utc(event.load_out_at),
        },
        "weather": {"source": found.source, "credit": found.credit, "hourly": found.hourly},
        "asked": found.asked,
        "counted": len(found.counted),
        "years": [_year(year) for year in found.years],
        "fixtures": [_fixture(row, found) for row in found.fixtures],
        "positions": [_position(row) for row in found.positions],
        "instead": [_instead(row) for row in found.instead],
        "cautions": list(cautions(found)),
    }


def _year(year: Year) -> dict[str, Any]:
    return {
        "year": year.span.year,
        "from": iso_utc(year.span.start),
        "to": iso_utc(year.span.end),
        "counted": year.counted,
        "rain_mm": round(year.rain_mm, 6),
        "wet_hours": round(year.wet_hours, 6),
        "unknown_hours": round(year.unknown_hours, 6),
        "unknown_share": round(year.unknown_share, 6),
        "weather": year.says,
        "note": year.span.note,
    }


def _fixture(row: FixtureYears, found: PastYears) -> dict[str, Any]:
    worst, soonest = row.worst, row.soonest(found.starts)
    return {
        "id": row.fixture.id,
        "code": row.fixture.code.canonical,
        "condition": row.fixture.condition,
        "position": row.fixture.position,
        "count": row.fixture.count,
        "weakest_part": row.weakest_part,
        "needed_years": list(row.needed),
        "worst_used": None if worst is None else worst[1],
        "worst_year": None if worst is None else worst[0],
        "soonest_at": None if soonest is None else iso_utc(soonest[1]),
        "soonest_hours_after_load_in": None if soonest is None else round(soonest[2], 6),
        "earliest_time_of_day": _earliest(row, found),
        "years": [
            {"year": year, "used": spent.used, "spent_at": iso_utc(spent.at)}
            for year, spent in row.by_year.items()
        ],
    }


def _earliest(row: FixtureYears, found: PastYears) -> str | None:
    """The earliest hour of the site's day at which it was spent, in any year."""
    zone = found.show.site.timezone
    moments: list[datetime] = [s.at.astimezone(zone) for s in row.by_year.values() if s.at]
    return min((f"{moment:%H:%M}" for moment in moments), default=None)


def _position(row: PositionYears) -> dict[str, Any]:
    worst = row.worst
    return {
        "position": row.position.id,
        "name": row.position.name,
        "crew_minutes_median": row.median_minutes,
        "crew_minutes_worst": None if worst is None else worst[1],
        "worst_year": None if worst is None else worst[0],
        "late_jobs": row.late,
        "late_years": list(row.late_years),
        "years": [
            {
                "year": year,
                "crew_minutes": work.crew_minutes,
                "jobs": work.jobs,
                "late_jobs": work.late,
            }
            for year, work in row.by_year.items()
        ],
    }


def _instead(row: InsteadYears) -> dict[str, Any]:
    return {
        "position": row.position.id,
        "code": row.code.canonical,
        "needed_years": list(row.needed),
        "worst_used": row.worst_used,
    }
