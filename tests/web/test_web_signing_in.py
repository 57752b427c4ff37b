"""Signing in by a link: what the cookie is, who gets in, who is out, and what a page elsewhere
cannot make a browser do.
"""

from __future__ import annotations

import hashlib
import re
import threading
import time
from contextlib import ExitStack
from datetime import timedelta

import pytest
import requests
from duty_site import HTML, Phone
from service_site import free_port, write_show
from web_site import now, served, show_folder

from monitor.store.chain import verify
from monitor.store.database import immediate
from monitor.store.devices import device_of, devices, make_link, withdraw_link
from monitor.store.devices import links as known_links
from monitor.web.app import create_app
from monitor.web.set_up import PATH as SET_UP
from monitor.web.ways_in import PATH as WAYS_IN

HTTPS = '[page]\nlisten = "127.0.0.1:0"\npublic_url = "https://duty.example.org"\n'


@pytest.fixture
def links(site):
    return links_of(site)


def links_of(site):
    with site.db() as db:
        return {role: make_link(db, role, f"{role} link", now()) for role in ("crew", "guest")}


def inside(site):
    with site.db() as db:
        return {device.name: device for device in devices(db)}


def access(site):
    return [(r["what"], r["link"], r["device"]) for r in site.rows("access_changes")]


# ---------------------------------------------------------------- coming in


def test_opening_a_link_changes_nothing_and_its_button_signs_in(site, links):
    phone, before = Phone(site), site.contents()
    for _ in range(3):
        page = phone.get(f"/in/{links['crew']}")
        assert (page.status_code, dict(phone.browser.cookies)) == (200, {})
        assert "crew link" in page.text
    assert site.contents() == before
    answer = phone.post(f"/in/{links['crew']}", {"name": "Dario  Penn "})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")
    assert inside(site)["Dario Penn"].role == "crew"
    with site.db() as db:
        assert device_of(db, phone.secret).name == "Dario Penn"
        assert verify(db).ok
    assert access(site)[-1] == ("came-in", "crew link", "Dario Penn")


def test_the_cookie_is_32_random_bytes_for_no_script_and_no_other_site(site, links):
    made = set()
    for n in range(5):
        phone = Phone(site)
        answer = phone.post(f"/in/{links['crew']}", {"name": f"D{n}"})
        sent = answer.headers["Set-Cookie"]
        assert re.match(r"duty=[A-Za-z0-9_-]{43};", sent)
        parts = {part.strip() for part in sent.split(";")[1:]}
        assert {"HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=34560000"} <= parts
        # in clear on the site's own network, a browser would drop it
        assert "Secure" not in parts
        made.add(phone.secret)
    assert len(made) == 5
    kept = {row["digest"] for row in site.rows("devices")}
    assert kept == {hashlib.sha256(secret.encode()).hexdigest() for secret in made}
    everything = repr(site.contents())
    assert not any(secret in everything for secret in (*made, *links.values()))


def test_where_the_page_is_public_by_https_the_cookie_is_secure_and_no_neighbour_sets_it(tmp_path):
    with served(show_folder(tmp_path / "show", outside=HTTPS)) as site:
        secret = links_of(site)["crew"]
        phone = Phone(site, origin="https://duty.example.org")
        answer = phone.post(
            f"/in/{secret}", {"name": "Dario"}, headers={"Host": "duty.example.org"}
        )
        assert answer.status_code == 303
        sent = answer.headers["Set-Cookie"]
        assert sent.startswith("__Host-duty=")
        assert {"Secure", "Path=/"} <= {part.strip() for part in sent.split(";")}
        assert "Domain" not in sent
        # a proxy may put its own name for us in Host
        assert Phone(site, origin="https://duty.example.org").comes_in(secret, "Suki")
        # by http the browser would drop the cookie: it is told where to sign in
        for origin in ("http://duty.example.org", site.url):
            refused = Phone(site, origin=origin).post(f"/in/{secret}", {"name": "Ines"})
            assert refused.status_code == 403
            assert "https://duty.example.org" in refused.text
        assert {*inside(site)} == {"Dario", "Suki"}


