"""The kinds of value a settings file holds, each refused in its own way when it is wrong.

A refusal is raised as a PydanticCustomError whose type names the fault; `explain` turns it
into a sentence. No value ever stands in the error itself.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

if TYPE_CHECKING:
    from collections.abc import Mapping

NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)

LONGEST_TEXT = 200
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u2028\u2029]")
_ID = re.compile(r"\w[\w.+-]{0,59}")


def hyphenated(text: str) -> str:
    """Small letters, several words joined by hyphens: "Lowered truss" is lowered-truss."""
    return re.sub(r"[\s_-]+", "-", text.strip()).lower()


@dataclass(frozen=True, slots=True)
class Between:
    """A number from `low` to `high`; `above` excludes `low` itself, `whole` asks for a count."""

    low: float
    high: float
    above: bool = False
    whole: bool = False

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.check, handler(source))

    def check(self, value: object) -> float:
        """The number itself, or the fault."""
        if isinstance(value, str) and NUMBER.fullmatch(value.strip()):
            value = float(value)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise PydanticCustomError("number", "not a number")
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        too_low = number <= self.low if self.above else number < self.low
        if math.isnan(number) or too_low or number > self.high:
            raise PydanticCustomError("range", "out of range", {"range": self.words})
        if self.whole:
            if number != int(number):
                raise PydanticCustomError("whole", "not a whole number")
            return int(number)
        return number

    @property
    def words(self) -> str:
        """The range in words: "above 0, at most 30"."""
        if self.above:
            return f"above {self.low:g}, at most {self.high:g}"
        return f"from {self.low:g} to {self.high:g}"


class OneOf:
    """One of some words; a mapping says what each stands for."""

    def __init__(self, *names: str, standing_for: Mapping[str, str] | None = None) -> None:
        self.names = names
        self._by_word = {hyphenated(n): n for n in names}
        self._by_word.update((hyphenated(k), v) for k, v in (standing_for or {}).items())
        self.shown = (*(standing_for or {}), *names)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.check, handler(source))

    def check(self, value: object) -> str:
        """The word in its standard form, or the fault."""
        if isinstance(value, str) and hyphenated(value) in self._by_word:
            return self._by_word[hyphenated(value)]
        raise PydanticCustomError("choice", "not one of them", {"names": self.shown})


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise PydanticCustomError("text", "not text")
    stripped = value.strip()
    if not stripped:
        raise PydanticCustomError("empty", "empty")
    if len(stripped) > LONGEST_TEXT or _CONTROL.search(stripped):
        raise PydanticCustomError("line", "not one line of text")
    return stripped


def _identifier(value: object) -> str:
    joined = re.sub(r"\s+", "-", _text(value))
    if not _ID.fullmatch(joined):
        raise PydanticCustomError("id", "not an id")
    return joined


def _zone(value: object) -> ZoneInfo:
    if isinstance(value, ZoneInfo):
        return value
    name = _text(value)
    if name not in available_timezones():
        raise PydanticCustomError("zone", "not a time zone")
    return ZoneInfo(name)


def _stamp(value: object) -> str:
    """A time as text: site time is not known yet when the file is read."""
    if isinstance(value, str | datetime):
        return value.isoformat() if isinstance(value, datetime) else _text(value)
    raise PydanticCustomError("stamp", "not a time")


def _several(value: object) -> object:
    """A list; one value alone is a list of one."""
    return value if isinstance(value, list | tuple) else (value,)


Text = Annotated[str, BeforeValidator(_text)]
Identifier = Annotated[str, BeforeValidator(_identifier)]
Zone = Annotated[ZoneInfo, BeforeValidator(_zone)]
Stamp = Annotated[str, BeforeValidator(_stamp)]
Several = BeforeValidator(_several)
