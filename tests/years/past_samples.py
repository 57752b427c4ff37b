"""A show with load-out, and the record of a year on its dates."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from exposure.rigs import SITE, hours, show

from monitor.domain import Event
from monitor.past_years import YearWeather, spans

NOW = datetime(2027, 6, 1, tzinfo=UTC)
LOAD_IN = datetime(2027, 7, 1, 12, tzinfo=UTC)


def event_show(fixtures, *, lasts_h=24, load_in=LOAD_IN, zone="UTC", **more):
    described = show(fixtures, site=replace(SITE, timezone=ZoneInfo(zone)), **more)
    event = Event(load_in, load_in + timedelta(hours=lasts_h))
    return replace(described, event=event)


def years_of(described, *rains, now=NOW, **weather):
    """One year for each list of hourly rain, the latest first; calm unless said otherwise."""
    found = spans(described, now, len(rains))
    return [
        YearWeather(span, hours(rain, start=span.start, **weather))
        for span, rain in zip(found, rains, strict=True)
    ]
