"""Every page in every theme, as a real browser lays it out on the narrowest of phones."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_site import open_browser, phone
from looks_site import LIKES, PAGES, bad_evening, cookies, shown, thunder
from page_site import Stage, demo_folder, hours_until
from playwright.sync_api import expect

from monitor.store.devices import make_link

NARROW = {"width": 320, "height": 740}
SHEETS = {"handover": "/sheet/handover", "daily": "/sheet/daily"}
MEANT = "responded with a status of (401|404)"
"""What the browser writes of the pages that refuse."""
RULES = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"],
    }
}
ENOUGH = {"exclude": [[".sheet ~ .sheet ~ .sheet"]]}
"""The list by position says the same again for each: three are read."""
COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
TOO_SMALL = """() => [...document.querySelectorAll("a, button, summary, input, select")]
    .filter(found => found.checkVisibility({ visibilityProperty: true }) && found.type !== "hidden")
    .map(found => [found, (["radio", "checkbox"].includes(found.type) ? found.closest("label") : found)])
    .map(([found, target]) => [found.outerHTML.slice(0, 90), target.getBoundingClientRect()])
    .filter(([, box]) => box.width < 47.9 || box.height < 47.9)
    .map(([what, box]) => `${what}: ${box.width} x ${box.height}`)"""
"""What a thumb is to press and is less than 48 px high or wide; of a choice, its whole line."""
CUT = """() => [...document.querySelectorAll("a, button, summary, th, td, h1, h2, h3, p, li, label")]
    .filter(found => found.checkVisibility() && found.clientWidth > 1)
    .filter(found => getComputedStyle(found).display !== "inline")
    .filter(found => found.scrollWidth > found.clientWidth + 1)
    .map(found => found.outerHTML.slice(0, 90))"""
"""What is wider than the box it stands in."""
IN_PICTURES = """() => [...document.querySelectorAll("svg[role=img]")].flatMap(picture => {
    const frame = picture.getBoundingClientRect();
    const texts = [...picture.querySelectorAll("text")]
        .map(text => [text.textContent, text.getBoundingClientRect()]);
    const out = texts.filter(([, box]) =>
        box.left < frame.left - 0.5 || box.right > frame.right + 0.5);
    const over = texts.flatMap(([said, one], n) => texts.slice(n + 1)
        .filter(([, other]) => Math.min(one.right, other.right) - Math.max(one.left, other.left) > 1
            && Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top) > 4)
        .map(([again]) => `${said} on ${again}`));
    return [...out.map(([said]) => `${said} cut`), ...over];
})"""
"""Words of a picture that leave it or lie on one another."""


@pytest.fixture(scope="module")
def browser():
    with open_browser() as found:
        yield found


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """Looked at only: whoever taps makes one of their own."""
    stage = bad_evening(tmp_path_factory.mktemp("evening") / "show", members=12)
    with stage.db() as db:
        stage.secret = make_link(db, "crew", "Night crew", stage.now)
    with shown(stage) as stage.url:
        yield stage


def opened(context, stage, likes, *, inside=True):
    """A page of a device that is in, or is not; its clock is the site's."""
    known = cookies(stage, stage.url, likes)
    context.add_cookies(known if inside else known[1:])
    context.clock.set_fixed_time(stage.now)
    return context.new_page()


def faults(page):
    """What is wrong with how it is laid out, and what axe finds, of whatever weight."""
    width = page.evaluate("document.documentElement.scrollWidth")
    found = [] if width <= page.viewport_size["width"] else [f"{width} px wide"]
    found += [f"small: {one}" for one in page.evaluate(TOO_SMALL)]
    found += [f"cut: {one}" for one in page.evaluate(CUT)]
    found += [f"picture: {one}" for one in page.evaluate(IN_PICTURES)]
    for rule in Axe().run(page, ENOUGH, RULES).response["violations"]:
        found += [f"{rule['id']}: {node['html'][:90]}" for node in rule["nodes"]]
    return found


def in_every_theme(page):
    """The same; and for the other themes, which change colours and no more, what has colours."""
    found = faults(page)
    for theme in ("dark", "red"):
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        for rule in Axe().run(page, ENOUGH, COLOURS).response["violations"]:
            found += [f"{theme}, {rule['id']}: {node['html'][:90]}" for node in rule["nodes"]]
    return found


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_page_at_320_px(browser, evening, language):
    likes, found = LIKES[f"light-{language}"], {}
    options = {"viewport": NARROW, "service_workers": "block", "may_say": MEANT}
    for paths, inside in (
        (PAGES, True),
        ({"sign-in": f"/in/{evening.secret}", "stranger": "/rig"}, False),
    ):
        with phone(browser, evening.url, **options) as context:
            page = opened(context, evening, likes, inside=inside)
            for name, path in paths.items():
                page.goto(f"{evening.url}{path}")
                expect(page.locator(f"html[data-theme=light][lang={language}]")).to_have_count(1)
                found[name] = in_every_theme(page)
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


def test_sheets_at_320_px(browser, evening):
    with phone(browser, evening.url, viewport=NARROW) as context:
        page = opened(context, evening, "")
        for path in SHEETS.values():
            page.goto(f"{evening.url}{path}")
            assert faults(page) == []


