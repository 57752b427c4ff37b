"""The runs of every feed as far as they still matter, and how far each feed can be relied on."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from monitor.alerts.clock import SiteClock, age
from monitor.alerts.lifecycle import Source
from monitor.alerts.losses import FeedSight, feed_state
from monitor.alerts.show_times import next_morning
from monitor.domain import WEATHER_VALUES, Weather
from monitor.feeds.gusts_held import with_gusts_held
from monitor.feeds.notices import said_lately
from monitor.feeds.past import (
    still_to_come,
    without_hindsight,
    without_overtaken,
)
from monitor.feeds.reach import reach
from monitor.feeds.sheet_lint import RECORD
from monitor.feeds.waiting import kept_moment
from monitor.service.feed_limits import limits_of
from monitor.service.feed_words import last_word, memory_key, named, word_key
from monitor.service.places import place_at, place_of, site_digest, spans
from monitor.store.history import recall
from monitor.store.runs import received_runs
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Feed, Show
    from monitor.service.places import Place
    from monitor.store.runs import StoredRun

__all__ = [
    "RunsKept",
    "last_word",
    "memory_key",
    "named",
    "word_key",
]

_ISSUES, _LEAST_GAPS = 8, 3
_SKEW_HOLDS = timedelta(hours=3)
_HOLDS_RUNS = 12
"""So many runs that tell gusts in part only, and what was told before them is given up."""


class Kept(NamedTuple):
    """A run, and the site's place it was asked for; None: not noted, and taken for the site's."""

    weather: Weather
    site: str | None


class RunsKept:
    """Weather runs, read from the database once and thinned out as later ones overtake them.

    Of an overtaken run only the steps are kept that the past can still be made of, so what
    is held grows with the hours watched and not with the number of runs. Runs of another
    place than the site's are kept apart and count for nothing.
    """

    def __init__(self) -> None:
        self._last_id = 0
        self._over: list[Kept] = []
        self._runs: list[Kept] = []
        self._place: dict[str, Place | None] = {}
        self._issues: dict[str, list[float]] = {}
        self._seen: dict[str, int] = {}
        self.newest: dict[str, StoredRun] = {}
        self._before: dict[str, list[Weather]] = {}
        """Runs before the newest, oldest first, while their gusts are not all told anew."""

    def catch_up(self, db: Database) -> bool:
        """Take in what was received since; True where there was anything."""
        found = received_runs(db, after_id=self._last_id)
        noted = {source: spans(db, source) for source in {run.weather.source for run in found}}
        for run in found:
            self._last_id = run.id
            self.add(run, place_at(noted[run.weather.source], run.id))
        for source in self.newest:
            self._seen[source] = int((recall(db, memory_key(source)) or {}).get("same_seen", 0))
        return bool(found)

    def add(self, run: StoredRun, place: Place | None = None) -> None:
        """Take in one run; `place` None: it is of the site, wherever that is."""
        weather = run.weather
        source = weather.source
        last = self.newest.get(source)
        here = last is not None and self._place.get(source) == place
        if last is not None and here and not _is_news(weather, last.weather):
            return
        site = None if place is None else place.site
        kept = [
            Kept(without_overtaken(k.weather, weather) if k.site == site else k.weather, k.site)
            for k in self._runs
        ]
        # Forecasts of what is over are not looked through again for every later run.
        is_over = [
            bool(k.weather.forecast.all()) and _over_by(k.weather, run.received_at) for k in kept
        ]
        self._over += [
            k for k, over in zip(kept, is_over, strict=True) if over and len(k.weather.starts)
        ]
        self._runs = [k for k, over in zip(kept, is_over, strict=True) if not over]
        self._runs.append(Kept(without_hindsight(weather), site))
        if self._place.get(source) != place:
            self._issues.pop(source, None)
        self._note_gusts(weather, last.weather if last is not None and here else None)
        self._note_issue(source, weather)
        self._place[source] = place
        self.newest[source] = run

    def _note_issue(self, source: str, weather: Weather) -> None:
        """The last few issue times, which tell how often there is one."""
        issues = self._issues.setdefault(source, [])
        issued = None if weather.issued_at is None else to_epoch(weather.issued_at)
        if issued is not None and issued not in issues:
            self._issues[source] = [*issues, issued][-_ISSUES:]

    def _note_gusts(self, weather: Weather, last: Weather | None) -> None:
        """The runs whose gusts still hold: all back to one that tells gusts in every step."""
        held = [] if last is None else [*self._before.get(weather.source, ()), last]
        tells_all = bool(np.isfinite(weather.gust_mps).all())
        self._before[weather.source] = [] if tells_all else _back_to_whole(held)

    def of_site(self, show: Show) -> list[Weather]:
        """Every run for the site's place, as far as the past can still be made of it."""
        here = site_digest(show.site)
        return [k.weather for k in self._over + self._runs if k.site in (None, here)]

    def ahead(self, show: Show, now: datetime) -> Weather | None:
        """What the feeds of the show say is to come.

        A feed that is lost still counts as far as it reaches: an old warning errs to the
        safe side, and its age stands in every message.
        """
        runs = [self._held(run.weather, show) for run in self.of(show)]
        return still_to_come(runs, to_epoch(now), terrain=show.site.terrain)

    def _held(self, weather: Weather, show: Show) -> Weather:
        """The newest run of a feed, with the gusts that it told before and not since."""
        before = None
        for run in self._before.get(weather.source, ()):
            before = with_gusts_held(run, before, show.site.terrain)
        return with_gusts_held(weather, before, show.site.terrain)

    def of(self, show: Show) -> list[StoredRun]:
        """The newest run of each feed that the show names now, as it is asked now."""
        found = ((name, self._newest(name, feed, show)) for name, feed in named(show.feeds))
        return [run for _, run in found if run is not None]

    def _newest(self, name: str, feed: Feed, show: Show) -> StoredRun | None:
        place = self._place.get(name)
        moved = place is not None and place != place_of(show.site, feed)
        return None if moved else self.newest.get(name)

    def source(self, show: Show, now: datetime, sights: Sequence[FeedSight] = ()) -> Source:
        """What messages say about the forecast, and what tells one forecast from the next.

        With the `sights` of the same moment every feed's age is marked that is not current,
        and where all are lost nothing is to be stood down by them.
        """
        runs = self.of(show)
        records = {name for name, feed in named(show.feeds) if feed.sheet == RECORD}
        seen = {sight.source: sight for sight in sights}
        issued = [run.weather.issued_at for run in runs]
        known = [moment for moment in issued if moment is not None]
        all_known = len(known) == len(issued)
        states = [feed_state(sight, now) for sight in sights]
        return Source(
            names=tuple(
                said_of(run.weather, seen.get(run.weather.source), show, now, alone=len(runs) == 1)
                for run in runs
            ),
            credit=tuple(dict.fromkeys(run.weather.credit for run in runs if run.weather.credit)),
            issued_at=min(known) if known and all_known else None,
            # A record has no later run: reading it again is the word that it still holds.
            run=" ".join(
                f"{run.id}.{self._seen.get(run.weather.source, 0)}"
                if run.weather.source in records
                else f"{run.id}"
                for run in runs
            ),
            next_word_at=next_morning(show, now),
            reliable=not states or any(state in ("current", "ageing") for state in states),
        )

    def sights(
        self, db: Database, show: Show, folder: Path, now: datetime | None = None
    ) -> list[FeedSight]:
        """Every feed of the show as seen at `now`; without it, when each was asked last."""
        return [self._sight(db, name, feed, show, folder, now) for name, feed in named(show.feeds)]

    def _sight(
        self,
        db: Database,
        name: str,
        feed: Feed,
        show: Show,
        folder: Path,
        now: datetime | None,
    ) -> FeedSight:
        word = last_word(db, name)
        memory: Any = recall(db, memory_key(name)) or {}
        if word is not None and word.place not in (None, place_of(show.site, feed)):
            # What came of asking for another place says nothing of this one, unless the
            # server has asked to be left alone: then nothing will come for a while.
            patience = kept_moment(memory.get("throttled_until"))
            word = word if patience is not None and patience > (now or word.at) else None
        run = self._newest(name, feed, show)
        weather = None if run is None else run.weather
        at = now or (run.received_at if run is not None else None if word is None else word.at)
        known = None if weather is None or at is None else reach(weather, to_epoch(at))
        no_issue = weather is not None and weather.issued_at is None and feed.sheet != RECORD
        failing = word is not None and not word.ok
        limits = limits_of(feed, folder)
        return FeedSight(
            source=name,
            asked=word is not None,
            failing=None if word is None or word.ok else word.says,
            said_at=None if weather is None else weather.issued_at or weather.fetched_at,
            reaches_to=None if known is None else to_moment(known.to_s),
            max_age_s=limits.max_age_s,
            issued=weather is not None and weather.issued_at is not None,
            least_ahead_s=limits.least_ahead_s,
            usual_s=_usual_s(self._issues.get(name, [])),
            same_seen=self._seen.get(name, 0) if no_issue else 0,
            same_limit=limits.same_polls,
            hole=None
            if known is None or known.hole is None
            else (to_moment(known.hole[0]), to_moment(known.hole[1])),
            kind=None if word is None or not failing else word.kind,
            fault=None if word is None or not failing else word.fault,
            host="" if word is None else word.host,
            failures=int(memory.get("failures", 0)),
            next_try_at=kept_moment(memory.get("next_try_at")),
            skew_s=_fresh_skew(memory, at),
            notices=() if at is None else said_lately(memory.get("noticed"), at),
        )


