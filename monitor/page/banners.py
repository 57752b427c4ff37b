"""What stands above everything: a stop, lost weather, a monitor that does not work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from monitor.alerts import stop_words
from monitor.alerts import words as said
from monitor.alerts.clock import SiteClock
from monitor.alerts.headline import first_line
from monitor.domain import Alert, Show
from monitor.page.work import place_name

if TYPE_CHECKING:
    from monitor.service.escalation import Standing

STALE = timedelta(minutes=3)
"""An evaluation comes at least once a minute; two may be missed."""

What = Literal["stop", "closed", "lost", "trouble", "not-worked-out", "stale"]


@dataclass(frozen=True, slots=True)
class Closed:
    """Places closed by one cause until one moment."""

    places: tuple[str, ...]
    why: str
    until: datetime | None
    isolate_at: str | None
    spent_live: bool
    """Past its allowance, and nothing says that it is isolated"""


@dataclass(frozen=True, slots=True)
class Banner:
    """One word above the page."""

    what: What
    closed: tuple[Closed, ...] = ()
    thunder: bool = False
    why: tuple[str, ...] = ()
    """In the monitor's own words, as its messages say them"""
    until: datetime | None = None
    isolate_at: str | None = None
    since: datetime | None = None
    title: str = ""


def banners(
    standing: Sequence[Standing], show: Show, now: datetime, seen_at: datetime | None
) -> tuple[Banner, ...]:
    """The gravest first."""
    found = [*_stops(standing, show, now), *_lost(standing)]
    if seen_at is None:
        found.append(Banner("not-worked-out"))
    elif now - seen_at > STALE:
        found.append(Banner("stale", since=seen_at))
    return (*found, *_troubles(standing, show, now))


def _stops(standing: Sequence[Standing], show: Show, now: datetime) -> list[Banner]:
    """The site's stop, then the places that wind or dark has closed, by cause and end."""
    site: list[Banner] = []
    places: dict[tuple[bool, str, datetime | None], list[Alert]] = {}
    for alert in (s.alert for s in standing):
        if not said.says_stop(alert, now):
            continue
        facts, why = alert.facts, said.sentence(alert.facts.blocked_by or alert.reason)
        if alert.position is None:
            site.append(
                Banner(
                    "stop",
                    thunder=stop_words.is_thunder(alert),
                    why=(why,) if why else (),
                    until=facts.blocked_until,
                    isolate_at=alert.isolate_at,
                )
            )
        else:
            key = (facts.spent_live, why, facts.blocked_until)
            places.setdefault(key, []).append(alert)
    closed = tuple(
        Closed(
            tuple(dict.fromkeys(place_name(show, a.position) for a in alerts)),
            why,
            until,
            "; ".join(dict.fromkeys(a.isolate_at for a in alerts if a.isolate_at)) or None,
            spent_live,
        )
        # What is wet and live comes first.
        for (spent_live, why, until), alerts in sorted(places.items(), key=lambda p: not p[0][0])
    )
    return [*site, Banner("closed", closed)] if closed else site


def _is_loss(alert: Alert) -> bool:
    """No usable forecast, or one in doubt; a trouble with a name of its own is none."""
    return alert.facts.official is None and alert.id.startswith("weather-")


def _lost(standing: Sequence[Standing]) -> list[Banner]:
    return [
        Banner(
            "lost",
            why=tuple(said.sentence(text) for text in (alert.reason, *alert.facts.extra) if text),
            since=stands.stored.opened_at,
            title=alert.stage,
        )
        for stands in standing
        if (alert := stands.alert).kind == "weather" and _is_loss(alert)
    ]


def _troubles(standing: Sequence[Standing], show: Show, now: datetime) -> list[Banner]:
    clock = SiteClock(show.site.timezone, now)
    return [
        Banner(
            "trouble",
            why=(said.sentence(alert.reason),) if alert.reason else (),
            since=stands.stored.opened_at,
            title=first_line(alert, clock).splitlines()[0],
        )
        for stands in standing
        if (alert := stands.alert).kind in ("weather", "delivery") and not _is_loss(alert)
    ]
