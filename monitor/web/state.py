"""How things stand, for a program of the crew's own: alerts, feeds, stations, deliveries."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flask import Flask, Response, request

from monitor.alerts.wording import as_json
from monitor.service.escalation import standing
from monitor.service.evaluated import last_evaluated
from monitor.service.failing import failing_contacts
from monitor.service.watched import in_short
from monitor.store.counts import last_readings
from monitor.store.outbox import undelivered
from monitor.units import iso_utc
from monitor.web.answers import json_answer
from monitor.web.bearer import bearer
from monitor.web.declared import three_clears

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Answered
    from monitor.service.escalation import Standing
    from monitor.service.evaluated import FeedThen
    from monitor.web.place import Place

SCHEMA = "dryspell.state/1"


def add_to(app: Flask, place: Place) -> None:
    """The one address."""

    @app.get("/api/v1/state")
    def state() -> Response:
        with place.opened() as db:
            bearer(db, place, request)
            # One snapshot: what the parts say is of one moment.
            with db.atomic():
                data = _state(db, place, place.clock())
        return json_answer(data)


def _state(db: Database, place: Place, now: datetime) -> dict[str, Any]:
    show, watch = place.show, place.watch
    waiting, last = undelivered(db, now), last_evaluated(db)
    return {
        "schema": SCHEMA,
        "at": iso_utc(now),
        "site": show.site.name,
        "revision": show.revision,
        "folder_fault": None if watch.broken is None else in_short(watch.broken),
        "evaluated_at": None if last is None else iso_utc(last.at),
        "alerts": [_alert(stands) for stands in standing(db, show, now)],
        "feeds": [] if last is None else [_feed(feed, now) for feed in last.feeds],
        "stations": list(_stations(db, place)),
        **three_clears(db, show, now),
        "deliveries": {
            "waiting": waiting.waiting,
            "failing": waiting.failing,
            "given_up": waiting.given_up,
            "oldest_age_s": _rounded(waiting.oldest_age_s),
            "waiting_by_contact": dict(waiting.by_contact),
            "not_reached": list(failing_contacts(db)),
        },
    }


def _alert(stands: Standing) -> dict[str, Any]:
    """The alert object as everywhere, with when it was raised, who was told, what was answered."""
    given = [_answer(answered) for answered in stands.answers]
    latest = given[-1] if given else None
    return {
        **as_json(stands.alert),
        "opened_at": iso_utc(stands.stored.opened_at),
        "changed_at": iso_utc(stands.stored.changed_at),
        "answer": latest and {name: latest[name] for name in ("answer", "at", "by")},
        "answers": given,
        "turns": [
            {
                "at": iso_utc(turn.at),
                "stage": turn.stage,
                "contacts": list(turn.contacts),
                "because": turn.because,
            }
            for turn in stands.turns
        ],
        "awaits_answer": stands.is_waiting,
        "next_turn_at": iso_utc(stands.next_at),
    }


def _answer(answered: Answered) -> dict[str, Any]:
    return {
        "answer": answered.answer,
        "action": answered.action,
        "at": iso_utc(answered.at),
        "by": answered.by,
        "because": answered.because,
        "until": iso_utc(answered.until),
        "note": answered.note,
    }


def _feed(feed: FeedThen, now: datetime) -> dict[str, Any]:
    """As it was judged at the last evaluation; its age is of now."""
    said_at = feed.said_at
    return {
        "source": feed.source,
        "state": feed.state,
        "said_at": iso_utc(said_at),
        "age_s": None if said_at is None else _rounded((now - said_at).total_seconds()),
        "reaches_to": iso_utc(feed.reaches_to),
        "failing": feed.failing,
    }


def _stations(db: Database, place: Place) -> Iterator[dict[str, Any]]:
    heard = last_readings(db)
    for gauge in place.show.gauges:
        yield {
            "station": gauge.station,
            "last_at": iso_utc(heard.get(gauge.station)),
            "every_minutes": gauge.every_minutes,
        }


def _rounded(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 1)
