"""Whether the watch works, for a watcher outside: its weather, its pace, its messages.

Open without a token, so that the simplest of watchers can ask; it names feeds and counts,
and neither contacts nor positions.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Literal

from flask import Flask, Response

from monitor.alerts.watch import tells_nobody
from monitor.service.evaluated import last_evaluated
from monitor.service.failing import failing_contacts
from monitor.store.outbox import undelivered
from monitor.units import SECONDS_PER_MINUTE, iso_utc
from monitor.web.answers import json_answer
from monitor.web.glance import Glance

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.service.evaluated import Evaluated, FeedThen
    from monitor.web.place import Place

ON_TIME = timedelta(minutes=3)
"""An evaluation comes at least once a minute; two may be missed."""
LONGEST_WAIT_S = 5 * SECONDS_PER_MINUTE
"""A message that has waited longer is not flowing [s]."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the watch: whether it works, in plain words."""

    part: Literal["weather", "evaluations", "deliveries"]
    works: bool
    says: str


def add_to(app: Flask, place: Place) -> None:
    """The one address."""

    def look(db: Database, now: datetime) -> tuple[dict[str, Any], HTTPStatus]:
        last = last_evaluated(db)
        parts = (
            _weather(last, now),
            _evaluations(last, now),
            _deliveries(db, place, now),
        )
        works = all(part.works for part in parts)
        data = {
            "works": works,
            "at": iso_utc(now),
            "parts": [{"part": p.part, "works": p.works, "says": p.says} for p in parts],
        }
        return data, HTTPStatus.OK if works else HTTPStatus.SERVICE_UNAVAILABLE

    glance = Glance(place, look)

    @app.get("/health")
    def health() -> Response:
        return json_answer(*glance())


def _weather(last: Evaluated | None, now: datetime) -> Part:
    if last is None:
        return Part("weather", works=False, says="No feed has been looked at yet.")
    if not last.feeds:
        return Part("weather", works=False, says="The show names no weather feed.")
    works = any(feed.state in ("current", "ageing") for feed in last.feeds)
    return Part("weather", works, " ".join(_of_feed(feed, now) for feed in last.feeds))


def _of_feed(feed: FeedThen, now: datetime) -> str:
    known = "" if feed.said_at is None else f", its forecast {_ago(now - feed.said_at)}"
    state = "not read yet" if feed.state == "unread" else feed.state
    failed = "" if feed.failing is None else "; the last try failed"
    return f"{feed.source} is {state}{known}{failed}."


def _evaluations(last: Evaluated | None, now: datetime) -> Part:
    if last is None:
        return Part("evaluations", works=False, says="Nothing has been worked out yet.")
    # A time still to come is one by a clock that has been set back since.
    works = -ON_TIME < now - last.at < ON_TIME
    return Part("evaluations", works, f"What is needed was last worked out {_ago(now - last.at)}.")


def _deliveries(db: Database, place: Place, now: datetime) -> Part:
    waiting, failing = undelivered(db, now), len(failing_contacts(db))
    late = waiting.oldest_age_s is not None and waiting.oldest_age_s > LONGEST_WAIT_S
    said = ["No message waits to be sent."]
    if waiting.oldest_age_s is not None:
        oldest = _ago(timedelta(seconds=waiting.oldest_age_s))
        said = [f"Messages waiting to be sent: {waiting.waiting}, the oldest queued {oldest}."]
    if failing:
        said.append(f"Contacts that messages do not reach: {failing}.")
    if tells_nobody(place.show.contacts):
        said.append("They are only laid in a folder: no person is being told.")
    return Part("deliveries", not late and not failing, " ".join(said))


def _ago(age: timedelta) -> str:
    seconds = age.total_seconds()
    if seconds < 0:
        return f"{-seconds:.0f} s from now"
    if seconds < 2 * SECONDS_PER_MINUTE:
        return f"{seconds:.0f} s ago"
    minutes = seconds / SECONDS_PER_MINUTE
    return f"{minutes:.0f} min ago" if minutes < 120 else f"{minutes / 60:.1f} h ago"
