"""A phone that is a real browser, and a monitor that is a process of its own."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import requests
from playwright.sync_api import expect, sync_playwright
from service_site import feed_of, free_port, payload, wait_for, weather_server, write_show

from monitor.store.database import open_database
from monitor.store.devices import make_link
from monitor.store.history import stored_log

DEBIAN = "/usr/bin/chromium"
NAME = "duty.test"
"""A name that this browser takes for this machine: over http it is no secure place for it."""
NO_NETWORK = r"Failed to load resource: net::ERR_"
"""What the browser itself writes while the signal is away."""
RUN = [sys.executable, "-c", "from monitor.cli import main; main()", "run", "--show"]
PATIENCE_MS = 20_000
ONLINE = "dispatchEvent(new Event('online'))"
"""What the browser says when a network is there again: the page looks at once."""

expect.set_options(timeout=PATIENCE_MS)


@contextmanager
def open_browser():
    """Chromium; without one the test fails and says what to install."""
    with sync_playwright() as playwright:
        found = [p for p in (DEBIAN, playwright.chromium.executable_path) if Path(p).exists()]
        if not found:
            pytest.fail(
                "There is no browser for these tests. Install Debian's (apt-get install chromium) "
                "or one of playwright's own (python -m playwright install chromium)."
            )
        browser = playwright.chromium.launch(
            executable_path=found[0],
            args=["--no-sandbox", "--disable-gpu", f"--host-resolver-rules=MAP {NAME} 127.0.0.1"],
        )
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def phone(browser, url, *, may_say=NO_NETWORK, **more):
    """A phone of 360 by 740 that is signed in nowhere, watched for what no page may do.

    `may_say`: what the browser itself writes of answers that the test means to get.
    """
    options = {"viewport": {"width": 360, "height": 740}, "has_touch": True, **more}
    context = browser.new_context(**options)
    context.set_default_timeout(PATIENCE_MS)
    errors, hosts = [], set()
    context.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    context.on("weberror", lambda fault: errors.append(str(fault.error)))
    context.on("request", lambda request: hosts.add(urlsplit(request.url).netloc))
    try:
        yield context
        assert hosts <= {urlsplit(url).netloc}
        assert [said for said in errors if not re.search(f"{NO_NETWORK}|{may_say}", said)] == []
    finally:
        context.close()


class Monitor:
    """`dryspell run` on a show folder of its own, at one port, started as often as asked."""

    def __init__(self, folder, url):
        self.folder, self.url, self.process = folder, url, None

    def start(self):
        self.process = subprocess.Popen(
            [*RUN, str(self.folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        wait_for(self._works)

    def _works(self):
        """Asked again until it has worked something out; a process that has ended never will."""
        assert self.process.poll() is None, self.process.stdout.read()
        port = urlsplit(self.url).port
        try:
            health = requests.get(f"http://127.0.0.1:{port}/health", timeout=5).json()
        except requests.ConnectionError:
            return False
        return health["works"]

    def kill(self):
        self.process.kill()
        self.process.communicate(timeout=20)

    def end(self):
        self.process.terminate()
        self.process.communicate(timeout=20)

    def link(self, role="crew"):
        """The path of a new link."""
        with self.db() as db:
            name = f"{role} {os.urandom(4).hex()}"
            return f"/in/{make_link(db, role, name, datetime.now(UTC))}"

    @contextmanager
    def db(self):
        with closing(open_database(self.folder / "dryspell.db")) as db:
            yield db

    def logged(self, by):
        """What somebody logged, in the order in which it came: (entry, when it was done)."""
        with self.db() as db:
            entries = [row.entry for row in sorted(stored_log(db), key=lambda row: row.id)]
        return [(entry.entry, entry.at) for entry in entries if entry.by == by]


@contextmanager
def monitor(folder, host="127.0.0.1"):
    """A small show, its weather server, and the monitor over them."""
    port = free_port()
    page = f'\n[page]\nlisten = "127.0.0.1:{port}"\npublic_url = "http://{host}:{port}"\n'
    with weather_server(payload(datetime.now(UTC))) as sky:
        write_show(folder, feeds=feed_of(sky.url), contacts=page)
        found = Monitor(folder, f"http://{host}:{port}")
        found.start()
        try:
            yield found
        finally:
            found.end()


def comes_in(context, site, name, role="crew", page=None):
    """By a link, as a person does it; the page it leads to."""
    page = page or context.new_page()
    page.goto(site.url + site.link(role))
    page.get_by_label("Your name").fill(name)
    page.get_by_role("button").click()
    page.get_by_role("heading", name="What to do next").wait_for()
    return page


def until(page, condition):
    """Until something has happened; the browser's own events are heard meanwhile."""

    def heard():
        page.wait_for_timeout(1)
        return condition()

    wait_for(heard)


REACHES = """() => Promise.all(["/health", "/you"].map(path => fetch(path)))
    .then(() => true, () => false)"""
"""One address that the page asks for itself, and one that its worker asks for."""


def out_of_reach(page):
    """From here on neither the page nor its worker reaches anything."""
    page.context.set_offline(True)
    until(page, lambda: not page.evaluate(REACHES))


def loses_signal(page):
    """The same, and the page has noticed."""
    out_of_reach(page)
    page.evaluate("dispatchEvent(new Event('offline'))")
    expect(page.locator("#no-signal")).to_be_visible()


def finds_signal(page):
    """The signal is back, as the browser tells it."""
    page.context.set_offline(False)
    until(page, lambda: page.evaluate(REACHES))
    page.evaluate("dispatchEvent(new Event('online'))")


def minded(page):
    """Until the worker minds this page and has kept it."""
    page.evaluate("navigator.serviceWorker.ready")
    until(page, lambda: page.evaluate("Boolean(navigator.serviceWorker.controller)"))
    until(page, lambda: page.url.split("#")[0] in kept(page))


def kept(page, name="pages"):
    """The addresses that the device has kept."""
    return page.evaluate(
        "name => caches.open(name).then(c => c.keys()).then(all => all.map(one => one.url))", name
    )


def to_wash(page, site):
    page.goto(f"{site.url}/rig/wash")


def tap(page, name):
    """A button of the form that logs."""
    page.locator("#log").get_by_role("button", name=name, exact=True).click()


def waiting(page):
    return page.locator("#waiting > summary")


def entries(site, name):
    """What somebody logged, in the order in which it came."""
    return [entry for entry, _ in site.logged(name)]
