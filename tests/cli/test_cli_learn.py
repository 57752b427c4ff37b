"""`dryspell learn`: this show's inspections with those of earlier shows, and bad files."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from cli_samples import write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.store.database import open_database

HEADER = "type,code,condition,count,part,result,used,weather_known"


@pytest.fixture
def folder(tmp_path):
    made = write_show(
        tmp_path / "show",
        ["a,IP20,open,dimmer,upright,hire,1"],
        headings="id,code,position,type,mount,condition,count",
    )
    open_database(made / "dryspell.db").conn.close()
    return made


def run(folder, *arguments):
    result = CliRunner().invoke(dryspell, ["learn", *arguments, "--show", str(folder)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def earlier(path, *rows):
    path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    return path


def season(seed, pieces):
    """Floods of IP54 that stand 1.6 times what is assumed, give or take 0.4 in the logarithm."""
    rng = np.random.default_rng(seed)
    for _ in range(pieces):
        used, stands = rng.lognormal(0.3, 0.7), 1.6 * np.exp(0.4 * rng.standard_normal())
        found = "damp" if stands <= used else "dry"
        yield f"flood,IP54,hire,1,,{found},{used:.4f},yes"


def test_two_earlier_seasons_together_and_what_is_not_enough(folder, tmp_path):
    first = earlier(tmp_path / "first.csv", *season(1, 60), "dimmer,IP20,hire,1,,dry,0.5,yes")
    second = earlier(tmp_path / "second.csv", *season(2, 60))
    out = tmp_path / "learned.json"
    done = run(folder, "--also", str(first), "--also", str(second), "--json", str(out))
    assert done.exit_code == 0
    dimmer, flood = json.loads(out.read_text(encoding="utf-8"))["kinds"]
    assert "1 pieces inspected after rain, and it takes 20" in dimmer["not_enough"]
    assert (flood["pieces"], flood["code"]) == (120, "IP54")
    assert flood["low"] <= 1.6 <= flood["high"]
    said = " ".join(done.output.split())
    assert "Not enough inspections: 1 pieces" in said
    assert "In force: condition_hire = 0.5." in said
    assert "only a person puts it there" in said
    assert max(map(len, done.output.splitlines())) < 80


def test_nothing_known(folder):
    assert "nothing to learn from" in run(folder).output


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("flood,IP54,hire,1,,damp,much,yes", "used is 'much'"),
        ("flood,IP54,hire,-1,,damp,0.5,yes", "count is '-1'"),
        ("flood,IP54,hire,6,3/6,damp,0.5,yes", "part is '3/6'"),
        ("flood,IP54,hire", "has too few cells"),
        ("flood,IP54,hire,1,,damp,nan,yes", "used is 'nan'"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_its_line(folder, tmp_path, row, says):
    bad = earlier(tmp_path / "bad.csv", "flood,IP54,hire,1,,dry,0.5,yes", row)
    done = run(folder, "--also", str(bad))
    assert done.exit_code == 2
    assert says in done.output
    assert "bad.csv" in done.output
    assert "3" in done.output


@pytest.mark.parametrize("content", [b"\xff\xfe", b"", b"a,b\n1,2\n", b"\0\0\n"])
def test_what_is_no_such_file_at_all(folder, tmp_path, content):
    bad = tmp_path / "bad.csv"
    bad.write_bytes(content)
    assert run(folder, "--also", str(bad)).exit_code == 2


def test_a_file_that_is_not_there(folder, tmp_path):
    assert run(folder, "--also", str(tmp_path / "none.csv")).exit_code == 3


def test_results_go_there_and_back(folder, tmp_path):
    """What `results --csv` writes is what `--also` reads, a guarded name as it was."""
    out = tmp_path / "results.csv"
    done = CliRunner().invoke(dryspell, ["results", "--csv", str(out), "--show", str(folder)])
    assert done.exit_code == 0
    header = next(csv.reader(out.read_text(encoding="utf-8").splitlines()))
    row = dict.fromkeys(header, "") | {
        "type": "'=1+1", "code": "IP54", "condition": "hire", "count": "2", "part": "1 of 2",
        "result": "damp", "used": "0.5", "weather_known": "yes",
    }  # fmt: skip
    with out.open("a", encoding="utf-8", newline="") as file:
        csv.DictWriter(file, header).writerow(row)
    assert run(folder, "--also", str(out)).output.startswith("=1+1, IP54, hire\n")
