"""The radio line: one alert in at most 160 plain characters.

Read aloud over a radio or sent as one text message. What to do, by when and how many people
are never cut; the names of places are, and what is left over is filled with the next most
useful words in order.
"""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

from monitor.alerts import words
from monitor.alerts.troubles import called
from monitor.planning.official import CALLS, LEFT_OUT

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.alerts.clock import SiteClock
    from monitor.domain import Alert, Official

LONGEST = 160
WORTH_READING = 24
"""A reason cut shorter than this tells nothing."""

LONGEST_EVENT = 60
LONGEST_CUT_OFF = 40
"""Characters the name of the cut-off may take from that of the place."""

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


def line(alert: Alert, clock: SiteClock) -> str:
    """The radio line of any alert."""
    if words.says_stop(alert, clock.now):
        return _stop(alert, clock)
    if alert.kind == "work":
        return _work(alert, clock)
    return _about_the_monitor(alert)


def _work(alert: Alert, clock: SiteClock) -> str:
    verb = words.verb(alert)
    order = f"{verb.order.upper()} {alert.count}" if alert.count else verb.order.upper()
    if alert.stage == "stood-down":
        head = f"NO LONGER NEEDED: {order} {verb.joins} "
        return fit(head, plain_place(alert), ".", last=_because(alert))
    head = {"notice": "NOTICE. ", "overdue": "OVERDUE. "}.get(alert.stage, "")
    tail = f".{_times(alert, clock)}"
    if alert.people:
        tail += f" {words.people(alert.people)}."
    optional = []
    if alert.facts.late and alert.stage != "overdue":
        optional.append("Late already: start now.")
    if alert.stage == "overdue":
        optional.append("Wet and live: keep off.")
    cut_off = plain(alert.isolate_at or "")
    if cut_off and alert.action != "isolate":
        optional.append(f"Isolate first at {cut_off}.")
    elif cut_off:
        optional.append(f"Cut off at {cut_off}.")
    if alert.minutes is not None and words.known(alert.minutes) is not None:
        optional.append(f"{words.duration(alert.minutes)}.")
    if alert.facts.rain_mm is not None and words.known(alert.facts.rain_mm) is not None:
        optional.append(f"Rain {words.depth(alert.facts.rain_mm)}.")
    return fit(f"{head}{order} {verb.joins} ", plain_place(alert), tail, optional)


def _because(alert: Alert) -> str:
    reason = plain(words.sentence(alert.reason))
    return f"Because: {reason}" if reason else ""


def _times(alert: Alert, clock: SiteClock) -> str:
    parts = []
    if alert.start_by is not None:
        parts.append(f"start by {clock.at(alert.start_by)}")
    done = words.hands_off_by(alert)
    if done is not None:
        shut = done != alert.do_by
        parts.append(f"{'down and ' if shut else ''}done by {clock.at(done)}")
    said = ", ".join(parts)
    return f" {said[0].upper()}{said[1:]}." if said else ""


def _stop(alert: Alert, clock: SiteClock) -> str:
    where = plain_place(alert)
    if alert.stage == "stood-down":
        tail = " ends on this forecast. People on site decide."
        return fit("STOP at ", where, tail, last=_because(alert))
    cut_off = plain(alert.isolate_at or "")
    tail = ". Nobody climbs."
    if cut_off:
        tail = f". Nobody climbs. Isolate at {shorten(cut_off, LONGEST_CUT_OFF)}."
    optional = []
    if alert.facts.blocked_by:
        optional.append(plain(words.sentence(alert.facts.blocked_by)))
    if alert.facts.blocked_until is not None:
        optional.append(f"Not before {clock.at(alert.facts.blocked_until)}.")
    return fit("STOP. Do not work at ", where, tail, optional)


def _about_the_monitor(alert: Alert) -> str:
    where = plain(alert.facts.site_name) or "the site"
    more = plain(words.sentence(alert.reason))
    if alert.facts.official is not None:
        return _official(alert, alert.facts.official, where, more)
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


def _official(alert: Alert, said: Official, where: str, more: str) -> str:
    """An official warning by its event; what sounds like a call is left to the mail."""
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
    by = f" ({shorten(by, LONGEST_CUT_OFF)})" if by else ""
    tail = f": {shorten(event, LONGEST_EVENT)}{by}."
    return fit(head, where, tail, last=more)


def plain_place(alert: Alert) -> str:
    """The place in plain characters; a name in another script falls back to its id."""
    for name in (alert.facts.position_name, alert.position or "", alert.facts.site_name):
        said = plain(name)
        if any(c.isalnum() for c in said):
            return said
    return "the place in the mail"


def fit(head: str, where: str, tail: str, optional: Iterable[str] = (), last: str = "") -> str:
    """`head` + `where` + `tail` within the limit, `where` cut to what is left; then what of
    `optional` has room, in order; then as much of `last` as is worth reading.
    """
    head, tail = plain_keeping_ends(head), plain_keeping_ends(tail)
    said = head + shorten(where, LONGEST - len(head) - len(tail)) + tail
    for more in optional:
        if more and len(said) + 1 + len(more) <= LONGEST:
            said = f"{said} {more}"
    room = LONGEST - len(said) - 1
    if last and room >= min(len(last), WORTH_READING):
        said = f"{said} {shorten(last, room)}"
    return said


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
