"""Places in a drawing: matrices within matrices, to metres, ways up and plan directions.

A matrix is four rows of three: where the x, y and z of what it places point, and where its zero
is, in millimetres, seen from what holds it (DIN SPEC 15801, node Matrix, read in the standard's
public repository: right-handed, z up, 1 unit is 1 mm). A point is a row before the matrix, so
what is held by a group is multiplied by the group's matrix from the right. A device is drawn
hanging, with the middle of its base plate at zero (DIN SPEC 15800, Models, read there too): its
z points out of its base, up when it hangs.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

MM = 0.001
"""One unit of a matrix [m]."""
_FARTHEST_MM = 1e7
"""No site is ten kilometres wide; what lies beyond is no place."""
_STEEPEST = 1e3
"""No drawing scales a thousandfold."""
STRAIGHT_DEG = 5.0
"""Within so much of vertical it counts as hung or standing straight."""
_SIDE_DEG = 30.0
"""Within so much of level it is on its side."""

Row = tuple[float, float, float]
Matrix = tuple[Row, Row, Row, Row]
WayUp = Literal["hung", "standing", "side", "leaning"]

IDENTITY: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, 0.0))

_NUMBER = r"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?\s*"
_ROW = rf"\{{{_NUMBER},{_NUMBER},{_NUMBER}\}}"
_MATRIX = re.compile(rf"\s*(?:{_ROW}\s*){{4}}", re.ASCII)


class MatrixError(ValueError):
    """What a file gives is no place; the text says why."""


@dataclass(frozen=True, slots=True)
class Stance:
    """Which way up: how far the side away from the base leans from straight up, and which way.

    `lean_deg` is clockwise from the drawing's +Y seen from above; None where nothing leans.
    """

    way_up: WayUp
    tilt_deg: float
    lean_deg: float | None


def checked(text: str) -> str:
    """The text of a matrix, if it is one that can be a place; MatrixError where not."""
    if len(text) > 1000 or not _MATRIX.fullmatch(text):
        raise MatrixError("is not four times three numbers in curly brackets")
    return text


def sound(rows: list[list[float]]) -> Matrix:
    """A matrix as read, with what no drawing holds refused."""
    u, v, w, o = ((float(r[0]), float(r[1]), float(r[2])) for r in rows)
    numbers = (*u, *v, *w, *o)
    if not all(math.isfinite(n) for n in numbers):
        raise MatrixError("holds a number without end")
    if max(abs(n) for n in o) > _FARTHEST_MM:
        raise MatrixError("lies more than ten kilometres away")
    if max(abs(n) for n in (*u, *v, *w)) > _STEEPEST:
        raise MatrixError("scales more than a thousandfold")
    return (u, v, w, o)


def lifted(metres: float) -> Matrix:
    """A place straight above the holder's zero."""
    return (*IDENTITY[:3], (0.0, 0.0, metres / MM))


def within(inner: Matrix, outer: Matrix) -> Matrix:
    """Where `inner`, which `outer` holds, is and points in what holds `outer`."""
    u, v, w, o = (_through(row, outer) for row in inner)
    zero = outer[3]
    return (u, v, w, (o[0] + zero[0], o[1] + zero[1], o[2] + zero[2]))


def height_m(place: Matrix) -> float:
    """Its zero above the drawing's zero [m]."""
    return place[3][2] * MM


def plan_m(place: Matrix) -> tuple[float, float]:
    """Its zero in plan, x and y [m]."""
    return place[3][0] * MM, place[3][1] * MM


def stance(place: Matrix) -> Stance | None:
    """Which way up; None where the matrix has no direction left."""
    x, y, z = place[2]
    length = math.sqrt(x * x + y * y + z * z)
    if length < 1e-6:
        return None
    # z points out of the base, so up for a device that stands on its base is against it.
    tilt = math.degrees(math.acos(max(-1.0, min(1.0, -z / length))))
    if tilt <= STRAIGHT_DEG:
        return Stance("standing", tilt, None)
    if tilt >= 180.0 - STRAIGHT_DEG:
        return Stance("hung", tilt, None)
    lean = math.degrees(math.atan2(-x, -y)) % 360.0
    side = abs(tilt - 90.0) <= _SIDE_DEG
    return Stance("side" if side else "leaning", tilt, lean)


def _through(row: Row, outer: Matrix) -> Row:
    u, v, w = outer[:3]
    return (
        row[0] * u[0] + row[1] * v[0] + row[2] * w[0],
        row[0] * u[1] + row[1] * v[1] + row[2] * w[1],
        row[0] * u[2] + row[1] * v[2] + row[2] * w[2],
    )
