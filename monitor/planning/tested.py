"""Readings of an inspection, held against those of the load-in and the figures often used.

The figures are common practice and from memory of a standard (earth) or read as an excerpt
(insulation): they say when to ask back, never that a fixture is in order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.domain import InspectionResult, LogEntry
from monitor.units import to_epoch

EARTH_OHM = 0.1
"""Earth continuity often taken as the most, beside what the lead itself has [ohm]"""
INSULATION_MOHM = 1.0
"""Insulation often taken as the least, at 500 V DC [megohm]"""

WHO_DECIDES = "Local rules, the maker's figures and the competent person decide."


@dataclass(frozen=True, slots=True)
class Tested:
    """What one fixture was tested with, at a moment; None: not tested."""

    at: datetime
    earth_ohm: float | None = None
    """[ohm]"""
    insulation_mohm: float | None = None
    """[megohm]"""
    result: InspectionResult | None = None
    by: str | None = None
    at_load_in: bool = False
    """At or before it first got wet"""


def readings_of(fixture_id: str, log: Sequence[LogEntry]) -> tuple[Tested, ...]:
    """Every reading of one row of fixtures.csv, oldest first.

    A reading is of one row: what was logged for a whole position has none.
    """
    found = [
        Tested(e.at, e.earth_ohm, e.insulation_mohm, e.result, e.by)
        for e in log
        if e.entry == "inspected"
        and e.fixture == fixture_id
        and (e.earth_ohm is not None or e.insulation_mohm is not None)
    ]
    return tuple(sorted(found, key=lambda tested: tested.at))


def baseline(tests: Sequence[Tested], first_wet_s: float | None) -> Tested | None:
    """What later readings are held against: the first of each kind, of those taken dry if any.

    Parameters
    ----------
    tests : oldest first
    first_wet_s : when it first got wet; None: not yet
    """
    dry = [t for t in tests if first_wet_s is None or to_epoch(t.at) <= first_wet_s]
    from_ = dry or list(tests)
    if not from_:
        return None
    earth = next((t.earth_ohm for t in from_ if t.earth_ohm is not None), None)
    insulation = next((t.insulation_mohm for t in from_ if t.insulation_mohm is not None), None)
    first = from_[0]
    return Tested(first.at, earth, insulation, first.result, first.by, at_load_in=bool(dry))


def compared(tested: Tested, first: Tested | None) -> str:
    """Say readings beside those before: "earth 0.31 ohm, 0.08 at load-in"."""
    when = "at load-in" if first is not None and first.at_load_in else "at its first reading"
    said = []
    for what, unit, value, before in (
        ("earth", "ohm", tested.earth_ohm, None if first is None else first.earth_ohm),
        (
            "insulation",
            "megohm",
            tested.insulation_mohm,
            None if first is None else first.insulation_mohm,
        ),
    ):
        if value is not None:
            then = "" if before is None else f", {before:g} {when}"
            said.append(f"{what} {value:g} {unit}{then}")
    return "; ".join(said)


def beyond(earth_ohm: float | None, insulation_mohm: float | None) -> tuple[str, ...]:
    """What of two readings is worse than the figures often used, in words."""
    said = []
    if earth_ohm is not None and earth_ohm > EARTH_OHM:
        said.append(
            f"earth {earth_ohm:g} ohm is over the {EARTH_OHM:g} ohm often used, beside that of "
            "the lead"
        )
    if insulation_mohm is not None and insulation_mohm < INSULATION_MOHM:
        said.append(
            f"insulation {insulation_mohm:g} megohm is under the {INSULATION_MOHM:g} megohm often "
            "used at 500 V DC"
        )
    return tuple(said)
