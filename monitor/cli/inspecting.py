"""`dryspell inspect` and `dryspell results`: what to look at after rain, and what was found."""

from __future__ import annotations

import csv
import io
import textwrap
from collections import Counter
from contextlib import closing
from itertools import groupby
from typing import TYPE_CHECKING, Any

import click

from monitor.cli.exit_codes import ATTENTION
from monitor.cli.surroundings import (
    DATABASE,
    environ,
    json_option,
    now,
    read,
    show_option,
)
from monitor.cli.writing import tell, write_file, write_json
from monitor.domain import UnableError
from monitor.planning.inspection import IN_ORDER, percent, share
from monitor.planning.tested import WHO_DECIDES, beyond, compared
from monitor.report.csv_files import neutral
from monitor.service.after_rain import OPENS_NOTHING, until, waiting_now
from monitor.service.inspected import inspections
from monitor.store.database import open_database
from monitor.units import iso_utc, to_epoch

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from monitor.domain import Show
    from monitor.planning.inspection import Inspect
    from monitor.planning.tested import Tested
    from monitor.service.after_rain import Waiting
    from monitor.service.inspected import Inspected

QUEUE_SCHEMA = "dryspell.inspect/1"
WIDTH = 79
_INDENT = " " * 5
_WORTH_SAYING_H = 0.5
"""Less unknown time than this changes no order [h]."""

RAW = (
    "Raw material for learning what gear stands, not a finding: what is inspected is not chosen "
    "by chance."
)


@click.command("inspect")
@json_option
@show_option
def inspect(json_file: str | None, folder: Path) -> int:
    """List what to look at after rain, in order: what was seen wet, then worst used first.

    It stays on the list until it is logged as inspected with result dry.
    """
    found = read(folder)
    at = now()
    with closing(history(folder)) as db:
        waiting = waiting_now(db, found, environ(), at)
    tell(_queue(waiting, found.show), json_file)
    known = waiting.weather_known
    data = {
        "schema": QUEUE_SCHEMA,
        "at": iso_utc(at),
        "weather_known": known,
        "unknown_hours": round(waiting.unknown_hours, 2) if known else None,
        "queue": [_as_json(item, known=known) for item in waiting.queue],
    }
    write_json(data, json_file)
    return 0 if known else ATTENTION


@click.command("results")
@click.option("--csv", "csv_file", metavar="FILE", help="Also write one row an inspection.")
@show_option
def results(csv_file: str | None, folder: Path) -> int:
    """Say what the inspections found, by type and code, and what the gear had taken by then."""
    found = read(folder)
    at = now()
    with closing(history(folder)) as db:
        rig, log, weather = until(db, found, environ(), at)
    out_from = to_epoch(found.show.event.load_in_at)
    rows = inspections(rig, weather, log, out_from)
    tell(_by_type(rows))
    if csv_file is not None:
        write_file(_csv(rows, found.show), csv_file)
        tell([f"Wrote {csv_file}."])
    return 0


def history(folder: Path) -> Any:
    """The database of a watched show; UnableError where there is none."""
    path = folder / DATABASE
    if not path.exists():
        raise UnableError(
            f"There is no {DATABASE} in {folder}: nothing has been watched or logged there yet.",
            "Give the folder of a show that was watched or logged.",
        )
    return open_database(path)


# ---------------------------------------------------------------- the queue


_NOT_KNOWN = (
    "The weather since the gear went out is not known here: nothing below tells what rain did. "
    "Look at everything that was out. The watch (dryspell run) reads the weather."
)


def _queue(listed: Waiting, show: Show) -> Iterator[str]:
    waiting, known = listed.queue, listed.weather_known
    if not known:
        yield from _wrapped(_NOT_KNOWN, "")
    elif listed.unknown_hours >= _WORTH_SAYING_H:
        yield from _wrapped(
            f"At least: for {max(listed.unknown_hours, 1):.0f} h of the time out no rain was "
            "known.",
            "",
        )
    if not waiting:
        yield (
            "Nothing stands in the inspection queue on these figures. Look all the same."
            if known
            else "Nothing that is logged asks for an inspection."
        )
        return
    needed = sum(item.count for item in waiting if item.needed)
    yield from _wrapped(
        f"{_pieces(sum(item.count for item in waiting))} to look at, in this order; {needed} of "
        "them before they are used again.",
        "",
    )
    for number, (_, same) in enumerate(groupby(waiting, _alike), 1):
        yield ""
        yield from _item(number, list(same), show, known=known)
    yield ""
    yield "With each, in order, and no further where one fails:"
    for number, step in enumerate(IN_ORDER, 1):
        yield from _wrapped(f"{number}. {step}.", "")
    yield from _wrapped(f"{WHO_DECIDES} Only a result of dry takes it off this list.", "")
    yield from _wrapped(OPENS_NOTHING, "")


def _alike(item: Inspect) -> tuple[object, ...]:
    """What is said in the same words is said once; readings are each fixture's own."""
    own = item.fixture if item.baseline is not None else ""
    return (item.position, item.what, percent(item.used), item.why, item.needed, own)