def said_of(
    weather: Weather, sight: FeedSight | None, show: Show, now: datetime, *, alone: bool
) -> str:
    """A feed's name in a message, with what a reader must know of it: how old it is where
    something newer is due, and how far it goes where that is not as far as a notice looks.

    The issue time of a feed that is alone stands beside it anyway.
    """
    clock = SiteClock.named(show.site.timezone.key, now)
    said = weather.source
    state = "current" if sight is None else feed_state(sight, clock.now)
    if weather.issued_at is None and weather.fetched_at is not None:
        said += f", read {clock.at(weather.fetched_at)}"
    elif weather.issued_at is not None and not alone:
        said += f", issued {clock.at(weather.issued_at)}"
    since = weather.issued_at or weather.fetched_at
    if state in ("ageing", "lost") and since is not None:
        mark = "nothing newer has come" if state == "ageing" else "too old or too short to rely on"
        said += f" ({age(since, clock.now)}, {mark})"
    if sight is None or sight.reaches_to is None:
        return said
    if sight.hole is not None:
        return f"{said} (nothing known {clock.span(*sight.hole)})"
    if sight.reaches_to < clock.now + timedelta(hours=show.policy.notice_hours):
        said += f" (to {clock.at(sight.reaches_to)} only)"
    return said


def _back_to_whole(runs: Sequence[Weather]) -> list[Weather]:
    """Runs that tell gusts, from the last that tells them in every step on; not too many."""
    tell = [run for run in runs if np.isfinite(run.gust_mps).any()]
    whole = [n for n, run in enumerate(tell) if np.isfinite(run.gust_mps).all()]
    return tell[whole[-1] if whole else 0 :][-_HOLDS_RUNS:]


