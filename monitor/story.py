"""A rehearsal told on a screen: what fell, who was told what and when, what it came to. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from monitor.alerts.lifecycle import Change
from monitor.alerts.words import hands_off_by
from monitor.domain import Show, Weather
from monitor.rehearsal import Rehearsal
from monitor.units import to_moment

_WIDTH = 79
_MOST_LINES = 60
_STAGE_WORDS = {
    "notice": "work ahead",
    "start": "START",
    "overdue": "OVERDUE",
    "stop": "STOP",
    "stood-down": "stood down",
}
_ACTION_WORDS = {
    "cover": "cover",
    "bring-in": "bring in",
    "isolate": "isolate",
    "uncover": "uncover",
    "inspect": "inspect",
    "clean": "clean",
}


def wrapped(text: str, indent: str = "", hanging: str | None = None) -> list[str]:
    """Text in lines of at most 79 characters."""
    lines, line = [], indent
    for word in text.split():
        if len(line) + len(word) + 1 > _WIDTH and line.strip():
            lines.append(line.rstrip())
            line = (indent if hanging is None else hanging) + word + " "
        else:
            line += word + " "
    return [*lines, line.rstrip()]


def weather_lines(show: Show, weather: Weather) -> list[str]:
    """What fell and blew, in two or three lines."""
    zone = show.site.timezone
    if not len(weather.starts):
        return ["The record has no steps."]
    rain = np.nan_to_num(weather.rain_mm[0])
    wet_hours = float(weather.hours[rain > 0.0].sum())
    text = (
        f"{show.site.name}, {_day_time(weather.starts[0], zone)} to "
        f"{_day_time(weather.ends[-1], zone)}, site time {_zone_name(weather, zone)}. "
        f"{rain.sum():.1f} mm of rain in {wet_hours:.0f} wet hours"
    )
    if rain.max() > 0.0:
        worst = int((rain / weather.hours).argmax())
        begin = _short(weather.starts[worst], zone)
        text += f", at worst {rain[worst]:.1f} mm in the step from {begin}"
    text += "."
    gust = weather.gust_mps[0]
    if not np.isnan(gust).all():
        top = int(np.nanargmax(gust))
        text += f" Gusts to {gust[top]:.0f} m/s, {_short(weather.starts[top], zone)}."
    thunder = np.flatnonzero(weather.thunder[0] > 0.0)
    if len(thunder):
        text += (
            f" Thunder {_short(weather.starts[thunder[0]], zone)} to "
            f"{_short(weather.ends[thunder[-1]], zone)}."
        )
    unknown = int(np.isnan(weather.rain_mm[0]).sum())
    if unknown:
        text += f" Rain not known in {unknown} steps: not counted as dry."
    return wrapped(text)


def timeline(show: Show, changes: Sequence[Change], most: int = _MOST_LINES) -> list[str]:
    """Every word told, a line a moment and stage, days apart."""
    zone = show.site.timezone
    told: dict[tuple[datetime, str], list[str]] = {}
    for change in changes:
        alert = change.alert
        words = _ACTION_WORDS.get(alert.action or "", "")
        if alert.position is None:
            what = f"the whole site: {change.reason.split(';')[0]}"
        else:
            place = show.positions[alert.position].name
            what = f"{words} {alert.count} {place}".strip()
            finish = hands_off_by(alert)
            if alert.stage == "start" and alert.start_by and finish:
                late = alert.facts.late_minutes
                what += (
                    f" ({'late: ' if alert.facts.late else ''}start by "
                    f"{alert.start_by.astimezone(zone):%H:%M}, "
                    f"{'due' if alert.facts.late else 'finish'} by "
                    f"{finish.astimezone(zone):%H:%M}"
                    f"{'' if late is None else f', {late:.0f} min late at best'})"
                )
        told.setdefault((alert.at, alert.stage), []).append(what)
    lines: list[str] = []
    day = ""
    for (at, stage), whats in told.items():
        local = at.astimezone(zone)
        if f"{local:%a %d %b}" != day:
            day = f"{local:%a %d %b}"
            lines.append(day)
        head = f"  {local:%H:%M} {_STAGE_WORDS[stage]:<11}"
        lines += wrapped("; ".join(whats), head, " " * len(head))
    if len(lines) > most:
        left = len(lines) - most
        lines = [*lines[:most], f"  ... and {left} more lines of the story; --json has them all."]
    return lines


def outcome_lines(rehearsal: Rehearsal) -> list[str]:
    """How the rig came out of it, worst first."""
    show, exposure = rehearsal.show, rehearsal.exposure
    used = exposure.used[0, -1] if exposure.used.shape[1] else np.zeros(len(exposure.groups))
    count: Counter[str] = Counter()
    spent: Counter[tuple[str, str]] = Counter()
    worst: dict[tuple[str, str], float] = {}
    for fixture, group in zip(show.fixtures, exposure.group_of.tolist(), strict=True):
        over = used[group] >= 1.0
        count["over" if over else "half" if used[group] >= 0.5 else "within"] += fixture.count
        if over:
            part = exposure.weakest_part(group)
            code = fixture.code.canonical + ("" if part == "fixture" else f", its {part}")
            key = (show.positions[fixture.position].name, code)
            spent[key] += fixture.count
            worst[key] = max(worst.get(key, 0.0), float(used[group]))
    lines = wrapped(
        f"{count['over']} over their allowance, {count['half']} past half of it, "
        f"{count['within']} below."
    )
    if spent:
        lines.append("Isolate, dry and inspect first:")
        for (place, code), n in sorted(spent.items(), key=lambda item: -worst[item[0]])[:6]:
            lines.append(f"  {n:>3} {code:<19} {place:<24} used {worst[place, code]:.1f} x")
        if len(spent) > 6:
            lines.append(f"  ... and {sum(spent.values()) - _shown(spent, worst)} more.")
    return lines


def _shown(spent: Counter[tuple[str, str]], worst: dict[tuple[str, str], float]) -> int:
    return sum(n for _, n in sorted(spent.items(), key=lambda item: -worst[item[0]])[:6])


def story(rehearsal: Rehearsal) -> list[str]:
    """The whole of it for the screen."""
    crew = {
        "absent": "Nobody acted on any message.",
        "follows": (
            "A simulated crew acted on each start that it had the people and the tickets for, "
            "in the job's minutes."
        ),
    }[rehearsal.crew]
    return [
        *weather_lines(rehearsal.show, rehearsal.weather),
        *wrapped(f"The record itself was the forecast: a real one knows less. {crew}"),
        "",
        *timeline(rehearsal.show, rehearsal.changes),
        "",
        *outcome_lines(rehearsal),
        "",
        *wrapped(
            "Estimates, not measurements. Below its allowance is no promise. Isolate before you "
            "touch wet gear. Nobody goes up in thunder or over a wind limit; this program does "
            "not detect lightning. The competent person on site decides."
        ),
    ]


def _day_time(moment_s: float, zone: ZoneInfo) -> str:
    return f"{to_moment(moment_s).astimezone(zone):%a %d %b %Y %H:%M}"


def _short(moment_s: float, zone: ZoneInfo) -> str:
    return f"{to_moment(moment_s).astimezone(zone):%a %H:%M}"


def _zone_name(weather: Weather, zone: ZoneInfo) -> str:
    return f"{to_moment(weather.starts[0]).astimezone(zone):%Z}"
