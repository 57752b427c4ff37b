"""An import in words: what would be written, what stays, what is left out, what is asked."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import Any

from monitor.imports.drawn import Ask
from monitor.imports.proposal import NewRow, Proposal

_WIDTH = 79
_LISTED = 12
"""So many ids are named of fixtures that are all alike."""


def in_words(found: Proposal, *, written: bool) -> Iterator[str]:
    """The whole of it, for a terminal."""
    said = "Written" if written else "Would be written"
    count = len(found.rows)
    yield (
        f"{found.source}: {said.lower()} {_some(len(found.positions), 'new position')} and "
        f"{_some(count, 'fixture')}."
    )
    yield from _positions(found)
    yield from _part("Fixtures", _fixtures(found.rows))
    yield from _part("Of that name in the show already, left as they are", found.there)
    yield from _part("Left out until it is answered", _left_out(found))
    yield from _part("Asked, and needed", _asked(a for a in found.asks if a.needed))
    yield from _part("Asked, and worth saying", _asked(a for a in found.asks if not a.needed))
    yield from _part("Taken so", (f"{note.says} {note.remedy}".strip() for note in found.notes))


def as_json(found: Proposal, *, written: bool) -> dict[str, Any]:
    """The same for a program."""
    return {
        "source": found.source,
        "written": written,
        "positions": [dict(position.values) for position in found.positions],
        "fixtures": [dict(row.cells) for row in found.rows],
        "there_already": list(found.there),
        "left_out": [{**row.cells, "waits_for": why} for row, why in found.left_out],
        "asks": [
            {
                "ask": ask.kind,
                "of": ask.of,
                "says": ask.says,
                "remedy": ask.remedy,
                "where": ask.where,
                "needed": ask.needed,
            }
            for ask in found.asks
        ],
        "notes": [f"{note.says} {note.remedy}".strip() for note in found.notes],
    }


def _part(title: str, lines: Iterable[str]) -> Iterator[str]:
    each = list(lines)
    if not each:
        return
    yield ""
    yield title
    for line in each:
        yield from textwrap.wrap(
            line, _WIDTH, initial_indent="  ", subsequent_indent="      ", break_on_hyphens=False
        )


def _positions(found: Proposal) -> Iterator[str]:
    lines = []
    for position in found.positions:
        said = ", ".join(
            f"{key} {value:g}" if isinstance(value, float) else f"{key} {value}"
            for key, value in position.values.items()
            if key not in ("id", "name")
        )
        lines.append(f'{position.id} "{position.name}": {said}')
    yield from _part("New positions", lines)


def _fixtures(rows: Iterable[NewRow]) -> Iterator[str]:
    """Those that are alike in all but their id stand together."""
    alike: dict[str, list[str]] = {}
    for row in rows:
        alike.setdefault(_described(row), []).append(row.id)
    for what, ids in alike.items():
        yield f"{len(ids)} x {what}: {_listed(ids)}"


def _described(row: NewRow) -> str:
    height = row.cells.get("height_m")
    parts = (
        row.cells.get("type") or row.cells.get("name") or "fixture",
        row.cells["code"],
        row.cells["position"],
        f"{float(height):.2f} m" if height else "",
        row.says,
    )
    return ", ".join(part for part in parts if part)


def _listed(ids: list[str]) -> str:
    more = f" and {len(ids) - _LISTED} more" if len(ids) > _LISTED else ""
    return f"{', '.join(ids[:_LISTED])}{more}"


def _left_out(found: Proposal) -> Iterator[str]:
    waiting: dict[tuple[str, str], list[str]] = {}
    for row, why in found.left_out:
        waiting.setdefault((_described(row), why), []).append(row.id)
    for (what, why), ids in waiting.items():
        yield f"{len(ids)} x {what}: {_listed(ids)}; waiting for {why}"


def _asked(asks: Iterable[Ask]) -> Iterator[str]:
    """One question for all it is asked of."""
    same: dict[tuple[str, str], list[Ask]] = {}
    for ask in asks:
        same.setdefault((ask.kind, ask.remedy), []).append(ask)
    for (kind, remedy), each in same.items():
        about = "; ".join(f"{ask.of} ({ask.says})" if ask.says else ask.of for ask in each)
        yield f"{kind}: {remedy} For {about}."


def _some(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
