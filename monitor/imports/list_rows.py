"""Lists of fixtures from a spreadsheet: rows to what they say of the rig."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.domain import BadInputError, Problem
from monitor.imports.answers import Answers
from monitor.imports.archive import refused
from monitor.imports.cells import Cells
from monitor.imports.drawn import Ask, Drawn, Rig
from monitor.imports.headings import Headings, found
from monitor.imports.lengths import IN_METRES, metres, needs_unit
from monitor.imports.plain_cells import one_line, plain

_MOUNTS = {
    **dict.fromkeys(("upright", "standing", "stands", "floor", "base down", "up"), "upright"),
    **dict.fromkeys(("inverted", "hung", "hanging", "hangs", "upside down", "base up"), "inverted"),
    **dict.fromkeys(("side", "on its side", "side hung", "sideways", "yoked out"), "side"),
    **dict.fromkeys(("tilted",), "tilted"),
    **dict.fromkeys(("any", "?", "moves"), "any"),
}
_HEIGHTS = (-2.0, 150.0)


class ListReader:
    """Rows of one sheet to fixtures; every fault is gathered before it refuses."""

    def __init__(self, name: str, cells: Cells, answers: Answers, sheet: str | None) -> None:
        self._name = name
        self._where = name if sheet is None else f"{name}, sheet {sheet}"
        self._cells = cells
        self._answers = answers
        self._sheet = sheet
        self._problems: list[Problem] = []
        self._asks: list[Ask] = []

    def read(self, told: Sequence[str] = ()) -> Rig:
        """All of it."""
        heads = found(self._cells.rows, self._name, self._sheet)
        if heads is None:
            raise no_headings(self._name)
        self._problems += heads.problems
        unit = self._unit(heads)
        fixtures = [
            self._fixture(line, row, heads, unit)
            for line, row in self._cells.rows
            if line > heads.row and self._says_anything(line, row, heads)
        ]
        if not fixtures and not self._problems:
            self._refuse(
                "no-fixtures", heads.row, "There is no row below the headings.", "Add some."
            )
        if self._problems:
            raise BadInputError(self._problems)
        notes = [
            Problem("delimiter", f"{one}.", "Nothing need be done.", self._name, refused=False)
            for one in told
        ]
        return Rig(self._name, tuple(fixtures), tuple(self._asks), (*notes, *heads.notes))

    def _says_anything(self, line: int, row: Sequence[str], heads: Headings) -> bool:
        places = heads.at.values()
        return any(row[i] or (line, i) in self._cells.valueless for i in places)

    def _unit(self, heads: Headings) -> str | None:
        """The unit of heights that stand alone; asked for where nothing says it."""
        if heads.unit is not None or "height_m" not in heads.at:
            return heads.unit
        index = heads.at["height_m"]
        alone = [
            row[index]
            for line, row in self._cells.rows
            if line > heads.row and needs_unit(row[index])
        ]
        if not alone:
            return None
        said = self._answers.of("unit", heads.height_called)
        if said is not None and said.lower() in IN_METRES:
            return said.lower()
        if said is not None:
            known = ", ".join(IN_METRES)
            self._answers.refuse("unit", heads.height_called, "no unit.", f"Known are: {known}.")
        self._asks.append(
            Ask(
                "unit",
                heads.height_called,
                f'The column "{heads.height_called}" has numbers without a unit, like {alone[0]}.',
                f"In what are they? {', '.join(IN_METRES)}.",
                f"{self._where}, row {heads.row}",
            )
        )
        return None

    def _fixture(self, line: int, row: Sequence[str], heads: Headings, unit: str | None) -> Drawn:
        cells: dict[str, str] = {}
        waits: str | None = None
        for column, index in heads.at.items():
            text = plain(row[index])
            if (line, index) in self._cells.valueless:
                place = self._cells.place(line, index)
                text = self._answers.of("cell", place) or ""
                if not text:
                    self._ask_cell(place, column, self._cells.valueless[line, index])
                    waits = place
            clean = one_line(text)
            if clean is not None:
                cells[column] = clean
        height, waits_for_unit = self._height(line, cells.pop("height_m", None), unit)
        access, position = cells.pop("access", None), cells.pop("position", None)
        self._mount(line, cells)
        return Drawn(
            where=f"{self._where}, row {line}",
            line=line,
            number=cells.pop("id", None),
            name=cells.pop("name", None),
            type=cells.pop("type", None),
            path=() if position is None else (position,),
            height_m=height,
            access=access,
            waits_on=waits or waits_for_unit,
            cells=cells,
        )

    def _ask_cell(self, place: str, column: str, why: str) -> None:
        self._asks.append(
            Ask(
                "cell",
                place,
                f"Cell {place} ({column}) has no value: {why}.",
                "Open the workbook in a spreadsheet and save it, or say what the cell shows.",
                self._where,
            )
        )

    def _height(
        self, line: int, text: str | None, unit: str | None
    ) -> tuple[float | None, str | None]:
        if text is None:
            return None, None
        if unit is None and needs_unit(text):
            return None, "the unit of heights"
        height = metres(text, unit)
        if height is None or not _HEIGHTS[0] <= height <= _HEIGHTS[1]:
            shown = text[:40] if height is None else f"{text[:40]}, so {height:,g} m"
            self._refuse(
                "bad-height",
                line,
                f"Row {line}, height is {shown}.",
                "From -2 to 150 metres above the ground can be; write a number with its unit.",
            )
            return None, None
        return height, None

    def _mount(self, line: int, cells: dict[str, str]) -> None:
        text = cells.pop("mount", None)
        if text is None:
            return
        word = _MOUNTS.get(" ".join(text.lower().replace("-", " ").split()))
        if word is None:
            self._refuse(
                "unknown-choice",
                line,
                f'Row {line}, way up is "{text[:40]}".',
                "Known are: hung, standing, side, tilted, any.",
            )
        elif word == "side":
            cells["mount"] = "tilted"
            cells.setdefault("tilt_deg", "90")
        else:
            cells["mount"] = word

    def _refuse(self, code: str, line: int, says: str, remedy: str) -> None:
        self._problems.append(Problem(code, says, remedy, file=self._where, line=line))


def no_headings(name: str) -> BadInputError:
    """Nothing in it looks like a list of fixtures."""
    return refused(
        "no-headings",
        f"{name} has no row of headings with an id or a position in it.",
        "Give the columns names, such as id, position, type, code, height_m.",
        name,
    )


def too_large(name: str) -> BadInputError:
    """Nobody has so many fixtures."""
    return refused(
        "too-large",
        f"{name} is larger than a list of fixtures can be.",
        "Copy the fixtures into a file of their own.",
        name,
    )
