"""Figures for a program that keeps them over time, in the Prometheus text format 0.0.4.

Times are seconds since 1970, so that whoever reads works out the age; nothing here is counted
in memory, so a restart sets nothing back. Alert on the age, and on figures that are missing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from flask import Flask, Response

from monitor import __version__
from monitor.service.evaluated import last_evaluated
from monitor.service.feed_words import failures, named
from monitor.store.chain import head
from monitor.store.counts import attempts_by_contact, last_readings, runs_by_source
from monitor.store.history import open_alerts
from monitor.store.outbox import undelivered
from monitor.store.runs import latest_run
from monitor.units import to_epoch
from monitor.web.glance import Glance

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Alert
    from monitor.web.place import Place

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"

_RULES = (
    *("cover", "bring-in", "isolate", "uncover", "inspect", "clean"),
    *("stop", "weather", "delivery"),
)
"""An alert by the work it asks for, else by its kind. Each is always there, or a rule that
stands down would look like a server that is gone."""
_FAILED = ("passing", "throttled", "config-fault")
_STAGES = {"notice": 1, "start": 2, "overdue": 3, "stop": 4}


@dataclass(slots=True)
class Family:
    """One figure with all its labels."""

    name: str
    kind: Literal["counter", "gauge"]
    says: str
    samples: list[tuple[dict[str, str], float]] = field(default_factory=list)

    def add(self, value: float, **labels: str) -> None:
        """One value of it."""
        self.samples.append((labels, value))


def add_to(app: Flask, place: Place) -> None:
    """The one address."""
    glance = Glance(place, lambda db, now: render(families(db, place, now)))

    @app.get("/metrics")
    def metrics() -> Response:
        return Response(glance(), content_type=CONTENT_TYPE)


def families(db: Database, place: Place, now: datetime) -> list[Family]:
    """Every figure, as it stands now."""
    return [
        *_of_feeds(db, place, now),
        *_of_alerts(db),
        *_of_deliveries(db, place, now),
        *_of_the_rest(db, place),
    ]


def _of_feeds(db: Database, place: Place, now: datetime) -> Iterator[Family]:
    given = runs_by_source(db)
    fetches = Family(
        "dryspell_feed_fetch_total", "counter", "Times a feed was asked, by what came of it."
    )
    success = Family(
        "dryspell_feed_last_success_timestamp_seconds", "gauge", "When a feed last answered well."
    )
    issued = Family(
        "dryspell_feed_issued_timestamp_seconds",
        "gauge",
        "When the newest forecast of a feed was issued.",
    )
    horizon = Family(
        "dryspell_feed_horizon_seconds", "gauge", "How far ahead the newest forecast reaches."
    )
    nulls = Family(
        "dryspell_feed_null_ratio",
        "gauge",
        "Share of the newest forecast whose rain is not known.",
    )
    for name, _ in named(place.show.feeds):
        has = given.get(name)
        fetches.add(0 if has is None else has.new, feed=name, outcome="new")
        fetches.add(0 if has is None else has.again, feed=name, outcome="unchanged")
        failed = failures(db, name)
        for outcome in _FAILED:
            fetches.add(failed.get(outcome, 0), feed=name, outcome=outcome)
        if has is not None:
            success.add(to_epoch(has.last_at), feed=name)
        run = latest_run(db, name)
        if run is None:
            continue
        weather = run.weather
        if weather.issued_at is not None:
            issued.add(to_epoch(weather.issued_at), feed=name)
        if weather.rain_mm.size:
            horizon.add(float(weather.ends[-1]) - to_epoch(now), feed=name)
            nulls.add(float(np.isnan(weather.rain_mm).mean()), feed=name)
    yield from (fetches, success, issued, horizon, nulls)


def _of_alerts(db: Database) -> Iterator[Family]:
    state = Family(
        "dryspell_alert_state",
        "gauge",
        "The gravest stage of the open alerts of a rule: 0 none, 1 notice, 2 start, 3 overdue, "
        "4 stop.",
    )
    count = Family("dryspell_alerts_open", "gauge", "Open alerts of a rule.")
    alerts = [stored.alert for stored in open_alerts(db)]
    for rule in _RULES:
        of_rule = [alert for alert in alerts if _rule(alert) == rule]
        state.add(max((_STAGES.get(a.stage, 0) for a in of_rule), default=0), rule=rule)
        count.add(len(of_rule), rule=rule)
    yield from (state, count)


def _rule(alert: Alert) -> str:
    return alert.action or alert.kind


def _of_deliveries(db: Database, place: Place, now: datetime) -> Iterator[Family]:
    kinds = {contact.name: contact.kind for contact in place.show.contacts}
    total: dict[tuple[str, str], int] = {}
    for (contact, outcome), count in attempts_by_contact(db).items():
        channel = kinds.get(contact, "gone")
        total[channel, outcome] = total.get((channel, outcome), 0) + count
    attempts = Family(
        "dryspell_notify_total",
        "counter",
        "Attempts to send, by kind of contact (gone: no more in the show) and by outcome.",
    )
    for (channel, outcome), count in sorted(total.items()):
        attempts.add(count, channel=channel, outcome=outcome)
    behind = undelivered(db, now)
    waiting = Family("dryspell_notify_waiting", "gauge", "Messages that wait to be sent.")
    waiting.add(behind.waiting)
    oldest = Family(
        "dryspell_notify_oldest_seconds", "gauge", "How long the oldest waiting message has waited."
    )
    oldest.add(behind.oldest_age_s or 0.0)
    yield from (attempts, waiting, oldest)


def _of_the_rest(db: Database, place: Place) -> Iterator[Family]:
    heard = Family(
        "dryspell_obs_last_timestamp_seconds", "gauge", "Moment of the latest reading of a station."
    )
    last = last_readings(db)
    for gauge in place.show.gauges:
        if gauge.station in last:
            heard.add(to_epoch(last[gauge.station]), station=gauge.station)
    evaluated = Family(
        "dryspell_rule_evaluation_timestamp_seconds",
        "gauge",
        "When what is needed was last worked out.",
    )
    evaluation = last_evaluated(db)
    if evaluation is not None:
        evaluated.add(to_epoch(evaluation.at))
    rows = Family("dryspell_history_rows", "gauge", "Rows in the chain of the history.")
    rows.add(head(db).rows)
    version = Family("dryspell_build_info", "gauge", "Always 1; the version is its label.")
    version.add(1, version=__version__)
    yield from (heard, evaluated, rows, version)


def render(found: list[Family]) -> str:
    """The families as text. One without a value is left out whole."""
    lines: list[str] = []
    for family in found:
        if not family.samples:
            continue
        says = family.says.replace("\\", r"\\").replace("\n", r"\n")
        lines += [f"# HELP {family.name} {says}", f"# TYPE {family.name} {family.kind}"]
        lines += [f"{family.name}{_labels(of)} {_number(value)}" for of, value in family.samples]
    return "\n".join(lines) + "\n"


def _labels(labels: dict[str, str]) -> str:
    if not labels:
        return ""
    return "{" + ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items()) + "}"


def _escaped(value: str) -> str:
    return value.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")


def _number(value: float) -> str:
    if math.isnan(value):
        return "NaN"
    return str(int(value)) if float(value).is_integer() else repr(float(value))
