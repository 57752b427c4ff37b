"""fixtures.csv with rows added: what stands there stays, in its order and with its columns."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from monitor.feeds.table import read_table
from monitor.imports.plain_cells import neutral
from monitor.show.fixtures import COLUMNS, FIXTURES_FILE
from monitor.show.plain_text import plain_text


def with_rows(data: bytes, rows: Sequence[Mapping[str, str]]) -> tuple[bytes, list[int]]:
    """The file with `rows` below, and the line each of them stands on.

    Where a column is missing it is added at the end; then, and only then, the rows that stand
    there are written anew, with the same values.
    """
    text, _ = plain_text(data, FIXTURES_FILE)
    table = read_table(text.encode("utf-8"), FIXTURES_FILE)
    delimiter = ";" if table.semicolons else ","
    end = "\r\n" if "\r\n" in text else "\n"
    headings = list(table.headings)
    known = {_plain(heading) for heading in headings}
    wanted = {column for row in rows for column in row}
    added = [column for column in COLUMNS if column in wanted and column not in known]
    if added:
        text = _widened(text, added, delimiter, end)
    elif text and not text.endswith(("\n", "\r")):
        text += end
    columns = [*(_plain(heading) for heading in headings), *added]
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator=end)
    for row in rows:
        writer.writerow([neutral(row.get(column, "")) for column in columns])
    made = (text + out.getvalue()).encode("utf-8")
    lines = [line for line, _ in read_table(made, FIXTURES_FILE).rows]
    return made, lines[len(lines) - len(rows) :]


def _plain(heading: str) -> str:
    return "_".join("".join(c if c.isalnum() and c.isascii() else " " for c in heading).split())


def _widened(text: str, added: Sequence[str], delimiter: str, end: str) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator=end)
    more = list(added)
    for cells in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
        if any(cell.strip() for cell in cells):
            writer.writerow([*cells, *more])
            more = [""] * len(added)
    return out.getvalue()
