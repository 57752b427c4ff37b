"""Asking one feed and keeping what it said. Nothing is worked out here."""

from __future__ import annotations

import hashlib
import logging
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.clock import SiteClock
from monitor.domain import BadInputError, DryspellError
from monitor.feeds.decode import Rejected, decode
from monitor.feeds.fetch import Fetched, due, fetch, is_patient, turned_down
from monitor.feeds.issued import issued_told
from monitor.feeds.notices import not_told_today
from monitor.feeds.place import place_told
from monitor.feeds.record import read_record
from monitor.feeds.record_growth import grown
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD
from monitor.feeds.waiting import kept_moment
from monitor.service.feed_words import Word, keep_word, last_word, memory_key
from monitor.service.places import is_moved, note_place, place_of
from monitor.service.terms import unanswered
from monitor.service.watched import in_short
from monitor.store.database import immediate
from monitor.store.history import recall, remember
from monitor.store.runs import latest_run, record_weather, seen_again
from monitor.units import SECONDS_PER_MINUTE, to_epoch

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Feed, Show, Site, Weather
    from monitor.feeds.line import Lines
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
    """Whether it went another way than the time before, or something new was said with it."""
    has_new: bool = False


@dataclass(frozen=True, slots=True)
class Asking:
    """What every feed is asked with."""

    show: Show
    folder: Path
    secret: Callable[[str], str]
    now: Callable[[], datetime]
    jitter: Callable[[], float]


def is_due(db: Database, asking: Asking, source: str, feed: Feed, *, retry: bool) -> bool:
    """Whether a feed is to be asked now.

    One that failed is asked with `retry`, one whose settings have changed at once, neither
    where its server has asked for patience.
    """
    memory = recall(db, memory_key(source)) or {}
    now = asking.now()
    if due(memory, now):
        return True
    if is_patient(memory, now):
        return False
    word = last_word(db, source)
    if retry and word is not None and not word.ok:
        return True
    return memory.get("asked_as") not in (None, _asked_as(asking, feed))


def ask_one(
    db: Database, asking: Asking, source: str, feed: Feed, lines: Lines | None = None
) -> Polled | None:
    """Ask a feed once and keep what came of it; None where it was stopped from outside."""
    memory = recall(db, memory_key(source)) or {}
    try:
        return _poll(db, asking, source, feed, memory, lines)
    except DryspellError as fault:
        return _turned_away(db, asking, source, feed, memory, _short(fault))
    except Exception as fault:  # noqa: BLE001 - one feed must not hold up the others
        _log.exception("feed %s", source)
        says = f"{source} could not be read: a fault of the monitor ({type(fault).__name__})."
        return _turned_away(db, asking, source, feed, memory, says)


def _poll(
    db: Database,
    asking: Asking,
    source: str,
    feed: Feed,
    memory: Mapping[str, Any],
    lines: Lines | None,
) -> Polled | None:
    if feed.sheet == RECORD:
        return _read_record(db, asking, source, feed)
    sheet = find_sheet(feed.sheet, asking.folder)
    refused = unanswered(db, [feed], asking.folder)
    if refused:
        raise BadInputError(refused)
    read_as = _read_as(sheet, feed)
    moved = is_moved(db, source, place_of(asking.show.site, feed))
    if moved or memory.get("read_as") != read_as:
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
        lines=lines,
    )
    if fetched.fault == "stopped":
        return None
    weather = None
    if fetched.kind == "new" and fetched.body is not None:
        try:
            weather = _decoded(fetched, fetched.body, sheet, feed, source, asking.show.site)
        except Rejected as fault:
            fetched = turned_down(fetched, sheet, fault.detail, jitter=asking.jitter())
    if fetched.excerpt:
        _log.info("feed %s: %s It began: %s", source, fetched.says, fetched.excerpt)
    kept = {**fetched.memory, "read_as": read_as, "asked_as": _asked_as(asking, feed)}
    return _keep(db, asking, source, feed, fetched, weather, kept)


def _keep(
    db: Database,
    asking: Asking,
    source: str,
    feed: Feed,
    fetched: Fetched,
    weather: Weather | None,
    memory: dict[str, Any],
) -> Polled:
    """The run, the memory and the word, all or nothing."""
    ok = fetched.kind in ("new", "unchanged")
    place = place_of(asking.show.site, feed)
    notices = fetched.warnings
    with immediate(db):
        before = latest_run(db, source)
        same = before is not None and ok
        if weather is not None:
            moved = is_moved(db, source, place)
            run = record_weather(db, weather, fetched.body, fetched.at, anew=moved)
            note_place(db, source, run, place)
            notices += _beside(source, weather, memory, asking.show, fetched.at)
            same = before is not None and before.id == run
        elif before is not None and ok:
            seen_again(db, before.id, fetched.at)
        if ok:
            memory["same_seen"] = int(memory.get("same_seen", 0)) + 1 if same else 0
        remember(db, memory_key(source), memory)
        word = Word(
            ok=ok,
            says=" ".join([fetched.says, *notices]),
            at=fetched.at,
            fault=fetched.fault,
            kind=None if ok else fetched.kind,
            host=fetched.host,
            began=fetched.excerpt,
            place=place,
        )
        has_new = weather is not None
        return _told(db, source, word, notices, has_new=has_new)


