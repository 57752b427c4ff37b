"""Warning services that cannot be read, and warnings in lists. Pure.

A service that cannot be read is a trouble of its own. It is never taken for no warning, and
what was in force when it was last read stays in force.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.clock import SiteClock
from monitor.alerts.losses import Found
from monitor.alerts.official_words import NO_PROMISE, dated, quoted
from monitor.alerts.words import one_line
from monitor.domain import Show
from monitor.planning.official import LONGEST_HEADLINE, OfficialWarning, in_short

UNREAD_AFTER = timedelta(minutes=30)
"""A service that was not asked for so long cannot be taken at its last word."""
FAILS_AFTER = timedelta(minutes=15)
"""One that fails is told so long after it was read: thunder does not wait for many polls."""
_RETRIED = timedelta(minutes=5)
"""Within this a poll that failed is tried again."""
_NO_ANSWER = "nothing has come from it since."
_NOT_ASKED_POLLS = 3
"""After so many polls without any word of it, it is no longer asked as it should be."""


@dataclass(frozen=True, slots=True)
class ServiceSight:
    """A warning service as seen now."""

    service: str
    host: str
    asked: bool
    """Whether it has been asked at all since it was set up"""
    failing: str | None
    """What the last asking said, where not all that is listed has been read"""
    faulty: bool
    """Something failed, beyond a long list that is still being read"""
    read_at: datetime | None
    """When all that it listed had been read"""
    poll: timedelta = timedelta(minutes=10)


def cannot_be_read(sight: ServiceSight, now: datetime) -> bool:
    """Whether people have to look at the service themselves."""
    if not sight.asked:
        return False
    if sight.read_at is None:
        return sight.failing is not None and sight.faulty
    since = now - sight.read_at
    if sight.failing is None:
        # It answered well then. Whatever has kept it from being asked since, its silence is
        # not taken for an answer.
        return since > max(UNREAD_AFTER, _NOT_ASKED_POLLS * sight.poll)
    # A clock that was put back tells nothing on how long it has been.
    return since > max(FAILS_AFTER, sight.poll + _RETRIED) or since < -UNREAD_AFTER


def unread_found(sights: Sequence[ServiceSight], show: Show, now: datetime) -> Found | None:
    """What cannot be read of the official warnings; never taken for no warning."""
    unread = [sight for sight in sights if cannot_be_read(sight, now)]
    if not unread:
        return None
    clock = SiteClock.named(show.site.timezone.key, now)
    said = [
        f"{one_line(s.service)} {_since(s, clock)}: {one_line(s.failing or _NO_ANSWER)}"
        for s in unread
    ]
    where = ", ".join(f"{one_line(s.service)} ({s.host})" for s in unread)
    extra = [f"Look yourself at {where}", "What was in force when last read stays in force here"]
    read = [s.service for s in sights if s not in unread]
    if read:
        extra.append(f"Still read: {', '.join(map(one_line, read))}")
    return Found("notice" if read else "start", " ".join(said), tuple(extra))


def unread_line(sight: ServiceSight, show: Show, now: datetime) -> str:
    """One service that failed last, in a line."""
    clock = SiteClock.named(show.site.timezone.key, now)
    return (
        f"Official warnings: {one_line(sight.service)} {_since(sight, clock)}. "
        f"{one_line(sight.failing or '')} Look yourself at {sight.host}."
    )


def _since(sight: ServiceSight, clock: SiteClock) -> str:
    if sight.read_at is None:
        return "has not been read yet"
    return f"was last read in full at {clock.at(sight.read_at)}"


def short_line(warning: OfficialWarning, show: Show, *, placed: bool) -> str:
    """One warning in a line: for the on-watch message and lists."""
    zone = show.site.timezone
    place = "" if placed else " Its area is not known here: it may concern the site."
    said = in_short(warning.headline or warning.title, LONGEST_HEADLINE)
    return (
        f'Official warning by {one_line(warning.service)}: "{said}", from '
        f"{dated(warning.begins, zone)} to {dated(warning.until, zone)}.{place}"
    )


def whole_lines(warning: OfficialWarning, show: Show, *, placed: bool) -> list[str]:
    """One warning in full, for the screen: its line, then the service's own words indented."""
    lines = [short_line(warning, show, placed=placed)]
    for text in quoted(warning):
        lines += [f"  > {line}".rstrip() for line in text.split("\n")]
    return lines


def none_line(services: Sequence[str]) -> str:
    """What is said where no warning is in force."""
    read = ", ".join(map(one_line, services))
    return f"No official warning for the site is known from {read}. {NO_PROMISE}"
