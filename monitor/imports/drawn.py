"""What a file of somebody else's says of a rig, and what it leaves to be asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.domain import Problem
from monitor.imports.matrices import Stance


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing that only a person can say.

    `kind` and `of` are what an answer is found by. Without a `needed` answer what hangs on it is
    left out; without another it is written as not known.
    """

    kind: str
    of: str
    says: str
    remedy: str
    where: str = ""
    needed: bool = True


@dataclass(frozen=True, slots=True)
class Drawn:
    """One fixture as the file has it; None is what it does not say.

    `path` holds the names of the groups around the position it hangs at, outermost first and the
    position's own name last; empty where there is none. `cells` are further columns of
    fixtures.csv, as their texts. `placed` False: it stands in a drawing and has no place there.
    """

    where: str
    line: int | None = None
    number: str | None = None
    name: str | None = None
    type: str | None = None
    path: tuple[str, ...] = ()
    height_m: float | None = None
    stance: Stance | None = None
    plan_m: tuple[float, float] | None = None
    placed: bool = True
    waits_on: str | None = None
    """The group it hangs in, where that has no place of its own yet"""
    access: str | None = None
    cells: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Rig:
    """All of a file: fixtures in its order, what it leaves open, and what to tell of it."""

    source: str
    fixtures: tuple[Drawn, ...]
    asks: tuple[Ask, ...] = ()
    notes: tuple[Problem, ...] = ()
    drawing: bool = False
    """Whether heights count from a drawing's zero and ways from its +Y"""