def _beside(
    source: str, weather: Weather, memory: dict[str, Any], show: Show, at: datetime
) -> tuple[str, ...]:
    """What is to be said of a run, and is remembered so that it is not said every time."""
    told = []
    newest = kept_moment(memory.get("newest_issued"))
    if weather.issued_at is not None:
        if newest is not None and weather.issued_at < newest:
            clock = SiteClock.named(show.site.timezone.key, at)
            told.append(
                f"It sent an older run, issued {clock.at(weather.issued_at)}, than before "
                f"({clock.at(newest)}): the newer one is kept."
            )
        else:
            memory["newest_issued"] = weather.issued_at.isoformat()
    wrong = {
        f"place {n}": f"{source}: {said.partition(': ')[2]}."
        for n, said in enumerate(place_told(weather.dropped))
    }
    for said in issued_told(weather.dropped):
        wrong["issue time"] = f"{source}: {said}."
    due_now, memory["noticed"] = not_told_today(wrong, memory.get("noticed"), at)
    return (*told, *due_now)


def _decoded(
    fetched: Fetched, body: bytes, sheet: Sheet, feed: Feed, source: str, site: Site
) -> Weather:
    weather = decode(
        body,
        sheet,
        fetched_at=fetched.at,
        wind_basis=feed.wind_basis,
        wind_height_m=feed.wind_height_m,
        headers=fetched.headers,
        issued_at=fetched.issued,
        latitude=site.latitude,
        longitude=site.longitude,
        elevation_m=site.elevation_m,
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
    memory: Any = recall(db, memory_key(source)) or {}
    length = int(memory.get("length", 0))
    fresh = body
    if 0 < length < len(body) and memory.get("read_as") == _whole(body[:length], feed):
        # It was added to: what is kept grows with what was added, not with the whole.
        fresh = body[length:]
        shorter = read_record(body[:length], feed.file)
        weather = grown(weather, shorter, to_epoch(at))
    return _kept(db, source, feed, at, f"{feed.file} was read.", weather, fresh, whole=body)


def _kept(
    db: Database,
    source: str,
    feed: Feed,
    at: datetime,
    says: str,
    weather: Weather | None,
    body: bytes,
    whole: bytes | None = None,
) -> Polled:
    """`body` is what is kept of it, `whole` the file as it was read."""
    minutes = RECORD_POLL_MINUTES if feed.poll_minutes is None else feed.poll_minutes
    next_try_at = at + timedelta(seconds=minutes * SECONDS_PER_MINUTE)
    with immediate(db):
        before = latest_run(db, source)
        if weather is None:
            run = None
        elif before is not None and not len(weather.starts):
            # What was added to the file says nothing of the weather.
            seen_again(db, before.id, at)
            run = before.id
        else:
            run = record_weather(db, weather, body, at)
        has_new = run is not None and (before is None or before.id != run)
        seen = int((recall(db, memory_key(source)) or {}).get("same_seen", 0))
        again = run is not None and not has_new
        memory = {
            "next_try_at": next_try_at.isoformat(),
            "same_seen": seen + 1 if again else 0 if has_new else seen,
        }
        if whole is not None:
            memory |= {"length": len(whole), "read_as": _whole(whole, feed)}
        remember(db, memory_key(source), memory)
        kind = None if weather is not None else "config-fault"
        word = Word(ok=weather is not None, says=says, at=at, kind=kind)
        return _told(db, source, word, has_new=has_new)


def _turned_away(
    db: Database,
    asking: Asking,
    source: str,
    feed: Feed,
    memory: Mapping[str, Any],
    says: str,
) -> Polled:
    """It could not be asked, or not read: a setting, a file or a fault of our own."""
    at = asking.now()
    with immediate(db):
        next_try_at = (at + _AFTER_OUR_FAULT).isoformat()
        kept = {**memory, "next_try_at": next_try_at, "asked_as": _asked_as(asking, feed)}
        remember(db, memory_key(source), kept)
        return _told(db, source, Word(ok=False, says=says, at=at, kind="config-fault"))


def _told(
    db: Database, source: str, word: Word, notices: tuple[str, ...] = (), *, has_new: bool = False
) -> Polled:
    """Keep the last word of a feed."""
    before = last_word(db, source)
    keep_word(db, source, word)
    is_news = before is None or before.ok != word.ok or bool(notices)
    return Polled(source, word.ok, word.says, is_news, has_new)


def _read_as(sheet: Sheet, feed: Feed) -> str:
    """Changes when the same bytes would be read in another way."""
    return _digest(f"{sheet.model_dump_json()} {feed.wind_basis} {feed.wind_height_m}")


def _whole(body: bytes, feed: Feed) -> str:
    """Changes with a record, and with how it is read."""
    how = f"{feed.wind_basis} {feed.wind_height_m} ".encode()
    return hashlib.sha256(how + body).hexdigest()


def _asked_as(asking: Asking, feed: Feed) -> str:
    """Changes when the settings do that a request is made of; keys stay references."""
    site = asking.show.site
    return _digest(
        f"{feed.sheet} {feed.base_url} {feed.key} {feed.contact} {feed.file} "
        f"{site.latitude} {site.longitude} {site.elevation_m}"
    )


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _short(fault: DryspellError) -> str:
    return in_short(fault) if isinstance(fault, BadInputError) else str(fault)
