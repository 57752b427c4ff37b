"""The demo festival at a moment, as the service would have it: database, evaluations, page."""

from __future__ import annotations

import itertools
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from flask import Flask
from flask.testing import FlaskClient

from monitor.builtin import builtin
from monitor.domain import Alert, Facts, Weather
from monitor.feeds.record import read_record
from monitor.page.viewer import Viewer
from monitor.service.cycle import Cycle
from monitor.service.telling import tell
from monitor.service.watched import FolderWatch
from monitor.store.database import immediate, open_database
from monitor.store.devices import link_of, make_link, sign_in
from monitor.store.history import record_log, record_revision
from monitor.store.runs import record_weather
from monitor.web.app import create_app
from monitor.web.place import Place

THURSDAY = datetime(2027, 7, 15, 20, 40, tzinfo=UTC)


def demo_folder(path: Path) -> Path:
    path.mkdir(parents=True)
    for item in builtin("demo").iterdir():
        if item.is_file():
            (path / item.name).write_bytes(item.read_bytes())
    return path


def members_of(weather: Weather, count: int) -> Weather:
    """The record as `count` members: rain from half to one and a half times as much."""
    share = np.linspace(0.5, 1.5, count)[:, np.newaxis]
    many = {
        name: np.repeat(getattr(weather, name), count, axis=0)
        for name in (
            "wind_mps",
            "gust_mps",
            "wind_from_deg",
            "temp_c",
            "dew_point_c",
            "cloud_pct",
            "thunder",
        )
    }
    return replace(
        weather,
        rain_mm=weather.rain_mm * share,
        weights=np.full(count, 1.0 / count),
        members=tuple(str(n) for n in range(count)),
        feed_of=(0,) * count,
        **many,
    )


class Stage:
    """A show folder with its database, evaluated at the moments that are asked for."""

    def __init__(self, folder: Path, members: int = 1) -> None:
        self.folder, self.now = folder, THURSDAY
        self.watch = FolderWatch(folder, {})
        self.cycle = Cycle(self.watch)
        self.viewer = Viewer("Ines's phone", "crew", csrf="token", new_id=self._ids())
        weather = read_record((folder / "weather.csv").read_bytes(), "weather.csv")
        weather = replace(weather, forecast=np.ones(len(weather.starts), dtype=bool))
        if members > 1:
            weather = members_of(weather, members)
        start = datetime(2027, 7, 15, 12, tzinfo=UTC)
        with self.db() as db, immediate(db):
            record_revision(
                db, self.watch.current.folder.files, self.watch.current.show.revision, start
            )
            record_weather(db, weather, None, start)

    def _ids(self):
        numbers = itertools.count(1)
        return lambda: f"id-{next(numbers)}"

    def db(self):
        return closing(open_database(self.folder / "dryspell.db"))

    def log(self, entry) -> None:
        with self.db() as db:
            record_log(
                db, entry, f"test-{entry.at:%d%H%M%S}-{entry.entry}-{entry.position}", entry.at
            )

    def evaluate(self, *moments: datetime):
        for moment in moments:
            self.now = moment
            with self.db() as db:
                self.cycle.run(db, moment)
        return self.cycle.seen

    @property
    def place(self) -> Place:
        return Place(self.watch, lambda: self.now, lambda: self.cycle.seen)

    def client(self, role: str = "crew", name: str = "Ines") -> FlaskClient:
        """A browser that came in by a link of this role."""
        with self.db() as db:
            link = f"{role} {name} {self.viewer.new_id()}"
            secret = make_link(db, role, link, self.now)
            _, cookie = sign_in(db, link_of(db, secret), name, self.now)
        client = self.app().test_client()
        client.set_cookie("duty", cookie)
        return client

    def tell(self, alert_id: str, position: str | None, action: str | None, **more) -> None:
        """Raise an alert of our own at the present moment."""
        alert = Alert(
            id=alert_id,
            kind=more.pop("kind", "work"),
            stage=more.pop("stage", "start"),
            action=action,
            position=position,
            fixtures=more.pop("fixtures", ()),
            count=more.pop("count", 1),
            people=more.pop("people", 1),
            minutes=more.pop("minutes", 10.0),
            isolate_at=more.pop("isolate_at", "Cut-off 7"),
            start_by=more.pop("start_by", None),
            do_by=more.pop("do_by", None),
            members=1,
            probability=None,
            at=self.now,
            reason=more.pop("reason", "rain"),
            facts=Facts(site_name="Marrowmere", timezone="Europe/London", **more),
        )
        with self.db() as db, immediate(db):
            tell(db, self.watch.current.show, alert, alert.reason, self.now)

    def app(self) -> Flask:
        return create_app(self.place)


def hours_until(moment: datetime, hours: float, every_h: float = 1.0):
    steps = int(hours / every_h)
    return [moment - timedelta(hours=every_h * n) for n in range(steps, -1, -1)]


def grown(folder: Path, rows: int) -> Path:
    """The same show with fixtures.csv repeated under new ids until it has `rows`."""
    path = folder / "fixtures.csv"
    head, *lines = path.read_text(encoding="utf-8").splitlines()
    out, number = [head], 0
    while len(out) <= rows:
        for line in lines:
            first, _, rest = line.partition(",")
            out.append(f"{first}-{number},{rest}" if number else line)
            if len(out) > rows:
                break
        number += 1
    path.write_text("\n".join(out) + "\n", encoding="utf-8")
    return folder
