"""What the running service says about itself, in plain words, one line at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts import words
from monitor.alerts.clock import SiteClock
from monitor.alerts.show_times import next_morning
from monitor.alerts.watch import NOBODY_TOLD, tells_nobody
from monitor.service.feeds_seen import named

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from monitor.domain import Message, Show
    from monitor.service.watched import Watched
    from monitor.store.outbox import Settled, Undelivered


def at_start(watched: Watched, waiting: Undelivered, now: datetime) -> Iterator[str]:
    """What is watched, from which weather, who is told, and when the next word comes."""
    show = watched.show
    pieces = sum(fixture.count for fixture in show.fixtures)
    places = "1 position" if len(show.positions) == 1 else f"{len(show.positions)} positions"
    clock = SiteClock.named(show.site.timezone.key, now)
    yield (
        f"Watching {words.fixtures(pieces)} at {places} of {words.one_line(show.site.name)}."
        " Stop with Ctrl-C."
    )
    yield from _not_now(show, now)
    feeds = ", ".join(name for name, _ in named(show.feeds))
    yield f"Weather from: {feeds}." if feeds else "No weather feed is set: nothing can be foreseen."
    if tells_nobody(show.contacts):
        yield NOBODY_TOLD
    else:
        yield f"Told: {', '.join(words.one_line(c.name) for c in show.contacts)}."
    if waiting.waiting:
        yield f"{_messages(waiting.waiting)} of before still to be sent."
    yield f"Next word by {clock.at(next_morning(show, now))}, or when something changes."
    yield "Lightning is not detected, and silence is not safety."


def _not_now(show: Show, now: datetime) -> Iterator[str]:
    """That the show has not begun, or is over: its dates may be those of another year."""
    event, zone = show.event, show.site.timezone
    if now < event.load_in_at:
        yield (
            f"Load-in is {_dated(event.load_in_at.astimezone(zone))}: until then only what is"
            " logged as put out counts as out. Other dates go in [event] of show.toml."
        )
    elif event.load_out_at is not None and now > event.load_out_at:
        yield (
            f"Load-out was {_dated(event.load_out_at.astimezone(zone))}. If the rig still stands,"
            " put right load_out_at in [event] of show.toml."
        )


def _dated(local: datetime) -> str:
    return f"{local:%a} {local.day} {local:%B %Y %H:%M}"


def at_stop(waiting: Undelivered) -> str:
    """The last line."""
    if not waiting.waiting:
        return "Stopped. Nothing is watched now."
    still = _messages(waiting.waiting)
    return (
        f"Stopped. Nothing is watched now. {still} not sent yet; the next start sends what holds."
    )


def of_message(message: Message, show: Show) -> str:
    """A message that was queued."""
    clock = SiteClock.named(show.site.timezone.key, message.at)
    said = f"{clock.at(message.at)} {message.subject.rstrip('.')}."
    return f"{said} {NOBODY_TOLD}" if tells_nobody(show.contacts) else said


def of_settled(settled: Settled) -> str | None:
    """An attempt that did not end well; what was sent is not told line by line."""
    row = settled.row
    whom = row.contact if row.recipient == row.contact else f"{row.contact} ({row.recipient})"
    subject = row.message.subject
    if settled.result == "given-up":
        return f"GIVEN UP: {subject} to {whom}: {settled.detail}"
    if settled.result == "retry":
        return f"Not sent yet: {subject} to {whom}: {settled.detail}"
    return None


def _messages(count: int) -> str:
    return "1 message is" if count == 1 else f"{count} messages are"
