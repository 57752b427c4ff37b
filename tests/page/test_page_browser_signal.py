"""A phone that loses the signal: what was tapped stands once, in order, under who said it."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from browser_site import (
    ONLINE,
    comes_in,
    entries,
    finds_signal,
    kept,
    loses_signal,
    minded,
    monitor,
    open_browser,
    out_of_reach,
    phone,
    tap,
    to_wash,
    until,
    waiting,
)
from playwright.sync_api import expect

from monitor.store.devices import links, withdraw_link


@pytest.fixture(scope="module")
def browser():
    with open_browser() as found:
        yield found


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    with monitor(tmp_path_factory.mktemp("signal") / "show") as found:
        yield found


def test_two_words_without_signal_and_three_stand_once_in_order(browser, site):
    with phone(browser, site.url) as context:
        page = comes_in(context, site, "Ada")
        to_wash(page, site)
        minded(page)
        tap(page, "Covered")
        expect(page.locator("#told")).to_contain_text("Lawn wash, covered")
        assert entries(site, "Ada") == ["covered"]

        loses_signal(page)
        expect(page.locator("#no-signal")).to_have_text(
            re.compile(r"^No signal: as of \d\d:\d\d, just now\.$")
        )
        before = datetime.now(UTC)
        tap(page, "Isolated")
        expect(page.locator("#log .unsent")).to_have_count(1)
        tap(page, "Uncovered")
        expect(waiting(page)).to_have_text("Waiting to be sent (2)")
        after = datetime.now(UTC)
        # as if the battery had been changed: the page comes from what the device kept
        page.reload()
        expect(waiting(page)).to_have_text("Waiting to be sent (2)")
        expect(page.locator("#log .unsent")).to_have_text(
            [re.compile("Isolated, Lawn wash"), re.compile("Uncovered, Lawn wash")]
        )
        expect(page.locator("#no-signal")).to_be_visible()
        assert entries(site, "Ada") == ["covered"]

        finds_signal(page)
        expect(page.locator("#told p")).to_have_count(2)
        expect(page.locator("#waiting")).to_be_hidden()
        expect(page.locator("#no-signal")).to_be_hidden()
        # the page has them too, fetched since
        expect(page.locator("main")).to_contain_text("uncovered · Ada")
    logged = site.logged("Ada")
    assert [entry for entry, _ in logged] == ["covered", "isolated", "uncovered"]
    assert before <= logged[1][1] < logged[2][1] <= after


def test_over_plain_http_on_the_sites_network_the_open_page_holds_what_is_tapped(browser, tmp_path):
    with (
        monitor(tmp_path / "show", host="duty.test") as site,
        phone(browser, site.url) as context,
    ):
        page = comes_in(context, site, "Ben")
        to_wash(page, site)
        assert not page.evaluate("isSecureContext || 'serviceWorker' in navigator")
        assert not page.evaluate("'randomUUID' in crypto")
        loses_signal(page)
        tap(page, "Covered")
        tap(page, "Isolated")
        expect(waiting(page)).to_have_text("Waiting to be sent (2)")
        finds_signal(page)
        expect(page.locator("#told p")).to_have_count(2)
        assert entries(site, "Ben") == ["covered", "isolated"]


def test_what_is_refused_for_good_is_told_and_stays_until_it_is_taken_away(browser, site):
    with phone(browser, site.url, may_say="responded with a status of 422") as context:
        page = comes_in(context, site, "Cem")
        to_wash(page, site)
        loses_signal(page)
        page.get_by_label("Only so many of them").fill("9 of 3")
        tap(page, "Covered")
        tap(page, "Isolated")
        expect(waiting(page)).to_have_text("Waiting to be sent (2)")
        finds_signal(page)
        refused = page.locator("#refused")
        expect(refused).to_contain_text("Not kept: Covered, Lawn wash, 9 of 3")
        # what came after it is not held up
        until(page, lambda: entries(site, "Cem") == ["isolated"])
        page.goto(site.url)
        expect(refused).to_contain_text("Not kept: Covered, Lawn wash, 9 of 3")
        refused.get_by_role("button", name="Take this away").click()
        expect(refused).to_be_empty()
        page.reload()
        expect(page.get_by_role("heading", name="What to do next")).to_be_visible()
        expect(refused).to_be_empty()


def test_only_the_monitors_own_word_is_an_answer(browser, site):
    """A hotspot that wants a password answers everything with 200 and a page of its own."""
    with phone(browser, site.url, service_workers="block") as context:
        page = comes_in(context, site, "Dee")
        to_wash(page, site)
        asked = []

        def hotspot(route):
            asked.append(route.request.method)
            route.fulfill(status=200, content_type="text/html", body="<h1>Welcome</h1>")

        context.route("**/*", hotspot)
        tap(page, "Covered")
        until(page, lambda: asked.count("POST") >= 2)
        page.evaluate(ONLINE)
        expect(page.locator("#no-signal")).to_be_visible()
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        expect(page.locator("h1")).to_have_text("Lawn wash")
        context.unroute_all()
        page.evaluate(ONLINE)
        expect(page.locator("#told p")).to_have_count(1)
        assert entries(site, "Dee") == ["covered"]


def test_nothing_is_said_in_the_name_of_whoever_has_the_phone_next(browser, site):
    with phone(browser, site.url, service_workers="block") as context:
        page = comes_in(context, site, "Eva")
        to_wash(page, site)
        context.route("**/say/*", lambda route: route.abort())
        tap(page, "Covered")
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        comes_in(context, site, "Finn", page=page)
        to_wash(page, site)
        expect(page.locator("#refused")).to_contain_text("Said by Eva, not sent: Covered")
        context.unroute_all()
        tap(page, "Isolated")
        expect(page.locator("#told p")).to_have_count(1)
        assert (entries(site, "Eva"), entries(site, "Finn")) == ([], ["isolated"])
        comes_in(context, site, "Eva", page=page)
        until(page, lambda: entries(site, "Eva") == ["covered"])
        expect(page.locator("#refused")).to_be_empty()


def test_a_device_that_is_signed_out_shows_nothing_of_what_it_kept(browser, site):
    with phone(browser, site.url) as context:
        page = comes_in(context, site, "Gus")
        minded(page)
        to_wash(page, site)
        minded(page)
        page.goto(f"{site.url}/you")
        minded(page)
        page.get_by_role("button", name="Sign this device out").click()
        expect(page.get_by_role("button", name="Sign this device out")).to_have_count(0)
        # the page of whoever is signed in nowhere may be kept, and no other
        assert set(kept(page)) <= {f"{site.url}/you"}
        assert "Gus" not in page.content()
        out_of_reach(page)
        to_wash(page, site)
        expect(page.locator("h1")).to_have_text("No signal")
        assert "wash" not in page.content()


def test_another_theme_takes_no_page_away_and_dresses_those_that_are_kept(browser, site):
    with phone(browser, site.url) as context:
        page = comes_in(context, site, "Hal")
        minded(page)
        to_wash(page, site)
        minded(page)
        page.goto(f"{site.url}/you")
        minded(page)
        page.get_by_label("Night red").check()
        page.get_by_role("button", name="Show it like this").click()
        until(page, lambda: f"{site.url}/rig/wash" in kept(page))
        out_of_reach(page)
        to_wash(page, site)
        expect(page.locator("h1")).to_have_text("Lawn wash")
        expect(page.locator("html")).to_have_attribute("data-theme", "red")


def test_whoever_is_put_out_is_told_that_what_was_tapped_is_not_lost(browser, site):
    gone = "responded with a status of 401"
    with phone(browser, site.url, may_say=gone, service_workers="block") as context:
        page = comes_in(context, site, "Ida")
        to_wash(page, site)
        context.route("**/say/*", lambda route: route.abort())
        tap(page, "Covered")
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        with site.db() as db:
            withdraw_link(db, links(db)[-1].name, datetime.now(UTC), "Odile")
        to_wash(page, site)
        expect(page.locator("#held")).to_contain_text("not yet sent: 1.")
        context.unroute_all()
        comes_in(context, site, "Ida", page=page)
        until(page, lambda: entries(site, "Ida") == ["covered"])
        page.goto(f"{site.url}/you")
        expect(page.locator("#held")).to_be_hidden()
