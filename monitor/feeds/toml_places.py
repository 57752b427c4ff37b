"""Where in a TOML text each key stands; the standard reader does not tell."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

Path = tuple[str | int, ...]

_KEY = re.compile(
    r"""\s*((?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)(?:\s*\.\s*(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+))*)\s*="""
)
_HEAD = re.compile(r"\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
_PART = re.compile(r""""([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+)""")
# Strings (long ones first), comments and brackets: all that matters to where a value ends.
_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"""|'
    r"'''.*?'''|"
    r'"(?:[^"\\\n]|\\.)*"|'
    r"'[^'\n]*'|#[^\n]*|[\[\]{}]|\n",
    re.DOTALL,
)


def toml_places(text: str) -> dict[Path, int]:
    """Line (from 1) of every key and table of a TOML text that parses.

    Keys of an inline table are not listed: they stand on the line of the key that holds it.
    """
    places: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    for line, statement in _statements(text):
        head = _HEAD.match(statement)
        if head:
            name = _parts(head[2])
            table = _resolved(name, counts)
            if head[1] == "[[":
                index = counts.get(table, -1) + 1
                counts[table] = index
                places.setdefault(table, line)
                table = (*table, index)
            places[table] = line
            continue
        key = _KEY.match(statement)
        if key:
            places[(*table, *_parts(key[1]))] = line
    return places


def line_of(places: Mapping[Path, int], path: Iterable[str | int]) -> int | None:
    """The line of `path`, or of the nearest thing around it that has one."""
    at = tuple(path)
    while at:
        if at in places:
            return places[at]
        at = at[:-1]
    return None


def _statements(text: str) -> Iterable[tuple[int, str]]:
    """Line and text of each statement; one with brackets or long strings spans lines."""
    begin, depth, line, first_line = 0, 0, 1, 1
    for token in _TOKEN.finditer(text):
        word = token.group()
        if word == "\n" and depth == 0:
            yield first_line, text[begin : token.start()]
            begin, first_line = token.end(), line + 1
        elif word in ("[", "{"):
            depth += 1
        elif word in ("]", "}"):
            depth -= 1
        line += word.count("\n")
    yield first_line, text[begin:]


def _parts(dotted: str) -> Path:
    return tuple("".join(match) for match in _PART.findall(dotted))


def _resolved(name: Path, counts: Mapping[Path, int]) -> Path:
    """`a.b` where `a` is an array of tables means the `b` of the latest `a`."""
    at: Path = ()
    for position, part in enumerate(name):
        at = (*at, part)
        if at in counts and position < len(name) - 1:
            at = (*at, counts[at])
    return at
