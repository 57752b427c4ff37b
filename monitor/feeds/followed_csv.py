"""A CSV file of readings that grows: what was written since it was last looked at.

Only whole lines are read, so one that is half written is left for next time. A line that
cannot be used is told with its number and never holds up the ones around it.
"""

from __future__ import annotations

import csv
import errno
import hashlib
import math
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, BinaryIO, get_args

from monitor.domain import CounterResets, Problem
from monitor.feeds.reading_checks import OLDEST, possible, shape_problems, time_problem
from monitor.feeds.readings import NUMBERS
from monitor.feeds.row_faults import Faults

if TYPE_CHECKING:
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from monitor.domain import Reading

TIMES = ("at", "time")
MOST_BYTES = 65_536
"""Read at once, about a thousand lines: the rest waits for the next call."""

_LONGEST_LINE = 4096
_MARKED_BYTES = 64
_HEADING = re.compile(r"""(?:^|[,;])[\s"]*(?:at|time)[\s"]*(?:[,;]|$)""", re.IGNORECASE)
_YES_NO = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
_OTHERS = ("battery_ok", "resets", "station")
_USEFUL = {*TIMES, *NUMBERS, *_OTHERS}


@dataclass(frozen=True, slots=True)
class LeftOff:
    """Where reading left off, and what tells the file from another of its name."""

    offset: int = 0
    lines: int = 0
    headings: tuple[str, ...] = ()
    semicolons: bool = False
    mark: str = ""
    """The hash of the last bytes read: other bytes there are another file."""


@dataclass(frozen=True, slots=True)
class Fresh:
    """What was new in the file."""

    readings: tuple[Reading, ...]
    problems: tuple[Problem, ...]
    left_off: LeftOff
    more: bool
    """Whether there is more to read at once."""


def follow(
    path: Path, left_off: LeftOff, station: str, zone: ZoneInfo, received_at: datetime
) -> Fresh:
    """The readings that were written since `left_off`, in the order of their lines.

    Parameters
    ----------
    path : commas, or semicolons with decimal commas; the first line heads the columns: `at`
        or `time`, and any of readings.NUMBERS, `battery_ok`, `resets`,
        `station`
    left_off : as the last call returned it; a file that is shorter than that, or whose bytes
        there are others, was begun anew and is read from its start
    station : whose readings they are; lines that name another station are passed over
    zone : of stamps without an offset; one that falls into an hour that comes twice or never
        is told and left out

    Raises
    ------
    OSError : the file is not there, or may not be read
    """
    if path.exists() and not path.is_file():
        # A pipe would hold up everything until somebody writes to it.
        raise OSError(errno.EINVAL, "it is not a plain file")
    with path.open("rb") as file:
        # A file that is shorter by now has no such bytes there either.
        if _mark(file, left_off.offset) != left_off.mark:
            left_off = LeftOff()
        file.seek(left_off.offset)
        chunk = file.read(MOST_BYTES)
        whole = chunk[: chunk.rfind(b"\n") + 1]
        if not whole and len(chunk) == MOST_BYTES:
            whole = chunk  # no line is that long: it is passed over as one that cannot be read
        offset = left_off.offset + len(whole)
        mark = _mark(file, offset)
    lines = _Lines(path.name, left_off, station, zone, received_at)
    for line in whole.removesuffix(b"\n").split(b"\n") if whole else ():
        lines.take(line)
    after = replace(lines.left_off, offset=offset, mark=mark)
    more = len(chunk) == MOST_BYTES
    return Fresh(tuple(lines.readings), lines.problems(), after, more)


def _mark(file: BinaryIO, offset: int) -> str:
    if not offset:
        return ""
    file.seek(max(0, offset - _MARKED_BYTES))
    return hashlib.sha256(file.read(min(offset, _MARKED_BYTES))).hexdigest()


