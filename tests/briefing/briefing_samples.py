"""A small show, an afternoon of weather worked by hand, and what is known of it at noon."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from monitor.alerts.lifecycle import Source, WatchState
from monitor.briefing.known import Known
from monitor.codes import read_code
from monitor.domain import (
    Alert,
    Cover,
    Crew,
    Event,
    Facts,
    Fixture,
    Hours,
    LogEntry,
    Person,
    Position,
    Show,
    Site,
    Weather,
)
from monitor.evaluation import evaluate
from monitor.exposure.rig import compile_rig
from monitor.show import default_policy
from monitor.store.history import StoredAlert

NOON = datetime(2027, 7, 1, 12, tzinfo=UTC)
"""A Thursday; 13:00 British Summer Time."""
SITE = Site("Long meadow", 51.5, 0.0, 20.0, ZoneInfo("Europe/London"), "II", ground="grass")
QUIET = Hours(time(23), time(9))
HOOD = Cover("hood", "Tarp hood", keeps_out_to_deg=90, gust_limit_mps=18, in_stock=5)


def after(hours):
    return NOON + timedelta(hours=hours)


def person(name, *shifts, **more):
    def hours(text):
        start, end = text.split("-")
        return Hours(time.fromisoformat(start), time.fromisoformat(end))

    return Person(name, shifts=tuple(hours(shift) for shift in shifts), **more)


def position(its_id, **changes):
    plain = Position(its_id, its_id.capitalize(), 0.5, "ground", None, 2.0, 1.0, 1.0, 1)
    return replace(plain, **changes)


LAWN = position("lawn", height_m=1.0)
TOWER = position(
    "tower", name="Delay tower", height_m=9.0, access="platform", access_limit_mps=12.5
)


def fixture(its_id, where="lawn", code="IP20", **more):
    plain = {"mount": "upright", "type": "wash", "cover": "hood"}
    return Fixture(its_id, read_code(code), where, **{**plain, **more})


def show(*fixtures, positions=(LAWN, TOWER), people=(), quiet=QUIET, covers=(HOOD,), **more):
    return Show(
        SITE,
        Event(after(-3), quiet_hours=quiet),
        {p.id: p for p in positions},
        fixtures or (fixture("f1", count=2), fixture("t1", "tower", "IP65")),
        default_policy(),
        covers={c.id: c for c in covers},
        crew=Crew(people=tuple(people)),
        **more,
    )


def weather(rain, *, start=NOON, gust=6.0, thunder=0.0, forecast=True, wind=0.0):
    """Hourly and calm, so that rain falls straight down. `rain`: a depth for each hour."""
    rain = np.asarray([rain], dtype=float)

    def over(values):
        return np.broadcast_to(np.asarray(values, dtype=float), rain.shape).copy()

    starts = start.timestamp() + 3600.0 * np.arange(rain.shape[1])
    return Weather(
        starts=starts,
        ends=starts + 3600.0,
        rain_mm=rain,
        wind_mps=over(wind),
        gust_mps=over(gust),
        wind_from_deg=over(np.nan),
        temp_c=over(15.0),
        dew_point_c=over(5.0),
        cloud_pct=over(50.0),
        thunder=over(thunder),
        weights=np.ones(1),
        forecast=np.full(rain.shape[1], forecast),
        source="feed A",
    )


def hours(values, of=30, otherwise=0.0):
    """A list with some of its hours set: {5: 2.0} is 2 in the sixth."""
    return [values.get(i, otherwise) for i in range(of)]


WET = hours(dict.fromkeys((5, 6, 7), 2.0))
"""2 mm an hour from 17:00 to 20:00 UTC, 18:00 to 21:00 on site."""
WINDY = hours(dict.fromkeys((6, 7), 14.0), otherwise=6.0)
"""14 m/s from 18:00 to 20:00 UTC, 19:00 to 21:00 on site."""


def known(
    made=None, *, rain=WET, gust=WINDY, thunder=0.0, past=(0.0, 0.0, 0.0), ahead=..., log=(), **more
):
    """What is known at noon; the past is three measured hours of rain, None for none."""
    made = made or show()
    rig = compile_rig(made)
    coming = weather(rain, gust=gust, thunder=thunder) if ahead is ... else ahead
    gone = past
    if past is not None and not isinstance(past, Weather):
        gone = weather(past, start=after(-3), forecast=False)
    entries = tuple(sorted(log, key=lambda entry: entry.at))
    found = evaluate(
        rig,
        past=gone,
        ahead=coming,
        log=entries,
        state=WatchState(),
        now=NOON,
        source=Source(),
    )
    plain = {
        "source": Source(names=("feed A",), issued_at=after(-2)),
        "said_at": after(-2),
        "sources": 1,
    }
    return Known(rig=rig, now=NOON, found=found, log=entries, **{**plain, **more})


def entry(hours_after, what, where="lawn", *, fixture=None, by="Ines", **more):
    at = after(hours_after)
    return LogEntry(at, what, None if fixture else where, fixture, by=by, **more)


def standing(its_id="a1", stage="start", *, kind="work", where="lawn", opened=-1.0, **more):
    """An alert that is open since `opened` hours after noon."""
    plain = {
        "id": its_id,
        "kind": kind,
        "stage": stage,
        "action": "cover" if kind == "work" else None,
        "position": where,
        "fixtures": ("f1",),
        "count": 2,
        "people": 1,
        "minutes": 4.0,
        "isolate_at": None,
        "start_by": after(5),
        "do_by": after(6),
        "members": 1,
        "probability": None,
        "at": after(opened),
        "reason": "rain",
        "facts": Facts(site_name="Long meadow", timezone="Europe/London"),
    }
    alert = Alert(**{**plain, **more})
    return StoredAlert(alert, 1, alert.reason, after(opened), after(opened))
