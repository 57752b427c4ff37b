"""Past years as a page and as tables for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from monitor.alerts.words import one_line
from monitor.domain import UnableError
from monitor.past_years.outcome import PastYears
from monitor.past_years.words import (
    by_condition,
    cautions,
    heading,
    instead_rows,
    position_rows,
    row_groups,
    year_words,
)
from monitor.report.csv_files import neutral
from monitor.report.writing import put_files
from monitor.units import iso_utc

TEMPLATE = "past-years.html.j2"


def write_files(out: Path, found: PastYears) -> tuple[Path, ...]:
    """Write past-years.html and its CSV files into a folder, all of them or none."""
    files = {
        "past-years.html": _page(found).encode("utf-8", "replace"),
        "past-years-fixtures.csv": _fixtures(found),
        "past-years-positions.csv": _positions(found),
        "past-years-instead.csv": _instead(found),
    }
    try:
        out.mkdir(parents=True, exist_ok=True)
        return put_files(out, files)
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"The report cannot be written to {out}: {why}.",
            "Give a folder that may be written to, on a disk with room.",
        ) from None


def _page(found: PastYears) -> str:
    environment = Environment(
        loader=PackageLoader("monitor", "templates"),
        autoescape=True,  # by hand: names that end in .j2 are not escaped by themselves
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: one_line(value) if type(value) is str else value,
    )
    codes, instead = instead_rows(found)
    return environment.get_template(TEMPLATE).render(
        found=found,
        heading=heading(found),
        by_condition=by_condition(found),
        years=[(year.span.year, year_words(year)) for year in found.years],
        groups=row_groups(found),
        positions=list(position_rows(found)),
        codes=codes,
        instead=instead,
        cautions=cautions(found),
    )


def _fixtures(found: PastYears) -> bytes:
    """One row a fixture and counted year."""
    return _csv(
        (
            "id",
            "code",
            "position",
            "count",
            "year",
            "used",
            "spent_at",
            "needed_covering",
            "condition",
        ),
        (
            (
                row.fixture.id,
                row.fixture.code.canonical,
                row.fixture.position,
                str(row.fixture.count),
                str(year),
                f"{spent.used:.10g}",
                iso_utc(spent.at) or "",
                "no" if spent.at is None else "yes",
                row.fixture.condition,
            )
            for row in found.fixtures
            for year, spent in row.by_year.items()
        ),
    )


def _positions(found: PastYears) -> bytes:
    """One row a position and counted year."""
    return _csv(
        ("position", "name", "year", "crew_minutes", "jobs", "late_jobs"),
        (
            (
                row.position.id,
                row.position.name,
                str(year),
                f"{work.crew_minutes:.10g}",
                str(work.jobs),
                str(work.late),
            )
            for row in found.positions
            for year, work in row.by_year.items()
        ),
    )


def _instead(found: PastYears) -> bytes:
    """One row a position and code."""
    return _csv(
        ("position", "code", "needed_years", "counted_years", "worst_used"),
        (
            (
                row.position.id,
                row.code.canonical,
                str(len(row.needed)),
                str(len(found.counted)),
                f"{row.worst_used:.10g}",
            )
            for row in found.instead
        ),
    )


def _csv(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([neutral(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8-sig", "replace")
