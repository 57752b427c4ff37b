"""The first screen: what fell, how the fixtures stand, what to do, who was told in time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.report.figures import counted, share, speed
from monitor.report.findings import BANDS, DOES, ORDERS, Do, Line, id_ranges
from monitor.report.jobs import SAYS, Came, Job, tally
from monitor.report.material import Material
from monitor.report.rainfall import Rainfall
from monitor.report.site_times import SiteTimes
from monitor.units import SECONDS_PER_HOUR, to_moment

BAND_WORDS = {
    "over": "over their allowance at some time",
    "half": "over half of it",
    "within": "within half of it",
    "no-limit": "no limit from rain by their code",
    "not-out": "never out",
}
_KIND_WORDS = {
    "measured": "measured on site",
    "record": "from a weather record",
    "forecast": "from forecasts",
}
_DUE: tuple[Came, ...] = ("in-time", "late", "isolated", "missed", "open")
_SAID_ALWAYS: tuple[Came, ...] = ("in-time", "late", "missed")
_UNDUE: tuple[Came, ...] = ("done", "not-done")


@dataclass(frozen=True, slots=True)
class Duty:
    """One thing to do now, at every place it is wanted."""

    do: Do
    order: str
    count: int
    places: tuple[tuple[str, int, str], ...]
    """(position's name, fixtures, ids)"""


def fell(material: Material, rain: Rainfall, times: SiteTimes) -> tuple[str, ...]:
    """What fell, in sentences."""
    if not len(material.exposure.steps.hours):
        return ("No weather is known for this period: nothing could be counted.",)
    least = "At least " if rain.unknown_h > 0.0 else ""
    if rain.rain_mm <= 0.0:
        none = "No rain fell in the hours that are known." if least else "No rain fell."
        return (none, *_wind(rain, times))
    sources = [
        f"{mm:.1f} mm {_KIND_WORDS[kind]}" for kind, mm in rain.by_kind_mm.items() if mm > 0.0
    ]
    hour = to_moment(rain.worst_hour_s)
    ends = to_moment(rain.worst_hour_s + SECONDS_PER_HOUR)
    said = [
        f"{least}{rain.rain_mm:.1f} mm of rain on open ground ({', '.join(sources)}).",
        f"Worst hour: {rain.worst_hour_mm:.1f} mm, {times.span(hour, ends)}.",
        f"Driving-rain index, worst wall: {rain.driving_rain:.1f} L/m², facing {rain.wall} "
        f"({rain.wall_deg:.0f}°)."
        + (
            f" It leaves out {counted(rain.left_out_steps, 'wet step')} without wind or direction."
            if rain.left_out_steps
            else ""
        ),
    ]
    return (*said, *_wind(rain, times))


def _wind(rain: Rainfall, times: SiteTimes) -> tuple[str, ...]:
    if math.isnan(rain.gust_mps):
        return ("Gusts are not known.",)
    at = times.at(to_moment(rain.gust_s))
    return (f"Strongest gust at 10 m over open country: {speed(rain.gust_mps)}, {at}.",)


def stand(lines: Sequence[Line]) -> tuple[tuple[str, str], ...]:
    """(how many fixtures, how they stand), the worst first; empty bands are said only for over."""
    found = []
    for band in BANDS:
        here = [line for line in lines if line.band == band]
        count = sum(line.count for line in here)
        if not count and band != "over":
            continue
        more = []
        dry_since = sum(x.count for x in here if band == "over" and x.used < 1.0)
        if dry_since:
            more.append(f"{dry_since} of them found dry since")
        blind = sum(x.count for x in here if x.unknown_h > 0.0)
        if blind and band in ("half", "within"):
            more.append(f"{blind} of them with hours not known: as far as known")
        worst = max((x.used_total for x in here), default=0.0)
        if band == "over" and count:
            more.insert(0, f"worst {share(worst)} times the allowance")
        found.append((str(count), BAND_WORDS[band] + (f" ({'; '.join(more)})" if more else "")))
    return tuple(found)


def duties(material: Material, lines: Sequence[Line]) -> tuple[Duty, ...]:
    """What to do now, the most urgent first; nothing to do is the last."""
    found = []
    for do in DOES:
        here = [line for line in lines if any(care.do == do for care in line.cares)]
        if not here:
            continue
        by_place: dict[str, list[Line]] = {}
        for line in here:
            by_place.setdefault(line.positions[-1], []).append(line)
        in_order = {f.id: i for i, f in enumerate(material.show.fixtures)}
        places = []
        for position, there in by_place.items():
            ids = sorted((f.id for x in there for f in x.fixtures), key=in_order.__getitem__)
            places.append(
                (
                    material.show.positions[position].name,
                    sum(x.count for x in there),
                    ids_said(ids, 6),
                )
            )
        found.append(Duty(do, ORDERS[do], sum(x.count for x in here), tuple(places)))
    return tuple(found)


def ids_said(ids: list[str], most: int = 12) -> str:
    """`DS-01 to DS-09, DS-12 and 4 more`."""
    said, left = id_ranges(ids, most)
    return ", ".join(said) + (f" and {left} more" if left else "")


def told(material: Material, found: Sequence[Job]) -> tuple[str, ...]:
    """How the telling went, in one line and its footnotes."""
    work = [job for job in found if job.came is not None]
    others = len(found) - len(work)
    if not found:
        lines = ["No alert was raised."]
    elif not work:
        lines = [f"No work was asked for; {counted(others, 'other alert')}."]
    else:
        came = tally(work)
        lines = [f"{counted(len(work), 'job')} asked for."]
        if any(came[k] for k in _DUE):
            due = [f"{came[k]} {SAYS[k]}" for k in _DUE if came[k] or k in _SAID_ALWAYS]
            lines.append(f"With a deadline: {', '.join(due)}.")
        if any(came[k] for k in _UNDUE):
            lines.append(f"Without one: {', '.join(f'{came[k]} {SAYS[k]}' for k in _UNDUE)}.")
        if came["not-needed"]:
            lines.append(f"Called off, as the forecast changed: {came['not-needed']}.")
        if others:
            lines.append(f"{counted(others, 'other alert')}: stops, weather, messages.")
    if material.rehearsed:
        lines.append("This is a rehearsal: nobody was told anything.")
    elif material.told_nobody:
        lines.append("No person was told: messages went to a folder only.")
    else:
        unsent = sum(d.state == "given-up" for d in material.deliveries)
        if unsent:
            lines.append(f"{counted(unsent, 'message')} could not be delivered.")
    return tuple(lines)


def known(material: Material, rain: Rainfall) -> tuple[str, ...]:
    """How much of the period is known, from what."""
    start, end = material.period
    total = (end - start) / SECONDS_PER_HOUR
    parts = [f"{h:.1f} h {_KIND_WORDS[kind]}" for kind, h in rain.hours_by_kind.items() if h > 0.0]
    said = [f"{total:.1f} h in all" + (f": {', '.join(parts)}." if parts else ".")]
    if rain.unknown_h > 0.0:
        said.append(
            f"{rain.unknown_h:.1f} h are not known. They count as neither wet nor dry: what a "
            "fixture took can be more than is said here, not less."
        )
    else:
        said.append("No hour is missing.")
    return tuple(said)


def chain(material: Material) -> tuple[bool | None, str]:
    """Whether the chain of hashes holds, and in words."""
    if material.chain is None:
        return None, "Not verified: nothing was kept that a chain of hashes could be made of."
    return material.chain.ok, material.chain.says
