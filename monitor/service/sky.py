"""All that is known of the weather: feeds, gauges, the crew's word, official warnings."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from monitor.feeds.crew_rain import at_least, crew_weather
from monitor.feeds.past import as_it_was
from monitor.feeds.rain_now import alone, floors, going_on, most_forecast_mm_h, rain_now
from monitor.feeds.readings import CREW
from monitor.service.feeds_seen import RunsKept
from monitor.service.gauges import GaugesKept
from monitor.service.warned import WarningsKept
from monitor.units import SECONDS_PER_MINUTE, to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.lifecycle import Source
    from monitor.alerts.losses import FeedSight
    from monitor.domain import LogEntry, Show, Weather
    from monitor.feeds.crew_rain import Spell
    from monitor.feeds.rain_now import RainNow


@dataclass(slots=True)
class Sky:
    """What came in from outside, at hand; everything of it is in the database."""

    runs: RunsKept = field(default_factory=RunsKept)
    gauges: GaugesKept = field(default_factory=GaugesKept)
    warned: WarningsKept = field(default_factory=WarningsKept)

    def catch_up(self, db: Database, show: Show, now: datetime) -> None:
        """Take in what was received since."""
        self.runs.catch_up(db)
        self.gauges.catch_up(db)
        self.warned.catch_up(db, show, now)

    def past(self, show: Show, log: Sequence[LogEntry], now: datetime) -> Weather | None:
        """The weather from the first moment anything was out until now.

        Since a gauge's last word its rain is taken to go on, until the next one says better.
        """
        start = min([show.event.load_in_at, *(entry.at for entry in log)])
        if start >= now:
            return None
        now_s = to_epoch(now)
        seen = floors(self.gauges.rained(), self.rain(show, now), now_s)
        return self._between(show, to_epoch(start), now_s, seen)

    def between(self, show: Show, start_s: float, end_s: float) -> Weather:
        """The weather of a span that is over: measured where it can be, else as forecast."""
        return self._between(show, start_s, end_s, self.gauges.rained())

    def _between(self, show: Show, start_s: float, end_s: float, seen: Sequence[Spell]) -> Weather:
        measured, least = self.gauges.measured(show), crew_weather(seen)
        feeds = self.runs.of_site(show)
        return as_it_was(
            [*feeds, *measured, *([least] if len(least.starts) else [])],
            start_s,
            end_s,
            terrain=show.site.terrain,
            prefer=[gauge.station for gauge in show.gauges],
            floor_sources=(CREW,),
            # A record that is read as a feed was not measured where the crew stands.
            lifted_sources={run.source for run in feeds},
        )

    def forecast_between(self, show: Show, start_s: float, end_s: float) -> Weather:
        """What the feeds alone had for a span that is over, to hold a gauge against."""
        return as_it_was(self.runs.of_site(show), start_s, end_s, terrain=show.site.terrain)

    def source(self, show: Show, now: datetime, sights: Sequence[FeedSight]) -> Source:
        """What messages say the weather is from."""
        source = self.runs.source(show, now, sights)
        rain = self.rain(show, now)
        gauges = tuple(w.source for w in self.gauges.measured(show))
        if rain is None or (self.forecast_now(show, now) or 0.0) >= rain.mm_h:
            return replace(source, gauges=gauges)
        return replace(
            source, gauges=gauges, rain_now=_says(rain), rain_now_until=to_moment(rain.until_s)
        )

    def rain(self, show: Show, now: datetime) -> RainNow | None:
        """The rain that falls on site now, by a gauge or else by the crew."""
        every = {g.station: g.every_minutes * SECONDS_PER_MINUTE for g in show.gauges}
        measured = self.gauges.measured(show)
        return rain_now(
            measured, [every[w.source] for w in measured], self.gauges.rained(), to_epoch(now)
        )

    def forecast_now(self, show: Show, now: datetime) -> float | None:
        """The greatest rate that any forecast has now [mm/h]; None where none says."""
        return most_forecast_mm_h([run.weather for run in self.runs.of(show)], to_epoch(now))

    def ahead(self, show: Show, now: datetime, rain: RainNow | None = None) -> Weather | None:
        """What is to come; no drier than what falls now, which is taken to go on.

        Parameters
        ----------
        rain : what goes on; None: what falls now, for an hour
        """
        weather, now_s = self.runs.ahead(show, now), to_epoch(now)
        falls = rain or self.rain(show, now)
        if weather is None:
            by = (w for w in self.gauges.measured(show) if falls and w.source == falls.by)
            measured = next(by, None)
            return None if measured is None or falls is None else alone(measured, falls, now_s)
        seen = at_least(weather, self.gauges.rained())
        return going_on(seen, falls, now_s, show.policy.hourly_margin)


def _says(rain: RainNow) -> str:
    """What falls now, for the messages of work that rests on it."""
    if not rain.measured:
        return (
            "It rains now by the crew's word, more than any forecast has: taken as "
            f"{rain.mm_h:g} mm/h for an hour"
        )
    return (
        f"It rains now, more than any forecast has: {rain.mm:.1f} mm in {rain.in_s / 60:.0f} min "
        f"by {rain.by}. Taken to go on for an hour at {rain.mm_h:.1f} mm/h"
    )