@pytest.mark.parametrize("likes", [LIKES["dark-en"], LIKES["red-de"]], ids=["en", "de"])
@pytest.mark.parametrize("path", ["/", "/rig/tower-a", "/ways-in"])
def test_what_is_folded_away(browser, evening, path, likes):
    with phone(browser, evening.url, viewport=NARROW, service_workers="block") as context:
        page = opened(context, evening, likes)
        page.goto(f"{evening.url}{path}")
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        assert faults(page) == []


@pytest.fixture(scope="module")
def calm(tmp_path_factory):
    """The festival with nothing closed and everybody told."""
    stage = Stage(demo_folder(tmp_path_factory.mktemp("calm") / "show"))
    stage.evaluate(*hours_until(stage.now, 2))
    with shown(stage) as stage.url:
        yield stage


@pytest.mark.parametrize("likes", [LIKES["light-en"], LIKES["red-de"]], ids=["en", "de"])
@pytest.mark.parametrize("scene", ["calm", "evening"])
def test_the_first_order_is_whole_on_the_first_screen(browser, request, scene, likes):
    """Also under a stop of one place: what, how many, where, how late, who, and three buttons."""
    stage = request.getfixturevalue(scene)
    with phone(browser, stage.url, service_workers="block") as context:
        page = opened(context, stage, likes)
        page.goto(stage.url)
        edge = page.locator("nav.tabs").bounding_box()["y"]
        card = page.locator("article").first
        for part in ("h3", ".facts >> nth=0", "[value=doing]", "[value=done]", ".cannot summary"):
            box = card.locator(part).bounding_box()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= edge, part
        assert page.evaluate("scrollY") == 0


@pytest.mark.parametrize("likes", [LIKES["light-en"], LIKES["red-de"]], ids=["en", "de"])
@pytest.mark.parametrize("scene", ["calm", "evening"])
def test_the_first_load_is_at_most_60_kb(browser, request, scene, likes):
    """All that a browser asks for, uncompressed."""
    stage, sizes = request.getfixturevalue(scene), {}
    with phone(browser, stage.url, service_workers="block") as context:
        page = opened(context, stage, likes)
        page.on("response", lambda answer: sizes.update({answer.url: len(answer.body())}))
        page.goto(stage.url, wait_until="networkidle")
    assert {url.rpartition(".")[2] for url in sizes} >= {"css", "js"}
    assert sum(sizes.values()) <= 60_000, sizes


@pytest.mark.parametrize("likes", [LIKES["light-en"], LIKES["red-de"]], ids=["en", "de"])
def test_everybody_comes_down_before_anything_else(browser, tmp_path, likes):
    stage = bad_evening(tmp_path / "show")
    thunder(stage)
    with (
        shown(stage) as stage.url,
        phone(browser, stage.url, viewport=NARROW, service_workers="block") as context,
    ):
        page = opened(context, stage, likes)
        page.goto(stage.url)
        box = page.locator(".banner.stop").first.bounding_box()
        assert box["y"] + box["height"] <= page.locator("nav.tabs").bounding_box()["y"]
        assert faults(page) == []


def test_all_of_it_without_a_script(browser, tmp_path):
    stage = bad_evening(tmp_path / "show")
    options = {"viewport": NARROW, "java_script_enabled": False, "may_say": MEANT}
    with shown(stage) as stage.url, phone(browser, stage.url, **options) as context:
        page = opened(context, stage, "")
        for path in PAGES.values():
            page.goto(f"{stage.url}{path}")
            expect(page.locator("h1")).to_have_count(1)
            expect(page.locator("#signal p:visible")).to_have_count(0)
        page.goto(stage.url)
        card = page.locator("#a-own-1")
        expect(card.locator(".count")).to_have_text("in 20 min")
        # this page is loaded anew by itself; what is to be typed is on one that is not
        expect(card.locator("details.cannot")).to_be_hidden()
        card.get_by_role("link", name="Cannot").click()
        assert page.url == f"{stage.url}/rig/tower-a#a-own-1"
        assert page.locator("meta[http-equiv]").count() == 0
        card.locator("details.cannot > summary").click()
        card.get_by_label("Note").fill("the lift is at the bar")
        card.get_by_role("button", name="It cannot be done").click()
        expect(page.locator(".kept")).to_contain_text("Delay tower A, cannot, 21:40")
        page.goto(stage.url)
        card.get_by_role("button", name="Done", exact=True).click()
        expect(page.locator(".kept")).to_contain_text("Delay tower A, done, 21:40")
        page.goto(f"{stage.url}/rig/tower-b")
        page.get_by_role("button", name="Covered", exact=True).click()
        expect(page.locator(".kept")).to_contain_text("Delay tower B, covered, 21:40")
        page.goto(f"{stage.url}/you")
        page.get_by_label("Night red").check()
        page.get_by_label("Deutsch").check()
        page.get_by_role("button", name="Show it like this").click()
        expect(page.locator("html[data-theme=red][lang=de]")).to_have_count(1)
        expect(page.locator("h1")).to_have_text("Du und dieses Gerät")
