"""How much of a page a sheet takes, and cutting it to one.

Heights are reckoned from the type and the widths of the template (`sheet.html.j2`), with
letters taken a little wider than they mostly are, so that what is reckoned to fit does.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import replace

from monitor.alerts.radio import shorten
from monitor.briefing.sheet import Section, Sheet

PAGE_MM = 277.0
"""A4 less its margins."""
WIDE = ("deadlines", "clears", "log")
"""Sections that take the whole width of the page"""

_HEADING_MM, _LINE_MM, _ROW_MM = 7.7, 4.92, 5.52
_SIGNS_MM, _GAPS_MM = 24.0, 7.0
_WIDE_MM, _NARROW_MM = 184.0, 87.0
_BODY, _LEAD, _TITLE, _SMALL = 10.4, 11.6, 17.0, 8.2
"""Sizes of type [pt]"""
_MM_PER_PT = 25.4 / 72.0
_LEADING = 1.27
_CAREFUL = 1.03
"""Letters are taken this much wider than those of the usual type"""
_WIDTHS = (
    (0.28, " .,;:!'|/()[]-ijltfI"),
    (0.5, "ckrsvxyzJ"),
    (0.7, "ABCDEFGHKLNOPQRSTUVXYZ"),
    (0.9, "mwMW%"),
)
_USUAL_WIDTH = 0.56
_EM = {letter: width for width, letters in _WIDTHS for letter in letters}
"""Widths of letters in the common type without serifs, in ems"""

CUTS = 24
"""In so many steps a sheet is cut down to the least"""
_LEAST = 2
"""Lines that a section keeps however much is cut"""
_LONGEST, _SHORTEST = 240, (84, 60, 44)
"""Letters of a line while sections are cut, and after that"""
_LONGEST_CELL = 44


def fitted(make: Callable[[int], Sheet]) -> Sheet:
    """The fullest sheet that takes one page; `make` gives one with so many cuts."""
    cuts = [*((cut, _LONGEST) for cut in range(CUTS)), *((CUTS, most) for most in _SHORTEST)]
    made: dict[int, Sheet] = {}

    def fits(n: int) -> bool:
        cut, longest = cuts[n]
        made[n] = _clipped(make(cut), longest)
        return height_mm(made[n]) <= PAGE_MM

    if fits(0):
        return made[0]
    # The more is cut, the lower it is: halving finds the first that fits in five tries of 27.
    last = len(cuts) - 1
    first = bisect_left(range(last), x=True, key=fits)
    if first == last:
        fits(last)
    return made[first]


def left(most: int, cut: int, least: int = _LEAST) -> int:
    """How many lines a section keeps of `most` after so many cuts."""
    return max(round(most * (1 - cut / CUTS)), min(least, most))


def height_mm(sheet: Sheet) -> float:
    """How tall the sheet is on paper [mm]."""
    first, *rest = sheet.lead
    tall = _GAPS_MM + _block(sheet.title, _WIDE_MM, _TITLE)
    tall += _block(first, _WIDE_MM, _LEAD if sheet.signs else _BODY)
    tall += sum(_block(line, _WIDE_MM, _BODY) for line in rest)
    tall += sum(_tall(section, _WIDE_MM) for section in sheet.sections if section.key in WIDE)
    tall += max(sum(_tall(section, _NARROW_MM) for section in column) for column in in_two(sheet))
    tall += _SIGNS_MM if sheet.signs else 0.0
    tall += _block(f"{sheet.in_short} {sheet.foot}", _WIDE_MM, _SMALL)
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', sheet.picture)
    return tall if box is None else tall + 188.0 * float(box[2]) / float(box[1]) + 1.0


def in_two(sheet: Sheet) -> tuple[list[Section], list[Section]]:
    """The narrow sections in two columns of about the same height, each in its order."""
    columns: tuple[list[Section], list[Section]] = ([], [])
    tall = [0.0, 0.0]
    for section in sheet.sections:
        if section.key not in WIDE:
            shorter = 0 if tall[0] <= tall[1] else 1
            columns[shorter].append(section)
            tall[shorter] += _tall(section, _NARROW_MM)
    return columns


def _tall(section: Section, width_mm: float) -> float:
    in_columns = 2 if section.key == "log" else 1
    line_mm = _NARROW_MM if in_columns == 2 else width_mm
    lines = sum(_rows(line, line_mm, _BODY) for line in section.lines)
    return _HEADING_MM + _table(section, width_mm) + _LINE_MM * math.ceil(lines / in_columns)


def _table(section: Section, width_mm: float) -> float:
    """Columns are as wide as what stands in them; where that is too much, cells break."""
    if not section.rows:
        return 0.0
    columns = zip(section.heads, *section.rows, strict=True)
    room = width_mm / (_BODY * _MM_PER_PT * _CAREFUL)
    needs = sum(max(_ems(cell) for cell in column) + 0.6 for column in columns)
    lines = math.ceil(needs / room)
    return _ROW_MM + len(section.rows) * (_ROW_MM + _LINE_MM * (lines - 1))


def _ems(text: str) -> float:
    return sum(_EM.get(letter, _USUAL_WIDTH) for letter in text)


def _block(text: str, width_mm: float, size: float) -> float:
    return _rows(text, width_mm, size) * size * _LEADING * _MM_PER_PT


def _rows(text: str, width_mm: float, size: float) -> int:
    """Lines that a text takes in a column, broken between words [mm, pt]."""
    room = width_mm / (size * _MM_PER_PT * _CAREFUL)
    rows, at = 1, 0.0
    for word in text.split():
        wide = _ems(word)
        if at and at + _EM[" "] + wide > room:
            rows, at = rows + 1, 0.0
        at += (_EM[" "] if at else 0.0) + wide
        rows, at = rows + int(at // room), at % room
    return rows


def _clipped(sheet: Sheet, longest: int) -> Sheet:
    return replace(
        sheet,
        title=shorten(sheet.title, 90),
        lead=_cut(sheet.lead, 330),
        signs=_cut(sheet.signs, 60),
        sections=tuple(
            replace(
                section,
                lines=_cut(section.lines, longest),
                rows=tuple(_cut(row, _LONGEST_CELL) for row in section.rows),
            )
            for section in sheet.sections
        ),
    )


def _cut(lines: Sequence[str], longest: int) -> tuple[str, ...]:
    return tuple(shorten(line, longest) for line in lines)
