"""The festival played whole: what the screen, the folder and the database hold afterwards."""

from __future__ import annotations

import json
import os
import re
import socket
import time
from email import message_from_bytes
from types import SimpleNamespace

import pytest

from monitor import demo
from monitor.alerts.wording import message
from monitor.domain import BadInputError
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.history import alert_changes, log_entries

_FORBIDDEN = re.compile(r"\b(go|stand by|stand-by|standby|all clear|all-clear)\b", re.IGNORECASE)


def _no_network(*_):
    raise AssertionError("the demo opened a connection")


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    home, patch = tmp_path_factory.mktemp("demo"), pytest.MonkeyPatch()
    rehearsals, lines, done = {}, [], []
    real = demo.rehearse

    def rehearse(*args, crew, **kinds):
        rehearsals[crew] = real(*args, crew=crew, **kinds)
        return rehearsals[crew]

    before = time.process_time()
    with patch.context() as here:
        here.chdir(home)
        here.setattr(demo, "rehearse", rehearse)
        here.setattr(socket.socket, "connect", _no_network)
        code = demo.run_demo(
            demo.Path("dryspell-demo"),
            {**os.environ, "DRYSPELL_SITE__NAME": "Elsewhere"},
            lines.append,
            lambda at, of: done.append((at, of)),
        )
    return SimpleNamespace(
        code=code,
        out=home / "dryspell-demo",
        lines=lines,
        done=done,
        seconds=time.process_time() - before,
        **rehearsals,
    )


def test_it_ends_well_within_its_time(played):
    assert played.code == 0
    assert played.seconds < 20.0


def test_progress_only_rises_to_its_end(played):
    assert played.done == sorted(played.done)
    at, of = played.done[-1]
    assert at == of


def test_the_story_fits_a_screen(played):
    assert all(len(line) <= 79 and "\n" not in line for line in played.lines)
    assert len(played.lines) <= 75


def test_the_story_says_what_must_be_said(played):
    text = " ".join(" ".join(played.lines).split())
    for part in (
        "Had nobody acted",
        "With the crew following each start",
        "No person is being told",
        "does not detect lightning",
        "All of it invented",
        "dryspell-demo/report/report.html",
    ):
        assert part in text
    # settings of this machine do not reach it
    assert "Marrowmere" in text
    assert "Elsewhere" not in text
    assert not _FORBIDDEN.search(text)


def test_the_crew_made_a_difference(played):
    def over(rehearsal):
        used = rehearsal.exposure.used[0, -1][rehearsal.exposure.group_of]
        return sum(f.count for f, u in zip(rehearsal.show.fixtures, used, strict=True) if u >= 1.0)

    assert over(played.absent) > over(played.follows)
    assert not played.absent.log
    assert {e.by for e in played.follows.log} == {"simulated crew"}


@pytest.mark.parametrize("crew", ["absent", "follows"])
def test_every_change_can_be_said(played, crew):
    changes = getattr(played, crew).changes
    assert changes
    for change in changes:
        said = message(change.alert, change.alert.at)
        assert change.reason
        assert len(said.radio) <= 160
        for text in (said.subject, said.text, said.radio):
            assert not _FORBIDDEN.search(text), text


def test_messages_lie_in_their_folder_whole(played):
    folder = played.out / "show" / "messages"
    mails, bodies = sorted(folder.glob("*.eml")), sorted(folder.glob("*.json"))
    # one for each change, and the word that the watch has begun
    assert len(mails) == len(bodies) == len(played.follows.changes) + 1
    assert not list(folder.glob(".*"))
    assert f"{len(mails)} messages" in " ".join(played.lines)
    for path in mails:
        mail = message_from_bytes(path.read_bytes())
        assert mail["Subject"]
        assert mail["Message-ID"]
    kinds = {json.loads(path.read_text())["data"].get("kind") for path in bodies}
    assert kinds >= {"work", "stop"}


def test_the_database_holds_it_and_its_chain_is_whole(played):
    with open_database(played.out / "show" / "dryspell.db") as db:
        assert verify(db).ok
        changes = alert_changes(db)
        assert [c.alert.id for c in changes] == [c.alert.id for c in played.follows.changes]
        assert len(log_entries(db)) == len(played.follows.log)


def test_the_report_is_one_page_and_a_table(played):
    page = (played.out / "report" / "report.html").read_text()
    assert "Marrowmere" in page
    assert not re.search(r"""(?:src|href)=["']https?:""", page)
    assert list((played.out / "report").glob("*.csv"))


def test_a_folder_that_is_not_the_demos_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(BadInputError) as refused:
        demo.run_demo(tmp_path, {}, lambda _: None)
    assert refused.value.problems[0].code == "folder-in-use"
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]
