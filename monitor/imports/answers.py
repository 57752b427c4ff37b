"""Questions and answers as a table: written with the answers empty, read back filled in."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, Problem
from monitor.feeds.table import read_table
from monitor.imports.plain_cells import neutral, plain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.imports.drawn import Ask

_COLUMNS = ("ask", "of", "answer", "what is asked", "needed")
MOST_BYTES = 5_000_000


@dataclass(slots=True)
class Answers:
    """What people said, by what was asked; remembers which of it was of use."""

    name: str = "answers"
    given: dict[tuple[str, str], tuple[str, int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    _used: set[tuple[str, str]] = field(default_factory=set)

    def of(self, kind: str, about: str) -> str | None:
        """The answer, None where there is none."""
        key = _key(kind, about)
        if key not in self.given:
            return None
        self._used.add(key)
        return self.given[key][0]

    def refuse(self, kind: str, about: str, says: str, remedy: str) -> None:
        """An answer that will not do; told once, however many it is for."""
        said, line = self.given[_key(kind, about)]
        problem = Problem(
            "bad-answer",
            f'{kind} of {about} is answered "{said[:40]}": {says}',
            remedy,
            file=self.name,
            line=line,
            key="answer",
        )
        if problem not in self.problems:
            self.problems.append(problem)

    def unused(self) -> list[Problem]:
        """Answers to what nobody asked."""
        return [
            Problem(
                "answer-not-asked",
                f"{kind} of {about} is answered and was not asked.",
                "Nothing is made of it; see that it is written as the question was.",
                file=self.name,
                line=line,
                refused=False,
            )
            for (kind, about), (_, line) in self.given.items()
            if (kind, about) not in self._used
        ]


def read_answers(data: bytes, name: str) -> Answers:
    """The table of questions with what was filled in; rows without an answer count as not given."""
    if len(data) > MOST_BYTES:
        says = f"{name} is larger than a table of answers can be."
        raise BadInputError([Problem("too-large", says, "Give the file that --ask wrote.", name)])
    table = read_table(data, name)
    missing = [column for column in _COLUMNS[:3] if column not in table.headings]
    if missing:
        raise BadInputError(
            [
                Problem(
                    "missing-column",
                    f"The column {column} is missing.",
                    f"Needed are: {', '.join(_COLUMNS[:3])}, as --ask writes them.",
                    file=name,
                    line=table.heading_line,
                    key=column,
                )
                for column in missing
            ]
        )
    at = [table.headings.index(column) for column in _COLUMNS[:3]]
    found = Answers(name)
    for line, cells in table.rows:
        kind, about, answer = (plain(cells[i]) if i < len(cells) else "" for i in at)
        key = _key(kind, about)
        if not answer:
            continue
        if key in found.given and found.given[key][0] != answer:
            found.problems.append(
                Problem(
                    "two-answers",
                    f"{kind} of {about} is answered twice, in rows {found.given[key][1]} "
                    f"and {line}, and not alike.",
                    "Keep the one that is right.",
                    file=name,
                    line=line,
                )
            )
        found.given[key] = (answer, line)
    return found


def written(asks: Iterable[Ask]) -> bytes:
    """The table to fill in."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_COLUMNS)
    for ask in asks:
        told = f"{ask.remedy} ({ask.says})" if ask.says else ask.remedy
        cells = (ask.kind, ask.of, "", told, "yes" if ask.needed else "no")
        writer.writerow([neutral(cell) for cell in cells])
    return out.getvalue().encode("utf-8-sig")


def _key(kind: str, about: str) -> tuple[str, str]:
    return " ".join(kind.lower().split()), " ".join(about.split())
