"""The runs of every feed as far as they still matter, and how far each feed can be relied on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.alerts.clock import SiteClock
from monitor.alerts.lifecycle import Source
from monitor.alerts.losses import FeedSight
from monitor.alerts.show_times import next_morning
from monitor.domain import BadInputError
from monitor.feeds.past import (
    as_it_was,
    still_to_come,
    without_hindsight,
    without_overtaken,
)
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD
from monitor.store.history import recall
from monitor.store.records import from_text
from monitor.store.runs import received_runs
from monitor.units import SECONDS_PER_HOUR, to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Feed, LogEntry, Show, Weather
    from monitor.store.runs import StoredRun


@dataclass(frozen=True, slots=True)
class Word:
    """What came of asking a feed last."""

    ok: bool
    says: str
    at: datetime


def word_key(source: str) -> str:
    """Under what the last word of a feed is kept."""
    return f"feed-word/{source}"


def last_word(db: Database, source: str) -> Word | None:
    """What came of asking a feed last, None where it never was."""
    kept: Any = recall(db, word_key(source))
    return None if kept is None else Word(kept["ok"], kept["says"], from_text(kept["at"]))


def named(feeds: Sequence[Feed]) -> list[tuple[str, Feed]]:
    """Every feed with the name its runs are kept under: its sheet's or its record's."""
    names: list[tuple[str, Feed]] = []
    for feed in feeds:
        name = feed.file if feed.sheet == RECORD and feed.file else feed.sheet
        taken = sum(1 for _, other in names if (other.file or other.sheet) == name)
        names.append((f"{name} {taken + 1}" if taken else name, feed))
    return names


class RunsKept:
    """Weather runs, read from the database once and thinned out as later ones overtake them.

    Of an overtaken run only the steps are kept that the past can still be made of, so what
    is held grows with the hours watched and not with the number of runs.
    """

    def __init__(self) -> None:
        self._last_id = 0
        self._over: list[Weather] = []
        self._runs: list[Weather] = []
        self.newest: dict[str, StoredRun] = {}

    def catch_up(self, db: Database) -> bool:
        """Take in what was received since; True where there was anything."""
        found = received_runs(db, after_id=self._last_id)
        for run in found:
            self._last_id = run.id
            self.add(run)
        return bool(found)

    def add(self, run: StoredRun) -> None:
        """Take in one run."""
        weather = run.weather
        last = self.newest.get(weather.source)
        if last is not None and _issued_before(weather, last.weather):
            # An old copy from a server on the way: what is newer still holds.
            return
        kept = [without_overtaken(older, weather) for older in self._runs]
        # Forecasts of what is over are not looked through again for every later run.
        is_over = [bool(r.forecast.all()) and _over_by(r, run.received_at) for r in kept]
        self._over += [r for r, over in zip(kept, is_over, strict=True) if over and len(r.starts)]
        self._runs = [r for r, over in zip(kept, is_over, strict=True) if not over]
        self._runs.append(without_hindsight(weather))
        self.newest[weather.source] = run

    def past(self, show: Show, log: Sequence[LogEntry], now: datetime) -> Weather | None:
        """The weather from the first moment anything was out until now."""
        start = min([show.event.load_in_at, *(entry.at for entry in log)])
        if start >= now:
            return None
        terrain = show.site.terrain
        return as_it_was(self._over + self._runs, to_epoch(start), to_epoch(now), terrain=terrain)

    def ahead(self, show: Show, now: datetime) -> Weather | None:
        """What the feeds of the show say is to come.

        A feed that is lost still counts as far as it reaches: an old warning errs to the
        safe side, and its age stands in every message.
        """
        runs = [run.weather for run in self.of(show)]
        return still_to_come(runs, to_epoch(now), terrain=show.site.terrain)

    def of(self, show: Show) -> list[StoredRun]:
        """The newest run of each feed that the show names now."""
        return [self.newest[name] for name, _ in named(show.feeds) if name in self.newest]

    def source(self, show: Show, now: datetime) -> Source:
        """What messages say about the forecast, and what tells one forecast from the next."""
        runs = self.of(show)
        records = {name for name, feed in named(show.feeds) if feed.sheet == RECORD}
        clock = SiteClock.named(show.site.timezone.key, now)
        issued = [run.weather.issued_at for run in runs]
        known = [moment for moment in issued if moment is not None]
        return Source(
            names=tuple(_said(run.weather, clock) for run in runs),
            credit=tuple(dict.fromkeys(run.weather.credit for run in runs if run.weather.credit)),
            issued_at=min(known) if known and len(known) == len(issued) else None,
            # A record has no later run: reading it again is the word that it still holds.
            run=" ".join(
                f"{run.id}.{run.times_seen}" if run.weather.source in records else f"{run.id}"
                for run in runs
            ),
            next_word_at=next_morning(show, now),
        )

    def sights(self, db: Database, show: Show, folder: Path) -> list[FeedSight]:
        """Every feed of the show as seen now."""
        return list(self._sights(db, show, folder))

    def _sights(self, db: Database, show: Show, folder: Path) -> Iterable[FeedSight]:
        for name, feed in named(show.feeds):
            word = last_word(db, name)
            run = self.newest.get(name)
            weather = None if run is None else run.weather
            yield FeedSight(
                source=name,
                asked=word is not None,
                failing=None if word is None or word.ok else word.says,
                said_at=None if weather is None else weather.issued_at or weather.fetched_at,
                reaches_to=None if weather is None else to_moment(weather.ends[-1]),
                max_age_s=max_age_s(feed, folder),
            )


def max_age_s(feed: Feed, folder: Path) -> float | None:
    """How old a forecast may be: the feed's own setting, else its sheet's [s]."""
    if feed.max_age_hours is not None:
        return feed.max_age_hours * SECONDS_PER_HOUR
    if feed.sheet == RECORD:
        return None
    try:
        return find_sheet(feed.sheet, folder).run.max_age
    except BadInputError:
        # A sheet that is broken now gives nothing new; the usual age decides.
        return _USUAL_MAX_AGE_S


_USUAL_MAX_AGE_S = 8 * SECONDS_PER_HOUR


def _over_by(run: Weather, moment: datetime) -> bool:
    return not len(run.ends) or bool(run.ends[-1] < to_epoch(moment))


def _issued_before(new: Weather, old: Weather) -> bool:
    return new.issued_at is not None and old.issued_at is not None and new.issued_at < old.issued_at


def _said(weather: Weather, clock: SiteClock) -> str:
    if weather.issued_at is not None or weather.fetched_at is None:
        return weather.source
    return f"{weather.source}, read {clock.at(weather.fetched_at)}"
