"""The rig described on a phone, as a real browser lays it out, with a script and without one."""

from __future__ import annotations

import re
import tomllib
from datetime import timedelta

import pytest
from browser_site import open_browser, phone
from looks_site import LIKES, shown
from page_site import Stage, demo_folder, hours_until
from playwright.sync_api import expect
from test_page_browser_looks import NARROW, faults, in_every_theme, opened

REFUSED = "responded with a status of 422"
"""What the browser writes of a form that is not kept."""
TABLE = "Unit\tInstrument\tIP rating\tQty\nTA-90\tWash\tip65\t2\nTA-91\tStrobe\tnone\t1"


@pytest.fixture(scope="module")
def browser():
    with open_browser() as found:
        yield found


@pytest.fixture
def stage(tmp_path):
    stage = Stage(demo_folder(tmp_path / "show"))
    stage.evaluate(*hours_until(stage.now, 1))
    with shown(stage) as stage.url:
        yield stage


def position(stage, name):
    show = tomllib.loads((stage.folder / "show.toml").read_text(encoding="utf-8"))
    return next(found for found in show["positions"] if found["id"] == name)


@pytest.mark.parametrize("likes", [LIKES["light-en"], LIKES["red-de"]], ids=["en", "de"])
def test_what_is_said_back_at_320_px(browser, stage, likes):
    """Everything wrong, everything folded out, a table read back, bad rows, a finished drill."""
    found = {}
    with phone(browser, stage.url, viewport=NARROW, may_say=REFUSED) as context:
        page = opened(context, stage, likes)
        page.goto(f"{stage.url}/set-up/place?at=downstage-truss")
        for name in ("height", "people", "gust_limit", "cover_minutes", "in_front"):
            page.locator(f"[name={name}]").fill("some way up there")
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        page.locator("button[value=keep]").click()
        expect(page.get_by_role("alert")).to_have_count(1)
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        page.evaluate(
            "for (const one of document.querySelectorAll('[data-if]')) one.hidden = false"
        )
        found["wrong"] = in_every_theme(page)
        page.goto(f"{stage.url}/set-up/roof?at=stage")
        page.locator("[name=roof_edge]").fill("7.2")
        page.locator("button[value=keep]").click()
        expect(page.locator("ul.wrong li")).not_to_have_count(0)
        found["roof"] = faults(page)
        page.goto(f"{stage.url}/set-up/gear?at=tower-a")
        page.locator("#table").fill(TABLE)
        page.locator("button[value=look]").click()
        expect(page.locator("ul.rows li")).to_have_count(2)
        found["table"] = in_every_theme(page)
        page.locator("#table").fill("id,code\nA,IP99\nB,")
        page.locator("button[value=look]").click()
        expect(page.locator("ul.wrong li")).to_have_count(2)
        found["rows"] = faults(page)
        times = "out=2027-07-15T20:00:00Z&there=2027-07-15T20:14:00Z"
        page.goto(f"{stage.url}/set-up/drill?at=tower-a&{times}")
        found["there"] = faults(page)
        page.goto(f"{stage.url}/set-up/drill?at=tower-a&{times}&covered=2027-07-15T20:31:00Z")
        found["drill"] = in_every_theme(page)
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


def test_a_wrong_roof_is_seen_while_it_is_typed(browser, stage):
    """One metre in is open from 150 to 300 degrees; seven are out of reach of any gale."""
    with phone(browser, stage.url) as context:
        page = opened(context, stage, "")
        page.goto(f"{stage.url}/set-up/place?at=downstage-truss")
        drawing = page.locator("#drawing")
        expect(drawing).to_contain_text("150° (SSE) to 300° (WNW)")
        page.get_by_label("In from the front edge").fill("7")
        expect(drawing).to_contain_text("No rain gets in by any wind up to a gale")
        page.get_by_label("Nothing: open sky").check()
        expect(drawing).to_contain_text("Open sky")
        # what belongs to a roof is out of sight
        expect(page.get_by_label("In from the front edge")).to_be_hidden()
        page.get_by_label("A roof or tent of its own").check()
        expect(page.get_by_label("The way its front looks")).to_be_visible()
    assert position(stage, "downstage-truss")["in_from_front_m"] == 1.0


def test_the_clock_of_a_drill_runs_and_a_tap_is_stamped(browser, stage):
    with phone(browser, stage.url) as context:
        page = opened(context, stage, "")
        page.goto(f"{stage.url}/rig/tower-a")
        page.get_by_role("link", name="Time a drill").click()
        page.get_by_role("button", name="We set out").click()
        expect(page.locator(".reading")).to_have_text(re.compile(r"\d+:\d\d"))
        assert "out=2027-07-15T20%3A40%3A00Z" in page.url
        page.reload()
        expect(page.get_by_role("button", name="We are there")).to_be_visible()


def test_described_pasted_and_timed_without_a_script(browser, stage):
    options = {"viewport": NARROW, "java_script_enabled": False, "may_say": REFUSED}
    with phone(browser, stage.url, **options) as context:
        page = opened(context, stage, "")
        page.goto(f"{stage.url}/rig")
        page.get_by_role("link", name="Describe the rig").click()
        page.get_by_role("link", name="Add a position").click()
        page.get_by_text("Copy from a neighbour").click()
        page.get_by_role("link", name="Delay tower A", exact=True).click()
        page.get_by_label("What the crew calls it").fill("Delay tower C")
        page.get_by_label("People").fill("2 or 3")
        page.get_by_role("button", name="Keep it").click()
        expect(page.get_by_role("alert")).to_contain_text("Nothing was kept: 1 thing is wrong.")
        page.get_by_label("People").fill("3")
        page.get_by_role("button", name="Draw it").click()
        expect(page.locator("#drawing svg")).to_have_count(2)
        page.get_by_role("button", name="Keep it").click()
        expect(page.get_by_role("status")).to_contain_text("Kept.")
        page.get_by_role("link", name="What hangs (0)").click()
        page.get_by_label("Paste rows from a spreadsheet").fill(TABLE)
        page.get_by_role("button", name="Read it back").click()
        page.get_by_role("button", name="Keep these 2 rows").click()
        expect(page.get_by_role("status")).to_contain_text("Kept.")
        page.goto(f"{stage.url}/set-up/drill?at=delay-tower-c")
        for name, minutes in (("We set out", 14), ("We are there", 18), ("All covered", 0)):
            page.get_by_role("button", name=name).click()
            stage.now += timedelta(minutes=minutes)
        page.get_by_label("How many were covered").fill("3")
        page.get_by_role("button", name="Work it out for so many").click()
        page.get_by_role("button", name="Keep these minutes").click()
        expect(page.get_by_role("status")).to_contain_text("Kept.")
    made = position(stage, "delay-tower-c")
    # 18 minutes for three
    found = (made["people_needed"], made["setup_minutes"], made["cover_minutes_each"])
    assert found == (3, 14.0, 6.0)