def test_two_shows_on_one_machine_do_not_sign_each_others_phones_out(tmp_path):
    """A browser sends to each port of a machine what any of them set."""
    sites, links = [], []
    with ExitStack() as stack:
        for name in ("main", "barn"):
            page = f'\n[page]\nlisten = "127.0.0.1:{free_port()}"\n'
            folder = write_show(tmp_path / name, contacts=page)
            sites.append(stack.enter_context(served(folder)))
            links.append(links_of(sites[-1])["crew"])
        phone = Phone(sites[0]).comes_in(links[0])
        phone.site, phone.origin = sites[1], sites[1].url
        phone.comes_in(links[1])
        for site in sites:
            phone.site = site
            assert phone.get("/").status_code == 200


def test_a_secret_that_a_browser_came_with_is_never_taken_over(site, links):
    """Who plants a cookie in somebody's browser does not know what it becomes."""
    planted = "A" * 43
    phone = Phone(site)
    phone.browser.cookies.set("duty", planted, domain="127.0.0.1", path="/")
    phone.comes_in(links["crew"])
    assert planted not in [c.value for c in phone.browser.cookies]
    with site.db() as db:
        assert device_of(db, planted) is None


def test_the_same_device_under_another_name_is_out_under_the_first(site, links):
    phone = Phone(site).comes_in(links["crew"], "Dario")
    first = phone.secret
    assert "Dario" in phone.get(f"/in/{links['guest']}").text
    phone.comes_in(links["guest"], "Suki")
    assert {*inside(site)} == {"Suki"}
    with site.db() as db:
        assert device_of(db, first) is None
    assert access(site)[-2:] == [
        ("went-out", "crew link", "Dario"),
        ("came-in", "guest link", "Suki"),
    ]


def test_two_devices_never_bear_one_name(site, links):
    for typed in ("Dario", "dario", "DARIO ", "Ｄario"):
        Phone(site).comes_in(links["crew"], typed)
    assert {*inside(site)} == {"Dario", "dario 2", "DARIO 3", "Dario 4"}
    long = "x" * 40
    for _ in range(2):
        Phone(site).comes_in(links["crew"], long)
    assert {long, "x" * 38 + " 2"} <= {*inside(site)}


def test_a_device_does_not_bear_the_name_of_a_token(site, links):
    """The log says who wrote by its name."""
    with site.db() as db:
        name = db.execute("SELECT name FROM tokens").fetchone()[0]
    Phone(site).comes_in(links["crew"], name)
    assert {*inside(site)} == {f"{name} 2"}


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("Dario\u034f", "Dario 2"),
        ("Da\u200brio", "Dario 2"),
        ("\ufeffDario\ufe0f", "Dario 2"),
        ("Dario\u2800", "Dario 2"),
        ("\u0639\u0644\u06cc\u200c\u0631\u0636\u0627", "\u0639\u0644\u06cc\u0631\u0636\u0627"),
        ("\U0001f469\u200d\U0001f527 Eva", "\U0001f469\U0001f527 Eva"),
    ],
)
def test_what_nobody_sees_makes_no_other_name(site, links, typed, name):
    """The second of two that read alike gets a number, as where they are alike."""
    Phone(site).comes_in(links["crew"], "Dario")
    Phone(site).comes_in(links["crew"], typed)
    assert {*inside(site)} == {"Dario", name}


@pytest.mark.parametrize(
    "name", ["", "   ", "…", "\u3164", "\u115f", "\u2800", "a\u202eb", "x" * 41, "a\x00b", "--"]
)
def test_a_name_that_cannot_be_one_is_asked_for_again(site, links, name):
    phone = Phone(site)
    page = phone.post(f"/in/{links['crew']}", {"name": name})
    assert page.status_code == 422
    assert 'role="alert"' in page.text
    assert dict(phone.browser.cookies) == {}
    assert inside(site) == {}


def test_what_is_typed_stands_escaped_in_the_page(site, links):
    page = Phone(site).post(f"/in/{links['crew']}", {"name": '<b>"' + "x" * 60})
    assert "<b>" not in page.text
    assert "&lt;b&gt;&#34;" in page.text


# ---------------------------------------------------------------- out again


def test_a_withdrawn_link_ends_every_device_that_came_by_it_at_once(site, links):
    crew = [Phone(site).comes_in(links["crew"], name) for name in ("Dario", "Suki")]
    guest = Phone(site).comes_in(links["guest"], "Client")
    assert crew[0].say("log", entry="covered", position="wash").status_code == 201
    with site.db() as db:
        assert withdraw_link(db, "crew link", now()) == ("Dario", "Suki")
    for phone in crew:
        refused = phone.say("log", entry="uncovered", position="wash")
        assert (refused.status_code, refused.json()["then"]) == (401, "sign-in")
    assert Phone(site).get(f"/in/{links['crew']}").status_code == 404
    assert Phone(site).post(f"/in/{links['crew']}", {"name": "Ines"}).status_code == 404
    assert {*inside(site)} == {"Client"}
    assert guest.post("/out", {"csrf": guest.token()}).status_code == 303
    assert len(site.rows("log_entries")) == 1
    with site.db() as db:
        assert verify(db).ok


