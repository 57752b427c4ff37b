"""Troubles of feeds beside the loss of weather: who has to act, and what it means. Pure.

A setting that only a person can mend is told at once, while the last forecast still holds.
So is a site without its connection, once and not for every feed; and a clock that is wrong.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.alerts.clock import SiteClock
from monitor.alerts.losses import FeedSight, Found
from monitor.alerts.words import one_line

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import Show

UNREACHED = ("name", "refused")
"""Faults in which not even a connection came about."""

LONG_WAIT = timedelta(hours=2)
"""A service that asks to be left alone for longer than this is told of."""

CLOCK_TROUBLE_S = 300.0
"""Signatures of messages out hold for five minutes: past that they are refused [s]."""

_FIRST_BY_VOICE = (
    "Mail and whatever lies beyond the site's own network may not get out: pass this on by "
    "voice or radio first"
)

_HERE = ("", "localhost", "::1")


def uplink_found(sights: Sequence[FeedSight]) -> Found | None:
    """The site's own connection, where none of its feeds' servers can be reached.

    A server on this machine tells nothing of the connection. One name that fails once may be
    the server's own; all of them, or the same one a second time, is taken for the site's.
    """
    away = [s for s in sights if s.host and not _on_this_machine(s.host)]
    if not away or any(s.fault not in UNREACHED or s.failing is None for s in away):
        return None
    hosts = list(dict.fromkeys(s.host for s in away))
    if len(hosts) == 1 and max(s.failures for s in away) < 2:
        return None
    named = ", ".join(hosts)
    says = f"The site's connection is down: {named} cannot be reached."
    if len(hosts) == 1:
        says = f"The site's connection is down, or {named} is: it cannot be reached."
    return Found(
        "notice",
        says,
        (_FIRST_BY_VOICE, "The forecast read before this holds until it is told to be lost"),
    )


def setup_found(sight: FeedSight, show: Show, now: datetime) -> Found | None:
    """What a person has to mend so that one feed is read again, or has to know of its wait."""
    if sight.failing is None:
        return None
    clock = SiteClock.named(show.site.timezone.key, now)
    at = sight.next_try_at
    extra = () if at is None else (f"It is asked again at {clock.at(at)}",)
    why = one_line(sight.failing)
    if sight.kind == "config-fault":
        return Found("notice", f"{sight.source} needs somebody to mend it. {why}", extra)
    if sight.kind == "throttled" and at is not None and at - now > LONG_WAIT:
        return Found("notice", f"{sight.source} was asked too often. {why}", extra)
    return None


def clock_found(sights: Sequence[FeedSight]) -> Found | None:
    """A clock that is minutes wrong: ours, where every server that tells the time says so."""
    skews = [(s.host, s.skew_s) for s in sights if s.skew_s is not None]
    if not skews or any(abs(skew) <= CLOCK_TROUBLE_S for _, skew in skews):
        return None
    ahead = [skew > 0 for _, skew in skews]
    if any(ahead) != all(ahead):
        return None
    least = min(abs(skew) for _, skew in skews)
    way = "ahead of" if ahead[0] else "behind"
    whom = ", ".join(dict.fromkeys(host for host, _ in skews))
    return Found(
        "notice",
        f"The clock of the monitor is {least / 60:.0f} min {way} that of {whom}.",
        (
            "Times in its messages are wrong by as much, and signed messages may be refused",
            "Set the clock of that machine, or let it be set by the network",
        ),
    )


def _on_this_machine(host: str) -> bool:
    return host in _HERE or host.startswith("127.")
