"""Going through the same dates of past years with the rig and the log as they are. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitor.domain import Alert, Code, Fixture, LogEntry, Part, Show, Weather
from monitor.evaluation import nothing_known, until_now
from monitor.exposure.assess import assess
from monitor.exposure.results import Exposure
from monitor.exposure.rig import compile_rig
from monitor.past_years.dates import YearSpan, share_unknown
from monitor.past_years.outcome import (
    MOST_UNKNOWN,
    FixtureYears,
    InsteadYears,
    PastYears,
    PositionYears,
    Spent,
    Work,
    Year,
)
from monitor.rehearsal import Rehearsal, rehearse
from monitor.units import to_epoch, to_moment

_PROTECTS = ("cover", "bring-in", "isolate")


@dataclass(frozen=True, slots=True, eq=False)
class YearWeather:
    """A year and its weather; None where there is none."""

    span: YearSpan
    weather: Weather | None
    says: str = ""


@dataclass(frozen=True, slots=True)
class _Gone:
    """One counted year gone through."""

    year: int
    absent: Exposure
    """Nobody acts; the rows of the rig, then those with other codes"""
    follows: Rehearsal | None
    """None: there was nothing to do"""


def go_through(
    show: Show,
    log: Sequence[LogEntry],
    years: Sequence[YearWeather],
    *,
    codes: Sequence[Code],
    progress: Callable[[int, int], None] | None = None,
) -> PastYears:
    """Judge the rig on each year's weather from zero at load-in, nobody acting and crew following.

    Parameters
    ----------
    show : as its files stand
    log : the folder's log.csv; its entries keep their distance from load-in
    years : latest first; their weather is the record of that year, one member
    codes : to hang instead, one after another, at every place
    progress : called with (years done, years in all)

    Notes
    -----
    A fixture would have needed covering in a year if it spends its allowance with nobody acting.
    A year of which more than a tenth is not known is not counted: not known is not dry.
    """
    rows = [(code, fixture) for code in codes for fixture in show.fixtures]
    tried = tuple(_with_code(fixture, code, n) for n, (code, fixture) in enumerate(rows))
    told: list[Year] = []
    gone: list[_Gone] = []
    for n, one in enumerate(years):
        then = one.span.of(show)
        entries = one.span.log(log, show)
        weather = _cut(one)
        exposure = _absent(then, tried, weather, entries)
        told.append(_year(one, weather, exposure))
        if told[-1].counted:
            stake = at_stake(then, exposure, entries)
            followed = rehearse(stake, weather, entries, crew="follows") if stake.fixtures else None
            gone.append(_Gone(one.span.year, exposure, followed))
        if progress is not None:
            progress(n + 1, len(years))
    weathers = [one.weather for one in years if one.weather is not None]
    return PastYears(
        show=show,
        asked=len(years),
        years=tuple(told),
        fixtures=tuple(
            FixtureYears(f, {g.year: _spent(g.absent, i) for g in gone}, _part(gone, i))
            for i, f in enumerate(show.fixtures)
        ),
        positions=tuple(
            PositionYears(p, {g.year: _work(g.follows, p.id) for g in gone})
            for p in show.positions.values()
            if any(f.position == p.id for f in show.fixtures)
        ),
        instead=tuple(_instead(show, rows, gone)),
        source=", ".join(dict.fromkeys(w.source for w in weathers if w.source)),
        credit="; ".join(dict.fromkeys(w.credit for w in weathers if w.credit)),
        hourly=any(bool((w.whole_hours >= 1.0 - 1e-9).any()) for w in weathers),
    )


def _with_code(fixture: Fixture, code: Code, n: int) -> Fixture:
    """The same fixture with another code throughout its chain; what was stated of it is not."""
    return replace(
        fixture,
        id=f"{fixture.id}\0{n}",
        code=code,
        supply_code=None,
        connector_code=None,
        connector_open_code=None,
        connector_state="mated",
        stated_mm=None,
        stated_hours_in_rain=None,
    )


def _cut(one: YearWeather) -> Weather:
    """The event's own hours, charged as the record they are."""
    if one.weather is None:
        return nothing_known()
    part = until_now(one.weather, to_epoch(one.span.start), to_epoch(one.span.end))
    return replace(part, forecast=np.zeros(len(part.starts), dtype=np.bool_))


