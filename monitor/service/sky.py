"""All that is known of the weather: feeds, gauges, the crew's word, official warnings."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from monitor.feeds.crew_rain import at_least, crew_weather
from monitor.feeds.past import as_it_was
from monitor.feeds.readings import CREW
from monitor.service.feeds_seen import RunsKept
from monitor.service.gauges import GaugesKept
from monitor.service.warned import WarningsKept
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.lifecycle import Source
    from monitor.alerts.losses import FeedSight
    from monitor.domain import LogEntry, Show, Weather


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
        """The weather from the first moment anything was out until now."""
        start = min([show.event.load_in_at, *(entry.at for entry in log)])
        return None if start >= now else self.between(show, to_epoch(start), to_epoch(now))

    def between(self, show: Show, start_s: float, end_s: float) -> Weather:
        """The weather of a span that is over: measured where it can be, else as forecast."""
        measured = self.gauges.measured(show)
        seen = crew_weather(self.gauges.rained())
        return as_it_was(
            [*self.runs.of_site(show), *measured, *([seen] if len(seen.starts) else [])],
            start_s,
            end_s,
            terrain=show.site.terrain,
            prefer=[gauge.station for gauge in show.gauges],
            floor_sources=(CREW,),
        )

    def forecast_between(self, show: Show, start_s: float, end_s: float) -> Weather:
        """What the feeds alone had for a span that is over, to hold a gauge against."""
        return as_it_was(self.runs.of_site(show), start_s, end_s, terrain=show.site.terrain)

    def source(self, show: Show, now: datetime, sights: Sequence[FeedSight]) -> Source:
        """What messages say the weather is from."""
        source = self.runs.source(show, now, sights)
        return replace(source, gauges=tuple(w.source for w in self.gauges.measured(show)))

    def ahead(self, show: Show, now: datetime) -> Weather | None:
        """What is to come; no drier than what the crew says of this moment."""
        weather = self.runs.ahead(show, now)
        return None if weather is None else at_least(weather, self.gauges.rained())
