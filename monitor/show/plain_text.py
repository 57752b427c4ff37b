"""Bytes to text: UTF-8, UTF-16 or Windows-1252, as spreadsheets and editors save it."""

from __future__ import annotations

import codecs

from monitor.domain import BadInputError, Problem


def plain_text(data: bytes, name: str) -> tuple[str, tuple[Problem, ...]]:
    """The text of a file, and a note where it is not plain UTF-8."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _decoded(data, "utf-16", name), (_read_as("UTF-16", name),)
    half = len(data[:400]) // 2
    for encoding, zeros in (("utf-16-le", data[1:400:2]), ("utf-16-be", data[0:400:2])):
        # Latin letters in UTF-16 leave every other byte zero.
        if half and zeros.count(0) > half * 0.7:
            return _decoded(data, encoding, name), (_read_as("UTF-16", name),)
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        return _decoded(data, "cp1252", name), (_read_as("Windows-1252", name),)


def _decoded(data: bytes, encoding: str, name: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        problem = Problem(
            "encoding",
            f"Line {line} of {name} has a character that cannot be read in any known encoding.",
            "Save the file as UTF-8.",
            file=name,
            line=line,
        )
        raise BadInputError([problem]) from None


def _read_as(encoding: str, name: str) -> Problem:
    return Problem(
        "encoding",
        f"{name} is read as {encoding}.",
        "Look whether accented letters came out right; UTF-8 leaves no doubt.",
        file=name,
        refused=False,
    )
