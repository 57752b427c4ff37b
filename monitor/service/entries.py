"""What the crew says it did, as log entries: names held against the show, every fault told.

The command line and the server take the same things by other names: `--position` there,
`position` here. `spelt` says how a name is written where the crew will read it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from dataclasses import fields as dataclass_fields
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, LogEntry, Problem
from monitor.service.possible import count_fault, time_fault
from monitor.show.clock import ClockError, lately
from monitor.show.logfile import HIGHEST_READING
from monitor.show.nearest import suggestion
from monitor.show.values import NUMBER

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from datetime import datetime

    from monitor.domain import Alert, EntryKind, InspectionResult, Show

_PART_OF = re.compile(r"(\d{1,6})\s*(?:of|/)\s*(\d{1,6})", re.IGNORECASE | re.ASCII)
_LONGEST_SAID = 40
"""Of what was typed, this much is said back."""

READINGS = ("earth_ohm", "insulation_mohm")
"""What an inspection may be given beside its result."""


@dataclass(frozen=True, slots=True)
class Said:
    """One log entry as typed or posted; None: not given."""

    entry: EntryKind
    position: str | None = None
    fixture: str | None = None
    alert: str | None = None
    at: str | None = None
    count: str | None = None
    to: str | None = None
    result: InspectionResult | None = None
    by: str | None = None
    note: str | None = None
    earth_ohm: str | None = None
    insulation_mohm: str | None = None


def entries_of(
    said: Said,
    show: Show,
    alerts: Mapping[str, Alert],
    now: datetime,
    spelt: Callable[[str], str],
    log: Sequence[LogEntry] = (),
) -> tuple[LogEntry, ...]:
    """The log entries that `said` stands for; BadInputError with every fault in it.

    One for a position or a fixture. For an alert: one for its position where it is about all
    that hangs there or only a part of it is done, else one for each of its fixtures.
    `log` is what stands in the log already.
    """
    problems: list[Problem] = []

    def refuse(code: str, name: str, says: str, remedy: str) -> None:
        problems.append(Problem(code, says, remedy, key=spelt(name)))

    places = [p for p in (said.position, said.fixture, said.alert) if p is not None]
    if len(places) != 1:
        refuse(
            "position-or-fixture",
            "position",
            "No place is given." if not places else "More than one place is given.",
            f"Give one of {spelt('position')} ID, {spelt('fixture')} ID and {spelt('alert')} ID.",
        )
    at = now
    alert = alerts.get(said.alert) if said.alert is not None else None
    if alert is not None:
        meant = [p for p in (alert.position, *alert.fixtures) if p is not None]
    else:
        meant = places
    if said.at is not None:
        try:
            at = lately(said.at, show.site.timezone, now)
        except ClockError as fault:
            refuse(fault.code, "at", fault.says, fault.remedy)
        else:
            problems += time_fault(said.entry, at, meant, show, log, now, spelt("at"))
    for name, value, kind, ids in (
        ("position", said.position, "position", show.positions.keys()),
        ("to", said.to, "position", show.positions.keys()),
        ("fixture", said.fixture, "fixture", [f.id for f in show.fixtures]),
        ("alert", said.alert, "alert", alerts.keys()),
    ):
        _known(spelt(name), value, kind, ids, problems)
    if said.entry == "moved" and said.to is None:
        refuse(
            "missing-value",
            "to",
            "Where it was moved to is not said.",
            f"Give {spelt('to')} ID, the position.",
        )
    if said.entry == "inspected" and said.result is None:
        refuse(
            "missing-value",
            "result",
            "What was found is not said.",
            f"Give {spelt('result')} dry, damp, water-inside or not-tested.",
        )
    for name, value, wanted in (("to", said.to, "moved"), ("result", said.result, "inspected")):
        if value is not None and said.entry != wanted:
            refuse(
                "not-for-entry",
                name,
                f"{spelt(name)} is given with {said.entry}.",
                f"Leave it out: it belongs to {wanted}.",
            )
    count = _count(spelt("count"), said.count, problems)
    if count is not None and len(places) == 1:
        key = spelt("count")
        problems += count_fault(
            count, said.position, said.fixture, alert, show, log, at, key, spelt("fixture")
        )
    earth = reading_of(said.earth_ohm, "ohm", spelt("earth_ohm"), problems)
    insulation = reading_of(said.insulation_mohm, "megohm", spelt("insulation_mohm"), problems)
    read = [n for n in READINGS if getattr(said, n) is not None]
    for name in read:
        if said.entry != "inspected":
            refuse(
                "not-for-entry",
                name,
                f"{spelt(name)} is given with {said.entry}.",
                "Leave it out: it belongs to inspected.",
            )
    if alert is not None and alert.position is None and not alert.fixtures:
        refuse(
            "no-work",
            "alert",
            f"Alert {alert.id} is about {alert.kind}; nothing hangs on it.",
            f"Give {spelt('position')} ID or {spelt('fixture')} ID.",
        )
    spots: tuple[tuple[str | None, str | None], ...] = ((said.position, said.fixture),)
    if alert is not None:
        part_done = count is not None and count[0] < count[1]
        if not part_done:
            # All of what it names: that is said of each, not of what else hangs there.
            count = None
        spots = _spots_of(alert, show, part_done=part_done)
    if read and (len(spots) != 1 or spots[0][1] is None):
        refuse(
            "not-one-fixture",
            read[0],
            "A reading is of one fixture, and more than one is meant.",
            f"Give it with {spelt('fixture')} ID, one fixture at a time.",
        )
    if problems:
        raise BadInputError(problems)
    return tuple(
        LogEntry(
            at=at,
            entry=said.entry,
            position=position,
            fixture=fixture,
            count=count,
            to=said.to,
            result=said.result,
            by=said.by,
            note=said.note,
            earth_ohm=earth,
            insulation_mohm=insulation,
        )
        for position, fixture in spots
    )


def as_sent(said: Said) -> dict[str, str | None]:
    """The word as its digest is made of it: what an older monitor did not know is left out
    where it is not given, so that a word sent again after an update is known.
    """
    fields = {f.name: getattr(said, f.name) for f in dataclass_fields(said)}
    return {name: value for name, value in fields.items() if name not in READINGS or value}


def reading_of(text: str | None, unit: str, key: str, problems: list[Problem]) -> float | None:
    """A reading of an inspection as typed ("0.08", "0,08", "250")."""
    if text is None:
        return None
    number = text.strip().replace(",", ".")
    if not NUMBER.fullmatch(number) or not 0.0 <= float(number) <= HIGHEST_READING:
        says = f'{key} is "{text[:_LONGEST_SAID]}".'
        remedy = f"Give a number from 0 to {HIGHEST_READING:g}, in {unit}."
        problems.append(Problem("bad-reading", says, remedy, key=key))
        return None
    return float(number)


def _known(
    key: str, value: str | None, kind: str, ids: Collection[str], problems: list[Problem]
) -> None:
    if value is None or value in ids:
        return
    remedy = suggestion(value, ids) if ids else "None has been raised yet."
    where = "known here" if kind == "alert" else "in the show"
    says = f"{kind} {value[:_LONGEST_SAID]} is not {where}."
    problems.append(Problem(f"unknown-{kind}", says, remedy, key=key))


def _count(key: str, text: str | None, problems: list[Problem]) -> tuple[int, int] | None:
    if text is None:
        return None
    found = _PART_OF.fullmatch(text.strip())
    if found is None or not 1 <= int(found[1]) <= int(found[2]):
        says = f'count is "{text[:_LONGEST_SAID]}".'
        problems.append(Problem("bad-count", says, 'Write it like "3 of 15".', key=key))
        return None
    return int(found[1]), int(found[2])


def _spots_of(
    alert: Alert, show: Show, *, part_done: bool
) -> tuple[tuple[str | None, str | None], ...]:
    """(position, fixture) of each entry, one of the two None."""
    there = {f.id for f in show.fixtures if f.position == alert.position}
    if alert.position is not None and (
        part_done or not alert.fixtures or there <= {*alert.fixtures}
    ):
        return ((alert.position, None),)
    return tuple((None, fixture) for fixture in alert.fixtures)
