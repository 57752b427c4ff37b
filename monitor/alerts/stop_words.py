"""A stop in words: come down, where to shelter, and that nobody crosses open ground to isolate.

The order is never to work there. Power is cut only by those who have it at hand.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts import words
from monitor.alerts.fitting import LONGEST_CUT_OFF, fit, plain, plain_place, shorten
from monitor.alerts.why import forecast

if TYPE_CHECKING:
    from monitor.alerts.clock import SiteClock
    from monitor.domain import Alert

_THUNDER = (
    "Whoever is up comes down now. Into a building or a hard-top vehicle: tents and stage roofs "
    "are no shelter."
)
_WIND = "Whoever is up comes down now."


def is_thunder(alert: Alert) -> bool:
    """Whether a stop is for thunder: the whole site's always is."""
    said = (alert.facts.blocked_by or "").lower()
    return alert.position is None or "thunder" in said or "lightning" in said


def headline(alert: Alert) -> str:
    """The first line, of a stop or of its end."""
    where = words.place(alert)
    if alert.stage == "stood-down":
        return f"The stop at {where} ends on this forecast."
    if alert.facts.spent_live:
        return f"Stop. {where} is wet and live: keep off. Nobody starts, nobody climbs."
    return f"Stop. Do not work at {where}. Nobody starts, nobody climbs."


def subject(alert: Alert) -> str:
    """The same as a subject."""
    where = words.place(alert)
    if alert.stage == "stood-down":
        return f"Stop ends on this forecast: {where}"
    if alert.facts.spent_live:
        return f"Stop: wet and live, keep off {where}"
    return f"Stop: do not work at {where}"


def body(alert: Alert, clock: SiteClock) -> list[str]:
    """The paragraphs of a stop that stands, up to what is said with any alert."""
    facts = alert.facts
    thunder = is_thunder(alert)
    until = ""
    if facts.blocked_until is not None:
        until = (
            f"On this forecast nobody works there before {clock.near(facts.blocked_until)}, "
            f"site time {clock.zone_name}. People on site declare the end of it, not this message."
        )
    left = ""
    if alert.count:
        count = words.fixtures(alert.count)
        left = f"Left as they are: {count}. Take them as wet from now on."
        if facts.spent_live:
            left = f"Past the allowance there, and nothing says that it is isolated: {count}."
    why = words.sentence(facts.blocked_by or "")
    reason = words.sentence(alert.reason)
    if why and why.rstrip(".").lower() in reason.lower():
        why = ""
    return [
        _THUNDER if thunder else _WIND,
        _power(alert, thunder=thunder),
        words.labelled("Why", " ".join(dict.fromkeys(p for p in (why, reason) if p))),
        until,
        left,
        *words.sentences(facts.extra),
        forecast(alert, clock),
    ]


def _power(alert: Alert, *, thunder: bool) -> str:
    cut_off = words.one_line(alert.isolate_at or "")
    reach = (
        "only from indoors or under a solid roof where it is at hand: nobody crosses open "
        "ground for it"
        if thunder
        else "only if it is reached without climbing and, in thunder, without crossing open ground"
    )
    if cut_off:
        return f"Isolate at {cut_off}, {reach}."
    return f"Isolate its power, {reach}. The show file does not say where it is cut off."


def radio(alert: Alert, clock: SiteClock) -> str:
    """The radio line; the condition on cutting the power is never left out."""
    where = plain_place(alert)
    if alert.stage == "stood-down":
        reason = plain(words.sentence(alert.reason))
        tail = " ends on this forecast. People on site decide."
        return fit("STOP at ", where, tail, last=f"Because: {reason}" if reason else "")
    thunder = is_thunder(alert)
    cut_off = shorten(plain(alert.isolate_at or ""), LONGEST_CUT_OFF)
    if thunder:
        tail = ". Come down, into a building or hard-top vehicle."
        tail += " Isolate its power only if at hand indoors."
        optional = [f"Cut off at {cut_off}."] if cut_off else []
    else:
        tail = ". Come down; nobody climbs."
        at = f"at {cut_off}" if cut_off else "its power"
        tail += f" Isolate {at}, only without climbing."
        optional = []
    if alert.facts.blocked_until is not None:
        optional.insert(0, f"Not before {clock.at(alert.facts.blocked_until)}.")
    if alert.facts.blocked_by:
        optional.append(plain(words.sentence(alert.facts.blocked_by)))
    head = "STOP. Wet and live, keep off " if alert.facts.spent_live else "STOP. Do not work at "
    return fit(head, where, tail, optional)
