"""The trade's short words on the page: actions, answers, entries, accesses."""

from __future__ import annotations

from monitor.domain import Access, Action, AnswerKind, CannotBecause, EntryKind, InspectionResult
from monitor.page.words import Words, later
from monitor.planning.workable import Span

ACTIONS: dict[Action, str] = {
    "cover": later("Cover"),
    "bring-in": later("Bring in"),
    "isolate": later("Isolate"),
    "uncover": later("Uncover"),
    "inspect": later("Inspect"),
    "clean": later("Clean"),
}
COUNTED: dict[Action, str] = {
    "cover": later("Cover {count}"),
    "bring-in": later("Bring in {count}"),
    "isolate": later("Isolate {count}"),
    "uncover": later("Uncover {count}"),
    "inspect": later("Inspect {count}"),
    "clean": later("Clean {count}"),
}
"""With how many of them"""
ANSWERS: dict[AnswerKind, str] = {
    "doing": later("doing it"),
    "done": later("done"),
    "cannot": later("cannot"),
    "not-needed": later("not needed"),
}
BECAUSE: dict[CannotBecause, str] = {
    "no-lift": later("No lift"),
    "too-windy": later("Too windy"),
    "act-on-stage": later("Act on stage"),
    "no-cover": later("No cover"),
    "other": later("Something else"),
}
ENTRIES: dict[EntryKind, str] = {
    "covered": later("covered"),
    "uncovered": later("uncovered"),
    "brought-in": later("brought in"),
    "put-out": later("put out"),
    "isolated": later("isolated"),
    "energised": later("energised"),
    "inspected": later("inspected"),
    "cleaned": later("cleaned"),
    "capped": later("capped"),
    "uncapped": later("uncapped"),
    "moved": later("moved"),
    "wet": later("seen wet"),
}
RESULTS: dict[InspectionResult, str] = {
    "dry": later("Dry"),
    "damp": later("Damp"),
    "water-inside": later("Water inside"),
    "not-tested": later("Not tested"),
}
ACCESS: dict[Access, str] = {
    "ground": later("Ground"),
    "ladder": later("Ladder"),
    "platform": later("Platform"),
    "climb": later("Climbing"),
    "lowered-truss": later("Truss"),
    "none": later("Out of reach"),
}
_CAUSES = {
    "thunder": later("thunder"),
    "gust": later("gust"),
    "dark": later("dark"),
    "crew": later("as the crew says"),
}


def cause(span: Span, words: Words, speed: str) -> str:
    """What closes a place: `gust 14 m/s`, `thunder`; an official warning in its own words."""
    if span.says:
        return span.says
    said = words.say(_CAUSES[span.by])
    return f"{said} {speed}" if span.by == "gust" and span.gust_mps is not None else said
