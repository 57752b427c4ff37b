"""Names in the show folder for what a file calls something else, or calls nothing at all."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from monitor.imports.drawn import Drawn

_LONGEST = 60
Path = tuple[str, ...]


def position_id(name: str) -> str | None:
    """`Downstage truss (LX 1)` as downstage-truss-lx-1; None where nothing of it can be kept."""
    joined = re.sub(r"[^\w.+]+", "-", name.lower().replace("_", "-"))
    short = re.sub(r"^[^\w]+", "", joined)[:_LONGEST].strip("-.+")
    return short or None


def position_names(paths: Iterable[Path]) -> dict[Path, str]:
    """A name for each: its own, with the names of what is around it where two are called alike."""
    each = list(dict.fromkeys(path for path in paths if path))
    names = {path: path[-1] for path in each}
    for depth in range(2, max((len(path) for path in each), default=1) + 1):
        shared = Counter(position_id(name) for name in names.values())
        for path in each:
            if shared[position_id(names[path])] > 1:
                names[path] = " ".join(path[-depth:])
    taken: set[str | None] = set()
    for path in each:
        name, number = names[path], 1
        while position_id(name) in taken:
            number += 1
            name = f"{names[path]} {number}"
        names[path] = name
        taken.add(position_id(name))
    return names


def fixture_ids(
    fixtures: Sequence[Drawn], positions: Mapping[Path, str]
) -> tuple[list[str], list[str]]:
    """An id for each fixture, and what to tell of those that had to be numbered.

    Its number in the file, if no other has it; else its name, its type or its place with a number
    behind, in the order of the file.
    """
    numbers = [_number(one) for one in fixtures]
    shared = Counter(number for number in numbers if number is not None)
    ids: list[str | None] = [n if n is not None and shared[n] == 1 else None for n in numbers]
    taken = {one for one in ids if one is not None}
    bases = [
        None if found is not None else (number or _base(one, positions))
        for one, number, found in zip(fixtures, numbers, ids, strict=True)
    ]
    once = Counter(base for base in bases if base is not None)
    for index, base in enumerate(bases):
        if base is not None:
            alone = once[base] == 1 and shared[base] <= 1
            ids[index] = _free(base, taken, numbered=not alone)
    told = [
        f"{count} fixtures in the file have the number {number}: they are {number}-1, "
        f"{number}-2 and so on, in the file's order"
        for number, count in shared.items()
        if count > 1
    ]
    nameless = sum(number is None for number in numbers)
    if nameless:
        told.append(
            f"{nameless} fixtures have no number in the file: they are called by name, type or "
            "place, numbered in the file's order"
        )
    return [one or "" for one in ids], told


def _number(fixture: Drawn) -> str | None:
    """Its own number; 0 is what programs write where there is none."""
    number = fixture.number
    return None if number is None or number == "0" or len(number) > _LONGEST else number


def _base(fixture: Drawn, positions: Mapping[Path, str]) -> str:
    named = fixture.name or fixture.type or positions.get(fixture.path) or "fixture"
    return named[: _LONGEST - 6].strip()


def _free(base: str, taken: set[str], *, numbered: bool) -> str:
    name, number = (f"{base}-1", 1) if numbered else (base, 1)
    while name in taken:
        number += 1
        name = f"{base}-{number}"
    taken.add(name)
    return name
