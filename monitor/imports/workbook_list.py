"""Lists of fixtures in a workbook: which sheet is meant."""

from __future__ import annotations

from pathlib import Path

from monitor.imports.answers import Answers
from monitor.imports.archive import refused
from monitor.imports.drawn import Rig
from monitor.imports.headings import found
from monitor.imports.list_rows import ListReader, no_headings
from monitor.imports.workbook import read_workbook


def read_workbook_list(file: Path, answers: Answers, sheet: str | None) -> Rig:
    """The rig of one sheet of a workbook; BadInputError where several could be meant."""
    sheets = read_workbook(file)
    names = [cells.name for cells in sheets]
    if sheet is not None:
        chosen = [cells for cells in sheets if cells.name.lower() == sheet.strip().lower()]
        if not chosen:
            says = f"{file.name} has no sheet {sheet[:60]} with anything in it."
            remedy = f"It has: {', '.join(names)}."
            raise refused("unknown-sheet", says, remedy, file.name)
    else:
        chosen = [cells for cells in sheets if found(cells.rows, file.name, cells.name)]
        if len(chosen) > 1:
            listed = ", ".join(cells.name for cells in chosen)
            raise refused(
                "which-sheet",
                f"{file.name} has more than one sheet that could be the list: {listed}.",
                'Say which with --sheet "NAME".',
                file.name,
            )
    if not chosen:
        raise no_headings(file.name)
    return ListReader(file.name, chosen[0], answers, chosen[0].name).read()
