"""One variable of an answer, cleaned: canonical unit, impossible values out, none invented."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from monitor.feeds.sheet_parts import CANONICAL
from monitor.units import SECONDS_PER_HOUR, UNIT_TABLE

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

_PACKING_MM = -0.05
"""Packed and differenced amounts come out this little below nothing."""

_THUNDER = {"yes": 1.0, "no": 0.0, "unknown": math.nan}


class Rejected(Exception):  # noqa: N818 - not a fault of the program: the answer was turned down
    """An answer that must not be used; `reason` never changes its words, `detail` is read."""

    def __init__(self, reason: Reason, detail: str) -> None:
        self.reason = reason
        self.detail = detail
        super().__init__(f"{reason}: {detail}")


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


def cleaned(raw: list[list[Any]], name: Variable, part: VariablePart, told: list[str]) -> Floats:
    """Canonical values (member, sample) of the lists as answered.

    Null and the sheet's own marks are NaN; so are values that cannot be, which are told and,
    past 5 % of those given, reject the run: then something else is wrong than a sample.
    """
    dropped: Counter[str] = Counter()
    given = sum(i is not None and i not in part.missing for member in raw for i in member)
    if part.stat == "code":
        flags = [[_flag(item, part, dropped) for item in member] for member in raw]
        settle_dropped(name, dropped, given, told)
        return np.array(flags, dtype=np.float64).reshape(len(raw), -1)
    values = np.array(
        [[_number(item, part, dropped) for item in member] for member in raw], dtype=np.float64
    ).reshape(len(raw), -1)
    values = _canonical(values, part)
    hours = (part.period or SECONDS_PER_HOUR) / SECONDS_PER_HOUR
    if name == "precip":
        values = np.where((values < 0) & (values >= _PACKING_MM), 0.0, values)
    least, most = part.plausible or CANONICAL[name][1:]
    if name == "precip" and part.stat == "sum" and part.plausible is None:
        most *= hours
    impossible = (values < least) | (values > most)
    for value in values[impossible].tolist():
        dropped[f"{value:.4g} {CANONICAL[name][0]}"] += 1
    values[impossible] = np.nan
    settle_dropped(name, dropped, given, told)
    if part.stat == "rate":
        values = values * hours
    return values


def settle_dropped(name: str, dropped: Counter[str], given: int, told: list[str]) -> None:
    """Tell what was dropped of a variable, or reject the run where it is too much."""
    count = dropped.total()
    if not count:
        return
    worst = ", ".join(text for text, _ in dropped.most_common(3))
    detail = f"{name}: {count} of {given} values dropped as impossible ({worst})"
    if count > MOST_DROPPED * given:
        raise Rejected("implausible", detail)
    told.append(detail)


def _number(item: Any, part: VariablePart, dropped: Counter[str]) -> float:
    """The number at one place of a list; in quotes only where the sheet expects that."""
    if item is None or item in part.missing:
        return math.nan
    takes = (int, float, str) if part.parse == "number" else (int, float)
    if isinstance(item, bool) or not isinstance(item, takes) or "_" in str(item):
        dropped[f"{str(item)[:20]!r} is no number"] += 1
        return math.nan
    try:
        value = float(item)
    except (OverflowError, ValueError):
        value = math.nan
    if not math.isfinite(value):
        dropped[f"{str(item)[:20]!r} is no number"] += 1
        return math.nan
    return value


def _canonical(values: Floats, part: VariablePart) -> Floats:
    _, scale, offset = UNIT_TABLE[part.unit or ""]
    return values * scale + offset


def _flag(item: Any, part: VariablePart, dropped: Counter[str]) -> float:
    """A code as 1 yes, 0 no, NaN unknown, by the map of the sheet."""
    if isinstance(item, str):
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
        if key.startswith("~") and key[1:] in code:
            return _THUNDER[meaning]
    return _THUNDER[part.map.get("*", "unknown")]
