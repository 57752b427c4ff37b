"""The handover sheet: what one shift must know from the other, on one page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.alerts import cautions, radio
from monitor.alerts.words import LONGEST_SUBJECT, listed, one_line
from monitor.briefing import covers, gear, work
from monitor.briefing.access import access
from monitor.briefing.room import left
from monitor.briefing.sheet import Section, Sheet
from monitor.briefing.shifts import ShiftChange, last_change_before, next_change
from monitor.briefing.weather_words import clears, forecast, heard
from monitor.units import iso_utc

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.briefing.known import Known

SCHEMA = "dryspell.handover/1"

CAUTIONS = (
    cautions.LIGHTNING,
    cautions.WET_AND_LIVE,
    cautions.HEIGHT,
    cautions.COVERS,
    cautions.THREE_THINGS,
    cautions.ANSWERS,
    cautions.ESTIMATE,
)
_SHORT = (
    "Thunder or lightning: stop, come down, into a building or a hard-top vehicle; 30 min from "
    "the last. This monitor does not detect it. Wet and live: keep off, isolate, prove dead. At "
    "height: never over the wind limit, on wet ladders, alone or in the dark. Covered means off, "
    "cooled and parked. An answer is not a done. Estimates, no permission: the competent person "
    "on site decides."
)


def handover_sheet(known: Known, cut: int = 0) -> Sheet:
    """The sheet for the shift change that is at hand, with so many cuts to fit a page."""
    change = next_change(known.show, known.now, None if known.handed is None else known.handed.at)
    since = last_change_before(known.show, known.now if change is None else change.at)
    sections = (
        work.deadlines(known, left(5, cut)),
        covers.covered(known, left(6, cut)),
        work.unanswered(known, left(6, cut, 3)),
        gear.isolated(known, left(4, cut)),
        work.open_alerts(known, left(5, cut)),
        gear.wet(known, left(5, cut)),
        access(known, left(5, cut)),
        clears(known),
        work.last_shift(known, since, left(8, cut)),
        covers.covers_left(known),
        heard(known, left(3, cut)),
        Section("handed", "Last handed over", (_handed(known),)),
    )
    site = one_line(known.show.site.name) or "the site"
    at = "" if change is None else f" {known.clock.at(change.at)}"
    return Sheet(
        kind="handover",
        title=f"Handover{at}, written {known.clock.at(known.now)}, {site}",
        lead=(f"{_between(known, change)} {_as_of(known, change)}", forecast(known)),
        sections=sections,
        cautions=CAUTIONS,
        in_short=_SHORT,
        foot=f"Written {known.clock.at(known.now)} site time, {known.clock.zone_name}.",
        radio=_radio(known, at),
        subject=radio.shorten(f"Handover{at}: {_counts(known)}", LONGEST_SUBJECT),
        signs=(_sign("Given by", change, giving=True), _sign("Taken by", change, giving=False)),
        data=_data(known, change, sections),
    )


def _as_of(known: Known, change: ShiftChange | None) -> str:
    """When it was written: what happens until the shift changes is not in it."""
    said = f"This is how it stood at {known.clock.at(known.now)}, when it was written"
    until = change is not None and change.at > known.now
    return f"{said}: add what happens until then." if until else f"{said}."


def _between(known: Known, change: ShiftChange | None) -> str:
    """Who hands to whom, and when."""
    if change is None:
        return (
            "From whom to whom is not known: the show folder names no shifts and no quiet hours. "
            "Names go in below."
        )
    at = known.clock.near(change.at)
    if not known.show.crew.people:
        return f"The shift changes at {at}. The show folder names nobody: names go in below."
    giving = listed(change.giving, 4)
    if not change.taking:
        return f"{giving}: shift ends {at}, and nobody is named who comes after."
    said = f"{giving} to {listed(change.taking, 4)}, {at}."
    if change.there_from > change.at:
        said += f" Nobody is on site until {known.clock.at(change.there_from)}."
    return said


def _sign(label: str, change: ShiftChange | None, *, giving: bool) -> str:
    names = () if change is None else change.giving if giving else change.taking
    return f"{label}: {listed(names, 3)}" if names else label


def _handed(known: Known) -> str:
    last = known.handed
    if last is None:
        return "No handing over is recorded yet."
    names = f"{one_line(last.given_by)} to {one_line(last.taken_by)}"
    return f"{known.clock.at(last.at)}, {names}: both sides ticked."


def _counts(known: Known) -> str:
    on = sum(cover.count for cover in known.covers)
    isolated = sum(one.part is None for one in gear.isolated_now(known))
    wet = gear.pieces(gear.wet_now(known)) if known.past_known else None
    return (
        f"{on} covered, {isolated} isolated, "
        f"{'wet not known' if wet is None else f'{wet} wet'}, "
        f"{len(work.unanswered_now(known))} unanswered"
    )


def _radio(known: Known, at: str) -> str:
    first = work.first_start(known)
    line = f"HANDOVER{at.upper()}: {_counts(known)}."
    if first is not None:
        tail = f", start by {first[1]}. Read the sheet."
        return radio.fit(f"{line} Next: ", radio.plain(first[0]), tail)
    return f"{line} Read the sheet."


def _data(
    known: Known, change: ShiftChange | None, sections: tuple[Section, ...]
) -> dict[str, Any]:
    def at(moment: datetime | None) -> str | None:
        return None if moment is None else iso_utc(moment)

    return {
        "schema": SCHEMA,
        "at": iso_utc(known.now),
        "site": known.show.site.name,
        "change_at": at(None if change is None else change.at),
        "giving": [] if change is None else list(change.giving),
        "taking": [] if change is None else list(change.taking),
        "sections": {section.key: list(section.said()) for section in sections},
        "last_handed_over": None
        if known.handed is None
        else {
            "at": iso_utc(known.handed.at),
            "given_by": known.handed.given_by,
            "taken_by": known.handed.taken_by,
        },
    }