class _Lines:
    """Lines of one file, one after another."""

    def __init__(
        self, name: str, left_off: LeftOff, station: str, zone: ZoneInfo, received_at: datetime
    ) -> None:
        self.left_off = left_off
        self.readings: list[Reading] = []
        self._name, self._station, self._zone = name, station, zone
        self._received_at = received_at
        self._faults = Faults(name)
        self._too_old = 0

    def problems(self) -> tuple[Problem, ...]:
        """Every line that was left out, in order."""
        found = self._faults.problems()
        if not self._too_old:
            return found
        return (
            *found,
            Problem(
                "time-too-old",
                f"{self._too_old} lines are older than {OLDEST.days} days and were passed over.",
                "Nothing needs doing, unless the logger's clock is wrong.",
                file=self._name,
            ),
        )

    def take(self, raw: bytes) -> None:
        """One line without its end."""
        number = self.left_off.lines + 1
        self.left_off = replace(self.left_off, lines=number)
        text = self._text(raw, number)
        if text is None or not text.strip():
            return
        if _HEADING.search(text):
            self._head(text, number)
        elif not self.left_off.headings:
            self._fault(
                "missing-heading",
                number,
                None,
                "No line that heads the columns comes before it.",
                f"Begin the file with a line like {TIMES[0]},rain_total_mm,wind_mps.",
            )
        else:
            self._read(text, number)

    def _text(self, raw: bytes, number: int) -> str | None:
        if len(raw) > _LONGEST_LINE or b"\0" in raw:
            self._fault(
                "not-text",
                number,
                None,
                "The line is not plain text, or too long.",
                "Have the logger write CSV in UTF-8.",
            )
            return None
        try:
            return raw.decode("utf-8-sig").rstrip("\r")
        except UnicodeDecodeError:
            # Nothing that is read from it lies outside ASCII.
            return raw.decode("cp1252", errors="replace").rstrip("\r")

    def _head(self, text: str, number: int) -> None:
        """The heading line; a logger that was started again may write one in the middle."""
        semicolons = text.count(";") > text.count(",")
        headings = tuple(cell.lower() for cell in _split(text, semicolons))
        twice = sorted({h for h in headings if h in _USEFUL and headings.count(h) > 1})
        if twice or sum(h in TIMES for h in headings) > 1:
            self.left_off = replace(self.left_off, headings=())
            self._fault(
                "repeated-column",
                number,
                ", ".join(twice) or TIMES[1],
                "Two columns mean the same.",
                "Keep one of them.",
            )
            return
        if not any(h in NUMBERS for h in headings):
            self._fault(
                "missing-column",
                number,
                None,
                "No column holds anything that is measured.",
                f"Name the columns {', '.join(NUMBERS)}, as far as there are any.",
            )
        self.left_off = replace(self.left_off, headings=headings, semicolons=semicolons)

    def _read(self, text: str, number: int) -> None:
        headings = self.left_off.headings
        cells = _split(text, self.left_off.semicolons)
        if len(cells) != len(headings):
            self._fault(
                "row-length",
                number,
                None,
                f"The line has {len(cells)} cells under {len(headings)} headings.",
                "Decimal commas need semicolons between the cells.",
            )
            return
        by_name = {name: cell for name, cell in zip(headings, cells, strict=True) if cell}
        if by_name.get("station", self._station) != self._station:
            return
        at = self._time_of(by_name, number)
        numbers = self._numbers_of(by_name, number)
        resets = self._resets_of(by_name, number)
        if at is None or numbers is None or resets is None:
            return
        battery_ok = _YES_NO.get(by_name.get("battery_ok", "").lower())
        wrong = shape_problems(numbers)
        for problem in wrong:
            self._fault(problem.code, number, problem.key, problem.says, problem.remedy)
        if not wrong:
            reading = possible(self._station, at, numbers, resets=resets, battery_ok=battery_ok)
            for said in reading.told:
                self._fault("impossible-value", number, None, f"{said}.", "The rest is kept.")
            self.readings.append(reading)

    def _numbers_of(self, by_name: dict[str, str], number: int) -> dict[str, float] | None:
        numbers: dict[str, float] = {}
        sound = True
        for key, name in NUMBERS.items():
            if key not in by_name:
                continue
            cell = by_name[key]
            text = cell.replace(",", ".") if self.left_off.semicolons else cell
            try:
                value = math.nan if "_" in text else float(text)
            except ValueError:
                value = math.nan
            if math.isnan(value) or name in numbers:
                sound = False
                self._fault(
                    "not-a-number",
                    number,
                    key,
                    f"{cell[:20]!r} under {key} is not a number, or stands there twice.",
                    "Leave the cell empty where it is not known.",
                )
            else:
                numbers[name] = value
        return numbers if sound else None

    def _resets_of(self, by_name: dict[str, str], number: int) -> CounterResets | None:
        said = by_name.get("resets", "never").lower()
        for known in get_args(CounterResets):
            if said == known:
                return known  # type: ignore[no-any-return]  # one of the words of the type
        self._fault(
            "unknown-word",
            number,
            "resets",
            f"{said[:20]!r} does not say when the counter begins anew.",
            f"Write {', '.join(get_args(CounterResets))}.",
        )
        return None

    def _time_of(self, by_name: dict[str, str], number: int) -> datetime | None:
        key = next((name for name in TIMES if name in by_name), TIMES[0])
        cell = by_name.get(key, "")
        try:
            at = datetime.fromisoformat(cell.replace("/", "-"))
        except ValueError:
            self._fault(
                "bad-time",
                number,
                key,
                f"{cell[:30]!r} is not a time.",
                "Write it like 2027-07-15T14:00:00 in site time, or with Z or an offset.",
            )
            return None
        if at.tzinfo is None:
            first, second = (at.replace(tzinfo=self._zone, fold=fold) for fold in (0, 1))
            if first.utcoffset() != second.utcoffset():
                self._fault(
                    "hour-twice-or-never",
                    number,
                    key,
                    f"{cell[:30]} comes twice or never at {self._zone.key}.",
                    "It was left out. A logger on UTC, with Z, has no such hours.",
                )
                return None
            at = first
        at = at.astimezone(UTC)
        wrong = time_problem(at, self._received_at)
        if wrong is None:
            return at
        if wrong.code == "time-too-old":
            self._too_old += 1
        else:
            self._fault(wrong.code, number, key, wrong.says, wrong.remedy)
        return None

    def _fault(self, code: str, line: int, key: str | None, says: str, remedy: str) -> None:
        self._faults.add(code, line, key, says, remedy)


def _split(text: str, semicolons: bool) -> list[str]:
    # A lone carriage return would end the row for the csv module.
    rows = list(csv.reader([text.replace("\r", " ")], delimiter=";" if semicolons else ","))
    return [cell.strip() for cell in rows[0]] if rows else []
