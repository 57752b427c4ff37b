"""The text of show.toml with a position or a roof changed: every comment stays where it was.

What is written is read back before it is handed on, and must say what was asked and nothing
else; a file that is written in a way that this cannot keep is refused.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from monitor.domain import BadInputError, Problem

SHOW_FILE = "show.toml"
Section = str
Values = Mapping[str, Any]
"""Key -> value; None: the key is not to stand there"""

_HEADER = re.compile(r"^\s*\[\[?\s*([A-Za-z0-9_.\"' -]+?)\s*\]\]?\s*(?:#.*)?$")


def with_item(text: str, section: Section, name: str, values: Values) -> str:
    """The text with the item `name` of a section saying these values; made where it is not there.

    Keys that are not among the values stay as they are. BadInputError where the file does not
    hold the section as [[tables]].
    """
    before = tomllib.loads(text)
    wanted = _wanted(before, section, name, values)
    if wanted == before:
        return text
    known = any(item.get("id") == name for item in before.get(section, []))
    made = _changed(text, section, name, values) if known else _added(text, section, name, values)
    if not known and (made is None or _read(made) != wanted):
        made = _listed(text, section, name, values)
    if made is None or _read(made) != wanted:
        raise BadInputError(
            [
                Problem(
                    "kept-by-hand",
                    f"{SHOW_FILE} holds [[{section}]] in a way that this page cannot change "
                    "without disturbing the rest of it.",
                    f"Write each as [[{section}]] with a line for each key, or change it by hand.",
                    file=SHOW_FILE,
                )
            ]
        )
    return made


def items(text: str, section: Section) -> list[dict[str, Any]]:
    """The items of a section as they stand in the file, without what is implied."""
    found = tomllib.loads(text).get(section, [])
    return [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []


def item(text: str, section: Section, name: str) -> dict[str, Any] | None:
    """One of them by its id."""
    return next((found for found in items(text, section) if found.get("id") == name), None)


def place_of(text: str, section: Section, name: str) -> str:
    """Where an item stands, as problems of the file name it: `positions[3]`."""
    number = next(n for n, found in enumerate(items(text, section), 1) if found.get("id") == name)
    return f"{section}[{number}]"


def _wanted(before: dict[str, Any], section: Section, name: str, values: Values) -> dict[str, Any]:
    wanted = deepcopy(before)
    found = wanted.setdefault(section, [])
    table = next((item for item in found if item.get("id") == name), None)
    if table is None:
        table = {"id": name}
        found.append(table)
    for key, value in values.items():
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
    return wanted


def _changed(text: str, section: Section, name: str, values: Values) -> str | None:
    document = tomlkit.parse(text)
    found = document[section]
    if not isinstance(found, AoT):
        return None
    table = next(item for item in found if item.get("id") == name)
    for key, value in values.items():
        if value is None:
            table.pop(key, None)
        elif table.get(key) != value:
            _put(table, key, value)
    return tomlkit.dumps(document)


def _put(table: Table, key: str, value: Any) -> None:
    """A value under its key; a new one among the keys, before what is written below them."""
    if key in table:
        table[key] = _as_item(value)
        return
    last = [k for k in table if not isinstance(table[k], (Table, AoT))][-1]
    inner = table.value
    inner._insert_after(last, key, _as_item(value))  # noqa: SLF001 - there is no public way


def _added(text: str, section: Section, name: str, values: Values) -> str | None:
    block = tomlkit.table()
    for key, value in {"id": name, **values}.items():
        if value is not None:
            block.add(key, _as_item(value))
    array = tomlkit.aot()
    array.append(block)
    alone = tomlkit.document()
    alone.add(section, array)
    lines = text.splitlines(keepends=True)
    end = _end_of(lines, section)
    line_end = "\r\n" if "\r\n" in text else "\n"
    new = (tomlkit.dumps(alone).strip("\n") + "\n").replace("\n", line_end)
    head = text if end is None else "".join(lines[:end])
    tail = "" if not head or head.endswith("\n") else line_end
    return f"{head}{tail}{line_end}{new}{text[len(head) :]}"


def _listed(text: str, section: Section, name: str, values: Values) -> str | None:
    """Added as the file has them, where it writes them as a list on one line."""
    document = tomlkit.parse(text)
    found = document.get(section)
    if not isinstance(found, list):
        return None
    found.append({"id": name, **{key: v for key, v in values.items() if v is not None}})
    return tomlkit.dumps(document)


def _end_of(lines: Sequence[str], section: Section) -> int | None:
    """The line after the last key of the last item of a section; comments below it belong to
    what comes next.
    """
    starts = [n for n, line in enumerate(lines) if _named(line) == section]
    if not starts:
        return None
    end = starts[-1] + 1
    for n in range(end, len(lines)):
        named = _named(lines[n])
        if named is not None and not named.startswith(f"{section}."):
            break
        bare = lines[n].strip()
        if bare and not bare.startswith("#"):
            end = n + 1
    return end


def _named(line: str) -> str | None:
    found = _HEADER.match(line.rstrip("\r\n"))
    return None if found is None else found[1]


def _as_item(value: Any) -> Any:
    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        return inline
    return tomlkit.item(value)


def _read(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, TOMLKitError):
        return None
