"""Past years on a screen."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.past_years.outcome import PastYears
from monitor.past_years.words import (
    by_condition,
    cautions,
    heading,
    instead_rows,
    position_rows,
    row_groups,
    year_words,
)
from monitor.story import wrapped


def lines(found: PastYears) -> list[str]:
    """All of it, in lines of at most 79 characters where names allow."""
    return [
        *wrapped(heading(found)),
        *(wrapped(f"Weather: {found.source}. {found.credit}".strip()) if found.source else ()),
        "",
        *(
            line
            for year in found.years
            for line in wrapped(year_words(year), f"  {year.span.year}  ", " " * 8)
        ),
        "",
        *(_judged(found) if found.counted else ["No year could be counted."]),
        "",
        *(line for said in cautions(found) for line in wrapped(said)),
    ]


def _judged(found: PastYears) -> list[str]:
    groups = row_groups(found)
    codes, instead = instead_rows(found)
    return [
        *wrapped(by_condition(found)),
        "",
        "Would have needed covering, had nobody acted:",
        *_table(
            ("fixtures", "code, condition", "place", "years", "most used", "soonest"),
            [(g.ids, g.code, g.place, g.needed, g.worst, g.soonest) for g in groups],
        ),
        "",
        "Crew minutes (minutes times people), every start followed at once:",
        *_table(("place", "middle year", "worst year", "late jobs"), list(position_rows(found))),
        *(_instead(codes, instead) if codes else []),
    ]


def _instead(codes: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return [
        "",
        *wrapped(
            "Years of need with another code at the same place, in the mount and condition of "
            "the rows there, its worst placed fixture; supplies and plugs taken as no worse, and "
            "mated:"
        ),
        *_table(("place", *codes), rows),
    ]


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    wide = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    return [
        "  " + "  ".join(cell.ljust(w) for cell, w in zip(row, wide, strict=True)).rstrip()
        for row in (head, *rows)
    ]
