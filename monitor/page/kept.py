"""What was just kept, in the words of whoever said it; said once at the head of the next page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from monitor.domain import Answered, Declared, LogEntry, Show
from monitor.page.labels import ANSWERS, ENTRIES
from monitor.page.times import Times
from monitor.page.words import later
from monitor.page.work import place_name

_SAYS = {
    "log": later("Kept: {place}, {what}, {at}."),
    "part": later("Kept: {place}, {what} {part}, {at}."),
    "answer": later("Kept: {place}, {what}, {at}."),
    "declare": later("Kept: {place}, {what} open again, {at}."),
    "against": later("Kept as said, but this speaks against it: {place}, {what} open, {at}."),
    "falls": later("Kept: it rains here, {at}. If it rains on after half an hour, say so again."),
    "stopped": later("Kept: it has stopped raining here, {at}."),
    "take-back": later("Taken back: {place}, {what}, {at}."),
}
_OPENED: dict[str, str] = {"height": later("work at height"), "power": later("power")}
_WORDS: dict[str, str] = {**_OPENED, **dict(ENTRIES.items()), **dict(ANSWERS.items())}
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class KeptWord:
    """One thing that was kept, short enough to travel with the browser to the next page."""

    kind: Literal["log", "answer", "declare", "against", "rain", "take-back"]
    """`against`: a declaration that something known here speaks against"""
    what: str = ""
    """The entry, the answer, what was declared open, or what the rain does"""
    position: str | None = None
    fixtures: tuple[str, ...] = ()
    at: datetime | None = None
    count: tuple[int, int] | None = None
    notes: tuple[str, ...] = ()
    """What speaks against it counting as meant, in the monitor's own words"""
    known: bool = False
    """It had been kept before, and is not kept twice"""


def of_entries(entries: tuple[LogEntry, ...], notes: tuple[str, ...]) -> KeptWord:
    """Of log entries: all of one word, so the first says what and when."""
    first, names = entries[0], tuple(e.fixture for e in entries if e.fixture is not None)
    return KeptWord("log", first.entry, first.position, names, first.at, first.count, notes)


def of_answer(answered: Answered, notes: tuple[str, ...]) -> KeptWord:
    """Of an answer to an alert."""
    return KeptWord("answer", answered.answer, answered.position, (), answered.at, None, notes)


def of_declaration(made: Declared, notes: tuple[str, ...], *, contested: bool) -> KeptWord:
    """Of a declaration."""
    kind: Literal["against", "declare"] = "against" if contested else "declare"
    return KeptWord(kind, made.what, made.position, (), made.at, None, notes)


def of_taken_back(entry: LogEntry) -> KeptWord:
    """Of a log entry that was taken back."""
    named = () if entry.fixture is None else (entry.fixture,)
    return KeptWord("take-back", entry.entry, entry.position, named, entry.at, entry.count)


def sentences(kept: KeptWord, show: Show, times: Times) -> tuple[str, ...]:
    """What is said of it."""
    say = times.words.say
    if kept.known:
        return (say("It was kept before."),)
    part = ""
    if kept.kind == "log" and kept.count is not None and kept.count[0] < kept.count[1]:
        part = say("{part} of {whole}", part=kept.count[0], whole=kept.count[1])
    says = _SAYS["part" if part else kept.what if kept.kind == "rain" else kept.kind]
    what = say(_WORDS.get(kept.what, kept.what))
    first = say(says, place=_place(kept, show), what=what, part=part, at=times.at(kept.at))
    return (first, *kept.notes)


def _place(kept: KeptWord, show: Show) -> str:
    named = ", ".join(kept.fixtures[:_MOST_NAMED])
    more = ", ..." if len(kept.fixtures) > _MOST_NAMED else ""
    return f"{named}{more}" if named else place_name(show, kept.position)