def _absent(
    show: Show, tried: tuple[Fixture, ...], weather: Weather, log: Sequence[LogEntry]
) -> Exposure:
    """What every row takes, and what the rows with other codes would, with nobody acting."""
    twins: dict[str, list[str]] = {}
    for other in tried:
        twins.setdefault(other.id.split("\0")[0], []).append(other.id)
    everyone = replace(show, fixtures=(*show.fixtures, *tried))
    entries = [
        *log,
        *(
            replace(entry, fixture=twin)
            for entry in log
            if entry.fixture is not None
            for twin in twins.get(entry.fixture, ())
        ),
    ]
    out_from_s = to_epoch(show.event.load_in_at)
    return assess(compile_rig(everyone), weather, entries, out_from_s=out_from_s)


def at_stake(show: Show, absent: Exposure, log: Sequence[LogEntry]) -> Show:
    """The show with the rows alone that could ask for work: a crew only keeps water off, so a row
    that is within its allowance with nobody acting stays within it. Those the log names, and
    those due for cleaning, stay too.
    """
    places = {entry.position for entry in log} | {entry.to for entry in log}
    named = {entry.fixture for entry in log}
    groups = absent.group_of[: len(show.fixtures)]
    spent = ~np.isnan(absent.spent_s[0, groups])
    dusty = absent.dusty_hours[0, groups] >= show.policy.clean_after_hours
    keep = tuple(
        fixture
        for fixture, matters in zip(show.fixtures, (spent | dusty).tolist(), strict=True)
        if matters or fixture.id in named or fixture.position in places
    )
    return replace(show, fixtures=keep)


def _year(one: YearWeather, weather: Weather, exposure: Exposure) -> Year:
    steps = exposure.steps
    known_h = float(steps.hours[~steps.unknown[0]].sum())
    unknown_h, share = share_unknown(one.span, known_h)
    rain = np.nan_to_num(weather.rain_mm[0])
    return Year(
        span=one.span,
        counted=share <= MOST_UNKNOWN,
        rain_mm=float(rain.sum()),
        wet_hours=float(weather.hours[rain > 0.0].sum()),
        unknown_hours=unknown_h,
        unknown_share=share,
        says=one.says,
    )


def _spent(exposure: Exposure, i: int) -> Spent:
    group = int(exposure.group_of[i])
    at = float(exposure.spent_s[0, group])
    return Spent(
        used=float(exposure.used_total[0, group]), at=None if np.isnan(at) else to_moment(at)
    )


def _part(gone: Sequence[_Gone], i: int) -> Part:
    """What of a row's chain decided; the same in every year but for what the log opens."""
    if not gone:
        return "fixture"
    return gone[0].absent.weakest_part(int(gone[0].absent.group_of[i]))


def _work(found: Rehearsal | None, position: str) -> Work:
    if found is None:
        return Work(0.0, 0, 0)
    done = [job for job in found.worked if job.position == position]
    late = {change.alert.id for change in found.changes if _late(change.alert, position)}
    return Work(
        crew_minutes=sum(job.minutes * job.people for job in done), jobs=len(done), late=len(late)
    )


def _late(alert: Alert, position: str) -> bool:
    return alert.stage == "overdue" and alert.position == position and alert.action in _PROTECTS


def _instead(
    show: Show, rows: Sequence[tuple[Code, Fixture]], gone: Sequence[_Gone]
) -> Iterator[InsteadYears]:
    own = len(show.fixtures)
    places: dict[tuple[str, str], list[int]] = {}
    codes = {code.canonical: code for code, _ in rows}
    for n, (code, fixture) in enumerate(rows):
        places.setdefault((fixture.position, code.canonical), []).append(own + n)
    for (position, canonical), indices in places.items():
        spent = {g.year: [_spent(g.absent, i) for i in indices] for g in gone}
        yield InsteadYears(
            position=show.positions[position],
            code=codes[canonical],
            needed=tuple(y for y, found in spent.items() if any(s.at for s in found)),
            worst_used=max((s.used for found in spent.values() for s in found), default=0.0),
        )
