"""Lists of fixtures saved as CSV."""

from __future__ import annotations

from monitor.feeds.table import read_table
from monitor.imports.answers import Answers
from monitor.imports.cells import MOST_BYTES, MOST_ROWS, Cells
from monitor.imports.drawn import Rig
from monitor.imports.list_rows import ListReader, too_large


def read_csv_list(name: str, data: bytes, answers: Answers) -> Rig:
    """The rig of a CSV file."""
    if len(data) > MOST_BYTES:
        raise too_large(name)
    table = read_table(data, name)
    rows = ((table.heading_line, table.headings), *table.rows)
    if len(rows) > MOST_ROWS:
        raise too_large(name)
    width = max(len(cells) for _, cells in rows)
    even = tuple((line, (*cells, *[""] * (width - len(cells)))) for line, cells in rows)
    return ListReader(name, Cells("", even), answers, None).read(table.told)
