"""Invented records to store."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from monitor.domain import Alert, Facts, LogEntry, Message, Wait, Weather

NOON = datetime(2027, 7, 15, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)


def weather(steps: int = 4, members: int = 1, seed: int = 1, source: str = "open-meteo", **more):
    """Numbers rounded as a service gives them, a quarter of the hours wet, some not known."""
    draw = np.random.default_rng(seed)
    shape = (members, steps)
    starts = NOON.timestamp() + 3600.0 * np.arange(steps)

    def walk(by: float, places: int):
        return np.cumsum(draw.normal(0, by, shape), axis=1).round(places)

    rain = np.where(draw.random(shape) < 0.25, draw.gamma(1, 1.5, shape), 0.0).round(1)
    rain[0, 0] = np.nan
    return Weather(
        starts=starts,
        ends=starts + 3600.0,
        rain_mm=rain,
        wind_mps=np.abs(walk(1, 1)) / 3.6,
        gust_mps=np.abs(walk(2, 1)) / 3.6,
        wind_from_deg=np.mod(walk(20, 0), 360),
        temp_c=15 + walk(0.5, 1),
        dew_point_c=10 + walk(0.4, 1),
        cloud_pct=np.clip(50 + walk(15, 0), 0, 100),
        thunder=np.full(shape, np.nan),
        weights=np.full(members, 1 / members),
        forecast=np.arange(steps) > 0,
        source=source,
        members=tuple(str(i) for i in range(members)),
        feed_of=(0,) * members,
        **more,
    )


def same_weather(one: Weather, other: Weather) -> bool:
    """Equal to the last bit: NaN is NaN, minus zero is minus zero."""
    for name in Weather.__dataclass_fields__:
        a, b = getattr(one, name), getattr(other, name)
        if isinstance(a, np.ndarray):
            if a.shape != b.shape or a.dtype != b.dtype or a.tobytes() != b.tobytes():
                return False
        elif a != b:
            return False
    return True


def alert(number: int | str = 1, stage: str = "start", **more) -> Alert:
    base = {
        "id": f"alert-{number}",
        "kind": "work",
        "stage": stage,
        "action": "cover",
        "position": "tower-2",
        "fixtures": ("beam-1", "beam-2"),
        "count": 6,
        "people": 2,
        "minutes": 24.0,
        "isolate_at": "distro B",
        "start_by": NOON + HOUR,
        "do_by": NOON + 2 * HOUR,
        "members": 1,
        "probability": None,
        "at": NOON,
        "reason": "rain from the west reaches the front row",
        "cautions": ("covers off the lamps once dry",),
        "facts": Facts(
            site_name="Meadow",
            rain_mm=4.2,
            can_wait=(Wait(("wash-1",), NOON + 3 * HOUR),),
            extra=("Décor \N{SNOWMAN} by the gate.",),
        ),
    }
    return Alert(**{**base, **more})


def message(
    number: int | str = 1, stage: str | None = "start", kind: str = "work", **more
) -> Message:
    base = {
        "alert_id": f"alert-{number}",
        "kind": kind,
        "stage": stage,
        "subject": "Cover 6 on tower 2",
        "text": "Cover 6 fixtures on tower 2.\nStart by 15:00.",
        "radio": "Cover tower 2, start by 15:00, two people.",
        "data": {"id": f"alert-{number}", "cautions": ["one"], "probability": None},
        "thread": f"thread-{number}",
        "at": NOON,
    }
    return Message(**{**base, **more})


def entry(**more) -> LogEntry:
    return LogEntry(**{"at": NOON, "entry": "covered", "position": "tower-2", **more})
