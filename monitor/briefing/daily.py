"""The daily sheet: what a morning briefing needs, on one page with one picture."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts import cautions, radio
from monitor.alerts.clock import DAYS, MONTHS
from monitor.alerts.words import LONGEST_SUBJECT, listed, one_line
from monitor.briefing import covers, gear, work
from monitor.briefing.access import access
from monitor.briefing.picture import picture
from monitor.briefing.room import left
from monitor.briefing.sheet import Section, Sheet
from monitor.briefing.shifts import on_site, shifts_between
from monitor.briefing.weather_words import forecast, heard
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.briefing.known import Known
    from monitor.domain import Person

SCHEMA = "dryspell.daily/1"

CAUTIONS = (
    cautions.LIGHTNING,
    cautions.WET_AND_LIVE,
    cautions.HEIGHT,
    cautions.COVERS,
    cautions.CODES,
    cautions.ESTIMATE,
)
_DAY = timedelta(hours=24)
_SHORT = (
    "Thunder or lightning: stop, come down, into a building or a hard-top vehicle; 30 min from "
    "the last. This monitor does not detect it, and its silence is not safety. Wet and live: keep "
    "off, isolate, prove dead. At height: never over the wind limit, on wet ladders, alone or in "
    "the dark. Covers add wind load; covered means off, cooled and parked. A code tells of a short "
    "test on new gear. Estimates, no permission: the competent person on site decides."
)


def daily_sheet(known: Known, cut: int = 0) -> Sheet:
    """The sheet for the next 24 hours, with so many cuts to fit a page."""
    sections = (
        work.deadlines(known, 3),
        Section("crew", "On site and on call", tuple(_crew(known, left(6, cut)))),
        access(known, left(5, cut)),
        gear.used(known, left(8, cut)),
        covers.covers_wanted(known, left(5, cut)),
        covers.to_decide(known, left(4, cut)),
        gear.inspection(known, left(4, cut)),
        heard(known, left(3, cut)),
    )
    site = one_line(known.show.site.name) or "the site"
    dated = _dated(known)
    return Sheet(
        kind="daily",
        title=f"Daily sheet, {site}, {dated}",
        lead=(forecast(known),),
        sections=sections,
        cautions=CAUTIONS,
        in_short=_SHORT,
        foot=f"Written {known.clock.at(known.now)} site time, {known.clock.zone_name}.",
        radio=_radio(known),
        subject=radio.shorten(f"Daily sheet, {site}, {dated}", LONGEST_SUBJECT),
        picture=picture(known),
        data=_data(known, sections),
    )


def _dated(known: Known) -> str:
    local = known.now.astimezone(known.show.site.timezone)
    return f"{DAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local.year}"


def _crew(known: Known, most: int) -> list[str]:
    """Who is there, who comes, and who may be called and how long that takes."""
    crew, clock = known.show.crew, known.clock
    if not crew.people:
        together = "1 party" if crew.parties == 1 else f"{crew.parties} parties"
        said = f"{together} at once, {crew.call_out_minutes:g} min to come when called"
        return [f"The show folder names nobody: {said}."]
    here = on_site(known.show, known.now)
    lines = []
    if here.there:
        named = [
            f"{_named(person)}{'' if end is None else f' to {clock.at(end)}'}"
            for person, end in here.there
        ]
        lines.append(f"On site now: {_joined(named, most)}.")
    else:
        lines.append("Nobody is on site now.")
    coming = [
        f"{_named(person)} {clock.span(start, end)}"
        for person, (start, end) in shifts_between(known.show, known.now, known.now + _DAY)
        if start > known.now
    ]
    if coming:
        lines.append(f"Comes: {_joined(coming, most)}.")
    on_call = [
        f"{one_line(p.name)}, there in {p.call_out_minutes:g} min"
        for p in crew.people
        if p.call_out_minutes is not None and p.shifts
    ]
    if on_call:
        lines.append(f"On call when off shift: {_joined(on_call, most)}.")
    else:
        lines.append("Nobody is on call when off shift.")
    return lines


def _joined(people: Sequence[str], most: int) -> str:
    rest = f" and {len(people) - most} more" if len(people) > most else ""
    return f"{'; '.join(people[:most])}{rest}"


def _named(person: Person) -> str:
    tickets = f" ({listed(person.tickets, 3)})" if person.tickets else ""
    return f"{one_line(person.name)}{tickets}"


def _radio(known: Known) -> str:
    jobs, first = work.due(known), work.first_start(known)
    many = "1 deadline" if len(jobs) == 1 else f"{len(jobs)} deadlines"
    if first is not None:
        tail = f", start by {first[1]}. Read it."
        return radio.fit(f"DAILY SHEET: {many}. First: ", radio.plain(first[0]), tail)
    if jobs:
        return f"DAILY SHEET: {many}, none to be started now. Read it."
    if known.found.plan.blind:
        return "DAILY SHEET: the weather ahead is not all known. Read it."
    return "DAILY SHEET: no deadline on this forecast, an estimate. Read it."


def _data(known: Known, sections: tuple[Section, ...]) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "at": iso_utc(known.now),
        "site": known.show.site.name,
        "forecast": forecast(known),
        "used": [
            {"place": one.place, "fixture": one.fixture, "used": round(one.used, 4)}
            for one in gear.used_by_place(known)
        ]
        if known.past_known
        else None,
        "sections": {section.key: list(section.said()) for section in sections},
    }