def test_signed_out_the_secret_opens_nothing_more_and_the_name_is_free(site, links):
    phone = Phone(site).comes_in(links["crew"])
    secret, token = phone.secret, phone.token()
    answer = phone.post("/out", {"csrf": token})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/you")
    assert "duty" not in phone.browser.cookies
    thief = Phone(site)
    thief.browser.cookies.set("duty", secret, domain="127.0.0.1", path="/")
    refused = thief.say("log", csrf=token, entry="covered", position="wash")
    assert refused.status_code == 401
    Phone(site).comes_in(links["crew"])
    assert {*inside(site)} == {"Dario"}


def test_signing_out_needs_the_device_s_own_form(site, links):
    phone = Phone(site).comes_in(links["crew"])
    assert phone.post("/out", {"back": "/"}).status_code == 403
    assert phone.post("/out", {"csrf": "x"}).status_code == 403
    elsewhere = {"Origin": "https://elsewhere.example"}
    assert phone.post("/out", {"csrf": phone.token()}, headers=elsewhere).status_code == 403
    assert {*inside(site)} == {"Dario"}


# ---------------------------------------------------------------- from elsewhere


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": None},
        {"Origin": None, "Sec-Fetch-Site": "cross-site"},
        {"Origin": None, "Sec-Fetch-Site": "same-site"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "http://["},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "none"},
    ],
)
def test_no_page_elsewhere_signs_a_browser_in(site, links, headers):
    """Else whoever has a guest's link could make a chief's phone a guest's."""
    answer = Phone(site).post(f"/in/{links['crew']}", {"name": "Dario"}, headers=headers)
    assert answer.status_code == 403
    assert "Set-Cookie" not in answer.headers
    assert inside(site) == {}


def test_a_browser_that_says_it_both_ways_is_let_in(site, links):
    phone = Phone(site)
    both = {"Sec-Fetch-Site": "same-origin"}
    assert phone.post(f"/in/{links['crew']}", {"name": "A"}, headers=both).status_code == 303
    alone = {"Sec-Fetch-Site": "same-origin", "Origin": None}
    assert phone.post(f"/in/{links['crew']}", {"name": "B"}, headers=alone).status_code == 303


