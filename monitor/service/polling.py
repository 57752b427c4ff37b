"""Asking every feed that is due and keeping what it said. Nothing is worked out here."""

from __future__ import annotations

import hashlib
import logging
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.domain import BadInputError, DryspellError, Problem
from monitor.feeds.decode import Rejected, decode
from monitor.feeds.fetch import Fetched, due, fetch, turned_down
from monitor.feeds.record import read_record
from monitor.feeds.request import needs_consent
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD
from monitor.service.feeds_seen import last_word, named, word_key
from monitor.service.watched import in_short
from monitor.store.database import immediate
from monitor.store.history import recall, remember
from monitor.store.records import to_text
from monitor.store.runs import latest_run, record_weather, seen_again
from monitor.units import SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Feed, Show, Weather
    from monitor.feeds.sheet_parts import Sheet

RECORD_POLL_MINUTES = 1.0
"""A record is a file at hand: looking costs nothing."""

_AFTER_OUR_FAULT = timedelta(minutes=5)

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Polled:
    """What came of asking one feed, for the status lines."""

    source: str
    ok: bool
    says: str
    is_news: bool
    """Whether it went another way than the time before."""
    has_new: bool = False


@dataclass(frozen=True, slots=True)
class Asking:
    """What every feed is asked with."""

    show: Show
    folder: Path
    secret: Callable[[str], str]
    now: Callable[[], datetime]
    jitter: Callable[[], float]


def memory_key(source: str) -> str:
    """Under what the next try and the ETags of a feed are kept."""
    return f"feed/{source}"


def consent_key(sheet_id: str) -> str:
    """Under what the consent to a sheet's terms is kept."""
    return f"consent/{sheet_id}"


def unanswered(db: Database | None, feeds: Sequence[Feed], folder: Path) -> list[Problem]:
    """The terms of use that nobody has agreed to yet, as problems of the show folder."""
    found = []
    for feed in feeds:
        if feed.sheet == RECORD:
            continue
        sheet = find_sheet(feed.sheet, folder)
        says = needs_consent(sheet, feed)
        if says is not None and not _agreed(db, sheet.id, says):
            found.append(
                Problem(
                    "licence",
                    f"{sheet.id} was not asked for weather. {says}",
                    f"If it is: dryspell feed --sheet {sheet.id} --accept-licence. "
                    "It is asked once and remembered.",
                    file="show.toml",
                    key=f"feeds.{sheet.id}",
                )
            )
    return found


def _agreed(db: Database | None, sheet_id: str, says: str) -> bool:
    """Whether these very words were agreed to; other words ask anew."""
    kept: Any = None if db is None else recall(db, consent_key(sheet_id))
    return isinstance(kept, dict) and kept.get("says") == says


def poll_all(db: Database, asking: Asking, *, retry: bool = False) -> list[Polled]:
    """Ask every feed that is due, one after another; `retry` those too that failed last."""
    results = []
    for source, feed in named(asking.show.feeds):
        memory = recall(db, memory_key(source)) or {}
        word = last_word(db, source)
        again = retry and word is not None and not word.ok
        if not again and not due(memory, asking.now()):
            continue
        try:
            results.append(_poll(db, asking, source, feed, memory))
        except DryspellError as fault:
            results.append(_turned_away(db, asking, source, memory, _short(fault)))
        except Exception as fault:  # noqa: BLE001 - one feed must not hold up the others
            _log.exception("feed %s", source)
            says = f"{source} could not be read: a fault of the monitor ({type(fault).__name__})."
            results.append(_turned_away(db, asking, source, memory, says))
    return results


def forget_next_tries(db: Database, feeds: Sequence[Feed]) -> None:
    """Let every feed be asked now: after the clock was set, kept times mean nothing."""
    with immediate(db):
        for source, _ in named(feeds):
            memory = recall(db, memory_key(source))
            if memory is not None:
                remember(db, memory_key(source), {**memory, "next_try_at": None})


