"""Asking the official warning services that are due, and keeping what they said."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.official_reading import ServiceSight
from monitor.feeds.cap_area import site_area
from monitor.feeds.cap_fetch import Gathered, asked_as, gather
from monitor.feeds.cap_force import Listening
from monitor.feeds.fetch import due
from monitor.feeds.request import host_of
from monitor.service.asking import Polled
from monitor.store.database import immediate
from monitor.store.history import recall, remember
from monitor.store.records import from_text, to_text
from monitor.store.warnings import record_message
from monitor.units import SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Show, WarningsFrom
    from monitor.feeds.line import Lines
    from monitor.service.asking import Asking

_AFTER_OUR_FAULT = timedelta(minutes=5)

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Word:
    """What came of asking a service last."""

    ok: bool
    faulty: bool
    says: str
    at: datetime
    read_at: datetime | None
    url: str


def memory_key(service: str) -> str:
    """Under what the next try, the ETag and the links already followed are kept."""
    return f"warnings/{service}"


def _word_key(service: str) -> str:
    return f"warnings-word/{service}"


def poll_warnings(
    db: Database, asking: Asking, *, retry: bool = False, lines: Lines | None = None
) -> list[Polled]:
    """Ask every warning service of the show that is due, one after another.

    Parameters
    ----------
    retry : those too that failed last
    lines : ends it from another thread; nothing more is kept then
    """
    results = []
    for source in asking.show.warnings:
        memory = recall(db, memory_key(source.name)) or {}
        word = _last_word(db, source.name)
        again = retry and word is not None and not word.ok
        again = again or memory.get("asked") not in (None, asked_as(source))
        if not again and not due(memory, asking.now()):
            continue
        polled = _asked(db, asking, source, memory, lines)
        if polled is None:
            break
        results.append(polled)
    return results


def forget_next_warnings(db: Database, show: Show) -> None:
    """Let every service be asked now: after the clock was set, kept times mean nothing."""
    with immediate(db):
        for source in show.warnings:
            memory = recall(db, memory_key(source.name))
            if memory is not None:
                remember(db, memory_key(source.name), {**memory, "next_try_at": None})


def _asked(
    db: Database,
    asking: Asking,
    source: WarningsFrom,
    memory: Mapping[str, Any],
    lines: Lines | None,
) -> Polled | None:
    try:
        gathered = gather(
            source,
            asking.show.site,
            memory,
            now=asking.now,
            jitter=asking.jitter(),
            lines=lines,
        )
        return None if gathered is None else _kept(db, source, gathered)
    except Exception as fault:  # noqa: BLE001 - one service must not hold up the others
        _log.exception("warnings of %s", source.name)
        at = asking.now()
        says = f"{source.name} could not be read: a fault of the monitor ({type(fault).__name__})."
        next_try_at = (at + _AFTER_OUR_FAULT).isoformat()
        failed = Gathered(
            ok=False, says=says, at=at, memory={**memory, "next_try_at": next_try_at}, faulty=True
        )
        return _kept(db, source, failed)


def _kept(db: Database, source: WarningsFrom, gathered: Gathered) -> Polled:
    """Messages, memory and word in one transaction: no link is taken for read without its text."""
    with immediate(db):
        new = [record_message(db, m.warnings, m.raw, gathered.at) for m in gathered.messages]
        remember(db, memory_key(source.name), gathered.memory)
        before = _last_word(db, source.name)
        read_at = gathered.at if gathered.ok else (None if before is None else before.read_at)
        remember(
            db,
            _word_key(source.name),
            {
                "ok": gathered.ok,
                "faulty": gathered.faulty,
                "says": gathered.says,
                "at": to_text(gathered.at),
                "read_at": None if read_at is None else to_text(read_at),
                "url": source.url,
            },
        )
    is_news = before is None or before.ok != gathered.ok
    return Polled(source.name, gathered.ok, gathered.says, is_news, any(new))


def _last_word(db: Database, service: str) -> _Word | None:
    kept: Any = recall(db, _word_key(service))
    if kept is None:
        return None
    read_at = None if kept["read_at"] is None else from_text(kept["read_at"])
    return _Word(
        kept["ok"], kept["faulty"], kept["says"], from_text(kept["at"]), read_at, kept["url"]
    )


def service_sights(db: Database, show: Show) -> list[ServiceSight]:
    """Every warning service of the show as seen now."""
    found = []
    for source in show.warnings:
        word = _last_word(db, source.name)
        if word is not None and word.url != source.url:
            word = None  # it was another address that said so
        found.append(
            ServiceSight(
                service=source.name,
                host=host_of(source.url),
                asked=word is not None,
                failing=None if word is None or word.ok else word.says,
                faulty=word is not None and word.faulty,
                read_at=None if word is None else word.read_at,
                poll=timedelta(seconds=source.poll_minutes * SECONDS_PER_MINUTE),
            )
        )
    return found


def listening(show: Show, sights: list[ServiceSight]) -> dict[str, Listening]:
    """What the judging of every service's warnings rests on."""
    read_at = {sight.service: sight.read_at for sight in sights}
    return {
        source.name: Listening(
            area=site_area(source, show.site),
            thunder_words=source.thunder_words,
            read_at=read_at.get(source.name),
        )
        for source in show.warnings
    }
