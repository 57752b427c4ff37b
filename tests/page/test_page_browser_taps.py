"""What a phone does to a tap: a wet thumb, a full or a hung database, a clock that is off.

A tap must never look kept when it is not, never say more than was meant, and nothing that is
being typed or pressed may be taken away by the page that keeps itself fresh.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from browser_site import (
    ONLINE,
    comes_in,
    entries,
    finds_signal,
    loses_signal,
    minded,
    monitor,
    open_browser,
    phone,
    tap,
    to_wash,
    until,
    waiting,
)
from playwright.sync_api import expect

from monitor.domain import LogEntry
from monitor.store.devices import withdraw_link
from monitor.store.history import log_entries, record_log

ALONE = {"service_workers": "block"}
"""Without the worker every request of the page can be held up by the test."""


@pytest.fixture(scope="module")
def browser():
    with open_browser() as found:
        yield found


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    with monitor(tmp_path_factory.mktemp("taps") / "show") as found:
        yield found


def log_of(site, name):
    with site.db() as db:
        return [entry for entry in log_entries(db) if entry.by == name]


def asks(page):
    """How often the page said something, counted by the browser."""
    said = []
    page.on("request", lambda one: said.append(one.url) if one.method == "POST" else None)
    return said


# ---------------------------------------------------------------- one thumb


def test_a_second_tap_of_a_wet_thumb_says_nothing_of_all_that_hangs_there(browser, site):
    """The first tap empties the form: a second would say of all six what was done to two."""
    with phone(browser, site.url, **ALONE) as context:
        page = comes_in(context, site, "Ada")
        to_wash(page, site)
        page.get_by_label("Only so many of them").fill("2 of 6")
        page.evaluate(
            """() => new Promise(done => {
              const button = document.querySelector("#log button[value=covered]");
              button.click();
              setTimeout(() => { button.click(); done(); }, 350);
            })"""
        )
        expect(page.locator("#told p").first).to_contain_text("covered")
        expect(page.locator("#waiting")).to_be_hidden()
        assert [e.count for e in log_of(site, "Ada")] == [(2, 6)]


def test_nothing_moves_under_a_thumb_and_a_thumb_never_seen_to_lift_holds_nothing_up(browser, site):
    with phone(browser, site.url, **ALONE) as context:
        page = comes_in(context, site, "Ben")
        to_wash(page, site)
        page.evaluate("document.querySelector('main').insertAdjacentHTML('afterbegin', '<p>x</p>')")
        button = page.locator("#log button[value=isolated]")
        button.scroll_into_view_if_needed()
        box = button.bounding_box()
        page.mouse.move(box["x"] + 20, box["y"] + 20)
        page.mouse.down()
        with page.expect_response(f"{site.url}/rig/wash"):
            page.evaluate(ONLINE)
        # the paragraph that the server knows nothing of would go, and the button with it
        page.wait_for_timeout(300)
        assert button.bounding_box() == box
        page.mouse.up()
        until(page, lambda: entries(site, "Ben") == ["isolated"])
        before = page.locator("main").get_attribute("data-now")
        page.evaluate("dispatchEvent(new Event('pointerdown'))")
        page.wait_for_timeout(1000)
        page.evaluate(ONLINE)
        expect(page.locator("main")).not_to_have_attribute("data-now", before)


def test_what_is_typed_stays_though_its_order_has_ended(browser, tmp_path):
    refused = "responded with a status of 422"
    with (
        monitor(tmp_path / "show") as site,
        phone(browser, site.url, may_say=refused, **ALONE) as context,
    ):
        page = comes_in(context, site, "Cem")
        card = page.locator("article.card").first
        until(page, lambda: page.evaluate(ONLINE) or card.count())
        card.locator("details.cannot > summary").click()
        note = card.get_by_label("Note")
        note.fill("lift is at the")
        at = datetime.now(UTC)
        with site.db() as db:
            gone = LogEntry(at, "brought-in", position="wash", by="Fay")
            record_log(db, gone, "brought-in-1", at)
        until(page, lambda: ended(site))
        with page.expect_response(f"{site.url}/"):
            page.evaluate(ONLINE)
        page.wait_for_timeout(300)
        expect(note).to_have_value("lift is at the")
        expect(note).to_be_focused()
        note.press_sequentially(" bar")
        card.get_by_role("button", name="It cannot be done").click()
        # it is told that the order has ended, with what was typed
        expect(page.locator("#refused")).to_contain_text("lift is at the bar")
        page.evaluate(ONLINE)
        expect(page.locator("article.card")).to_have_count(0)


def ended(site):
    with site.db() as db:
        return db.execute("SELECT 1 FROM alert_changes WHERE stage = 'stood-down'").fetchone()


# ---------------------------------------------------------------- the phone's own database


BREAKS = """void (IDBObjectStore.prototype.{} = () => {{
    throw new DOMException("", "QuotaExceededError");
}})"""


@pytest.mark.parametrize("broken", ["put", "delete"])
def test_a_database_that_is_full_or_lets_nothing_go_neither_loses_nor_repeats(
    browser, site, broken
):
    name = f"Dee {broken}"
    with phone(browser, site.url, may_say="responded with a status of 422", **ALONE) as context:
        page = comes_in(context, site, name)
        to_wash(page, site)
        page.evaluate(BREAKS.format(broken))
        said = asks(page)
        page.get_by_label("Only so many of them").fill("9 of 3")
        tap(page, "Covered")
        expect(page.locator("#refused")).to_contain_text("9 of 3")
        tap(page, "Isolated")
        until(page, lambda: entries(site, name) == ["isolated"])
        expect(page.locator("#waiting")).to_be_hidden()
        page.wait_for_timeout(500)
        assert len(said) == 2
        page.locator("#refused").get_by_role("button").click()
        expect(page.locator("#refused")).to_be_empty()
        page.evaluate(ONLINE)
        page.wait_for_timeout(300)
        expect(page.locator("#refused")).to_be_empty()


@pytest.mark.parametrize(
    "broken",
    [
        "Object.defineProperty(window, 'indexedDB', { value: undefined })",
        "IDBFactory.prototype.open = () => ({})",
    ],
)
def test_without_a_database_or_with_one_that_never_answers_the_page_holds_it_and_says_so(
    browser, site, broken
):
    name = f"Eva {len(broken)}"
    with phone(browser, site.url, **ALONE) as context:
        context.add_init_script(broken)
        page = comes_in(context, site, name)
        to_wash(page, site)
        page.wait_for_timeout(100)
        context.set_offline(True)
        page.evaluate("dispatchEvent(new Event('offline'))")
        tap(page, "Covered")
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        expect(page.locator("#fragile")).to_be_visible()
        # leaving would lose it: the browser asks
        asked = []
        page.on("dialog", lambda one: (asked.append(one.type), one.dismiss()))
        page.evaluate("location.href = '/sky'")
        until(page, lambda: asked == ["beforeunload"])
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        finds_signal(page)
        until(page, lambda: entries(site, name) == ["covered"])
        expect(page.locator("#fragile")).to_be_hidden()


def test_two_tabs_of_one_phone_send_what_waits_once_and_in_order(browser, site):
    with phone(browser, site.url) as context:
        first = comes_in(context, site, "Finn")
        to_wash(first, site)
        minded(first)
        second = context.new_page()
        to_wash(second, site)
        loses_signal(first)
        tap(first, "Covered")
        expect(waiting(first)).to_have_text("Waiting to be sent (1)")
        tap(second, "Isolated")
        expect(waiting(second)).to_have_text("Waiting to be sent (2)")
        tap(first, "Uncovered")
        expect(waiting(first)).to_have_text("Waiting to be sent (3)")
        context.set_offline(False)
        for page in (first, second):
            page.evaluate(ONLINE)
        until(first, lambda: len(entries(site, "Finn")) == 3)
        for page in (first, second):
            page.evaluate(ONLINE)
            expect(page.locator("#waiting")).to_be_hidden()
        assert entries(site, "Finn") == ["covered", "isolated", "uncovered"]


# ---------------------------------------------------------------- the phone's clock


OFF = "const real = Date.now.bind(Date); Date.now = () => real() + {}"


@pytest.mark.parametrize("off_s", [-3600, -45, 3600])
def test_what_is_tapped_at_once_on_a_phone_whose_clock_is_off_is_logged_at_its_time(
    browser, site, off_s
):
    name = f"Gus {off_s}"
    with phone(browser, site.url, **ALONE) as context:
        context.add_init_script(OFF.format(off_s * 1000))
        page = comes_in(context, site, name)
        until(page, lambda: page.evaluate("localStorage.getItem('skew')"))
        # as if the clock had been changed since it was last seen to be off
        page.evaluate("localStorage.clear()")
        held, let_by = [], []

        def holds(route):
            if route.request.is_navigation_request() or let_by:
                route.continue_()
            else:
                held.append(route)

        context.route("**/rig/wash", holds)
        to_wash(page, site)
        until(page, lambda: held)
        before = datetime.now(UTC)
        tap(page, "Covered")
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        after = datetime.now(UTC)
        let_by.append(True)
        for route in held:
            route.continue_()
        until(page, lambda: entries(site, name))
        ((_, at),) = site.logged(name)
        assert before - timedelta(seconds=4) <= at <= after + timedelta(seconds=4)
        # the countdown goes by the server's clock too
        assert abs(page.evaluate("Number(localStorage.getItem('skew'))") + off_s * 1000) < 4000


def test_a_phone_that_wakes_says_that_its_page_is_old_before_the_server_has_answered(browser, site):
    with phone(browser, site.url, **ALONE) as context:
        context.add_init_script(OFF.format("(window.slept ?? 0)"))
        page = comes_in(context, site, "Ines")
        to_wash(page, site)
        held = []

        def holds(route):
            held.append(route)

        context.route("**/rig/wash", holds)
        expect(page.locator("#no-signal")).to_be_hidden()
        page.evaluate("window.slept = 7200000")
        expect(page.locator("#no-signal")).to_have_text(
            re.compile(r"as of .*, 2 h 0 min ago"), timeout=3000
        )
        for route in held:
            route.abort()


# ---------------------------------------------------------------- the server's side


def test_a_word_on_which_the_server_breaks_does_not_hold_up_the_others_for_ever(browser, site):
    with phone(browser, site.url, may_say="responded with a status of 500", **ALONE) as context:
        page = comes_in(context, site, "Jon")
        to_wash(page, site)

        def breaks(route):
            if "entry=covered" not in route.request.post_data:
                return route.continue_()
            body = '{"kept": false, "then": "again", "detail": "x"}'
            return route.fulfill(status=500, content_type="application/problem+json", body=body)

        context.route("**/say/log", breaks)
        tap(page, "Covered")
        tap(page, "Isolated")
        until(page, lambda: entries(site, "Jon") == ["isolated"])
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        context.unroute_all()
        page.evaluate(ONLINE)
        until(page, lambda: entries(site, "Jon") == ["isolated", "covered"])


def test_what_waits_when_the_link_is_withdrawn_is_sent_by_the_next_sign_in(browser, site):
    with phone(browser, site.url, may_say="responded with a status of 401", **ALONE) as context:
        page = comes_in(context, site, "Kim")
        to_wash(page, site)
        context.route("**/say/*", lambda route: route.abort())
        tap(page, "Covered")
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        with site.db() as db:
            (row,) = db.query(
                "SELECT links.name FROM links JOIN devices ON devices.link = links.id "
                "WHERE devices.name = 'Kim'"
            )
            withdraw_link(db, row["name"], datetime.now(UTC))
        context.unroute_all()
        page.evaluate(ONLINE)
        expect(page.locator("h1")).to_have_text("Not signed in")
        assert entries(site, "Kim") == []
        comes_in(context, site, "Kim", page=page)
        until(page, lambda: entries(site, "Kim") == ["covered"])


def test_a_guest_who_was_crew_reads_that_it_was_not_kept(browser, site):
    with phone(browser, site.url, may_say="responded with a status of 403", **ALONE) as context:
        page = comes_in(context, site, "Lou")
        to_wash(page, site)
        context.route("**/say/*", lambda route: route.abort())
        tap(page, "Covered")
        expect(waiting(page)).to_have_text("Waiting to be sent (1)")
        comes_in(context, site, "Lou", role="guest", page=page)
        context.unroute_all()
        page.evaluate(ONLINE)
        expect(page.locator("#refused")).to_contain_text("Not kept: Covered, Lawn wash")
        assert entries(site, "Lou") == []
