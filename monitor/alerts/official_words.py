"""An official warning in a message: quoted as it was sent, with its source and its times.

What is between the quotes is the service's; it is neither shortened nor put in our words,
and so may hold words that are otherwise never ours to use. Pure.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.alerts.clock import DAYS, MONTHS, SiteClock
from monitor.alerts.words import one_line, sentence
from monitor.domain import Official
from monitor.planning.official import in_short, without_calls
from monitor.planning.workable import AFTER_THUNDER_S

if TYPE_CHECKING:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from monitor.domain import Alert
    from monitor.planning.official import OfficialWarning

NO_PROMISE = (
    "That no official warning is known does not mean that nothing comes: warnings are issued "
    "late, for other places, or not at all."
)
UNPLACED = (
    "Its area is not known here, so it may concern the site or not: look at it yourself. Area "
    "codes of the site (areas in [[warnings]]) would tell."
)
CLOSES = (
    "It is a warning of thunder for the site: all work outdoors is closed for its time and "
    "for 30 min after it."
)
CLOSES_NOT = (
    "It is about thunder but closes no work by itself, as the service calls it no more than "
    "possible, or over: watch the sky."
)

_LONGEST_PLACE = 600
AFTER_THUNDER = timedelta(seconds=AFTER_THUNDER_S)
"""How long work outdoors stays closed after it."""


def official(
    warning: OfficialWarning, zone: ZoneInfo, *, placed: bool, thunder: bool, closes: bool
) -> Official:
    """A warning as an alert carries it.

    Parameters
    ----------
    placed : it is for the site without doubt
    thunder, closes : it is about thunder; it closes work outdoors
    """
    said = [_grades(warning), times(warning, zone)]
    if not warning.has_end:
        start = "beginning" if warning.expires is not None else "sending"
        said.append(f"It gives no end: taken to hold for 24 h from its {start}.")
    if warning.place:
        said.append(f"Area: {_cut(without_calls(warning.place))}.")
    if not placed:
        said.append(UNPLACED)
    elif thunder:
        said.append(CLOSES if closes else CLOSES_NOT)
    if warning.web:
        said.append(f"More: {warning.web}")
    return Official(
        service=warning.service,
        event=warning.title,
        quoted=quoted(warning),
        said=(*said, *warning.notes),
        begins=warning.begins,
        until=warning.until,
        closes_until=warning.until + AFTER_THUNDER if closes and placed else None,
    )


def _cut(place: str) -> str:
    """A list of hundreds of zones is no help; where it is cut is said."""
    if len(place) <= _LONGEST_PLACE:
        return place
    return f"{place[:_LONGEST_PLACE].rpartition(' ')[0].rstrip(' ,;')} [and more]"


def quoted(warning: OfficialWarning) -> tuple[str, ...]:
    """Headline, description and instruction as they were sent; the event where it had to be cut."""
    event = "" if in_short(warning.event) == warning.event else warning.event
    said = (event, warning.headline, warning.description, warning.instruction)
    return tuple(t for t in said if t)


def times(warning: OfficialWarning, zone: ZoneInfo) -> str:
    """`By NAME, sent Thu 17 Jun 14:57 PDT. From ... to ..., site time.`"""
    sender = in_short(warning.sender_name or warning.sender)
    by = f"{warning.service}" + (f" ({sender})" if sender and sender != warning.service else "")
    return (
        f"By {by}, sent {dated(warning.sent, zone)}. In force from {dated(warning.begins, zone)} "
        f"to {dated(warning.until, zone)}, site time."
    )


def dated(moment: datetime, zone: ZoneInfo) -> str:
    """`Thu 17 Jun 14:57 PDT`: with day and zone, as it may be read much later."""
    local = moment.astimezone(zone)
    label = SiteClock(zone, moment).zone_name.partition(" (")[0]
    return (
        f"{DAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} "
        f"{local.hour:02d}:{local.minute:02d} {label}"
    )


def _grades(warning: OfficialWarning) -> str:
    return (
        f"Severity {warning.severity.lower()}, urgency {warning.urgency.lower()}, certainty "
        f"{warning.certainty.lower()}."
    )


def headline(alert: Alert, said: Official) -> str:
    """The first line of the message."""
    where = one_line(alert.facts.site_name) or "the site"
    service = one_line(said.service)
    if said.event is None:
        if alert.stage == "stood-down":
            return f"The official warnings for {where} are read again."
        return f"Official warnings for {where} cannot be read. Look at them yourself."
    event = one_line(said.event)
    if alert.stage == "stood-down":
        return f"Ended, the official warning for {where}: {event} ({service})."
    return f"Official warning for {where}: {event} ({service})."


def paragraphs(alert: Alert, said: Official) -> list[str]:
    """What follows the first line."""
    why = sentence(alert.reason)
    extra = " ".join(sentence(line) for line in alert.facts.extra)
    if said.event is None:
        return [why, extra, NO_PROMISE]
    clock = SiteClock.named(alert.facts.timezone, alert.at)
    if alert.stage == "stood-down":
        stays = ""
        if said.closes_until is not None and said.closes_until > alert.at:
            stays = (
                f"The stop for thunder stays for 30 min after it, until "
                f"{clock.near(said.closes_until)} at least. People on site declare the end of it."
            )
        return [f"Because: {why}" if why else "", stays, extra, NO_PROMISE]
    lines = "\n".join(one_line(line) for line in said.said)
    return [why, _be_down(said, clock), _quotation(said), lines, extra, NO_PROMISE]


def _be_down(said: Official, clock: SiteClock) -> str:
    """What a warning that closes work outdoors asks, and by when."""
    if said.closes_until is None or said.begins is None:
        return ""
    ahead = said.begins > clock.now
    by = f"by {clock.near(said.begins)}" if ahead else "now"
    return (
        f"Be down {by}, in a building or a hard-top vehicle: nobody works outdoors from "
        f"{'then' if ahead else 'now'} to {clock.at(said.closes_until)}, 30 min after its end. "
        f"Site time, {clock.zone_name}."
    )


def on_the_radio(said: Official, clock: SiteClock, *, ended: bool) -> str:
    """Its times, and to be down by the first of them; how long the stop stays after its end."""
    if ended:
        until = said.closes_until
        if until is None or until <= clock.now:
            return ""
        return f" The STOP stays to {clock.at(until)}."
    if said.begins is None or said.until is None:
        return ""
    if said.closes_until is None:
        return f" {clock.span(said.begins, said.until)}."
    if said.begins > clock.now:
        return f" {clock.span(said.begins, said.until)}. Be down by {clock.at(said.begins)}."
    return f" To {clock.at(said.until)}. Be down now."


def _quotation(said: Official) -> str:
    """The service's words, marked on every line, so that nothing of ours can be taken for them."""
    if not said.quoted:
        return ""
    marked = "\n>\n".join(
        "\n".join(f"> {line}".rstrip() for line in paragraph.split("\n"))
        for paragraph in said.quoted
    )
    return f"{one_line(said.service)} says:\n{marked}"


def as_json(said: Official) -> dict[str, object]:
    """The same for programs."""
    return {
        "service": said.service,
        "event": said.event,
        "quoted": list(said.quoted),
        "said": list(said.said),
    }
