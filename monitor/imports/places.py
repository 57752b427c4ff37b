"""The positions of an imported rig: those of the show, new ones, and what is asked of these."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

from monitor.domain import Access
from monitor.imports.drawn import Ask, Drawn, Rig
from monitor.imports.naming import Path, position_id, position_names
from monitor.imports.plain_cells import one_line
from monitor.imports.proposal import NewPosition
from monitor.show.nearest import suggestion
from monitor.show.values import NUMBER, Between, hyphenated

if TYPE_CHECKING:
    from monitor.domain import Position, Show
    from monitor.imports.answers import Answers

ACCESSES: tuple[Access, ...] = get_args(Access)
_HEIGHT = Between(-2, 150)
_GUST = Between(0, 100, above=True)
_INSET = Between(0, 500)
_FAR_APART_M = 1.5
"""Fixtures of one position farther apart in height than this are told of."""


_NEAR_M = 0.5
"""So far from its fixtures a position may be without a word."""


@dataclass(frozen=True, slots=True)
class Places:
    """Where each fixture goes: the id of its position, None where that is not settled yet."""

    ids: dict[Path, str]
    names: dict[Path, str]
    ready: frozenset[str]
    """Positions that are in the show, or can be written"""
    new: tuple[NewPosition, ...]
    asks: tuple[Ask, ...]
    told: tuple[str, ...]


def number(answers: Answers, kind: str, about: str, allowed: Between, unit: str) -> float | None:
    """An answered number within its limits; a wrong one is refused and None."""
    said = answers.of(kind, about)
    if said is None:
        return None
    if NUMBER.fullmatch(said):
        value = float(said)
        low = value <= allowed.low if allowed.above else value < allowed.low
        if not low and value <= allowed.high:
            return value
    answers.refuse(kind, about, "that will not do.", f"Write {unit} alone, {allowed.words}.")
    return None


def places(
    rig: Rig,
    paths: Sequence[Path],
    heights: Sequence[float | None],
    answers: Answers,
    show: Show,
) -> Places:
    """Sort the fixtures' positions; `paths` and `heights` are theirs, in the fixtures' order."""
    return _Sorter(rig, answers, show).sort(paths, heights)


class _Sorter:
    def __init__(self, rig: Rig, answers: Answers, show: Show) -> None:
        self._rig = rig
        self._answers = answers
        self._show = show
        self._asks: list[Ask] = []
        self._told: list[str] = []

    def sort(self, paths: Sequence[Path], heights: Sequence[float | None]) -> Places:
        names = position_names(paths)
        ids = {path: position_id(name) or "" for path, name in names.items()}
        at: dict[Path, list[Drawn]] = {path: [] for path in ids}
        known: dict[Path, list[float]] = {path: [] for path in ids}
        for path, fixture, height in zip(paths, self._rig.fixtures, heights, strict=True):
            if path:
                at[path].append(fixture)
            if path and height is not None:
                known[path].append(height)
        new: list[NewPosition] = []
        ready: set[str] = set()
        for path, name in ids.items():
            if name in self._show.positions:
                ready.add(name)
                self._hold_against(self._show.positions[name], known[path])
                continue
            made = self._new(name, names[path], at[path], known[path])
            if made is not None:
                new.append(made)
                ready.add(name)
        return Places(
            ids, names, frozenset(ready), tuple(new), tuple(self._asks), tuple(self._told)
        )

    def _hold_against(self, there: Position, known: Sequence[float]) -> None:
        """Tell of a position of the show that the file has at quite another height."""
        if known and not min(known) - _NEAR_M <= there.height_m <= max(known) + _NEAR_M:
            self._told.append(
                f"position {there.id} is in the show already, at {there.height_m:g} m, and stays "
                f"so; its fixtures in the file are at {_span(known)}"
            )

    def _new(
        self, name: str, called: str, fixtures: Sequence[Drawn], known: Sequence[float]
    ) -> NewPosition | None:
        height, access = self._height(name, fixtures, known), self._access(name, fixtures)
        limit = self._limit(name, access)
        values: dict[str, str | float | None] = {
            "id": name,
            "name": called,
            "height_m": height,
            "access": access,
            "access_limit_mps": limit,
            "isolate_at": self._isolate_at(name),
        }
        settled = height is not None and access is not None
        settled = settled and (access != "lowered-truss" or limit is not None)
        roof = self._roof(name)
        if roof is None or not settled:
            return None
        values |= roof
        return NewPosition(name, called, {k: v for k, v in values.items() if v is not None})

    def _height(self, name: str, fixtures: Sequence[Drawn], known: Sequence[float]) -> float | None:
        if known and max(known) - min(known) > _FAR_APART_M:
            self._told.append(
                f"{name} holds fixtures at {_span(known)}: perhaps these are several places, "
                "reached in several ways"
            )
        said = number(self._answers, "height_m", f"position {name}", _HEIGHT, "metres")
        if said is not None or known:
            # The highest: wind limits are judged there, and wind grows with height.
            return said if said is not None else max(known)
        if not self._rig.drawing and all(one.waits_on is None for one in fixtures):
            question = "How many metres above the ground are its fixtures?"
            self._ask("height_m", name, question, self._of(fixtures))
        return None

    def _access(self, name: str, fixtures: Sequence[Drawn]) -> str | None:
        about = f"position {name}"
        said = self._answers.of("access", about)
        listed = list(dict.fromkeys(f.access for f in fixtures if f.access is not None))
        if said is None and len(listed) == 1:
            said = listed[0]
        word = None if said is None else hyphenated(said)
        if word in ACCESSES:
            return word
        if self._answers.of("access", about) is not None and word is not None:
            remedy = suggestion(word, ACCESSES)
            self._answers.refuse("access", about, "no way to reach it.", remedy)
        differ = f" The file says {', '.join(a[:40] for a in listed[:4])}." if listed else ""
        self._ask(
            "access",
            name,
            f"How do people reach it? One of: {', '.join(ACCESSES)}.",
            f"{self._of(fixtures)}{differ}",
        )
        return None

    def _limit(self, name: str, access: str | None) -> float | None:
        about = f"position {name}"
        limit = number(self._answers, "access_limit_mps", about, _GUST, "metres per second")
        if limit is None and access == "lowered-truss":
            self._ask(
                "access_limit_mps",
                name,
                "In what gust may the truss still be moved, in metres per second? Ask the rigger.",
                "a truss has no usual limit",
            )
        return limit

    def _isolate_at(self, name: str) -> str | None:
        said = one_line(self._answers.of("isolate_at", f"position {name}"))
        if said is None:
            self._ask("isolate_at", name, "Where is its power cut?", "", needed=False)
        return said

    def _roof(self, name: str) -> dict[str, str | float] | None:
        """What it says of the roof over it; None where only half of that is answered."""
        about = f"position {name}"
        said = self._answers.of("roof", about)
        if said is None:
            self._ask(
                "roof",
                name,
                "Which roof of show.toml is over it? Until it is said, it counts as open sky.",
                "",
                needed=False,
            )
            return {}
        if hyphenated(said) == "none":
            return {}
        if said not in self._show.roofs:
            remedy = (
                suggestion(said, self._show.roofs)
                if self._show.roofs
                else "show.toml has no [[roofs]] yet: write it there first."
            )
            self._answers.refuse("roof", about, "no roof of this show.", remedy)
            return None
        found: dict[str, str | float] = {"roof": said}
        for side in ("front", "right"):
            key = f"in_from_{side}_m"
            inset = number(self._answers, key, about, _INSET, "metres")
            if inset is None:
                question = f"How many metres in from the {side} edge of the roof over it is it?"
                self._ask(key, name, question, f"under roof {said}")
            else:
                found[key] = inset
        return found if len(found) == 3 else None

    def _ask(self, kind: str, name: str, remedy: str, says: str, *, needed: bool = True) -> None:
        self._asks.append(
            Ask(kind, f"position {name}", says, remedy, self._rig.source, needed=needed)
        )

    def _of(self, fixtures: Sequence[Drawn]) -> str:
        count = len(fixtures)
        return f"{count} fixture{'s' if count != 1 else ''}"


def _span(known: Sequence[float]) -> str:
    low, high = min(known), max(known)
    return f"{low:g} m" if low == high else f"{low:g} to {high:g} m"
