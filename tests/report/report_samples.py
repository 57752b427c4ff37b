"""Small shows, weather worked by hand, and readers for what a report writes."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import numpy as np

from monitor.codes import read_code
from monitor.domain import (
    Alert,
    Contact,
    Event,
    Facts,
    Fixture,
    LogEntry,
    Position,
    Show,
    Site,
    Weather,
)
from monitor.exposure.assess import assess
from monitor.exposure.rig import compile_rig
from monitor.report import Material
from monitor.show import default_policy

NOON = datetime(2027, 7, 1, 12, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")
SITE = Site("Field", 51.5, 0.0, 20.0, LONDON, "II", ground="grass")
"""One hour ahead of UTC in July: 12:00Z is 13:00 on site. Grass: no dust."""


def position(its_id="pole", **changes):
    return replace(Position(its_id, its_id, 10.0, "ground", None, 2.0, 1.0, 1.0, 1), **changes)


def fixture(its_id="f1", code="IP20", **changes):
    for part in ("supply_code", "connector_code", "connector_open_code"):
        if isinstance(changes.get(part), str):
            changes[part] = read_code(changes[part])
    changes.setdefault("position", "pole")
    return Fixture(its_id, read_code(code), **changes)


def show(*fixtures, positions=(), site=SITE, policy=None, covers=(), contacts=(), **changes):
    placed = positions or (position(),)
    return Show(
        site,
        Event(NOON),
        {p.id: p for p in placed},
        tuple(fixtures),
        replace(default_policy(), **(policy or {})),
        covers={c.id: c for c in covers},
        contacts=tuple(contacts),
        **changes,
    )


def mail(name="crew"):
    return Contact(name, "email", host="127.0.0.1", sender="a@example.org", to=("b@example.org",))


def weather(rain, *, minutes=60, wind=0.0, gust=np.nan, wind_from=0.0, start=NOON, **changes):
    """A record in equal steps. Calm, so that what falls is what a fixture takes."""
    rain = np.asarray([rain], dtype=float)

    def over(values):
        return np.broadcast_to(np.asarray(values, dtype=float), rain.shape).copy()

    starts = start.timestamp() + 60.0 * minutes * np.arange(rain.shape[1])
    plain = Weather(
        starts=starts,
        ends=starts + 60.0 * minutes,
        rain_mm=rain,
        wind_mps=over(wind),
        gust_mps=over(gust),
        wind_from_deg=over(wind_from),
        temp_c=over(np.nan),
        dew_point_c=over(np.nan),
        cloud_pct=over(np.nan),
        thunder=over(np.nan),
        weights=np.ones(1),
        forecast=np.zeros(rain.shape[1], dtype=bool),
        source="gauge",
    )
    return replace(plain, **changes)


def after(hours):
    return NOON + timedelta(hours=hours)


def entry(hours, what, *, fixture=None, position="pole", **more):
    return LogEntry(after(hours), what, None if fixture else position, fixture, **more)


def alert(stage="start", *, at=0.0, do_by=None, start_by=None, **more):
    base = {
        "id": "pole-1",
        "kind": "work",
        "stage": stage,
        "action": "cover",
        "position": "pole",
        "fixtures": ("f1",),
        "count": 1,
        "people": 1,
        "minutes": 3.0,
        "isolate_at": None,
        "start_by": None if start_by is None else after(start_by),
        "do_by": None if do_by is None else after(do_by),
        "members": 1,
        "probability": None,
        "at": after(at),
        "reason": "rain is coming",
        "facts": Facts(),
    }
    return Alert(**{**base, **more})


def changes(*alerts):
    return tuple((a, a.reason, a.at) for a in alerts)


def material(described, fell, log=(), **more):
    """The material of a rehearsal over `fell`, unless said otherwise."""
    rig = compile_rig(described)
    exposure = assess(rig, fell, log, out_from_s=NOON.timestamp())
    base = {
        "show": described,
        "rig": rig,
        "exposure": exposure,
        "log": tuple(log),
        "changes": (),
        "made_at": after(24),
        "rehearsed": True,
    }
    return Material(**{**base, **more})


def read_csv(path):
    """Rows as dicts, of a file with the mark that tells a spreadsheet it is UTF-8."""
    content = path.read_bytes()
    assert content.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


class Page(HTMLParser):
    """A page as its text, its tables by id, its elements and their attributes."""

    VOID = ("meta", "br", "link", "img", "input", "col")

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.text, self.tables, self.elements = "", {}, []
        self.open, self._table = [], None
        self._silent = 0
        self.feed(html)
        self.close()
        assert self.open == [], "every element is closed"

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)
        if tag in ("style", "script"):
            self._silent += 1
        if tag == "table":
            self._table = self.tables.setdefault(dict(attrs).get("id", ""), [])
        elif tag == "tr" and self._table is not None:
            self._table.append([])
        elif tag in ("td", "th") and self._table:
            self._table[-1].append("")
        if tag in ("br", "p", "li", "tr", "td", "dt", "dd", "h2", "h3", "text"):
            self._say(" ")

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, tag
        assert self.open.pop() == tag
        if tag in ("style", "script"):
            self._silent -= 1
        if tag == "table":
            self._table = None

    def handle_data(self, data):
        if not self._silent:
            self._say(data)

    def _say(self, data):
        self.text += data
        if self._table and self._table[-1] and ("td" in self.open or "th" in self.open):
            self._table[-1][-1] += data

    @property
    def said(self):
        return re.sub(r"\s+", " ", self.text)

    def rows(self, table):
        """Rows of a table under its head, cells with single spaces."""
        return [[re.sub(r"\s+", " ", c).strip() for c in row] for row in self.tables[table][1:]]


def svgs(html):
    """The pictures of a page as XML texts."""
    return re.findall(r"<svg xmlns=.*?</svg>", html, flags=re.DOTALL)
