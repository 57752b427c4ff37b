"""Every word of the page that a person reads, said in the language of who looks.

English stands in the code and is its own key. Another language is a mapping from it, read
from its catalogue by `monitor.page.languages`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

JOIN = "\N{NO-BREAK SPACE}"
"""Between a number and its unit, a day and its hour: they stay on one line"""


def later(text: str) -> str:
    """A word that is said where it is used: marks it for the catalogue, and no more."""
    return text


def one_or_more(count: int) -> int:
    """Which text is for so many, in English and in German."""
    return int(count != 1)


@dataclass(frozen=True, slots=True)
class Words:
    """One language. A text that it does not have is said in English."""

    language: str = "en"
    texts: Mapping[str, str] = field(default_factory=dict)
    """English text -> text"""
    counted: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """English text for one -> texts, in the order of `form`"""
    form: Callable[[int], int] = one_or_more
    """Which of the texts is for so many"""
    point: str = "."
    """Before the decimals of a number"""

    def say(self, text: str, **values: Any) -> str:
        """The text with `{name}` filled in."""
        said = self.texts.get(text) or text
        return said.format(**values) if values else said

    def several(self, one: str, more: str, count: int, **values: Any) -> str:
        """The text for one or for more, with `{count}` and the rest filled in."""
        forms = self.counted.get(one)
        said = (one, more)[one_or_more(count)] if forms is None else forms[self.form(count)]
        return said.format(count=count, **values)

    def has(self, text: str) -> bool:
        """Whether it says this text in its own language."""
        return self.language == "en" or text in self.texts

    def number(self, written: str) -> str:
        """A number as Python writes it, with this language's decimal mark."""
        return written.replace(".", self.point)
