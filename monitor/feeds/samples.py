"""One variable of an answer, as it stands there and as it is believed.

What is believed is in canonical units, without impossible values, and nothing is invented.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from monitor.feeds.sheet_parts import CANONICAL
from monitor.units import UNIT_TABLE

if TYPE_CHECKING:
    from monitor.domain import Floats
    from monitor.feeds.sheet_parts import Variable, VariablePart

Reason = Literal[
    "not-json",
    "error-answer",
    "shape",
    "empty",
    "missing-variable",
    "unit",
    "time",
    "overlap",
    "implausible",
    "too-few-members",
]

MOST_DROPPED = 0.05
"""Share of impossible values past which nothing of the run is believed."""

PACKING_MM = -0.05
"""Packed and differenced amounts come out this little below nothing."""

_THUNDER = {"yes": 1.0, "no": 0.0, "unknown": math.nan}
_WITH_UNIT = re.compile(r"\s*([-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?)\s*(\S.*?)?\s*", re.ASCII)
_SHOWN = 20


class Rejected(Exception):  # noqa: N818 - not a fault of the program: the answer was turned down
    """An answer that must not be used; `reason` never changes its words, `detail` is read."""

    def __init__(self, reason: Reason, detail: str) -> None:
        self.reason = reason
        self.detail = detail
        super().__init__(f"{reason}: {detail}")


@dataclass(frozen=True, slots=True)
class Stated:
    """One variable as the answer has it.

    Parameters
    ----------
    stamps : (sample,) NaN where a stamp has no place in time [s]
    starts : (sample,) stated start of what each covers, its end being the stamp; None: none is
    sources : for each path of the sheet, for each member, the values as they stand there
    """

    stamps: Floats
    starts: Floats | None
    sources: list[list[list[Any]]]

    @property
    def first(self) -> float:
        """The earliest moment that the service wrote; NaN where none has a place [s]."""
        written = self.stamps if self.starts is None else self.starts
        placed = written[np.isfinite(written)]
        return float(placed.min()) if len(placed) else math.nan


@dataclass(frozen=True, slots=True)
class Samples:
    """One variable over time, in canonical units.

    Parameters
    ----------
    starts, ends : (sample,) what each covers, rising; equal where it is of an instant [s]
    values : (member, sample) NaN where not known
    """

    starts: Floats
    ends: Floats
    values: Floats

    @property
    def instant(self) -> bool:
        """Whether the values are of moments, not of spans."""
        return bool(np.all(self.starts == self.ends))


class Drops:
    """What could not be believed of one variable, counted until it is judged as a whole."""

    def __init__(self, name: Variable) -> None:
        self.name = name
        self.given = 0
        self.dropped: Counter[str] = Counter()

    def settle(self, told: list[str]) -> None:
        """Tell what was dropped, or reject the run where it is too much: past 5 % of what was
        given, something else is wrong than a sample.
        """
        count = self.dropped.total()
        if not count:
            return
        worst = ", ".join(text for text, _ in self.dropped.most_common(3))
        detail = f"{self.name}: {count} of {self.given} values dropped as impossible ({worst})"
        if count > MOST_DROPPED * self.given:
            raise Rejected("implausible", detail)
        told.append(detail)


def numbers(raw: list[list[Any]], part: VariablePart, drops: Drops) -> Floats:
    """Canonical values (member, sample) of the lists as answered, codes as flags.

    Null and the sheet's own marks are NaN; so is what is no number, which is counted.
    """
    read = _flag if part.stat == "code" else _number
    drops.given += sum(not _absent(i, part) for member in raw for i in member)
    values = np.array(
        [[read(item, part, drops.dropped) for item in member] for member in raw], dtype=np.float64
    ).reshape(len(raw), -1)
    if part.stat == "code":
        return values
    _, scale, offset = UNIT_TABLE[part.unit or ""]
    return values * scale + offset


def possible(
    values: Floats, hours: Floats, name: Variable, part: VariablePart, drops: Drops
) -> Floats:
    """The values with those that cannot be taken out.

    Parameters
    ----------
    values : (member, sample) in canonical units; a rate still per hour
    hours : (sample,) length of what each covers [h]
    """
    if part.stat == "code":
        return values
    if name == "precip":
        values = np.where((values < 0) & (values >= PACKING_MM), 0.0, values)
    least, most = part.plausible or CANONICAL[name][1:]
    highest = np.full(values.shape[1], most)
    if name == "precip" and part.stat == "sum" and part.plausible is None:
        highest *= hours
    impossible = (values < least) | (values > highest)
    for value in values[impossible].tolist():
        drops.dropped[f"{value:.4g} {CANONICAL[name][0]}"] += 1
    return np.where(impossible, np.nan, values)


def _absent(item: Any, part: VariablePart) -> bool:
    return item is None or item in part.missing


def _number(item: Any, part: VariablePart, dropped: Counter[str]) -> float:
    """The number at one place of a list; in quotes only where the sheet expects that."""
    if _absent(item, part):
        return math.nan
    value = math.nan
    if isinstance(item, str):
        if part.parse == "number":
            value = _in_words(item, part)
            if value in part.missing:
                return math.nan
    elif isinstance(item, (int, float)) and not isinstance(item, bool):
        try:
            value = float(item)
        except OverflowError:
            value = math.nan
    if not math.isfinite(value):
        dropped[f"{str(item)[:_SHOWN]!r} is no number"] += 1
        return math.nan
    return value


def _in_words(text: str, part: VariablePart) -> float:
    """The number a text begins with, alone or with the very unit of the sheet after it."""
    match = _WITH_UNIT.fullmatch(text[:100])
    if match is None:
        return math.nan
    unit = match[2]
    if unit is not None and (
        part.unit is None or UNIT_TABLE.get(unit) != UNIT_TABLE.get(part.unit, ("", 0, 0))
    ):
        return math.nan
    return float(match[1])


def _flag(item: Any, part: VariablePart, dropped: Counter[str]) -> float:
    """A code as 1 yes, 0 no, NaN unknown, by the map of the sheet."""
    number = math.nan
    if isinstance(item, bool):
        code = "true" if item else "false"
    elif isinstance(item, str) and (item in part.map or part.parse is None):
        code = item
    else:
        number = _number(item, part, dropped)
        if math.isnan(number):
            return math.nan
        code = f"{number:g}"
        if part.plausible and not part.plausible[0] <= number <= part.plausible[1]:
            dropped[f"code {code}"] += 1
            return math.nan
    if code in part.map:
        return _THUNDER[part.map[code]]
    for key, meaning in part.map.items():
        if _fits(key, code, number):
            return _THUNDER[meaning]
    return _THUNDER[part.map.get("*", "unknown")]


def _fits(key: str, code: str, number: float) -> bool:
    if key.startswith("~"):
        return key[1:] in code
    return key.startswith(">=") and number >= float(key[2:])
