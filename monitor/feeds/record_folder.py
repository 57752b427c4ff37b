"""A folder of weather records as one: a file for each year, or several years in one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from monitor.domain import WEATHER_VALUES, BadInputError, Floats, Problem, Weather
from monitor.units import iso_utc, to_moment

_SAME_S = 1e-6


@dataclass(frozen=True, slots=True)
class _Row:
    start: float
    end: float
    values: tuple[float, ...]
    file: str

    def same(self, other: _Row) -> bool:
        return (self.start, self.end) == (other.start, other.end) and np.array_equal(
            self.values, other.values, equal_nan=True
        )


def joined(records: dict[str, Weather]) -> Weather:
    """Records of one place, measured in one way, by name of their file, as one record.

    Steps that stand in two files with equal values count once. Raises BadInputError where
    two files say different things of one time.
    """
    rows = sorted(
        (row for name, record in records.items() for row in _rows(name, record)),
        key=lambda row: (row.start, row.file),
    )
    kept: list[_Row] = []
    for row in rows:
        if not kept or not row.same(kept[-1]):
            kept.append(row)
    problems = [
        Problem(
            "overlap",
            f"Its step at {iso_utc(to_moment(b.start))} lies over one of {a.file}, which says "
            "otherwise.",
            "Keep one of the two files, or take the time they share out of one.",
            file=b.file,
        )
        for a, b in _first_of_each_pair(kept)
    ]
    if problems:
        raise BadInputError(problems)
    values: Floats = np.array([row.values for row in kept]).T.reshape(len(WEATHER_VALUES), -1)
    pattern = next(iter(records.values()))
    columns = {name: values[i][np.newaxis, :] for i, name in enumerate(WEATHER_VALUES)}
    return replace(
        pattern,
        starts=np.array([row.start for row in kept]),
        ends=np.array([row.end for row in kept]),
        forecast=np.zeros(len(kept), dtype=np.bool_),
        source=", ".join(records),
        dropped=tuple(
            f"{name}: {said}" for name, record in records.items() for said in record.dropped
        ),
        **columns,
    )


def _rows(name: str, record: Weather) -> list[_Row]:
    columns = [getattr(record, key)[0].tolist() for key in WEATHER_VALUES]
    return [
        _Row(start, end, tuple(values), name)
        for start, end, *values in zip(
            record.starts.tolist(), record.ends.tolist(), *columns, strict=True
        )
    ]


def _first_of_each_pair(rows: list[_Row]) -> list[tuple[_Row, _Row]]:
    """The first overlap of every two files: the others of the two are the same fault."""
    found: dict[tuple[str, str], tuple[_Row, _Row]] = {}
    for a, b in pairwise(rows):
        if b.start < a.end - _SAME_S:
            found.setdefault((a.file, b.file), (a, b))
    return list(found.values())
