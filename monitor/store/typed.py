"""What people type, without the marks that nobody sees.

A phone's keyboard sets some of its own accord: between the parts of an emoji, beside letters
that run the other way. Others make two names of what reads as one, or a name of nothing.
"""

from __future__ import annotations

import re

_UNSEEN = re.compile(
    "["
    "\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u3164\uffa0"  # letters and marks without ink
    "\u2800"  # a braille cell without dots
    "\u00ad\u200b-\u200f\u2060-\u2064\ufeff"  # joiners, breaks, marks of direction
    "\ufe00-\ufe0f\U000e0100-\U000e01ef"  # which of two looks a sign has
    "]"
)
_UNKNOWN = "\ufffd"


def without_unseen(text: str) -> str:
    """The text without them. What turns the letters around it is left, to be refused."""
    return _UNSEEN.sub("", text)


def as_typed(text: str) -> str:
    """A remark on one line; a sign that is not known here, such as a new emoji, stands as one
    that says so: a word of the crew is not lost for it.
    """
    line = " ".join(without_unseen(text).split())
    return "".join(c if c.isprintable() else _UNKNOWN for c in line)
