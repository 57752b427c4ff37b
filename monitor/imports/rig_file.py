"""Rig files of the open standard (.mvr): fixtures, what they hang in, how high, which way up.

The file is looked over and its tree made here, safely; the library only ever sees single nodes.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element  # a node of a tree that was parsed safely

import pymvr
from pymvr.value import Matrix as FileMatrix

from monitor.domain import BadInputError, Problem
from monitor.imports.archive import looked_over, refused
from monitor.imports.drawn import Ask, Drawn, Rig
from monitor.imports.fixture_types import FixtureTypes
from monitor.imports.matrices import (
    IDENTITY,
    Matrix,
    MatrixError,
    checked,
    height_m,
    lifted,
    plan_m,
    sound,
    stance,
    within,
)
from monitor.imports.plain_cells import one_line
from monitor.imports.plain_xml import parsed
from monitor.show.values import NUMBER

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.imports.answers import Answers

SCENE = "GeneralSceneDescription.xml"
_MOST_SCENE = 200_000_000
MOST_FIXTURES = 20_000
_HEIGHTS = (-2.0, 150.0)
"""What the show folder takes for a height [m]."""

_PLACES = ("GroupObject", "Truss", "Support", "SceneObject")
_HOLDERS = (*_PLACES, "Fixture", "VideoScreen", "Projector")
_NOT_READ = {"VideoScreen": "video screens", "Projector": "projectors"}
_WORDS = {
    "Layer": "layer",
    "GroupObject": "group",
    "Truss": "truss",
    "Support": "support",
    "SceneObject": "object",
    "Fixture": "fixture",
    "VideoScreen": "screen",
    "Projector": "projector",
}


@dataclass(frozen=True, slots=True)
class _Held:
    """What holds a node: where it is (None: not known), its names, its way for messages."""

    place: Matrix | None
    path: tuple[str, ...]
    way: str
    lost: str | None = None
    """The way of the group around here that has no place"""


def read_rig_file(file: Path, answers: Answers, zero_at_m: float = 0.0) -> Rig:
    """The rig of an .mvr file, with groups that have no matrix placed as `answers` say.

    `zero_at_m` is how high the drawing's zero is above the ground.
    """
    return _Reader(file, answers, zero_at_m).read()


class _Reader:
    def __init__(self, file: Path, answers: Answers, zero_at_m: float) -> None:
        self._file = file
        self._name = file.name
        self._answers = answers
        self._zero_at_m = zero_at_m
        self._problems: list[Problem] = []
        self._asks: list[Ask] = []
        self._notes: list[Problem] = []
        self._fixtures: list[Drawn] = []
        self._hung_at: dict[str, str] = {}
        self._called: Counter[str] = Counter()
        self._not_read: Counter[str] = Counter()

    def read(self) -> Rig:
        with looked_over(self._file, self._name) as archive:
            if SCENE not in archive.names:
                raise refused(
                    "no-scene",
                    f"{self._name} holds no {SCENE}, so it is no rig file.",
                    "Give a file that a drawing program exported as MVR.",
                    self._name,
                )
            root = parsed(archive.read(SCENE, _MOST_SCENE), SCENE, self._name)
            self._types = FixtureTypes(archive)
            scene = root.find("Scene")
            if root.tag != "GeneralSceneDescription" or scene is None:
                raise refused(
                    "no-scene",
                    f"{SCENE} in {self._name} describes no scene.",
                    "Export it again from the program that drew it.",
                    self._name,
                )
            self._hang_positions(scene.find("AUXData"))
            for layer in scene.iterfind("Layers/Layer"):
                self._layer(layer)
        if not self._fixtures and not self._problems:
            self._problems.append(
                Problem(
                    "no-fixtures",
                    f"{self._name} has no fixtures in it.",
                    "Export it with the lighting in it.",
                    file=self._name,
                )
            )
        if self._problems:
            raise BadInputError(self._problems)
        self._tell_not_read()
        if not self._zero_at_m:
            self._tell(
                "zero-is-ground",
                "Heights count from the drawing's zero, taken as the ground.",
                "Where it is something else, like a deck's top: --zero-at METRES.",
            )
        notes = (*self._notes, *self._types.notes)
        return Rig(self._name, tuple(self._fixtures), tuple(self._asks), notes, drawing=True)

    def _hang_positions(self, node: Element | None) -> None:
        """Names of the positions that fixtures refer to."""
        if node is None:
            return
        plain = Element("AUXData")
        plain.extend(node.findall("Position"))
        for position in pymvr.AUXData(xml_node=plain).positions:
            name = one_line(position.name)
            if name is not None:
                self._hung_at[position.uuid.lower()] = name

    def _layer(self, node: Element) -> None:
        name = one_line(node.get("name"))
        way = f"layer {name or 'without a name'}"
        place = self._own_place(node, way)
        if place is None and node.find("Matrix") is None:
            # The standard gives a layer at most an elevation, so that none is its usual state.
            place = IDENTITY
            self._tell(
                "layer-at-zero",
                f"{way} has no matrix: its zero is taken as the drawing's, as the standard says.",
                "Look at one height in it that you know.",
            )
        if place is not None:
            place = within(place, lifted(self._zero_at_m))
        self._inside(node, _Held(place, () if name is None else (name,), way))

    def _inside(self, node: Element, held: _Held) -> None:
        for children in node.findall("ChildList"):
            for child in children:
                if child.tag in _HOLDERS:
                    self._child(child, held)

    def _child(self, node: Element, held: _Held) -> None:
        name = one_line(node.get("name"))
        fixture = node.tag == "Fixture"
        bare = f"{_WORDS[node.tag]} {name or 'without a name'}"
        way = f"{held.way} > {bare}"
        self._called[way] += 1
        if self._called[way] > 1:
            way = f"{way} ({self._called[way]})"
        own = self._own_place(node, way)
        holds = any(len(children) for children in node.findall("ChildList"))
        if own is None and not fixture and holds and any(True for _ in node.iter("Fixture")):
            own = self._asked_place(way)
        place = None if own is None or held.place is None else within(own, held.place)
        lost = held.lost or (way if own is None and not fixture else None)
        if fixture:
            self._fixture(node, place, held, way)
        elif node.tag in _NOT_READ:
            self._not_read[node.tag] += 1
        if holds:
            named = held.path if name is None or node.tag not in _PLACES else (*held.path, name)
            self._inside(node, _Held(place, named, way, lost))

    def _own_place(self, node: Element, way: str) -> Matrix | None:
        """Its own matrix; None where it has none, and where it has one that is no place."""
        given = node.find("Matrix")
        if given is None or not (given.text or "").strip():
            return None
        try:
            return sound(FileMatrix(checked(given.text or "")).matrix)
        except MatrixError as fault:
            self._problems.append(
                Problem(
                    "no-place",
                    f"The matrix of {way} {fault}.",
                    "Put it right in the drawing and export it again.",
                    file=self._name,
                    key=way,
                )
            )
            return None

    def _asked_place(self, way: str) -> Matrix | None:
        said = self._answers.of("zero", way)
        if said is not None:
            if NUMBER.fullmatch(said) and _HEIGHTS[0] <= float(said) <= _HEIGHTS[1]:
                return lifted(float(said))
            remedy = "Write metres alone, with a point, from -2 to 150; 0 where it is the same."
            self._answers.refuse("zero", way, "that is no height.", remedy)
        self._asks.append(
            Ask(
                "zero",
                way,
                "it has no matrix, so the place of what is in it is not known",
                "How many metres is its zero above the zero of what holds it? 0 if it is the same. "
                "It counts as not turned.",
                self._name,
            )
        )
        return None

    def _fixture(self, node: Element, place: Matrix | None, held: _Held, way: str) -> None:
        if len(self._fixtures) >= MOST_FIXTURES:
            raise refused(
                "too-many-fixtures",
                f"{self._name} has more than {MOST_FIXTURES:,} fixtures.",
                "Export the part of it that stands outdoors.",
                self._name,
            )
        lone = Element(node.tag, node.attrib)
        kept = ("FixtureID", "GDTFSpec", "Position")
        lone.extend([part for part in node if part.tag in kept])
        read = pymvr.Fixture(xml_node=lone)
        hung_at = self._hung_at.get((read.position or "").strip().lower())
        if place is not None:
            self._judge_height(place, way)
        self._fixtures.append(
            Drawn(
                where=way,
                number=one_line(read.fixture_id),
                name=one_line(read.name),
                type=self._types.name(read.gdtf_spec),
                path=held.path if hung_at is None else (hung_at,),
                height_m=None if place is None else round(height_m(place), 3),
                stance=None if place is None else stance(place),
                plan_m=None if place is None else plan_m(place),
                placed=place is not None,
                waits_on=held.lost,
            )
        )

    def _judge_height(self, place: Matrix, way: str) -> None:
        height = height_m(place)
        if not _HEIGHTS[0] <= height <= _HEIGHTS[1]:
            self._problems.append(
                Problem(
                    "height-out-of-range",
                    f"{way} is {height:,.2f} m above the ground by its matrices.",
                    "From -2 to 150 m can be. Put it right in the drawing; if all of it is off by "
                    "as much, say with --zero-at how high the drawing's zero is.",
                    file=self._name,
                    key=way,
                )
            )

    def _tell_not_read(self) -> None:
        if self._not_read:
            counts = ", ".join(f"{n} {_NOT_READ[tag]}" for tag, n in self._not_read.items())
            self._tell(
                "not-read",
                f"{counts} in the file are not taken over.",
                "Give those that stand in the rain a row of their own in fixtures.csv.",
            )
        if all(spread < _SMALLEST_RIG_M for spread in _spreads(self._fixtures)):
            self._tell(
                "small-rig",
                "All fixtures lie within a few centimetres: was the drawing exported in metres?",
                "Its numbers have to be millimetres. Look at one height that you know.",
            )

    def _tell(self, code: str, says: str, remedy: str) -> None:
        self._notes.append(Problem(code, says, remedy, file=self._name, refused=False))


_SMALLEST_RIG_M = 0.1


def _spreads(fixtures: list[Drawn]) -> Iterator[float]:
    """How far the placed fixtures reach, along each axis; nothing to say of a lone one."""
    placed = [
        (*f.plan_m, f.height_m) for f in fixtures if f.plan_m is not None and f.height_m is not None
    ]
    if len(placed) < 2:
        yield _SMALLEST_RIG_M
        return
    for axis in zip(*placed, strict=True):
        yield max(axis) - min(axis)
