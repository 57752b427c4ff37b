"""Where what is known comes from, and whether words go out: each with its age."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from monitor.alerts.losses import FeedState, feed_state
from monitor.domain import Show
from monitor.page.words import later

if TYPE_CHECKING:
    from monitor.alerts.losses import FeedSight
    from monitor.service.escalation import Standing
    from monitor.store.outbox_rows import Delivery, Undelivered

STATES: dict[FeedState, str] = {
    "unread": later("not read yet"),
    "current": later("current"),
    "ageing": later("ageing: it is time for more"),
    "lost": later("lost: nothing is decided by it"),
}
KINDS: dict[str, str] = {
    "email": later("by mail"),
    "webhook": later("by web call"),
    "folder": later("in a folder"),
    "apprise": later("by a service"),
}
"""How a contact is reached"""
SENT: dict[str, str] = {
    "queued": later("waiting"),
    "sent": later("sent"),
    "given-up": later("given up: nobody has it"),
    "cancelled": later("overtaken by a later one"),
}
BECOMES_SILENT = 3
"""A station that has missed so many of its words is silent."""


@dataclass(frozen=True, slots=True)
class FeedRow:
    """One feed."""

    sight: FeedSight
    state: FeedState


@dataclass(frozen=True, slots=True)
class Station:
    """One gauge on site."""

    name: str
    last_at: datetime | None
    silent: bool


@dataclass(frozen=True, slots=True)
class Warned:
    """An official warning that stands, in the words of its service."""

    service: str
    event: str
    begins: datetime | None
    until: datetime | None
    quoted: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ContactRow:
    """One contact."""

    name: str
    kind: str
    waiting: int
    reached: bool


@dataclass(frozen=True, slots=True)
class FeedsNow:
    """All of it."""

    feeds: tuple[FeedRow, ...]
    stations: tuple[Station, ...]
    services: tuple[str, ...]
    """Official warning services that are read"""
    warned: tuple[Warned, ...]
    contacts: tuple[ContactRow, ...]
    waiting: Undelivered
    sent: tuple[Delivery, ...]
    """The latest messages, newest first"""
    worst: Literal["fine", "look"]


def feeds_now(
    show: Show,
    sights: Sequence[FeedSight],
    heard: Mapping[str, datetime],
    stands: Sequence[Standing],
    waiting: Undelivered,
    failing: Sequence[str],
    sent: Sequence[Delivery],
    now: datetime,
) -> FeedsNow:
    """How everything that comes in and goes out stands."""
    feeds = tuple(FeedRow(sight, feed_state(sight, now)) for sight in sights)
    stations = tuple(
        Station(
            gauge.station,
            heard.get(gauge.station),
            _is_silent(heard.get(gauge.station), gauge.every_minutes, now),
        )
        for gauge in show.gauges
    )
    contacts = tuple(
        ContactRow(
            contact.name,
            contact.kind,
            waiting.by_contact.get(contact.name, 0),
            contact.name not in failing,
        )
        for contact in show.contacts
    )
    well = (
        all(row.state == "current" for row in feeds)
        and not any(station.silent for station in stations)
        and all(contact.reached for contact in contacts)
    )
    return FeedsNow(
        feeds,
        stations,
        tuple(service.name for service in show.warnings),
        tuple(_warned(stands)),
        contacts,
        waiting,
        tuple(sent),
        "fine" if well else "look",
    )


def _is_silent(last_at: datetime | None, every_minutes: float, now: datetime) -> bool:
    return last_at is None or now - last_at > BECOMES_SILENT * timedelta(minutes=every_minutes)


def _warned(stands: Sequence[Standing]) -> list[Warned]:
    found = []
    for one in stands:
        official = one.alert.facts.official
        if official is not None and official.event is not None:
            found.append(
                Warned(
                    official.service,
                    official.event,
                    official.begins,
                    official.until,
                    official.quoted,
                )
            )
    return found