def _poll(
    db: Database, asking: Asking, source: str, feed: Feed, memory: Mapping[str, Any]
) -> Polled:
    if feed.sheet == RECORD:
        return _read_record(db, asking, source, feed)
    sheet = find_sheet(feed.sheet, asking.folder)
    refused = unanswered(db, [feed], asking.folder)
    if refused:
        raise BadInputError(refused)
    read_as = _read_as(sheet, feed)
    if memory.get("read_as") != read_as:
        # Read in another way now: what would make the answer "unchanged" is forgotten.
        stale = ("etag", "last_modified", "body_sha256")
        memory = {k: v for k, v in memory.items() if k not in stale}
    fetched = fetch(
        sheet,
        asking.show.site,
        feed,
        memory,
        secret=asking.secret,
        now=asking.now,
        jitter=asking.jitter(),
    )
    weather = None
    if fetched.kind == "new" and fetched.body is not None:
        try:
            weather = _decoded(fetched, fetched.body, sheet, feed, source)
        except Rejected as fault:
            fetched = turned_down(fetched, sheet, feed, fault.detail, jitter=asking.jitter())
    kept = {**fetched.memory, "read_as": read_as}
    ok = fetched.kind in ("new", "unchanged")
    says = " ".join([fetched.says, *fetched.warnings])
    with immediate(db):
        if weather is not None:
            record_weather(db, weather, fetched.body, fetched.at)
        elif ok:
            _still_holds(db, source, fetched.at)
        remember(db, memory_key(source), kept)
        return _told(db, source, ok, says, fetched.at, has_new=weather is not None)


def _decoded(fetched: Fetched, body: bytes, sheet: Sheet, feed: Feed, source: str) -> Weather:
    weather = decode(
        body,
        sheet,
        fetched_at=fetched.at,
        wind_basis=feed.wind_basis,
        wind_height_m=feed.wind_height_m,
        headers=fetched.headers,
    )
    return replace(weather, source=source)


def _read_record(db: Database, asking: Asking, source: str, feed: Feed) -> Polled:
    """A weather record of the folder: what is over in it is a record, the rest what is to come."""
    assert feed.file is not None
    at = asking.now()
    try:
        body = (asking.folder / feed.file).read_bytes()
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        says = f"The weather record {feed.file} cannot be read: {why}."
        return _kept(db, source, feed, at, says, None, b"")
    weather = read_record(
        body, feed.file, wind_basis=feed.wind_basis, wind_height_m=feed.wind_height_m
    )
    weather = replace(weather, source=source, fetched_at=at)
    return _kept(db, source, feed, at, f"{feed.file} was read.", weather, body)


def _kept(
    db: Database,
    source: str,
    feed: Feed,
    at: datetime,
    says: str,
    weather: Weather | None,
    body: bytes,
) -> Polled:
    minutes = RECORD_POLL_MINUTES if feed.poll_minutes is None else feed.poll_minutes
    next_try_at = at + timedelta(seconds=minutes * SECONDS_PER_MINUTE)
    with immediate(db):
        before = latest_run(db, source)
        run = None if weather is None else record_weather(db, weather, body, at)
        has_new = run is not None and (before is None or before.id != run)
        remember(db, memory_key(source), {"next_try_at": next_try_at.isoformat()})
        return _told(db, source, weather is not None, says, at, has_new=has_new)


def _turned_away(
    db: Database, asking: Asking, source: str, memory: Mapping[str, Any], says: str
) -> Polled:
    """It could not be asked, or not read: a setting, a file or a fault of our own."""
    at = asking.now()
    with immediate(db):
        next_try_at = (at + _AFTER_OUR_FAULT).isoformat()
        remember(db, memory_key(source), {**memory, "next_try_at": next_try_at})
        return _told(db, source, ok=False, says=says, at=at)


def _told(
    db: Database, source: str, ok: bool, says: str, at: datetime, *, has_new: bool = False
) -> Polled:
    """Keep the last word of a feed."""
    before = last_word(db, source)
    remember(db, word_key(source), {"ok": ok, "says": says, "at": to_text(at)})
    is_news = before is None or before.ok != ok
    return Polled(source, ok, says, is_news, has_new)


def _still_holds(db: Database, source: str, at: datetime) -> None:
    run = latest_run(db, source)
    if run is not None:
        seen_again(db, run.id, at)


def _read_as(sheet: Sheet, feed: Feed) -> str:
    """Changes when the same bytes would be read in another way."""
    how = f"{sheet.model_dump_json()} {feed.wind_basis} {feed.wind_height_m}"
    return hashlib.sha256(how.encode()).hexdigest()


def _short(fault: DryspellError) -> str:
    return in_short(fault) if isinstance(fault, BadInputError) else str(fault)
