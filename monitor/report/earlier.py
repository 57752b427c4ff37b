"""Exposure from show to show: what the same serials took before, as sealed reports have it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from pydantic import ValidationError

from monitor.domain import BadInputError, Problem
from monitor.feeds.strict_json import parse_json
from monitor.report.record import FORMAT, Record
from monitor.report.record_units import Carried, EarlierShow, Unit
from monitor.report.seal import seal_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from monitor.report.material import Material

_MOST_TOLD = 5
_ASK = "Ask whoever made it for the file as it was written."


def serial_key(serial: str | None) -> str | None:
    """What tells one serial from another: how it is spaced or cased does not."""
    folded = "".join((serial or "").split()).casefold()
    return folded or None


def read_earlier(files: Mapping[str, bytes]) -> tuple[Record, ...]:
    """The reports of earlier shows, by the names of their files, in the order they ended.

    Raises BadInputError with every file that does not hold: its own hash, its form, or the
    history it was made of; and for a rehearsal, in which nothing took anything.
    """
    problems: list[Problem] = []
    found: dict[str, Record] = {}
    for name, content in files.items():
        record = _read(name, content, problems)
        if record is not None:
            found.setdefault(record.report_sha256, record)
    if problems:
        raise BadInputError(problems)
    return tuple(sorted(found.values(), key=lambda r: (r.period.ends_at, r.report_sha256)))


def _read(name: str, content: bytes, problems: list[Problem]) -> Record | None:
    def refuse(code: str, says: str, remedy: str) -> None:
        problems.append(Problem(code, says, remedy, file=name, key="--earlier"))

    try:
        data = parse_json(content)
    except ValueError as fault:
        refuse("not-a-report", f"{name} is no report.json: {fault}.", _ASK)
        return None
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        refuse("not-a-report", f"{name} does not say that it is {FORMAT}.", _ASK)
        return None
    seal = seal_of(content)
    if seal is None or seal[0] != seal[1]:
        refuse(
            "report-altered",
            f"{name} was altered after it was written: its hash is not the one that it says.",
            _ASK,
        )
        return None
    try:
        record = Record.model_validate_json(content)
    except ValidationError as fault:
        for error in fault.errors()[:_MOST_TOLD]:
            where = ".".join(map(str, error["loc"]))
            refuse("report-form", f"{name}, {where}: {error['msg']}.", _ASK)
        return None
    if record.rehearsed:
        refuse(
            "report-rehearsed",
            f"{name} is of a rehearsal: nothing in it happened.",
            "Give reports of shows that were watched.",
        )
    elif not record.chain.verified:
        refuse(
            "report-unverified",
            f"The history that {name} was made of did not hold: {record.chain.says}",
            "Make that report again from a copy of its database that holds.",
        )
    else:
        return record
    return None


def overlapping(material: Material) -> tuple[Problem, ...]:
    """Earlier reports that would be counted twice: of this show, or of one show for one time."""
    found: list[Problem] = []
    here = _here(material)
    spans = [(_show(r), _spoken(r)) for r in material.earlier]
    for show, says in spans:
        if show == here:
            found.append(
                Problem(
                    "report-of-this-show",
                    f"The report of {says} is of this show: what it took would count twice.",
                    "Leave it out: this report begins at load-in.",
                    key="--earlier",
                )
            )
    for show, times in Counter(show for show, _ in spans).items():
        if times > 1 and show != here:
            says = next(says for other, says in spans if other == show)
            found.append(
                Problem(
                    "report-twice",
                    f"{times} reports are of one show ({says}): what it took would count twice.",
                    "Give the last of them alone: each counts from load-in.",
                    key="--earlier",
                )
            )
    return tuple(found)


def _here(material: Material) -> tuple[float, float, object]:
    site, since = material.show.site, material.show.event.load_in_at.replace(microsecond=0)
    return round(site.latitude, 6), round(site.longitude, 6), since


def _show(record: Record | EarlierShow) -> tuple[float, float, object]:
    """What tells one show from another."""
    if isinstance(record, EarlierShow):
        return round(record.latitude, 6), round(record.longitude, 6), record.load_in_at
    site = record.site
    return round(site.latitude, 6), round(site.longitude, 6), site.load_in_at


def _spoken(record: Record) -> str:
    return f"{record.site.name}, {record.period.ends_at:%d.%m.%Y}"


def earlier_shows(material: Material) -> tuple[EarlierShow, ...]:
    """Every show that is carried on, those that an earlier report carried on included."""
    found: dict[str, EarlierShow] = {}
    for record in material.earlier:
        for show in (*record.earlier, _as_earlier(record)):
            found.setdefault(show.report_sha256, show)
    here = _here(material)
    kept = [show for show in _without_twice(found.values()) if _show(show) != here]
    return tuple(sorted(kept, key=lambda s: (s.ends_at, s.report_sha256)))


def _as_earlier(record: Record) -> EarlierShow:
    return EarlierShow(
        report_sha256=record.report_sha256,
        title=record.title,
        site=record.site.name,
        latitude=record.site.latitude,
        longitude=record.site.longitude,
        load_in_at=record.site.load_in_at,
        begins_at=record.period.begins_at,
        ends_at=record.period.ends_at,
        chain_head=record.chain.head,
    )


def _without_twice(shows: Iterable[EarlierShow]) -> list[EarlierShow]:
    """Of several reports of one show the one that goes furthest: each counts from load-in."""
    last: dict[object, EarlierShow] = {}
    for show in sorted(shows, key=lambda s: (s.ends_at, s.report_sha256)):
        last[_show(show)] = show
    return list(last.values())


def carried_by_id(material: Material) -> dict[str, tuple[Carried, ...]]:
    """What each fixture's serial took before, by the fixture's id here, oldest show first."""
    order = [show.report_sha256 for show in earlier_shows(material)]
    by_serial: dict[str, dict[tuple[str, str], Carried]] = {}
    for record in material.earlier:
        for unit in record.units:
            key = serial_key(unit.serial)
            if key is None:
                continue
            mine = by_serial.setdefault(key, {})
            for one in (*unit.carried, _as_carried(record, unit)):
                mine.setdefault((one.report_sha256, one.id), one)
    return {
        fixture.id: _in_order(by_serial.get(serial_key(fixture.serial) or "", {}).values(), order)
        for fixture in material.show.fixtures
    }


def _in_order(taken: Iterable[Carried], order: Sequence[str]) -> tuple[Carried, ...]:
    known = [one for one in taken if one.report_sha256 in order]
    return tuple(sorted(known, key=lambda one: (order.index(one.report_sha256), one.id)))


def _as_carried(record: Record, unit: Unit) -> Carried:
    return Carried(
        report_sha256=record.report_sha256,
        id=unit.id,
        used_total=unit.used_total,
        wetting_mm=unit.wetting_mm,
        wet_hours=unit.wet_hours,
        damp_hours=unit.damp_hours,
        dusty_hours=unit.dusty_hours,
        unknown_hours=unit.unknown_hours,
    )
