"""Golden tables: what a built-in sheet must make of its sample, worked by hand in each test.

A row is (starts_at, minutes, member, rain_mm, wind_mps, gust_mps, wind_from_deg, temp_c,
dew_point_c, cloud_pct, thunder); None is not known. Where a value takes arithmetic, the
arithmetic stands in the row.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.feeds.canonical import as_json
from monitor.feeds.decode import decode
from monitor.feeds.sheet import builtin_sheet

SAMPLES = Path(__file__).parent / "samples"
COLUMNS = (
    "starts_at",
    "minutes",
    "member",
    "rain_mm",
    "wind_mps",
    "gust_mps",
    "wind_from_deg",
    "temp_c",
    "dew_point_c",
    "cloud_pct",
    "thunder",
)
TOLERANCE = 1e-6


def sample(sheet_id: str) -> dict[str, Any]:
    """The sample answer of that sheet, to be changed at will."""
    return json.loads((SAMPLES / f"{sheet_id}.json").read_text(encoding="utf-8"))


def document(sheet_id: str, answer: dict[str, Any]) -> dict[str, Any]:
    """The feed JSON of an answer."""
    body = json.dumps(answer).encode()
    return as_json(decode(body, builtin_sheet(sheet_id), fetched_at=None), sheet_id)


def by_command(sheet_id: str, folder: Path) -> dict[str, Any]:
    """The feed JSON of the sample as `dryspell feed` writes it, in a folder without a show."""
    path = SAMPLES / f"{sheet_id}.json"
    arguments = ["--sheet", sheet_id, "--sample", str(path), "--show", str(folder), "--json", "-"]
    result = CliRunner().invoke(dryspell, ["feed", *arguments])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def assert_table(told: dict[str, Any], rows: list[tuple[Any, ...]]) -> None:
    """Every cell of the table, to 1e-6; not known is not known."""
    assert [(s["starts_at"], s["member"]) for s in told["steps"]] == [(r[0], r[2]) for r in rows]
    for step, row in zip(told["steps"], rows, strict=True):
        assert tuple(step) == COLUMNS
        for name, expected in zip(COLUMNS, row, strict=True):
            where = f"{name} of {row[0]} member {row[2]}: {step[name]} for {expected}"
            if isinstance(expected, (int, float)):
                assert step[name] is not None, where
                assert math.isclose(step[name], expected, rel_tol=0, abs_tol=TOLERANCE), where
            else:
                assert step[name] == expected, where


def assert_golden(
    sheet_id: str,
    folder: Path,
    rows: list[tuple[Any, ...]],
    *,
    issued_at: str | None,
    members: int = 1,
    dropped: list[str],
) -> None:
    """The whole document, by the command and by the decoder."""
    for told in (by_command(sheet_id, folder), document(sheet_id, sample(sheet_id))):
        assert told["schema"] == "dryspell.weather/1"
        assert told["sheet"] == sheet_id
        assert told["issued_at"] == issued_at
        assert told["credit"] == builtin_sheet(sheet_id).feed.credit
        assert told["members"] == members
        assert_table(told, rows)
        assert told["dropped"] == dropped
