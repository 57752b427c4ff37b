"""A show under a clock that the test moves, fed by a server whose faults the test chooses."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from service_site import ENVIRON, mail_to, payload, write_show

from monitor.alerts.losses import FeedSight, feed_state
from monitor.service.cycle import Cycle
from monitor.service.feed_words import memory_key
from monitor.service.feeds_seen import RunsKept
from monitor.service.polling import Asking, poll_all
from monitor.service.watched import FolderWatch
from monitor.store.database import open_database
from monitor.store.history import alert_changes, open_alerts, recall
from monitor.store.outbox import deliveries
from monitor.units import iso_utc

START = datetime(2027, 7, 15, 11, 30, tzinfo=UTC)
"""12:30 in British Summer Time, on a Thursday."""

SHEET = """
extends = "open-meteo"
[feed]
id = "{name}"
use = "any"
[request]
poll = "10m"
jitter = "0s"
deadline = "0.5s"
[run]
{run}
{more}
"""

ISSUED = 'issued = "issued"\nmax_age = "8h"'
PLAIN = 'max_age = "8h"'


def feed_of(url: str, sheet: str = "fault-feed", **more: Any) -> str:
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in more.items())
    return f'[[feeds]]\nsheet = "{sheet}"\nbase_url = "{url}"\n{lines}'


def sheet_text(name: str = "fault-feed", run: str = PLAIN, more: str = "") -> str:
    return SHEET.format(name=name, run=run, more=more)


def forecast(now: datetime, issued: datetime | None = None, **options: Any) -> dict[str, Any]:
    """A sound answer: rain from four hours on, so that there is work to be told of."""
    answer = json.loads(payload(now, **{"rain_in_h": 4, **options}))
    return answer if issued is None else {**answer, "issued": iso_utc(issued)}


def as_bytes(answer: Any) -> bytes:
    return json.dumps(answer).encode()


@dataclass
class Stage:
    """A show folder, its database and a clock."""

    folder: Path
    db: Any
    watch: FolderWatch
    cycle: Cycle
    now: datetime = START

    def clock(self) -> datetime:
        return self.now

    def later(self, **span: float) -> None:
        self.now += timedelta(**span)

    def asking(self) -> Asking:
        return Asking(
            self.watch.current.show, self.folder, self.watch.secret, self.clock, lambda: 0.0
        )

    def poll(self, **more: Any) -> Any:
        return poll_all(self.db, self.asking(), **more)

    def run(self) -> Any:
        return self.cycle.run(self.db, self.now)

    @property
    def runs(self) -> RunsKept:
        """The feeds' runs as the cycle keeps them."""
        return self.cycle.sky.runs

    def sight(self, source: str = "fault-feed") -> FeedSight:
        self.cycle.sky.runs.catch_up(self.db)
        show = self.watch.current.show
        sights = self.cycle.sky.runs.sights(self.db, show, self.folder, self.now)
        return next(sight for sight in sights if sight.source == source)

    def state(self, source: str = "fault-feed") -> str:
        return feed_state(self.sight(source), self.now)

    def wait_minutes(self, source: str = "fault-feed") -> float:
        """From now to the next try."""
        at = datetime.fromisoformat(recall(self.db, memory_key(source))["next_try_at"])
        return (at - self.now).total_seconds() / 60

    def open(self, kind: str) -> list[Any]:
        return [found.alert for found in open_alerts(self.db) if found.alert.kind == kind]

    def changes(self, kind: str) -> list[Any]:
        return [c.alert for c in alert_changes(self.db) if c.alert.kind == kind]

    def told(self, kind: str) -> list[Any]:
        return [d.row.message for d in deliveries(self.db) if d.row.message.kind == kind]

    def changed(self, name: str, old: str, new: str) -> None:
        """Edit a file of the folder and have it read again."""
        path = self.folder / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")
        self.watch.look()
        assert self.watch.look()


@contextmanager
def staged(folder: Path, feeds: str, sheets: dict[str, str] | None = None, **show: Any):
    """A stage; its database is closed at the end."""
    files = {
        f"sheets/{name}.toml": text
        for name, text in (sheets or {"fault-feed": sheet_text()}).items()
    }
    settings = {
        "contacts": mail_to(25, "a@example.org"),
        "load_in": START - timedelta(hours=3),
        **show,
    }
    write_show(folder, feeds=feeds, files=files, **settings)
    db = open_database(folder / "dryspell.db")
    with closing(db.conn):
        watch = FolderWatch(folder, ENVIRON)
        yield Stage(folder, db, watch, Cycle(watch))


Change = Callable[[dict[str, Any]], Any]


def hours(answer: dict[str, Any]) -> dict[str, Any]:
    """The lists of an answer."""
    found: dict[str, Any] = answer["hourly"]
    return found
