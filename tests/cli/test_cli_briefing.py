"""`dryspell handover` and `dryspell daily`: the page, the text, and both names kept."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.service.polling import Asking, poll_all
from monitor.service.watched import FolderWatch
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.handovers import Handover, last_handover

NOW = datetime(2027, 6, 10, 12, tzinfo=UTC)
"""13:00 on site, four hours after load-in."""
FEED = '\n[[feeds]]\nsheet = "record"\nfile = "weather.csv"\n'


@pytest.fixture
def folder(tmp_path, time_machine):
    time_machine.move_to(NOW, tick=False)
    made = write_show(
        tmp_path / "show",
        ["a,IP20,open,dimmer,upright,bag"],
        headings="id,code,position,type,mount,cover",
        show=SHOW + FEED,
    )
    rows = ["starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"]
    for hour in range(48):
        at = NOW + timedelta(hours=hour - 5)
        rows.append(f"{at:%Y-%m-%dT%H:%MZ},60,{2 if hour == 11 else 0},0,1,0,15,5")
    (made / "weather.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    watch = FolderWatch(made, {})
    with closing(open_database(made / "dryspell.db")) as db:
        asking = Asking(watch.current.show, made, watch.secret, lambda: NOW, lambda: 0.0)
        poll_all(db, asking)
    return made


def run(folder, *args):
    return CliRunner().invoke(dryspell, [*args, "--show", str(folder)])


@pytest.mark.parametrize(
    ("command", "title"),
    [
        ("handover", "Handover, written 13:00, Test meadow"),
        ("daily", "Daily sheet, Test meadow, Thu 10 Jun 2027"),
    ],
)
def test_the_text_and_the_page(folder, tmp_path, command, title):
    said = run(folder, command)
    assert said.exit_code == 0
    assert said.stdout.startswith(f"{title}.\n")
    # rain in the hour from 18:00 UTC, 19:00 on site: a spent allowance within it
    assert "Cover 1, Open field: start by 19:" in said.stdout
    page = tmp_path / "sheet.html"
    wrote = run(folder, command, "--out", str(page))
    assert wrote.stdout == f"Wrote {page}\n"
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert f"<h1>{title}</h1>" in text
    both = run(folder, command, "--out", str(page), "--print-text")
    assert both.stdout == f"Wrote {page}\n{said.stdout}"


def test_both_sides_tick(folder):
    said = run(folder, "handover", "--given-by", "Ines Varga", "--taken-by", "Dario Penn")
    assert said.exit_code == 0
    assert said.stdout == (
        "Handed over by Ines Varga to Dario Penn, Thu 10 June 13:00 site time: both ticked.\n"
    )
    with closing(open_database(folder / "dryspell.db")) as db:
        assert last_handover(db, NOW) == Handover(NOW, "Ines Varga", "Dario Penn")
        assert verify(db).ok
    assert "13:00, Ines Varga to Dario Penn: both sides ticked." in run(folder, "handover").stdout


@pytest.mark.parametrize(
    ("names", "missing"),
    [
        (["--given-by", "Ines"], "--taken-by"),
        (["--taken-by", "Dario"], "--given-by"),
        (["--taken-by", "Dario", "--given-by", " \t "], "--given-by"),
        (["--taken-by", "Dario", "--given-by", "x" * 81], "--given-by"),
    ],
)
def test_one_side_alone_hands_nothing_over(folder, names, missing):
    refused = run(folder, "handover", *names)
    assert refused.exit_code == 2
    assert missing in refused.stderr
    with closing(open_database(folder / "dryspell.db")) as db:
        assert last_handover(db, NOW) is None


@pytest.mark.parametrize("command", ["handover", "daily"])
def test_a_show_nobody_watches_has_no_sheet(folder, command):
    for file in folder.glob("dryspell.db*"):
        file.unlink()
    refused = run(folder, command)
    assert refused.exit_code == 3
    assert "nothing has been watched" in refused.stderr
    assert not (folder / "dryspell.db").exists()


def test_a_page_that_cannot_be_written(folder, tmp_path):
    refused = run(folder, "daily", "--out", str(tmp_path / "nowhere" / "sheet.html"))
    assert refused.exit_code == 3
    assert "cannot be written" in refused.stderr
