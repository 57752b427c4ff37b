"""Every word of the page that a person reads, said in the language of who looks.

English stands in the code and is its own key. Another language is a mapping from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


def later(text: str) -> str:
    """A word that is said where it is used: marks it for the catalogue, and no more."""
    return text


@dataclass(frozen=True, slots=True)
class Words:
    """One language. A text that it does not have is said in English."""

    language: str = "en"
    texts: Mapping[str, str] = field(default_factory=dict)
    """English text -> text"""
    counted: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """English text for one -> texts for one and for more"""

    def say(self, text: str, **values: Any) -> str:
        """The text with `{name}` filled in."""
        said = self.texts.get(text) or text
        return said.format(**values) if values else said

    def several(self, one: str, more: str, count: int, **values: Any) -> str:
        """The text for one or for more, with `{count}` and the rest filled in."""
        forms = self.counted.get(one) or (one, more)
        return forms[0 if count == 1 else -1].format(count=count, **values)