def _item(number: int, same: Sequence[Inspect], show: Show, *, known: bool) -> Iterator[str]:
    first = same[0]
    count = sum(item.count for item in same)
    place = show.positions[first.position].name
    used = f"{percent(first.used)}%" if first.used < 10.0 else f"{int(first.used)}x"
    used = used if known else "?"
    line = f"{number:3d}  {used:>5}  {place[:24]:<24}  {count} {first.what}"
    # The code comes last: a long type breaks the line and cuts nothing off.
    yield from textwrap.wrap(line, WIDTH, subsequent_indent=" " * 40)
    yield from _wrapped(", ".join(item.fixture for item in same))
    yield from _wrapped("; ".join(why for why in first.why if not why.startswith("used ")))
    yield from _wrapped(f"isolate at {first.isolate_at}" if first.isolate_at else "")
    latest = first.last or first.baseline
    if latest is not None:
        yield from _wrapped(compared(latest, first.baseline if first.last else None))
        yield from _wrapped("; ".join(beyond(latest.earth_ohm, latest.insulation_mohm)))


def _wrapped(text: str, indent: str = _INDENT) -> Iterator[str]:
    yield from textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _pieces(count: int) -> str:
    return "1 fixture" if count == 1 else f"{count} fixtures"


def _as_json(item: Inspect, *, known: bool) -> dict[str, Any]:
    return {
        "fixture": item.fixture,
        "position": item.position,
        "count": item.count,
        "what": item.what,
        "used": round(item.used, 4) if known else None,
        "seen_wet": item.seen_wet,
        "water_inside": item.water_inside,
        "needed": item.needed,
        "why": list(item.why),
        "isolate_at": item.isolate_at,
        "do": list(item.do),
        "baseline": _tested(item.baseline),
        "last": _tested(item.last),
    }


def _tested(tested: Tested | None) -> dict[str, Any] | None:
    if tested is None:
        return None
    return {
        "at": iso_utc(tested.at),
        "earth_ohm": tested.earth_ohm,
        "insulation_mohm": tested.insulation_mohm,
        "result": tested.result,
        "by": tested.by,
        "at_load_in": tested.at_load_in,
    }


# ---------------------------------------------------------------- what was found


def _by_type(rows: Sequence[Inspected]) -> Iterator[str]:
    if not rows:
        yield "No inspection is logged."
        return
    yield f"{'TYPE, CODE':<34}{'LOOKED AT':>9}  USED THEN"
    ordered = sorted(rows, key=_type_of)
    for (type_, code), same in groupby(ordered, _type_of):
        found = list(same)
        what = _cut(f"{type_ or 'no type'}, {code}", 33)
        yield f"{what:<34}{len(found):>9}  {_used(found)}"
        said = Counter(_result(row) for row in found)
        yield from _wrapped(", ".join(f"{n} {result}" for result, n in said.most_common()))
        mm = [row.wetting_mm for row in found]
        water = _span(f"{min(mm):.1f} mm", f"{max(mm):.1f} mm")
        yield from _wrapped(f"water on them by then: {water}")
    yield ""
    if not all(row.known for row in rows):
        yield from _wrapped("Of some, not all weather is known: their sums leave it out.", "")
    yield from _wrapped(RAW, "")


def _result(row: Inspected) -> str:
    """As logged; what was found of some only is found of some only."""
    in_part = row.part is not None and row.part[0] < row.part[1]
    return f"{row.result or 'no result'}{' in part' if in_part else ''}"


def _type_of(row: Inspected) -> tuple[str, str]:
    return (row.type or "", row.code)


def _used(rows: Sequence[Inspected]) -> str:
    used = [row.used for row in rows]
    return _span(share(min(used)), share(max(used)))


def _span(least: str, most: str) -> str:
    return least if least == most else f"{least} to {most}"


def _cut(text: str, room: int) -> str:
    return text if len(text) <= room else f"{text[: room - 3]}..."


_HEADER = (
    "at", "fixture", "type", "code", "condition", "position", "count", "part", "result", "used",
    "wetting_mm", "wet_hours", "covered_hours", "earth_ohm", "insulation_mohm", "weather_known",
)  # fmt: skip


def _csv(rows: Iterable[Inspected], show: Show) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_HEADER)
    for row in rows:
        part = "" if row.part is None else f"{row.part[0]} of {row.part[1]}"
        cells = (
            row.at.astimezone(show.site.timezone).isoformat(timespec="minutes"), row.fixture,
            row.type, row.code, row.condition, row.position, row.count, part, row.result,
            round(row.used, 4), round(row.wetting_mm, 2), round(row.wet_hours, 2),
            round(row.covered_hours, 2), row.earth_ohm, row.insulation_mohm,
            "yes" if row.known else "no",
        )  # fmt: skip
        writer.writerow(
            ["" if c is None else neutral(c) if isinstance(c, str) else c for c in cells]
        )
    return out.getvalue().encode("utf-8")