def test_no_page_can_frame_run_or_send_anything_else(site, links):
    for answer in (
        Phone(site).get(f"/in/{links['crew']}"),
        Phone(site).get("/in/" + "A" * 43),
        Phone(site).post(f"/in/{links['crew']}", {"name": "Dario"}),
    ):
        policy = dict(
            part.strip().split(" ", 1)
            for part in answer.headers["Content-Security-Policy"].split(";")
        )
        assert policy["default-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
        assert answer.headers["X-Frame-Options"] == "DENY"
        # under no-referrer a browser says "null" of our own forms
        assert answer.headers["Referrer-Policy"] == "same-origin"
        assert answer.headers["Cache-Control"] == "no-store"
        assert "Cookie" in answer.headers["Vary"]


# ---------------------------------------------------------------- what is seen


ANYBODY = (
    "/api/",
    "/health",
    "/metrics",
    "/answer/",
    "/in/",
    "/static/",
    "/worker.js",
    "/you",
    "/no-signal",
)
"""With a token or a link of its own, files that are no secret, and where one signs out."""
CHIEFS = (WAYS_IN, SET_UP)
"""Tested with what only a chief does."""


def pages(site):
    rules = create_app(site.place).url_map.iter_rules()
    found = [rule.rule for rule in rules if "GET" in rule.methods]
    filled = [re.sub("<[^>]*position>", "wash", rule) for rule in found]
    filled = [re.sub("<[^>]*kind>", "daily", rule) for rule in filled]
    return [path for path in filled if not path.startswith((*ANYBODY, *CHIEFS))]


def test_every_page_is_for_whoever_is_signed_in_and_looking_changes_nothing(site, links):
    paths = pages(site)
    assert {"/", "/rig", "/rig/wash", "/sky", "/history", "/feeds", "/print"} <= {*paths}
    guest = Phone(site).comes_in(links["guest"], "Client")
    before = site.contents()
    for path in paths:
        refused = Phone(site).get(path)
        assert (refused.status_code, "Not signed in" in refused.text) == (401, True), path
        assert "wash" not in refused.text.lower(), path
        assert guest.get(path).status_code == 200, path
    assert site.contents() == before
    with site.db() as db:
        withdraw_link(db, "guest link", now())
    assert {guest.get(path).status_code for path in paths} == {401}


def test_what_was_kept_is_said_once_to_this_device_on_the_next_page(site, links):
    phone = Phone(site).comes_in(links["crew"])
    phone.say("log", HTML, entry="covered", position="wash", note="<i>left</i>")
    first, second = phone.get("/").text, phone.get("/").text
    assert "Kept: Lawn wash, covered," in first
    assert "Kept:" not in second


def test_an_address_that_is_none_is_a_page_for_a_person_and_json_for_a_program(site):
    page = Phone(site).get("/nowhere")
    assert page.status_code == 404
    assert page.headers["Content-Type"].startswith("text/html")
    assert "Nothing here" in page.text
    told = Phone(site).get("/nowhere", accept="*/*")
    assert told.json()["status"] == 404


# ---------------------------------------------------------------- the chief's ways in


def test_a_chief_makes_a_link_that_is_shown_once_and_withdraws_it(site, links):
    chief = chief_of(site)
    page = chief.post(f"{WAYS_IN}/make", {"csrf": chief.token(), "role": "crew", "name": "Day"})
    assert page.status_code == 200
    address = re.search(r"<bdi>(http://[^<]+)</bdi>", page.text)[1]
    assert re.fullmatch(re.escape(site.url) + r"/in/[A-Za-z0-9_-]{43}", address)
    assert address not in chief.get(WAYS_IN).text
    suki = Phone(site).comes_in(address.rpartition("/")[2], "Suki")
    assert "Suki" in chief.get(WAYS_IN).text
    gone = chief.post(f"{WAYS_IN}/withdraw", {"csrf": chief.token(), "name": "Day"})
    assert (gone.status_code, gone.headers["Location"]) == (303, WAYS_IN)
    assert suki.get("/").status_code == 401
    assert {*inside(site)} == {"Ines"}
    given = [(r["what"], r["link"], r["given_by"]) for r in site.rows("access_changes")]
    assert given[-4:] == [
        ("link-made", "Day", "Ines"),
        ("came-in", "Day", "Suki"),
        ("link-withdrawn", "Day", "Ines"),
        ("went-out", "Day", "Ines"),
    ]
    with site.db() as db:
        assert verify(db).ok


def chief_of(site):
    with site.db() as db:
        secret = make_link(db, "chief", "Chief", now())
    return Phone(site).comes_in(secret, "Ines")


@pytest.mark.parametrize("role", ["crew", "guest"])
def test_nobody_else_makes_sees_or_withdraws_a_link(site, links, role):
    phone = Phone(site).comes_in(links[role])
    before = site.contents()
    assert phone.get(WAYS_IN).status_code == 403
    said = {"csrf": phone.token(), "role": "chief", "name": "Mine"}
    assert phone.post(f"{WAYS_IN}/make", said).status_code == 403
    gone = {"csrf": phone.token(), "name": "crew link"}
    assert phone.post(f"{WAYS_IN}/withdraw", gone).status_code == 403
    assert site.contents() == before


@pytest.mark.parametrize(
    ("said", "status"),
    [
        ({"role": "owner", "name": "Day"}, 422),
        ({"role": "crew"}, 422),
        ({"role": "crew", "name": "Crew Link"}, 422),
        ({"role": "crew", "name": "\u202e"}, 422),
        ({"role": "crew", "name": "Day", "csrf": "x"}, 403),
    ],
)
def test_a_link_that_cannot_be_made(site, links, said, status):
    chief = chief_of(site)
    before = site.contents()
    assert chief.post(f"{WAYS_IN}/make", {"csrf": chief.token(), **said}).status_code == status
    assert (
        chief.post(f"{WAYS_IN}/withdraw", {"csrf": chief.token(), "name": "no"}).status_code == 404
    )
    assert site.contents() == before


@pytest.mark.parametrize(
    ("path", "said"),
    [("make", {"role": "chief", "name": "Mine"}), ("withdraw", {"name": "crew link"})],
)
def test_a_chief_who_is_put_out_meanwhile_makes_and_withdraws_nothing(site, links, path, said):
    """A stolen phone asks while the database is held; what it waits for puts it out."""
    chief, answers = chief_of(site), []

    def ask():
        form = {"csrf": chief.token(), **said}
        answers.append(chief.post(f"{WAYS_IN}/{path}", form).status_code)

    asking = threading.Thread(target=ask)
    with site.db() as db, immediate(db):
        asking.start()
        time.sleep(0.3)  # it is let in, and waits to write
        withdraw_link(db, "Chief", now())
    asking.join(10)
    assert answers == [401]
    with site.db() as db:
        stand = {link.name for link in known_links(db) if link.withdrawn_at is None}
    assert stand == {"crew link", "guest link"}


# ---------------------------------------------------------------- guessing, and crowds


def test_guesses_are_counted_and_a_right_link_is_never_held_up_by_them(tmp_path):
    tight = {"failures": {"at_once": 3, "per_second": 0.001}}
    with served(show_folder(tmp_path / "show"), **tight) as site:
        secret = links_of(site)["crew"]
        found = [Phone(site).get(f"/in/{'A' * 42}{n}").status_code for n in range(5)]
        assert found == [404, 404, 404, 429, 429]
        phone = Phone(site).comes_in(secret)
        assert phone.say("log", entry="covered", position="wash").status_code == 201


def test_twenty_phones_at_one_address_do_not_hold_each_other_up(tmp_path):
    """All of a site's phones come from one number; and one that is out looks on every 10 s."""
    tight = {"failures": {"at_once": 3, "per_second": 0.001}}
    with served(show_folder(tmp_path / "show"), **tight) as site:
        secrets = links_of(site)
        out = [Phone(site).comes_in(secrets["guest"], f"G{n}") for n in range(20)]
        with site.db() as db:
            withdraw_link(db, "guest link", now())
        crew = [Phone(site).comes_in(secrets["crew"], f"C{n}") for n in range(20)]
        for phone, gone in zip(crew, out, strict=True):
            # known once and not guessed: not counted as a guess
            assert gone.say("log", entry="covered", position="wash").status_code == 401
            assert phone.say("log", entry="covered", position="wash").status_code == 201


def test_a_device_that_says_too_much_waits_alone(tmp_path):
    tight = {"posts": {"at_once": 3, "per_second": 0.001}}
    with served(show_folder(tmp_path / "show"), **tight) as site:
        secrets = links_of(site)
        one, other = (Phone(site).comes_in(secrets["crew"], n) for n in ("Dario", "Suki"))
        found = [one.say("log", entry="covered", position="wash") for _ in range(5)]
        assert [a.status_code for a in found] == [201, 201, 201, 429, 429]
        assert found[-1].json()["then"] == "again"
        assert int(found[-1].headers["Retry-After"]) >= 1
        assert other.say("log", entry="covered", position="wash").status_code == 201


def test_a_link_that_strayed_fills_no_table(tmp_path):
    tight = {"arrivals": {"at_once": 2, "per_second": 0.001}}
    with served(show_folder(tmp_path / "show"), **tight) as site:
        secrets = links_of(site)
        found = [
            Phone(site).post(f"/in/{secrets['crew']}", {"name": f"D{n}"}).status_code
            for n in range(4)
        ]
        assert found == [303, 303, 429, 429]
        Phone(site).comes_in(secrets["guest"], "Client")


def test_without_a_cookie_nothing_is_said_of_who_is_in(site, links):
    Phone(site).comes_in(links["crew"])
    for cookie in ("", "x", "A" * 43, "é" * 43, "A" * 4000):
        answer = requests.post(
            f"{site.url}/say/log",
            data={"csrf": "x"},
            headers={"Cookie": f"duty={cookie}".encode(), "Accept": HTML, "Origin": site.url},
            timeout=10,
            allow_redirects=False,
        )
        assert answer.status_code == 401
        assert "Dario" not in answer.text


def test_the_last_word_of_a_device_is_noted_at_most_once_a_minute(tmp_path):
    at = [now()]
    with served(show_folder(tmp_path / "show"), clock=lambda: at[0]) as site:
        phone = Phone(site).comes_in(links_of(site)["crew"])
        start = at[0]
        noted = []
        for seconds in (0, 59, 60, 61):
            at[0] = start + timedelta(seconds=seconds)
            phone.say("log", entry="covered", position="wash")
            noted.append(inside(site)["Dario"].last_said_at - start)
        assert noted == [timedelta(0), timedelta(0), timedelta(minutes=1), timedelta(minutes=1)]