def _over_by(run: Weather, moment: datetime) -> bool:
    return not len(run.ends) or bool(run.ends[-1] < to_epoch(moment))


def _issued_before(new: Weather, old: Weather) -> bool:
    return new.issued_at is not None and old.issued_at is not None and new.issued_at < old.issued_at


def _is_news(new: Weather, old: Weather) -> bool:
    """False for an old copy from a server on the way, and for the newest again after one:
    what is newer still holds, and nothing has been forecast anew.
    """
    return not _issued_before(new, old) and not _same(new, old)


def _same(new: Weather, old: Weather) -> bool:
    """Whether it is the very same run, by its issue time and all that it says."""
    if new.issued_at is None or new.issued_at != old.issued_at or new.members != old.members:
        return False
    names = ("starts", "ends", *WEATHER_VALUES)
    return all(
        np.array_equal(getattr(new, name), getattr(old, name), equal_nan=True) for name in names
    )


def _usual_s(issues: Sequence[float]) -> float | None:
    """How long it usually is from one issue to the next; None before three are known [s]."""
    gaps = np.diff(sorted(issues))
    return float(np.median(gaps)) if len(gaps) >= _LEAST_GAPS else None


def _fresh_skew(memory: Mapping[str, Any], now: datetime | None) -> float | None:
    """What the last answer said of our clock, while that is not long ago [s]."""
    at, skew = kept_moment(memory.get("skew_at")), memory.get("skew_s")
    if at is None or now is None or abs(now - at) > _SKEW_HOLDS:
        return None
    return float(skew) if isinstance(skew, (int, float)) else None
