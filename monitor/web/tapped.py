"""A form of the duty page as one word: what was tapped, and which of its fields belong to that.

One form has several buttons, and all its fields are sent whichever is tapped. So the button
says what is meant, and what belongs to another button is left out, and told to be.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Literal, get_args

from monitor.domain import (
    AnswerKind,
    BadInputError,
    CannotBecause,
    EntryKind,
    InspectionResult,
    Problem,
)
from monitor.service.declared import Opened
from monitor.service.entries import READINGS
from monitor.show.clock import ClockError, moment
from monitor.store.records import to_json
from monitor.web.posted import noted, one_of, sender_id, texts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from datetime import datetime

    from monitor.domain import LogEntry, Show

RainHere = Literal["falls", "stopped"]
"""What the crew says of the rain where they stand"""
Kind = Literal["log", "answer", "declare", "rain", "take-back"]

AHEAD = timedelta(minutes=5)
"""A phone's clock may be fast by so much; what it says then is of now."""
OLDEST = timedelta(days=7)
"""What waited on a phone for longer than this is logged by hand, with its time in sight."""

_FIELDS: dict[Kind, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "log": (
        ("id", "entry"),
        ("position", "fixture", "alert", "at", "count", "to", "result", "note", *READINGS),
    ),
    "answer": (("id", "alert", "answer"), ("because", "until", "note", "at", "shown")),
    "declare": (("id", "what"), ("position", "note", "at")),
    "rain": (("id", "rain"), ("at",)),
    "take-back": (("id", "number"), ("note", "at")),
}
"""What a form of each kind needs, and what it may have. Who says it is known by the device."""
_CHOICES: dict[str, tuple[str, ...]] = {
    "entry": get_args(EntryKind),
    "result": get_args(InspectionResult),
    "answer": get_args(AnswerKind),
    "because": get_args(CannotBecause),
    "what": get_args(Opened),
    "rain": get_args(RainHere),
}
_BELONGS: dict[str, tuple[str, str]] = {
    **dict.fromkeys(("result", *READINGS), ("entry", "inspected")),
    "to": ("entry", "moved"),
    **dict.fromkeys(("because", "until"), ("answer", "cannot")),
}
"""Field -> the button that it belongs to."""
_NUMBER = re.compile(r"\d{1,9}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Tapped:
    """One word as it came."""

    id: str
    fields: dict[str, str]
    sent: list[list[str]]
    """As it came, in one order, to be known by when it comes again"""
    at: datetime | None
    """When it was tapped, never later than now; None: it was not said"""
    left_out: tuple[str, ...]
    """What belongs to another button, in sentences"""


def tapped(
    kind: Kind, fields: Mapping[str, str], show: Show, now: datetime, *, by_script: bool
) -> Tapped:
    """The word; BadInputError with every fault in it.

    A form's id was made with its page: tapped twice it is one word, and another button on the
    same page is another. A script makes one for each tap.
    """
    problems: list[Problem] = []
    found = texts(noted(fields), *_FIELDS[kind], problems)
    sender_id(found, problems)
    sent = [[key, value] for key, value in sorted(found.items()) if key != "id"]
    left_out = _left_out(found)
    for key, choices in _CHOICES.items():
        one_of(found, key, choices, problems)
    at = _at(found.pop("at", None), show, now, problems)
    if not _NUMBER.fullmatch(found.get("shown", "0")):
        says, remedy = "shown is not the number of a change.", "Load the page again."
        problems.append(Problem("unknown-value", says, remedy, key="shown"))
    if problems:
        raise BadInputError(problems)
    if "fixture" in found:
        # The form of a position names both; the fixture says more exactly what is meant.
        found.pop("position", None)
    word_id = found.pop("id")
    if not by_script:
        digest = hashlib.sha256(to_json(sent).encode("ascii")).hexdigest()
        word_id = f"{word_id[:32]}-{digest[:16]}"
    return Tapped(word_id, found, sent, at, left_out)


def _left_out(found: dict[str, str]) -> tuple[str, ...]:
    """Take out what belongs to another button than the one that was tapped."""
    other = [
        key
        for key, (button, value) in _BELONGS.items()
        if key in found and found.get(button) not in (None, value)
    ]
    for key in other:
        del found[key]
    return tuple(
        f"Not kept: {key.partition('_')[0]}. It belongs to {_BELONGS[key][1]}." for key in other
    )


def _at(text: str | None, show: Show, now: datetime, problems: list[Problem]) -> datetime | None:
    if text is None:
        return None
    try:
        at = moment(text, show.site.timezone)
    except ClockError as fault:
        problems.append(Problem(fault.code, fault.says, fault.remedy, key="at"))
        return None
    if at > now + AHEAD:
        says = f"That time is more than {AHEAD.seconds // 60} minutes ahead of the site's clock."
        remedy = "Look at the clock of this device."
        problems.append(Problem("still-to-come", says, remedy, key="at"))
    elif at < now - OLDEST:
        says = f"That is more than {OLDEST.days} days ago."
        remedy = "Log it with dryspell log --at TIME, if it is so."
        problems.append(Problem("too-old", says, remedy, key="at"))
    return min(at, now)


# ---------------------------------------------------------------- how many of how many


def counted(
    fields: Mapping[str, str], show: Show, log: Callable[[], Iterable[LogEntry]]
) -> str | None:
    """How many of how many: a number alone is out of all that hangs there as logged."""
    count = fields.get("count")
    if count is None or not _NUMBER.fullmatch(count):
        return count
    where = {f.id: f.position for f in show.fixtures}
    for entry in log():
        if entry.entry == "moved" and entry.to is not None and entry.count is None:
            for fixture, position in where.items():
                if fixture == entry.fixture or position == entry.position:
                    where[fixture] = entry.to
    meant = (fields.get("fixture"), fields.get("position"))
    whole = sum(f.count for f in show.fixtures if f.id == meant[0] or where[f.id] == meant[1])
    return f"{count} of {whole}"
