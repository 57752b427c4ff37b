"""An event's dates in earlier years, by the site's clock. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from monitor.domain import BadInputError, Event, LogEntry, Problem, Show, Weather
from monitor.units import to_epoch


@dataclass(frozen=True, slots=True)
class YearSpan:
    """The event as it would have been in another year."""

    year: int
    start: datetime
    end: datetime
    note: str = ""

    def of(self, show: Show) -> Show:
        """The show on these dates."""
        rigged = show.event.load_in_ends_at
        event = replace(
            show.event,
            load_in_at=self.start,
            load_out_at=self.end,
            load_in_ends_at=None if rigged is None else self._moved(rigged, show),
        )
        washdowns = tuple(
            one
            if one.start is None or one.end is None
            else replace(one, start=self._moved(one.start, show), end=self._moved(one.end, show))
            for one in show.washdowns
        )
        return replace(show, event=event, washdowns=washdowns)

    def _moved(self, at: datetime, show: Show) -> datetime:
        """As far from load-in as a moment is, by the site's clock."""
        zone, now = show.site.timezone, show.event.load_in_at
        begin, then = now.astimezone(zone), self.start.astimezone(zone)
        apart = at.astimezone(zone).replace(tzinfo=None) - begin.replace(tzinfo=None)
        return (then.replace(tzinfo=None) + apart).replace(tzinfo=zone).astimezone(UTC)

    def log(self, entries: Sequence[LogEntry], show: Show) -> tuple[LogEntry, ...]:
        """The log as far from load-in as it is, by the site's clock."""
        return tuple(replace(entry, at=self._moved(entry.at, show)) for entry in entries)


def spans(show: Show, now: datetime, years: int) -> tuple[YearSpan, ...]:
    """The latest `years` years before the event's own in which it would be over by now.

    Notes
    -----
    Load-in keeps its date and its time on the site's clock, the event its length on that
    clock, whatever the clocks did in between. 29 February becomes 28 February where there is
    none, and that is noted. Raises BadInputError for a show without load-out.
    """
    found: list[YearSpan] = []
    back = 1
    while len(found) < years:
        span = _span(show.event, show, back)
        if span.end <= now:
            found.append(span)
        back += 1
    return tuple(found)


def latest_with_weather(
    show: Show, now: datetime, years: int, record: Weather
) -> tuple[YearSpan, ...]:
    """The same, from the latest year of which the record knows something, as far as it reaches.

    Raises BadInputError where it knows nothing of the dates in any earlier year.
    """
    if len(record.starts):
        first, last = float(record.starts[0]), float(record.ends[-1])
        found: list[YearSpan] = []
        back = 1
        while len(found) < years:
            span = _span(show.event, show, back)
            if to_epoch(span.end) <= first:
                break
            back += 1
            if span.end > now or (to_epoch(span.start) >= last and not found):
                continue
            if found or _knows(record, span):
                found.append(span)
        if found:
            return tuple(found)
    raise BadInputError(
        [
            Problem(
                "no-past-weather",
                "The records know nothing of the event's dates in any year before its own.",
                "Give records that reach over these dates in earlier years, or an archive.",
                key="--weather",
            )
        ]
    )


def _knows(record: Weather, span: YearSpan) -> bool:
    return bool(((record.ends > to_epoch(span.start)) & (record.starts < to_epoch(span.end))).any())


def _span(event: Event, show: Show, back: int) -> YearSpan:
    zone = show.site.timezone
    if event.load_out_at is None:
        raise BadInputError(
            [
                Problem(
                    "missing-key",
                    "The event has no load-out, so it has no dates to look for in other years.",
                    "Give load_out_at; for a permanent site, that of a season.",
                    file="show.toml",
                    key="event.load_out_at",
                )
            ]
        )
    begin, end = event.load_in_at.astimezone(zone), event.load_out_at.astimezone(zone)
    note = ""
    year = begin.year - back
    try:
        shifted = begin.replace(year=year)
    except ValueError:
        shifted = begin.replace(year=year, day=28)
        note = f"{year} has no 29 February: from the 28th"
    lasts = end.replace(tzinfo=None) - begin.replace(tzinfo=None)
    until = (shifted.replace(tzinfo=None) + lasts).replace(tzinfo=zone, fold=end.fold)
    return YearSpan(year, shifted.astimezone(UTC), until.astimezone(UTC), note)


def share_unknown(span: YearSpan, known_h: float) -> tuple[float, float]:
    """(hours not known, their share of the event)."""
    total = (to_epoch(span.end) - to_epoch(span.start)) / 3600.0
    unknown = max(0.0, total - known_h)
    return unknown, float(np.divide(unknown, total)) if total > 0.0 else 1.0
