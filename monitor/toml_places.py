"""Where in a TOML text each key and list item stands; the standard reader does not tell.

Pure, and only for text that the standard reader has taken: it is not a second judge.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

Path = tuple[str | int, ...]
"""A way into the document: keys, and for items of a list their number from 0."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}(?!")|'
    r"'''.*?'{3,5}(?!')|"
    r'"(?:[^"\\\n]|\\.)*"|'
    r"'[^'\n]*'",
    re.DOTALL,
)
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_SCALAR = re.compile(r"[^,\]}#\n]+")


def toml_places(text: str) -> dict[Path, int]:
    """Line (from 1) of every key, table and list item, those of inline tables too."""
    return _Scan(text).places


def line_of(places: Mapping[Path, int], path: Iterable[str | int]) -> int | None:
    """The line of `path`, or of the nearest thing around it that has one."""
    at = tuple(path)
    while at:
        if at in places:
            return places[at]
        at = at[:-1]
    return None


class _Scan:
    def __init__(self, text: str) -> None:
        self.text = text
        self.places: dict[Path, int] = {}
        self._breaks = [found.start() for found in re.finditer("\n", text)]
        self._counts: dict[Path, int] = {}
        self._at = 0
        table: Path = ()
        self._skip(_BLANK)
        while self._at < len(text):
            if text[self._at] == "[":
                table = self._heading()
            else:
                self._pair(table)
            self._skip(_BLANK)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self._at)
        if found is None:
            raise ValueError("this text is not TOML")
        self._at = found.end()
        return found.group()

    def _mark(self, path: Path, at: int) -> None:
        self.places.setdefault(path, bisect_left(self._breaks, at) + 1)

    def _heading(self) -> Path:
        begin = self._at
        of_list = self.text.startswith("[[", begin)
        self._at += 2 if of_list else 1
        name = self._key()
        self._at += 2 if of_list else 1
        path: Path = ()
        for depth, part in enumerate(name, start=1):
            path = (*path, part)
            self._mark(path, begin)
            # [a.b] after [[a]] is the b of the latest a
            if path in self._counts and depth < len(name):
                path = (*path, self._counts[path])
        if of_list:
            self._counts[path] = self._counts.get(path, -1) + 1
            path = (*path, self._counts[path])
            self._mark(path, begin)
        return path

    def _key(self) -> Path:
        parts: list[str] = []
        while True:
            self._skip(_SPACE)
            if self.text[self._at] in "\"'":
                parts.append(tomllib.loads(f"k = {self._skip(_STRING)}")["k"])
            else:
                parts.append(self._skip(_BARE))
            self._skip(_SPACE)
            if self.text[self._at] != ".":
                return tuple(parts)
            self._at += 1

    def _pair(self, table: Path) -> None:
        begin = self._at
        path = table
        for part in self._key():
            path = (*path, part)
            self._mark(path, begin)
        self._at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: Path) -> None:
        first = self.text[self._at]
        if first == "[":
            self._list(path)
        elif first == "{":
            self._inline(path)
        else:
            self._skip(_STRING if first in "\"'" else _SCALAR)

    def _list(self, path: Path) -> None:
        self._at += 1
        index = 0
        while True:
            self._skip(_BLANK)
            if self.text[self._at] == "]":
                break
            self._mark((*path, index), self._at)
            self._value((*path, index))
            index += 1
            self._skip(_BLANK)
            if self.text[self._at] == ",":
                self._at += 1
        self._at += 1

    def _inline(self, path: Path) -> None:
        self._at += 1
        while True:
            self._skip(_BLANK)
            if self.text[self._at] == "}":
                break
            self._pair(path)
            self._skip(_BLANK)
            if self.text[self._at] == ",":
                self._at += 1
        self._at += 1
