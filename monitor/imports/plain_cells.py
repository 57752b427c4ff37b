"""Texts from elsewhere for a cell that a spreadsheet will open: one line, never a formula."""

from __future__ import annotations

_FORMULA = "=+-@＝＋－＠"
"""A spreadsheet takes a cell that begins so, full-width forms included, for a formula."""
LONGEST = 200


def one_line(text: str | None, longest: int = LONGEST) -> str | None:
    """A text on one line without what cannot be printed; None where nothing is left."""
    if text is None:
        return None
    kept = " ".join("".join(c if c.isprintable() else " " for c in text[:2000]).split())
    return kept[:longest].strip() or None


def neutral(text: str) -> str:
    """Text that no spreadsheet runs: an apostrophe before what would begin a formula."""
    return f"'{text}" if text.strip() and text.lstrip()[:1] in _FORMULA else text


def plain(text: str) -> str:
    """What stood there before it was made neutral."""
    return text[1:] if text[:1] == "'" and text[1:].lstrip()[:1] in _FORMULA else text
