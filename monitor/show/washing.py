"""[[washdowns]]: which water is thrown where, and when."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.domain import Washdown
from monitor.exposure.washing import RATE_MM_H
from monitor.show.nearest import suggestion
from monitor.show.plan import read_moment, read_spans

if TYPE_CHECKING:
    from collections.abc import Collection
    from zoneinfo import ZoneInfo

    from monitor.show.findings import Findings
    from monitor.show.water_parts import WashdownPart
    from monitor.toml_places import Path

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def washdown(
    part: WashdownPart,
    at: Path,
    positions: Collection[str],
    zone: ZoneInfo | None,
    findings: Findings,
) -> Washdown:
    """One table of it; its positions must be there, and it runs daily or once."""
    for number, name in enumerate(part.positions):
        if name not in positions:
            findings.refuse(
                (*at, "positions", number),
                "unknown-position",
                f"positions of {findings.owner((*at, 'positions'))} names {name}, which is not a "
                "position.",
                suggestion(name, positions),
            )
    if not part.positions:
        findings.refuse(
            (*at, "positions"),
            "missing-key",
            f"positions of {findings.owner((*at, 'positions'))} is empty.",
            "Give the ids of the positions it reaches.",
        )
    daily, once = bool(part.every_day), part.start is not None or part.end is not None
    if daily == once or (once and (part.start is None or part.end is None)):
        findings.refuse(
            at,
            "washdown-times",
            f"{findings.owner((*at, 'kind'))} says "
            f"{'both daily hours and one time' if daily else 'not from when to when it runs'}.",
            'Give every_day = ["04:30-05:00"], or start and end for once; one of them.',
        )
    if part.days and not daily:
        findings.refuse(
            (*at, "days"),
            "washdown-times",
            "days are of daily hours, and there are none.",
            "Give every_day too, or leave days out.",
        )
    start = end = None
    if zone is not None:
        start = read_moment(part.start, zone, (*at, "start"), findings)
        end = read_moment(part.end, zone, (*at, "end"), findings)
    if start is not None and end is not None and end <= start:
        findings.refuse(
            (*at, "end"),
            "bad-time",
            f"end of {findings.owner((*at, 'end'))} is not after its start.",
            "Give the time at which the water is shut off again.",
        )
    return Washdown(
        part.kind,
        tuple(dict.fromkeys(part.positions)),
        RATE_MM_H[part.kind] if part.rate_mm_h is None else part.rate_mm_h,
        every_day=read_spans(part.every_day, (*at, "every_day"), findings),
        days=tuple(sorted({DAYS.index(day) for day in part.days})),
        start=start,
        end=end,
    )
