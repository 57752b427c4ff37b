"""show.toml with positions added: every comment and every other line stays as it is."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import tomlkit

from monitor.domain import BadInputError, Problem
from monitor.show.findings import SHOW_FILE
from monitor.toml_places import toml_places

if TYPE_CHECKING:
    from tomlkit.items import Table

Values = Mapping[str, str | float]


def with_positions(text: str, positions: Sequence[Values]) -> str:
    """The text with `positions` behind the last one, read back and held against what is meant."""
    if not positions:
        return text
    wanted = tomllib.loads(text)
    wanted["positions"] = [*wanted.get("positions", []), *(dict(p) for p in positions)]
    made = _inserted(text, positions)
    if not _says(made, wanted):
        made = _appended(text, positions)
    if not _says(made, wanted):
        raise BadInputError(
            [
                Problem(
                    "kept-by-hand",
                    f"{SHOW_FILE} holds its positions in a way that cannot be added to without "
                    "disturbing the rest of it.",
                    "Write each as [[positions]] with a line for each key.",
                    file=SHOW_FILE,
                )
            ]
        )
    return made


def _inserted(text: str, positions: Sequence[Values]) -> str:
    """As [[positions]] right behind the last; comments below it belong to what comes next."""
    end = "\r\n" if "\r\n" in text else "\n"
    block = tomlkit.aot()
    for values in positions:
        block.append(_table(values))
    document = tomlkit.document()
    document.add("positions", block)
    new = tomlkit.dumps(document).strip("\n").split("\n")
    lines = text.split("\n")
    lines = [f"{line}\n" for line in lines[:-1]] + lines[-1:] * bool(lines[-1])
    at = _below(text, lines)
    before = "".join(lines[:at])
    gap = "" if not before or before.endswith("\n") else end
    return f"{before}{gap}{end}{end.join(new)}{end}{''.join(lines[at:])}"


def _below(text: str, lines: Sequence[str]) -> int:
    """The number of lines up to the last one of the last position."""
    places = toml_places(text)
    own = [line for path, line in places.items() if path[:1] == ("positions",)]
    if not own:
        return len(lines)
    after = [line for line in places.values() if line > max(own)]
    at = min(after) - 1 if after else len(lines)
    # Back over the header of what comes next, the comments that introduce it and blank lines.
    while at > max(own) and lines[at - 1].strip()[:1] in ("", "#", "["):
        at -= 1
    return at


def _appended(text: str, positions: Sequence[Values]) -> str:
    """As the file has them, for one that writes them as a list on one line."""
    document = tomlkit.parse(text)
    found = document.get("positions")
    if not isinstance(found, list):
        return text
    for values in positions:
        found.append(dict(values))
    return tomlkit.dumps(document)


def _table(values: Values) -> Table:
    table = tomlkit.table()
    for key, value in values.items():
        table.add(key, value)
    return table


def _says(text: str, wanted: object) -> bool:
    try:
        return tomllib.loads(text) == wanted
    except tomllib.TOMLDecodeError:
        return False
