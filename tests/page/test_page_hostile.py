"""Every text that anybody can put into the show, made to break out of the page that shows it."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from page_site import THURSDAY, Stage, demo_folder, hours_until
from read_html import read

from monitor.domain import Answered, LogEntry
from monitor.service.declared import DeclaredSaid, keep_declared
from monitor.store.answers import record_answer
from monitor.store.database import immediate

EVIL = (
    """'"`><x-evil onclick=a()></p></svg></style></textarea>{{ 7*7 }}{name}{0.__class__}%s&#60;"""
)
NAMED = re.compile(r'^(name|isolate_at) = "(.*)"$', re.MULTILINE)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    folder = demo_folder(tmp_path_factory.mktemp("hostile") / "show")
    config = folder / "show.toml"
    evil = EVIL.replace("\\", "\\\\").replace('"', '\\"')
    made = NAMED.sub(lambda found: f'{found[1]} = "{found[2]} {evil}"', config.read_text("utf-8"))
    config.write_text(made, "utf-8")
    rig = folder / "fixtures.csv"
    head, *lines = rig.read_text("utf-8").splitlines()
    column = head.split(",").index("name")
    cell = '"' + EVIL.replace('"', '""') + '"'
    rows = [line.split(",") for line in lines]
    rig.write_text(
        "\n".join([head, *(",".join([*r[:column], cell, *r[column + 1 :]]) for r in rows)]), "utf-8"
    )
    stage = Stage(folder)
    at = THURSDAY
    stage.log(LogEntry(at - timedelta(hours=2), "covered", position="tower-b", by=EVIL, note=EVIL))
    stage.evaluate(*hours_until(at, 2))
    for n, more in enumerate(
        (
            {"blocked_by": EVIL, "stage": "stop"},
            {"who": (EVIL,), "handed_to": (EVIL,), "covers": ((EVIL, 3),)},
            {"isolate_at": EVIL, "stage": "overdue", "fixture_names": (EVIL,), "extra": (EVIL,)},
        )
    ):
        stage.tell(f"own-{n}", "tower-a", "cover", reason=EVIL, position_name=EVIL, **more)
    stage.tell("weather-1", None, None, kind="weather", reason=EVIL)
    stage.tell("delivery-1", None, None, kind="delivery", reason=EVIL)
    with stage.db() as db, immediate(db):
        record_answer(db, Answered(at, "own-1", "cannot", "tower-a", by=EVIL, note=EVIL))
        said = DeclaredSaid("power", EVIL, position="tower-a", note=EVIL)
        keep_declared(db, said, stage.watch.current.show, at, str)
    return stage


@pytest.mark.parametrize("likes", ["", "language=de"], ids=["en", "de"])
@pytest.mark.parametrize(
    "path",
    ["/", "/rig", "/rig/tower-a", "/rig/tower-b?fixture=%22%3E%3Cx-evil%3E", "/sky", "/history",
     "/feeds", "/print", "/sheet/handover", "/sheet/daily", "/you", "/ways-in", "/rig/%3Cx-evil%3E",
     "/history?page=%3Cx-evil%3E"],
)  # fmt: skip
def test_it_stays_a_text_on_every_page(hostile, path, likes):
    client = hostile.client("chief", "<x-evil>'\"&{name}")
    client.set_cookie("likes", likes)
    answer = client.get(path)
    text = answer.get_data(as_text=True)
    assert "<x-evil" not in text.lower()
    if answer.status_code == 404:
        return
    page = read(answer)
    assert page.all("x-evil") == []
    assert [e.attrs for e in page.all() if any(name.startswith("on") for name in e.attrs)] == []
    assert all(e.attrs.get("src") for e in page.all("script"))
    assert not re.search(r"[\r\n]", answer.headers.get("Location", ""))
    # nothing was filled in where it looked like something to be filled in
    assert "{{ 49" not in text
    assert "class 'str'" not in text


def test_it_is_shown_as_it_was_written(hostile):
    assert EVIL in read(hostile.client("chief").get("/")).text
