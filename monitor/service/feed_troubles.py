"""Telling of feeds: weather lost, a setting to mend, the site's connection, the clock.

Each is a trouble of its own: told once, again hourly in show hours, and ended aloud.
"""

from __future__ import annotations

from dataclasses import replace
from ipaddress import ip_address
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from monitor.alerts.feed_troubles import clock_found, setup_found, uplink_found
from monitor.alerts.losses import slug, weather_found
from monitor.service.telling import follow_trouble
from monitor.store.history import recall, remember

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.losses import FeedSight
    from monitor.domain import Contact, Message, Show

SETUPS_KEY = "trouble-feeds"
"""Which feeds have a setting to mend, so that one taken out of the show ends aloud too."""


def follow_feeds(
    db: Database, show: Show, sights: Sequence[FeedSight], now: datetime, next_word_at: datetime
) -> list[Message]:
    """One step of every trouble of the feeds; the messages that were queued."""
    uplink = uplink_found(sights)
    # Whoever can be reached without the connection is told first.
    near = show if uplink is None else _nearest_first(show)
    steps = [
        follow_trouble(
            db,
            near,
            "uplink",
            uplink,
            now,
            over="the site's connection works again",
            next_word_at=next_word_at,
        ),
        follow_trouble(
            db,
            near,
            "weather",
            weather_found(sights, show, now),
            now,
            over="the forecast is current again",
            next_word_at=next_word_at,
        ),
        *_setups(db, show, sights, now, next_word_at),
        follow_trouble(
            db,
            show,
            "clock",
            clock_found(sights),
            now,
            over="the clock of the monitor is right again",
            next_word_at=next_word_at,
        ),
    ]
    return [told for told in steps if told is not None]


def _setups(
    db: Database, show: Show, sights: Sequence[FeedSight], now: datetime, next_word_at: datetime
) -> list[Message | None]:
    kept: Any = recall(db, SETUPS_KEY) or []
    found = {sight.source: setup_found(sight, show, now) for sight in sights}
    told = [
        follow_trouble(
            db,
            show,
            f"feed-{slug(source)}",
            found.get(source),
            now,
            over=f"{source}: that is mended"
            if source in found
            else f"{source} is not read any more",
            next_word_at=next_word_at,
        )
        for source in dict.fromkeys([*kept, *(s for s, is_wrong in found.items() if is_wrong)])
    ]
    wrong = [source for source, is_wrong in found.items() if is_wrong is not None]
    if wrong != kept:
        remember(db, SETUPS_KEY, wrong)
    return told


def _nearest_first(show: Show) -> Show:
    return replace(show, contacts=tuple(sorted(show.contacts, key=_distance)))


def _distance(contact: Contact) -> int:
    """0 on this machine, 1 on the site's own network, 2 beyond it."""
    if contact.kind == "folder":
        return 0
    host = contact.host if contact.kind == "email" else urlsplit(contact.url or "").hostname
    try:
        address = ip_address(host or "")
    except ValueError:
        near = host is not None and (host == "localhost" or host.endswith((".local", ".lan")))
        return 1 if near else 2
    if address.is_loopback:
        return 1 if contact.kind == "webhook" else 2  # a mail relay here still has to get out
    return 1 if address.is_private and contact.kind == "webhook" else 2
