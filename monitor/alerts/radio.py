"""The radio line: one alert in at most 160 plain characters.

Read aloud over a radio or sent as one text message. What to do, by when and how many people
are never cut; the names of places are, and what is left over is filled with the next most
useful words in order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts import official_words, stop_words, words
from monitor.alerts.fitting import (
    LONGEST,
    LONGEST_CUT_OFF,
    WORTH_READING,
    fit,
    plain,
    plain_place,
    shorten,
    shorter_place,
)
from monitor.alerts.troubles import called
from monitor.planning.official import CALLS, LEFT_OUT

if TYPE_CHECKING:
    from monitor.alerts.clock import SiteClock
    from monitor.domain import Alert, Official

__all__ = [
    "LONGEST",
    "WORTH_READING",
    "fit",
    "line",
    "plain",
    "plain_place",
    "shorten",
]

_LONGEST_EVENT = 60
_WHO_AT_MOST = 40
_SHORTEST_CUT_OFF = 8
"""A name cut shorter than this is no name."""


def line(alert: Alert, clock: SiteClock) -> str:
    """The radio line of any alert."""
    if words.says_stop(alert, clock.now):
        return stop_words.radio(alert, clock)
    if alert.kind == "work":
        return _work(alert, clock)
    return _about_the_monitor(alert, clock)


def _work(alert: Alert, clock: SiteClock) -> str:
    verb = words.verb(alert)
    order = f"{verb.order.upper()} {alert.count}" if alert.count else verb.order.upper()
    if alert.stage == "stood-down":
        head = f"{words.ended(alert).upper()}: {order} {verb.joins} "
        return fit(head, plain_place(alert), ".", last=_because(alert))
    people = f" {words.people(alert.people)}." if alert.people else ""
    tail = f".{_times(alert, clock)}{people}"
    if words.no_time_left(alert, clock.now):
        return _no_time(alert, clock, people)
    if words.isolates_now(alert):
        tail = f"; keep off{tail}"
        at = _cut_off(alert, len(f"ISOLATE NOW  at {tail}"))
        return fit(
            "ISOLATE NOW ", plain_place(alert), f"{f' at {at}' if at else ''}{tail}", _used(alert)
        )
    head = {"notice": "NOTICE. ", "overdue": "OVERDUE. "}.get(alert.stage, "")
    optional = _late(alert, clock)
    if alert.stage == "overdue" and alert.action in ("cover", "bring-in", "isolate"):
        optional.append("Take it as wet and live.")
    cut_off = shorten(plain(alert.isolate_at or ""), LONGEST_CUT_OFF)
    first = "Cut off" if alert.action == "isolate" else "Isolate first"
    power = f"{first} at {cut_off}." if cut_off else ""
    if power:
        optional.append(power)
    elif alert.action == "inspect":
        power = f"{first}."
        optional.append(power)
    who = plain(words.crew(alert.facts, clock))
    if who and len(who) <= _WHO_AT_MOST:
        optional.append(f"{who}.")
    if alert.minutes is not None and words.known(alert.minutes) is not None:
        optional.append(f"{words.duration(alert.minutes)}.")
    if alert.facts.rain_mm is not None and words.known(alert.facts.rain_mm) is not None:
        optional.append(f"Rain {words.depth(alert.facts.rain_mm)}.")
    head = f"{head}{order} {verb.joins} "
    place = plain_place(alert)
    if power:
        # A long name of the place gives way to where its power is cut, as far as it stays a name.
        room = LONGEST - len(f"{head}{tail} {power}")
        place = shorter_place(place, max(room, LONGEST_CUT_OFF))
    return fit(head, place, tail, optional)


def _late(alert: Alert, clock: SiteClock) -> list[str]:
    facts = alert.facts
    if not facts.late or alert.stage == "overdue":
        return []
    minutes = words.late_at_best(facts)
    if minutes is not None:
        return [f"At best {words.duration(minutes)} late."]
    ahead = alert.start_by is not None and alert.start_by > clock.now
    return ["Cannot be done in time." if ahead else "Late already: start now."]


def _used(alert: Alert) -> list[str]:
    used = words.known(alert.facts.used)
    return [] if used is None else [f"{words.times_used(used)} is used."]


def _cut_off(alert: Alert, taken: int) -> str:
    """Where the power is cut, in the room that a place of usual length leaves it."""
    place = min(len(plain_place(alert)), LONGEST_CUT_OFF)
    room = min(LONGEST - taken - place, LONGEST_CUT_OFF)
    return shorten(plain(alert.isolate_at or ""), room) if room >= _SHORTEST_CUT_OFF else ""


def _no_time(alert: Alert, clock: SiteClock, people: str) -> str:
    """Nobody gets it begun before the place closes."""
    closes = alert.facts.access_closes_at
    at = "" if closes is None else f" at {clock.at(closes)}"
    by = "" if alert.do_by is None else f", done by {clock.at(alert.do_by)}"
    head = "DO NOT START at "
    tail = f": no time before {words.closing(alert)}{at}. ISOLATE it{{}}{by}.{people}"
    cut_off = _cut_off(alert, len(head + tail) + 2)
    return fit(head, plain_place(alert), tail.format(f" at {cut_off}" if cut_off else ""))


def _because(alert: Alert) -> str:
    reason = plain(words.sentence(alert.reason))
    return f"Because: {reason}" if reason else ""


def _times(alert: Alert, clock: SiteClock) -> str:
    parts = []
    over = alert.stage == "overdue"
    if alert.start_by is not None:
        parts.append(f"{'was to ' if over else ''}start by {clock.at(alert.start_by)}")
    done = words.hands_off_by(alert)
    if done is not None:
        shut = done != alert.do_by
        was = "was to be " if over and not parts else ""
        parts.append(f"{was}{'down and ' if shut else ''}done by {clock.at(done)}")
    said = ", ".join(parts)
    return f" {said[0].upper()}{said[1:]}." if said else ""


def _about_the_monitor(alert: Alert, clock: SiteClock) -> str:
    where = plain(alert.facts.site_name) or "the site"
    more = plain(words.sentence(alert.reason))
    if alert.facts.official is not None:
        return _official(alert, alert.facts.official, where, more, clock)
    trouble = called(alert)
    if trouble is not None:
        if alert.stage == "stood-down":
            return fit(f"{trouble.over} ", where, ".", last=more)
        return fit(f"{trouble.raised} ", where, f". {trouble.then}".rstrip(), last=more)
    if alert.kind == "weather":
        if alert.stage == "stood-down":
            return fit("WEATHER BACK at ", where, ". The forecast is read again.", last=more)
        if alert.stage == "notice":
            return fit("FORECAST IN DOUBT at ", where, ". Look at the sky yourself.", last=more)
        tail = ". No usable forecast. Decide by eye and by official warnings."
        return fit("WEATHER LOST at ", where, tail, last=more)
    if alert.stage == "stood-down":
        return fit("MESSAGES ARRIVE AGAIN at ", where, ".", last=more)
    return fit("MESSAGES NOT ARRIVING at ", where, ". Tell the crew by voice.", last=more)


def _official(alert: Alert, said: Official, where: str, more: str, clock: SiteClock) -> str:
    """An official warning by its event, its times and what it asks; what sounds like a call is
    left to the mail.
    """
    ended = alert.stage == "stood-down"
    if said.event is None:
        if ended:
            return fit("OFFICIAL WARNINGS READ AGAIN at ", where, ".", last=more)
        tail = ". Look at them yourself."
        return fit("OFFICIAL WARNINGS NOT READ at ", where, tail, last=more)
    event, by = plain(said.event), plain(said.service)
    if LEFT_OUT in said.event or CALLS.search(event) or not any(c.isalnum() for c in event):
        event = "read it in the mail"
    if CALLS.search(more):
        more = ""
    head = "OFFICIAL WARNING ENDED at " if ended else "OFFICIAL WARNING at "
    place = shorter_place(where, LONGEST_CUT_OFF)
    asks = official_words.on_the_radio(said, clock, ended=ended)
    by = f" ({shorten(by, LONGEST_CUT_OFF)})" if by else ""
    room = LONGEST - len(f"{head}{place}: {by}.{asks}")
    if room < WORTH_READING:
        # Who says so is in the mail; when, and to be down, is not left out.
        by, room = "", room + len(by)
    tail = f": {shorten(event, min(_LONGEST_EVENT, room))}{by}.{asks}"
    return fit(head, place, tail, last=more)
