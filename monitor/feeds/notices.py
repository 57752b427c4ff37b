"""What an answer says beside the forecast: that the service ends, has moved, or what time it is.

None of it is a failure, so none is told at every poll: a notice comes once a day. Pure.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.feeds.waiting import http_date, kept_moment

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from monitor.feeds.exchange import Answer
    from monitor.feeds.sheet_parts import Sheet

SKEW_TOLD_S = 60.0
"""Two clocks that differ by more than this are told of [s]."""

AGAIN_AFTER = timedelta(days=1)


def notices(sheet: Sheet, host: str, answer: Answer, at: datetime) -> dict[str, str]:
    """Sentences for the operator by their short name."""
    told = {}
    if answer.status in sheet.errors.warn:
        told["out-of-date"] = f"{host} marks this service as out of date ({answer.status})."
    if "Deprecation" in answer.headers or "Sunset" in answer.headers:
        last = http_date(answer.headers.get("Sunset"))
        when = "" if last is None else f" on {last:%Y-%m-%d}"
        told["ending"] = f"{host} will end this service{when}; look for its successor."
    if answer.moved:
        told["moved"] = f"{host} has moved for good; the sheet or base_url should follow."
    skew = skew_s(answer, at)
    if skew is not None and abs(skew) > SKEW_TOLD_S:
        told["clock"] = f"The clock here and that of {host} differ by {abs(skew):.0f} s."
    return told


def skew_s(answer: Answer, at: datetime) -> float | None:
    """How far our clock is ahead of the server's [s]; None where it does not say.

    A copy from a cache carries the date at which it was made, and its age since.
    """
    date = http_date(answer.headers.get("Date"))
    return None if date is None else (at - date).total_seconds() - age_s(answer)


def age_s(answer: Answer) -> float:
    """How long a copy has lain in a cache on the way [s]; 0 where it is none."""
    stated = answer.headers.get("Age", "").strip()
    return float(stated[:9]) if stated.isascii() and stated.isdigit() else 0.0


def not_told_today(
    found: Mapping[str, str], kept: Any, at: datetime
) -> tuple[tuple[str, ...], dict[str, dict[str, str]]]:
    """The sentences that are due, and what to keep: when each was told last, and last said.

    One that comes and goes from answer to answer is still told once a day.
    """
    keep = {name: entry for name, entry in _entries(kept) if not _over(entry, at)}
    due = []
    for name, says in found.items():
        told = kept_moment(keep[name].get("told_at")) if name in keep else None
        if told is None or not timedelta(0) <= at - told < AGAIN_AFTER:
            due.append(says)
            told = at
        keep[name] = {"told_at": told.isoformat(), "said_at": at.isoformat(), "says": says}
    return tuple(due), keep


def said_lately(kept: Any, at: datetime) -> tuple[str, ...]:
    """What a server has said within the last day, from what was kept of it."""
    return tuple(str(entry.get("says", "")) for _, entry in _entries(kept) if not _over(entry, at))


def _entries(kept: Any) -> list[tuple[str, dict[str, str]]]:
    found = kept.items() if isinstance(kept, dict) else ()
    return [(str(name), entry) for name, entry in found if isinstance(entry, dict)]


def _over(entry: dict[str, str], at: datetime) -> bool:
    last = kept_moment(entry.get("said_at"))
    return last is None or abs(at - last) > AGAIN_AFTER
