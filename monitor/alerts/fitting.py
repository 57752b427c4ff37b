"""Words made to fit one text message: plain characters, whole words, places shortened first."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

from monitor.alerts import words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.domain import Alert

LONGEST = 160
WORTH_READING = 24
"""A reason cut shorter than this tells nothing."""
LONGEST_CUT_OFF = 40
"""Characters the name of the cut-off may take from that of the place."""

_ADORNS = frozenset(
    {
        *("a", "an", "the", "of", "by", "at", "in", "on", "to", "and"),
        *("big", "large", "great", "grand", "small", "little", "long", "short", "tall"),
        *("old", "new", "main", "beautiful", "historic", "royal", "temporary", "permanent"),
        *("wooden", "white", "black", "red", "green", "blue", "yellow", "so-called"),
    }
)
"""Words of a place that tell no two places apart often enough to be said on a radio. Left and
right, upper and lower, front and back, north and south are kept whatever the room.
"""
_UNACCENTED = {
    "ß": "ss",
    "æ": "ae",
    "Æ": "AE",
    "ø": "o",
    "Ø": "O",
    "œ": "oe",
    "Œ": "OE",
    "đ": "d",
    "Đ": "D",
    "ł": "l",
    "Ł": "L",
    "ı": "i",
    "þ": "th",
    "Þ": "Th",
    "ð": "d",
    "°": " deg",
    "×": "x",
    "–": "-",
    "—": "-",
    "‐": "-",
    "‑": "-",
    "−": "-",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "`": "'",
    # in the text-message alphabet these cost two characters, or are missing
    "[": "(",
    "]": ")",
    "{": "(",
    "}": ")",
    "~": "-",
    "|": "/",
    "\\": "/",
    "^": "",
}


def plain(text: str) -> str:
    """`text` in characters that any text message carries at one character each."""
    opened = "".join(_UNACCENTED.get(c, c) for c in words.one_line(text))
    bare = unicodedata.normalize("NFKD", opened)
    spelled = "".join(_UNACCENTED.get(c, c) for c in bare)
    return " ".join("".join(c for c in spelled if " " <= c <= "~" and c not in "^`").split())


def plain_place(alert: Alert) -> str:
    """The place in plain characters; a name in another script falls back to its id."""
    for name in (alert.facts.position_name, alert.position or "", alert.facts.site_name):
        said = plain(name)
        if any(c.isalnum() for c in said):
            return said
    return "the place in the mail"


def fit(head: str, where: str, tail: str, optional: Iterable[str] = (), last: str = "") -> str:
    """`head` + `where` + `tail` within the limit, `where` shortened to what is left; then what
    of `optional` has room, in order; then as much of `last` as makes sense by itself.
    """
    head, tail = plain_keeping_ends(head), plain_keeping_ends(tail)
    said = head + shorter_place(where, LONGEST - len(head) - len(tail)) + tail
    for more in optional:
        if more and len(said) + 1 + len(more) <= LONGEST:
            said = f"{said} {more}"
    whole = clauses(last, LONGEST - len(said) - 1)
    return f"{said} {whole}" if whole else said


def shorter_place(name: str, room: int) -> str:
    """A place in at most `room` characters: first without what is in brackets, then without
    words that only adorn it, and only then cut after a whole word.
    """
    for shorter in (_without_brackets, _plainly):
        if len(name) > room:
            name = shorter(name)
    return shorten(name, room)


def _without_brackets(name: str) -> str:
    return " ".join(re.sub(r"\([^()]*\)", " ", name).split()) or name


def _plainly(name: str) -> str:
    kept = [word for word in name.split() if word.strip(",.").lower() not in _ADORNS]
    return " ".join(kept) or name


def clauses(text: str, room: int) -> str:
    """As many whole clauses of `text` as have room; none where the first has not."""
    if len(text) <= room:
        return text
    ends = [match.start() for match in re.finditer(r"[.;,:](?= )", text)]
    fitting = [end for end in ends if end + 1 <= room and end >= WORTH_READING]
    return f"{text[: fitting[-1]]}." if fitting else ""


def plain_keeping_ends(text: str) -> str:
    """`plain`, with the spaces at either end that join it to a name."""
    return f"{' ' * text.startswith(' ')}{plain(text)}{' ' * text.endswith(' ')}"


def shorten(text: str, room: int) -> str:
    """`text` in at most `room` characters, cut after a whole word where that keeps half."""
    if len(text) <= room:
        return text
    if room <= 2:
        return text[: max(room, 0)]
    kept = text[: room - 2]
    whole = kept.rpartition(" ")[0]
    return (whole if len(whole) * 2 >= room else kept).rstrip(" ,;:-+&") + ".."
