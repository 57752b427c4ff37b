"""Small rigs and hand-made weather, and one way to run one through the other."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from monitor.codes import read_code
from monitor.domain import Event, Fixture, LogEntry, Position, Show, Site, Weather
from monitor.exposure.assess import assess
from monitor.exposure.rig import compile_rig
from monitor.show.settings import default_policy

NOON = datetime(2027, 7, 1, 12, tzinfo=UTC)
SITE = Site("Field", 51.5, 0.0, 20.0, ZoneInfo("UTC"), "II")


def position(name="pole", **changes):
    plain = Position(name, name, 10.0, "ground", None, 2.0, 1.0, 1.0, 1)
    return replace(plain, **changes)


def fixture(code="IP44", name="f1", **changes):
    for part in ("supply_code", "connector_code", "connector_open_code"):
        if isinstance(changes.get(part), str):
            changes[part] = read_code(changes[part])
    changes.setdefault("position", "pole")
    return Fixture(name, read_code(code), **changes)


def show(fixtures, *, positions=None, site=SITE, policy=None, roofs=(), covers=()):
    placed = positions or (position(),)
    return Show(
        site,
        Event(NOON),
        {p.id: p for p in placed},
        tuple(fixtures),
        replace(default_policy(), **(policy or {})),
        roofs={r.id: r for r in roofs},
        covers={c.id: c for c in covers},
    )


def one_fixture(code="IP44", *, positions=None, site=SITE, policy=None, roofs=(), covers=(), **own):
    return show(
        [fixture(code, **own)],
        positions=positions,
        site=site,
        policy=policy,
        roofs=roofs,
        covers=covers,
    )


def hours(
    rain,
    wind=0.0,
    *,
    gust=np.nan,
    wind_from=0.0,
    temp=20.0,
    dew=np.nan,
    cloud=np.nan,
    start=NOON,
    each_h=1.0,
    forecast=False,
    weights=None,
):
    """A record in steps of `each_h`; wind is what the fixture of `pole` meets.

    `local` wind at the pole's own height and terrain reaches the fixture as it is.
    """
    rain = np.atleast_2d(np.asarray(rain, dtype=float))
    members, steps = rain.shape

    def over(values):
        return np.broadcast_to(np.asarray(values, dtype=float), (members, steps)).copy()

    starts = start.timestamp() + 3600.0 * each_h * np.arange(steps)
    return Weather(
        starts=starts,
        ends=starts + 3600.0 * each_h,
        rain_mm=rain,
        wind_mps=over(wind),
        gust_mps=over(gust),
        wind_from_deg=over(wind_from),
        temp_c=over(temp),
        dew_point_c=over(dew),
        cloud_pct=over(cloud),
        thunder=over(np.nan),
        weights=np.full(members, 1 / members) if weights is None else np.asarray(weights),
        forecast=np.full(steps, forecast),
        members=tuple(str(m) for m in range(members)),
        feed_of=(0,) * members,
        wind_basis="local",
        wind_height_m=10.0,
    )


def after(hours_from_noon):
    """A moment, hours after the record's start."""
    return NOON + timedelta(hours=hours_from_noon)


def entry(hours_from_noon, what, *, position="pole", fixture=None, **more):
    return LogEntry(
        after(hours_from_noon),
        what,
        position=None if fixture else position,
        fixture=fixture,
        **more,
    )


def run(described, weather, log=(), *, out_from=None, carried=None):
    start = NOON if out_from is None else out_from
    return assess(
        compile_rig(described), weather, log, out_from_s=start.timestamp(), carried=carried
    )


def hour_of(seconds):
    """Hours after the record's start of a moment in seconds."""
    return (np.asarray(seconds) - NOON.timestamp()) / 3600.0
