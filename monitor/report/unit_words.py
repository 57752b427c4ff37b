"""Serial by serial, and the lists for the warehouse, as the page shows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.alerts.words import one_line
from monitor.report.figures import reading
from monitor.report.summary import ids_said

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.report.record import Record
    from monitor.report.record_units import CareRow, Unit, UnitEntry
    from monitor.report.site_times import SiteTimes

_TESTS = ("inspected", "isolated", "energised", "wet", "cleaned")
_WIDTHS = ((17.0, 10.0, 6.5, 12.5, 7.0, 28.0, 19.0), (15.0, 9.5, 6.5, 12.5, 7.0, 7.5, 26.0, 16.0))


@dataclass(frozen=True, slots=True)
class Serials:
    """The section on single units."""

    rows: tuple[Unit, ...]
    says: str
    earlier: tuple[str, ...]
    widths: tuple[float, ...]


def serials(made: Record, times: SiteTimes) -> Serials:
    """Every unit with a serial, worst first; with earlier shows, worst over all of them."""
    rows = [unit for unit in made.units if unit.serial]
    says = (
        "Estimates, but for what the log records. Used is the share of its allowance since an "
        "inspection last found it dry. Where each was, and every entry, stands in report.json, "
        "covers.csv and unit-log.csv."
    )
    if made.earlier:
        rows.sort(key=lambda unit: -unit.used_all_shows)
        says += (
            " Shares of earlier shows are those of their own reports, added up whatever was "
            "found or done in between; alerts do not go by them."
        )
    without = sum(unit.count for unit in made.units if not unit.serial)
    if without:
        says += f" {without} without a serial are in fixtures.csv."
    earlier = tuple(
        f"{one_line(show.site)}, {times.dated(show.begins_at)} to {times.dated(show.ends_at)}; "
        f"its report.json has the sha256 {show.report_sha256}"
        for show in made.earlier
    )
    return Serials(tuple(rows), says, earlier, _WIDTHS[bool(earlier)])


def covers_said(unit: Unit, times: SiteTimes) -> list[str]:
    """`Thu 15 Jul 22:00 to Fri 16 Jul 12:32`, a line for each time it was covered."""
    said = []
    for span in unit.covers:
        if span.off_at is None:
            text = f"from {times.at(span.on_at)}, still on"
        else:
            text = times.span(span.on_at, span.off_at)
        end = span.off_at or span.counts_until
        if span.counts_until < end:
            text += f", counts until {times.at(span.counts_until)}"
        said.append(text)
    return said


def tests_said(unit: Unit, times: SiteTimes) -> list[str]:
    """`Fri 16 Jul 10:02 inspected, dry, 0.08 Ω, 250 MΩ, Ines`."""
    return [_test(entry, times) for entry in unit.log if entry.entry in _TESTS]


def _test(entry: UnitEntry, times: SiteTimes) -> str:
    parts = [entry.entry]
    if entry.of is not None:
        parts[0] += f" {entry.done} of {entry.of}"
    if entry.result is not None:
        parts.append(entry.result.replace("-", " "))
    if entry.earth_ohm is not None:
        parts.append(f"{reading(entry.earth_ohm)} Ω")
    if entry.insulation_mohm is not None:
        parts.append(f"{reading(entry.insulation_mohm)} MΩ")
    if entry.by:
        parts.append(one_line(entry.by))
    return f"{times.at(entry.at)} {', '.join(parts)}"


# ---------------------------------------------------------------- lists


@dataclass(frozen=True, slots=True)
class CareLine:
    """One line to tick: a unit, or all in one case that have no serial and want the same."""

    row: CareRow
    ids: str
    count: int


Cases = tuple[tuple[str, tuple[CareLine, ...]], ...]


@dataclass(frozen=True, slots=True)
class CareList:
    """One list: trucks, in each their cases, in each what wants it."""

    id: str
    title: str
    says: str
    none: str
    trucks: tuple[tuple[str, Cases], ...]


def care_lists(made: Record) -> tuple[CareList, ...]:
    """The drying and the cleaning list."""
    return (
        CareList(
            "drying",
            "Drying list, by truck and case",
            "Each of these cases counts as a wet case: tag it, and leave its lid open. Keep what "
            "is listed unpowered until somebody competent has looked at it and tested it.",
            "Nothing is listed to dry. What is not known to be wet is not known to be dry.",
            _by_truck(made.drying),
        ),
        CareList(
            "cleaning",
            "Cleaning list, by truck and case",
            "Power off, dry before it is cleaned; dust that was damp since sits firmer. No "
            "compressed air through vents or seals.",
            "Nothing is listed to clean.",
            _by_truck(made.cleaning),
        ),
    )


def _by_truck(rows: Sequence[CareRow]) -> tuple[tuple[str, Cases], ...]:
    found: dict[str, dict[str, dict[object, list[CareRow]]]] = {}
    for row in rows:
        truck = one_line(row.truck or "") or "Truck not said"
        case = _case(one_line(row.case or ""))
        alike = (row.name, row.owner, row.position_name, row.to_do, row.why)
        there = found.setdefault(truck, {}).setdefault(case, {})
        there.setdefault(row.id if row.serial else alike, []).append(row)
    return tuple(
        (truck, tuple((case, tuple(map(_line, there.values()))) for case, there in cases.items()))
        for truck, cases in found.items()
    )


def _case(name: str) -> str:
    """`case C1`; one that calls itself a case is not called so twice."""
    if not name:
        return "case not said"
    return name if name.casefold().startswith("case") else f"case {name}"


def _line(rows: Sequence[CareRow]) -> CareLine:
    return CareLine(rows[0], ids_said([row.id for row in rows]), sum(row.count for row in rows))
