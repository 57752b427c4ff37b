"""What is said on the page: kept once however often it is sent, at the moment of its tap, by
whom; refused with what to do about it; and the way back, which leads nowhere else.
"""

from __future__ import annotations

import re
import threading
import time
import uuid
from datetime import timedelta

import pytest
from duty_site import HTML, Phone
from web_site import now, raise_alert, served, show_folder, stamp

from monitor.domain import Alert
from monitor.service.escalation import standing
from monitor.service.log_book import withdraw, written
from monitor.store.answers import answers
from monitor.store.chain import verify
from monitor.store.database import immediate
from monitor.store.declared import declared
from monitor.store.devices import make_link, withdraw_link
from monitor.store.history import alerts_as_they_stand, log_entries, record_change
from monitor.store.readings import readings_after
from monitor.store.withdrawn import Withdrawal
from monitor.web.kept_cookie import kept_of
from monitor.web.own_forms import way_back
from monitor.web.tapped import tapped


@pytest.fixture
def links(site):
    return links_of(site)


@pytest.fixture
def phone(site, links):
    return Phone(site).comes_in(links["crew"])


def links_of(site):
    with site.db() as db:
        return {
            role: make_link(db, role, f"{role} link", now()) for role in ("crew", "guest", "chief")
        }


def log_of(site):
    with site.db() as db:
        return log_entries(db)


def new_id():
    return uuid.uuid4().hex


# ---------------------------------------------------------------- kept, and once


def test_a_log_entry_is_kept_with_who_and_when(site, phone):
    tapped = now() - timedelta(minutes=40)
    answer = phone.say(
        "log", entry="covered", position="wash", count="3 of 6", note="left side", at=stamp(tapped)
    )
    assert answer.status_code == 201
    told = answer.json()
    assert (told["kept"], told["known"], told["at"]) == (True, False, stamp(tapped))
    assert told["notes"] == ["Until all of it is covered it counts as uncovered."]
    (entry,) = log_of(site)
    assert (entry.entry, entry.position, entry.count) == ("covered", "wash", (3, 6))
    assert (entry.by, entry.note, stamp(entry.at)) == ("Dario", "left side", stamp(tapped))
    # when it was received stands beside when it was done
    assert site.rows("log_entries")[0]["received_at"] > stamp(tapped)


def test_sent_again_it_is_known_and_kept_once(site, phone):
    said = {"entry": "covered", "position": "wash", "at": stamp(now()), "id": new_id()}
    first, *more = (phone.say("log", **said) for _ in range(3))
    assert first.status_code == 201
    assert [(a.status_code, a.json()["kept"], a.json()["known"]) for a in more] == [
        (200, True, True)
    ] * 2
    assert len(log_of(site)) == 1


def test_sent_again_by_eight_at_once_it_is_kept_once(site, phone):
    """A phone that gives up waiting sends again while the first is still being kept."""
    said = {"entry": "covered", "position": "wash", "at": stamp(now()), "id": new_id()}
    found, token = [], phone.token()

    def send():
        twin = Phone(site)
        twin.browser.cookies.set("duty", phone.secret, domain="127.0.0.1", path="/")
        found.append(twin.say("log", csrf=token, **said).status_code)

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(found) == [200] * 7 + [201]
    assert len(log_of(site)) == 1


def test_a_phone_whose_clock_is_fast_is_known_again_too(site, phone):
    """What it says then is of the moment of receipt, and that is another each time."""
    said = {"entry": "covered", "position": "wash", "id": new_id()}
    said["at"] = stamp(now() + timedelta(minutes=4))
    assert phone.say("log", **said).status_code == 201
    assert phone.say("log", **said).status_code == 200
    (entry,) = log_of(site)
    assert entry.at <= now()


def test_what_a_phone_kept_for_it_is_sent_by_the_next_sign_in_and_known(site, phone, links):
    said = {"entry": "covered", "position": "wash", "at": stamp(now()), "id": new_id()}
    assert phone.say("log", **said).status_code == 201
    phone.comes_in(links["chief"], "Dario")
    assert phone.say("log", **said).status_code == 200
    assert len(log_of(site)) == 1


def test_what_waited_for_the_page_of_another_show_is_not_said_here(site, phone, tmp_path):
    """The next show at the same address, with the same positions and people."""
    said = {"entry": "brought-in", "position": "wash", "id": new_id()}
    with served(show_folder(tmp_path / "before")) as other:
        before = shown_mark(Phone(other).comes_in(links_of(other)["crew"]))
    assert before != shown_mark(phone)
    refused = phone.say("log", **said, show=before)
    assert (refused.status_code, refused.json()["then"]) == (422, "never")
    assert [p["code"] for p in refused.json()["problems"]] == ["another-show"]
    assert log_of(site) == ()
    assert phone.say("log", **said, show=shown_mark(phone)).status_code == 201


def shown_mark(phone):
    return re.search(r'data-show="([0-9a-f]{16})"', phone.get("/").text)[1]


def test_another_word_under_the_same_id_is_refused_for_good(site, phone):
    word = new_id()
    phone.say("log", entry="covered", position="wash", id=word)
    refused = phone.say("log", entry="uncovered", position="wash", id=word)
    told = refused.json()
    assert (refused.status_code, told["then"], told["kept"]) == (409, "never", False)
    assert [p["code"] for p in told["problems"]] == ["id-used"]
    assert len(log_of(site)) == 1


def test_a_form_tapped_twice_is_one_word_and_its_other_button_another(site, phone):
    """Without a script the page's id serves all its buttons."""
    page_id = new_id()
    for entry in ("covered", "covered", "uncovered"):
        answer = phone.say("log", HTML, entry=entry, position="wash", id=page_id)
        assert answer.status_code == 303
    assert [entry.entry for entry in log_of(site)] == ["covered", "uncovered"]


def test_a_queue_is_kept_in_its_order_each_at_its_own_time(site, phone):
    start = now() - timedelta(hours=2)
    taps = [
        {"entry": entry, "position": "wash", "at": stamp(start + timedelta(minutes=n))}
        for n, entry in enumerate(("covered", "wet", "uncovered", "covered"))
    ]
    for tap in taps:
        assert phone.say("log", **tap).status_code == 201
    assert [(e.entry, stamp(e.at)) for e in log_of(site)] == [(t["entry"], t["at"]) for t in taps]


def test_an_inspection_with_its_readings(site, phone):
    answer = phone.say(
        "log", entry="inspected", fixture="WASH", result="damp", earth_ohm="0,08",
        insulation_mohm="250",
    )  # fmt: skip
    assert answer.status_code == 201
    (entry,) = log_of(site)
    assert (entry.result, entry.earth_ohm, entry.insulation_mohm) == ("damp", 0.08, 250.0)


# ---------------------------------------------------------------- one form, several buttons


def test_the_button_says_what_is_meant_and_what_belongs_to_another_is_told(site, phone):
    """A radio button that a wet thumb touched cannot be taken back."""
    answer = phone.say(
        "log", entry="covered", position="wash", result="damp", earth_ohm="1", to="wash"
    )
    assert answer.status_code == 201
    assert answer.json()["notes"] == [
        "Not kept: result. It belongs to inspected.",
        "Not kept: earth. It belongs to inspected.",
        "Not kept: to. It belongs to moved.",
    ]
    (entry,) = log_of(site)
    assert (entry.entry, entry.result, entry.to) == ("covered", None, None)
    raise_alert(site)
    answer = phone.say("answer", alert="wash-1", answer="doing", because="no-lift", until="23:30")
    assert answer.json()["notes"] == [
        "Not kept: because. It belongs to cannot.",
        "Not kept: until. It belongs to cannot.",
    ]


def test_a_fixture_is_more_exactly_what_is_meant_than_its_position(site, phone):
    assert phone.say("log", entry="wet", position="wash", fixture="WASH").status_code == 201
    (entry,) = log_of(site)
    assert (entry.position, entry.fixture) == (None, "WASH")


MORE = """id,code,position,name,count,mount,condition,cover
WASH,IP20,wash,LED wash,6,upright,hire,hood
PAR,IP20,wash,LED par,3,upright,hire,hood
BAR,IP20,bar,LED bar,2,upright,hire,hood
"""
BAR = '[[positions]]\nid = "bar"\nname = "Bar"\nheight_m = 2\naccess = "ground"\n'
QUIETLY = '[page]\nlisten = "127.0.0.1:0"\n'


@pytest.mark.parametrize(
    ("place", "count", "kept"),
    [
        # 6 washes and 3 pars hang at the wash; the pars are moved to the 2 bars
        ({"fixture": "WASH"}, "4", (4, 6)),
        ({"position": "wash"}, "4", (4, 6)),
        ({"position": "bar"}, "4", (4, 5)),
        ({"position": "bar"}, "2 of 2", (2, 2)),
        ({"position": "bar"}, "6", None),
        ({"position": "bar"}, "0", None),
        ({"position": "bar"}, "some", None),
    ],
)
def test_a_number_alone_is_out_of_all_that_hangs_there_now(tmp_path, place, count, kept):
    folder = show_folder(tmp_path / "show", outside=BAR + QUIETLY)
    (folder / "fixtures.csv").write_text(MORE, encoding="utf-8")
    with served(folder) as site:
        phone = Phone(site).comes_in(links_of(site)["crew"])
        assert phone.say("log", entry="moved", fixture="PAR", to="bar").status_code == 201
        answer = phone.say("log", entry="covered", count=count, **place)
        if kept is None:
            assert [p["code"] for p in answer.json()["problems"]] == ["bad-count"]
        else:
            assert answer.status_code == 201
            assert log_of(site)[-1].count == kept


# ---------------------------------------------------------------- answers


def test_an_answer_is_kept_and_done_logs_the_work_at_the_moment_of_the_tap(site, phone):
    raise_alert(site)
    tapped = now() - timedelta(minutes=25)
    for answer in ("doing", "done"):
        kept = phone.say("answer", alert="wash-1", answer=answer, at=stamp(tapped))
        assert kept.status_code == 201
    with site.db() as db:
        given = answers(db)
        assert verify(db).ok
    assert [(a.answer, a.by, stamp(a.at)) for a in given] == [
        ("doing", "Dario", stamp(tapped)),
        ("done", "Dario", stamp(tapped)),
    ]
    (entry,) = log_of(site)
    assert (entry.entry, entry.position, stamp(entry.at)) == ("covered", "wash", stamp(tapped))
    assert site.rows("log_entries")[0]["received_at"] > stamp(tapped + timedelta(minutes=20))


def test_cannot_with_its_reason_and_until(site, phone):
    raise_alert(site)
    kept = phone.say(
        "answer", alert="wash-1", answer="cannot", because="no-lift", until="23:59", note="at bar"
    )
    assert kept.status_code == 201
    with site.db() as db:
        (given,) = answers(db)
    assert (given.because, given.note, given.by) == ("no-lift", "at bar", "Dario")
    assert given.until > now()


def ended(site, action="cover"):
    raise_alert(site, action=action)
    with site.db() as db, immediate(db):
        stood: Alert = alerts_as_they_stand(db)["wash-1"]
        over = {f: getattr(stood, f) for f in stood.__slots__} | {"stage": "stood-down"}
        record_change(db, Alert(**over), "dry", now())


def test_done_without_a_signal_is_logged_though_the_alert_has_ended_since(site, phone):
    """The covers are on: that the order was taken back meanwhile takes nothing off them."""
    ended(site)
    tapped = stamp(now() - timedelta(minutes=25))
    kept = phone.say("answer", alert="wash-1", answer="done", at=tapped, id=(word := new_id()))
    assert kept.status_code == 201
    assert "ended" in kept.json()["notes"][0]
    (entry,) = log_of(site)
    assert (entry.entry, entry.by, stamp(entry.at)) == ("covered", "Dario", tapped)
    again = phone.say("answer", alert="wash-1", answer="done", at=tapped, id=word)
    assert again.status_code == 200
    assert len(log_of(site)) == 1
    with site.db() as db:
        assert answers(db) == ()


def test_what_waited_on_a_phone_is_not_the_last_word_for_coming_last(site, phone, links):
    """Suki tapped doing without a signal; Dario said cannot; then Suki's phone is back."""
    raise_alert(site)
    suki = Phone(site).comes_in(links["chief"], "Suki")
    tapped_at = now() - timedelta(minutes=9)
    phone.say("answer", alert="wash-1", answer="cannot", because="no-lift")
    late = suki.say("answer", alert="wash-1", answer="doing", at=stamp(tapped_at))
    assert late.status_code == 201
    with site.db() as db:
        assert [a.answer for a in answers(db)] == ["doing", "cannot"]
        (open_one,) = standing(db, site.place.show, now())
    assert open_one.answers[-1].answer == "cannot"


def changed(site, **more):
    """The number of the change that a page shows, and then the order becomes another."""
    raise_alert(site, position="wash", fixtures=("WASH",))
    with site.db() as db:
        (stands,) = standing(db, site.place.show, now())
    raise_alert(site, **more)
    return str(stands.stored.change_id)


@pytest.mark.parametrize("at", [None, 25])
@pytest.mark.parametrize("accept", [HTML, "application/json"])
def test_done_on_a_page_that_says_cover_never_says_isolated(site, phone, at, accept):
    """The order became isolate after the page was made: the lamp is covered, and still live."""
    shown = changed(site, action="isolate", stage="overdue")
    said = {} if at is None else {"at": stamp(now() - timedelta(minutes=at))}
    kept = phone.say("answer", accept, alert="wash-1", answer="done", shown=shown, note="x", **said)
    assert kept.status_code == (303 if accept == HTML else 201)
    (entry,) = log_of(site)
    assert (entry.entry, entry.position, entry.note) == ("covered", "wash", "x")
    with site.db() as db:
        assert answers(db) == ()
        (stands,) = standing(db, site.place.show, now())
    assert stands.alert.action == "isolate"
    if accept != HTML:
        assert "it is to isolate now" in kept.json()["notes"][0]


@pytest.mark.parametrize("answer", ["doing", "cannot", "not-needed"])
def test_nobody_sees_to_work_that_their_page_did_not_show(site, phone, answer):
    shown = changed(site, action="isolate", stage="overdue")
    refused = phone.say("answer", alert="wash-1", answer=answer, shown=shown)
    assert (refused.status_code, refused.json()["then"]) == (422, "never")
    assert [p["code"] for p in refused.json()["problems"]] == ["order-changed"]
    with site.db() as db:
        assert answers(db) == ()


def test_done_is_of_the_fixtures_that_the_page_showed_and_no_more(tmp_path):
    show_folder(tmp_path)
    rows = "\n".join(f"W{n},IP20,wash" for n in (1, 2, 3))
    (tmp_path / "fixtures.csv").write_text(f"id,code,position\n{rows}\n")
    with served(tmp_path) as site:
        phone = Phone(site).comes_in(links_of(site)["crew"])
        raise_alert(site, fixtures=("W1", "W2"))
        with site.db() as db:
            (stands,) = standing(db, site.place.show, now())
        raise_alert(site, fixtures=("W1", "W2", "W3"))
        kept = phone.say(
            "answer", alert="wash-1", answer="done", shown=str(stands.stored.change_id)
        )
        assert kept.status_code == 201
        assert sorted(entry.fixture for entry in log_of(site)) == ["W1", "W2"]
        with site.db() as db:
            (given,) = answers(db)
        assert (given.answer, given.fixtures) == ("done", ("W1", "W2"))


@pytest.mark.parametrize("shown", ["x", "-1", "1e3", "٣", "1" * 10])
def test_what_is_no_number_of_a_change(site, phone, shown):
    raise_alert(site)
    refused = phone.say("answer", alert="wash-1", answer="doing", shown=shown)
    assert refused.status_code == 422
    assert [p["key"] for p in refused.json()["problems"]] == ["shown"]


@pytest.mark.parametrize(("answer", "action"), [("doing", "cover"), ("done", "inspect")])
def test_any_other_answer_to_an_alert_that_has_ended_is_refused_for_good(
    site, phone, answer, action
):
    ended(site, action)
    refused = phone.say("answer", alert="wash-1", answer=answer, at=stamp(now()))
    assert (refused.status_code, refused.json()["then"]) == (422, "never")
    assert [p["code"] for p in refused.json()["problems"]] == ["alert-ended"]


# ---------------------------------------------------------------- declarations


def test_a_declaration_is_somebodys_and_is_told_what_speaks_against_it(site, phone):
    raise_alert(site, "stop-1", action=None, kind="stop", stage="stop", position=None, fixtures=())
    tapped = stamp(now() - timedelta(minutes=1))
    kept = phone.say("declare", what="height", note="looked", at=tapped)
    assert kept.status_code == 201
    assert any("stop" in note for note in kept.json()["notes"])
    with site.db() as db:
        (made,) = declared(db)
    assert (made.what, made.by, made.note, stamp(made.at)) == ("height", "Dario", "looked", tapped)


def test_a_fast_phone_declares_nothing_that_is_still_to_come(site, phone):
    fast = stamp(now() + timedelta(minutes=4))
    assert phone.say("declare", what="power", position="wash", at=fast).status_code == 201
    with site.db() as db:
        assert declared(db)[0].at <= now()


# ---------------------------------------------------------------- who may not


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("log", {"entry": "covered", "position": "wash"}),
        ("answer", {"alert": "wash-1", "answer": "done"}),
        ("declare", {"what": "height"}),
    ],
)
def test_a_guest_changes_nothing(site, links, kind, fields):
    raise_alert(site)
    guest = Phone(site).comes_in(links["guest"], "Client")
    before = site.contents()
    refused = guest.say(kind, **fields)
    assert (refused.status_code, refused.json()["then"]) == (403, "never")
    assert guest.say(kind, HTML, **fields).status_code == 403
    assert site.contents() == before
    assert Phone(site).comes_in(links["chief"], "Ines").say(kind, **fields).status_code == 201


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "https://elsewhere.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"},
     {"Origin": None, "Sec-Fetch-Site": "same-site"}],
)  # fmt: skip
def test_no_page_elsewhere_says_anything_with_this_cookie(site, phone, headers):
    said = {"csrf": phone.token(), "id": new_id(), "entry": "covered", "position": "wash"}
    refused = phone.post("/say/log", said, headers=headers)
    assert refused.status_code == 403
    assert log_of(site) == ()


def test_a_form_of_another_device_is_loaded_again(site, links, phone):
    other = Phone(site).comes_in(links["crew"], "Suki")
    for token in ("", "x", other.token(), phone.token()[:-1], "é"):
        refused = phone.say("log", csrf=token, entry="covered", position="wash")
        assert (refused.status_code, refused.json()["then"]) == (403, "reload")
    assert log_of(site) == ()


def test_a_page_that_stayed_open_while_its_device_signed_in_anew_is_loaded_again(
    site, phone, links
):
    old = phone.token()
    phone.comes_in(links["chief"], "Ines")
    refused = phone.say("log", csrf=old, entry="covered", position="wash")
    assert (refused.status_code, refused.json()["then"]) == (403, "reload")


def test_withdrawn_between_looking_and_keeping_nothing_is_kept(site, links, monkeypatch):
    """The link is withdrawn after the phone's word was let in and before it is written."""
    phone = Phone(site).comes_in(links["crew"])

    def withdrawing(*args, **more):
        with site.db() as db:
            withdraw_link(db, "crew link", now())
        return tapped(*args, **more)

    monkeypatch.setattr("monitor.web.saying.tapped", withdrawing)
    refused = phone.say("log", entry="covered", position="wash")
    assert (refused.status_code, refused.json()["then"]) == (401, "sign-in")
    assert log_of(site) == ()


def test_nobody_writes_in_another_name(site, phone):
    refused = phone.say("log", entry="covered", position="wash", by="Ines")
    assert [p["code"] for p in refused.json()["problems"]] == ["unknown-key"]


# ---------------------------------------------------------------- what cannot be kept


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"entry": "cowered"}, "entry"),
        ({"entry": ""}, "entry"),
        ({"position": "nowhere"}, "position"),
        ({"position": ""}, "position"),
        ({"alert": "wash-1"}, "position"),
        ({"count": "7 of 6"}, "count"),
        ({"id": "short"}, "id"),
        ({"id": "a b c d e f g h"}, "id"),
        ({"note": "x" * 1001}, "note"),
        ({"at": "yesterday"}, "at"),
        ({"at": timedelta(minutes=6)}, "at"),
        ({"at": -timedelta(days=7, minutes=1)}, "at"),
        ({"unknown": "x"}, "unknown"),
    ],
)
def test_what_is_wrong_is_named_and_lasts(site, phone, changed, key):
    # from now: the list is made when tests are gathered, which may be minutes ago
    timed = {k: stamp(now() + v) if isinstance(v, timedelta) else v for k, v in changed.items()}
    said = {"entry": "covered", "position": "wash", **timed}
    refused = phone.say("log", **said)
    told = refused.json()
    assert (refused.status_code, told["kept"], told["then"]) == (422, False, "never")
    assert key in [p["key"] for p in told["problems"]]
    page = phone.say("log", HTML, back="/rig/wash", **said)
    assert page.status_code == 422
    assert 'href="/rig/wash"' in page.text
    assert log_of(site) == ()


def test_as_old_as_may_be(site, phone):
    oldest = stamp(now() - timedelta(days=6, hours=23, minutes=59))
    assert phone.say("log", entry="put-out", position="wash", at=oldest).status_code == 201


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"a=" + b"x" * 17_000, {}, 413),
        (b"&".join(b"k%d=v" % n for n in range(31)), {}, 400),
        (b"note=%ff%fe", {}, 400),
        (b"{}", {"Content-Type": "application/json"}, 415),
        (b"a=b", {"Content-Encoding": "gzip"}, 415),
        (b"a=b", {"Content-Type": "multipart/form-data; boundary=x"}, 415),
    ],
)
def test_what_is_no_form_of_ours_is_refused_for_good(site, phone, body, headers, status):
    headers = {"Content-Type": "application/x-www-form-urlencoded", **headers}
    answer = phone.post("/say/log", body, "application/json", headers=headers)
    assert (answer.status_code, answer.json()["then"]) == (status, "never")
    assert log_of(site) == ()


def test_a_get_says_nothing(site, phone):
    for kind in ("log", "answer", "declare"):
        assert phone.get(f"/say/{kind}?entry=covered&position=wash").status_code == 405
    assert log_of(site) == ()


def test_while_the_database_is_held_it_is_to_be_sent_again(tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.web.place.BUSY_S", 0.1)
    with served(show_folder(tmp_path / "show")) as site:
        phone = Phone(site).comes_in(links_of(site)["crew"])
        said = {"entry": "covered", "position": "wash", "at": stamp(now()), "id": new_id()}
        with site.db() as db, immediate(db):
            refused = phone.say("log", **said)
            assert (refused.status_code, refused.json()["then"]) == (503, "again")
            assert int(refused.headers["Retry-After"]) >= 1
        assert phone.say("log", **said).status_code == 201
        assert len(log_of(site)) == 1


def test_while_the_database_is_held_whoever_only_looks_does_not_wait(tmp_path, monkeypatch):
    """More phones say something than the server has threads, and all of it has to wait."""
    monkeypatch.setattr("monitor.web.place.BUSY_S", 3.0)
    monkeypatch.setattr("monitor.web.place.TURN_S", 0.05)
    with served(show_folder(tmp_path / "show")) as site:
        crew = links_of(site)["crew"]
        phones = [Phone(site).comes_in(crew, f"C{n}") for n in range(8)]
        ids, found = [new_id() for _ in phones], []

        def say(n):
            said = phones[n].say("log", id=ids[n], entry="wet", position="wash")
            found.append((said.status_code, said.json().get("then")))

        threads = [threading.Thread(target=say, args=(n,)) for n in range(8)]
        with site.db() as db, immediate(db):
            for thread in threads:
                thread.start()
            time.sleep(0.3)
            began = time.monotonic()
            assert phones[0].get("/").status_code == 200
            assert time.monotonic() - began < 2
        for thread in threads:
            thread.join(20)
        # two waited and were kept; the others send it again a little later
        assert {(201, None), (503, "again")} == {*found}
        for n in range(8):
            say(n)
        assert len(log_of(site)) == 8


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("tower \U0001f477\u200d\u2642\ufe0f up", "tower \U0001f477\u2642 up"),
        ("\u200f\u05e9\u05dc\u05d5\u05dd", "\u05e9\u05dc\u05d5\u05dd"),
        ("soft\u00adly\ufeff", "softly"),
        ("two\r\nlines", "two lines"),
        ("a sign of tomorrow \U0003fffd", "a sign of tomorrow \ufffd"),
        ("turned \u202e around", "turned \ufffd around"),
        ("\u200b", None),
    ],
)
def test_a_note_is_kept_as_a_phone_typed_it(site, phone, typed, kept):
    """Without what nobody sees, which keyboards set by themselves; no word is lost for a sign."""
    said = phone.say("log", entry="wet", position="wash", note=typed)
    assert said.status_code == 201, said.text
    assert [entry.note for entry in log_of(site)] == [kept]


# ---------------------------------------------------------------- the way back


def test_a_form_is_sent_back_to_its_page_with_a_word_that_is_this_device_s(site, phone, links):
    answer = phone.say("log", HTML, entry="covered", position="wash", back="/rig/wash")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/rig/wash")
    sent = answer.headers["Set-Cookie"]
    assert re.match(r"kept=[A-Za-z0-9_=-]+\.[A-Za-z0-9_-]{43};", sent)
    assert {"HttpOnly", "SameSite=Lax", "Max-Age=60"} <= {p.strip() for p in sent.split(";")}

    class Asked:
        cookies = {"kept": phone.browser.cookies["kept"]}

    kept = kept_of(Asked, phone.secret)
    assert (kept.what, kept.position) == ("covered", "wash")
    other = Phone(site).comes_in(links["crew"], "Suki")
    assert kept_of(Asked, other.secret) is None
    for forged in ("", "x", "x.y", Asked.cookies["kept"][:-1], "é.é"):
        Asked.cookies = {"kept": forged}
        assert kept_of(Asked, phone.secret) is None


def test_a_word_with_long_notes_still_fits_into_a_cookie(site, phone):
    """Browsers drop a cookie of more than 4096 bytes without a word (RFC 6265, 6.1)."""
    raise_alert(site, "stop-1", action=None, kind="stop", stage="stop", position=None, fixtures=())
    answer = phone.say("declare", HTML, what="power", note="x" * 1000)
    assert answer.status_code == 303
    assert len(answer.headers["Set-Cookie"].split(";")[0]) < 4096


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        (None, "/"),
        ("/", "/"),
        ("/rig/wash", "/rig/wash"),
        ("/rig/Bühne", "/rig/B%C3%BChne"),
        ("/rig/B%C3%BChne", "/rig/B%C3%BChne"),
        ("/rig/a+b.c-d", "/rig/a%2Bb.c-d"),
        ("/history?page=2", "/history"),
        ("/#alert-1", "/#alert-1"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("///elsewhere.example", "/"),
        ("/\\elsewhere.example", "/"),
        ("\\\\elsewhere.example", "/"),
        ("/%2Felsewhere.example", "/"),
        ("/%5Celsewhere.example", "/"),
        ("/../x", "/"),
        ("/a/../../x", "/"),
        ("/a/%2e%2e/x", "/"),
        ("javascript:alert(1)", "/"),
        ("/a\r\nSet-Cookie: x=y", "/"),
        ("/a%0d%0aSet-Cookie:%20x=y", "/"),
        ("/a\tb", "/"),
        ("rig", "/"),
        ("/" + "x" * 300, "/"),
        ("/rig#a\r\nb", "/rig#a%0D%0Ab"),
    ],
)
def test_the_way_back_leads_nowhere_else(asked, found):
    assert way_back(asked) == found


# ---------------------------------------------------------------- rain, and what was a mistake


def test_that_it_rains_here_is_kept_as_the_crews_word_of_that_moment(site, phone):
    began = now() - timedelta(minutes=5)
    word = {"rain": "falls", "at": stamp(began), "id": new_id()}
    assert phone.say("rain", **word).status_code == 201
    assert phone.say("rain", **word).json()["known"] is True
    assert phone.say("rain", rain="stopped").status_code == 201
    with site.db() as db:
        found = [stored.reading for stored in readings_after(db)]
    assert [(one.station, one.raining, one.by) for one in found] == [
        ("crew", True, "Dario"),
        ("crew", False, "Dario"),
    ]
    assert stamp(found[0].at) == stamp(began)


@pytest.mark.parametrize(
    ("fields", "code"), [({}, "missing-key"), ({"rain": "a bit"}, "unknown-value")]
)
def test_a_word_on_rain_that_says_neither_is_refused(site, phone, fields, code):
    refused = phone.say("rain", **fields)
    assert refused.status_code == 422
    assert [p["code"] for p in refused.json()["problems"]] == [code]
    with site.db() as db:
        assert readings_after(db) == ()


def test_what_was_logged_by_mistake_is_taken_back_on_the_page(site, phone):
    phone.say("log", entry="covered", position="wash")
    (number,) = (row["id"] for row in site.rows("log_entries"))
    word = {"number": str(number), "id": new_id()}
    told = phone.say("take-back", **word)
    assert told.status_code == 201
    assert told.json()["says"].startswith("Taken back: ")
    assert log_of(site) == ()
    # sent again it is known; said anew, it was taken back before
    assert phone.say("take-back", **word).json()["known"] is True
    again = phone.say("take-back", number=str(number))
    assert [p["code"] for p in again.json()["problems"]] == ["replaced-entry"]
    shown = phone.get("/history").text
    assert "taken back: covered" in shown
    assert "counts no more" in shown
    with site.db() as db:
        assert verify(db).ok


def test_an_entry_taken_back_on_the_command_line_leaves_the_history_whole(site, phone):
    phone.say("log", entry="covered", position="wash")
    with site.db() as db:
        (row,) = written(db, site.place.show)
        withdraw(db, [str(row.number)], Withdrawal("Odile", "wrong stage"), now(), "--withdraw")
    page = phone.get("/history")
    assert page.status_code == 200
    assert "taken back: covered" in page.text
    assert "wrong stage" in page.text


def test_a_guest_says_nothing_of_rain_and_takes_nothing_back(site, phone, links):
    phone.say("log", entry="covered", position="wash")
    (number,) = (row["id"] for row in site.rows("log_entries"))
    guest = Phone(site).comes_in(links["guest"], "Visitor")
    assert guest.say("rain", rain="falls").status_code == 403
    assert guest.say("take-back", number=str(number)).status_code == 403
    assert len(log_of(site)) == 1
    assert site.rows("readings") == []


def stops(site):
    raise_alert(site, "site-1", None, "stop", None, stage="stop", fixtures=())


def test_power_logged_as_on_is_told_what_speaks_against_it(site, phone):
    """A stop for thunder over the whole site, and an order to isolate that stands there."""
    stops(site)
    raise_alert(site, action="isolate", stage="overdue")
    told = phone.say("log", entry="energised", position="wash").json()
    assert told["kept"]
    assert any("The stop at the site" in note for note in told["notes"])
    assert any(note.startswith("The order to isolate still stands at ") for note in told["notes"])
    calm = phone.say("log", entry="isolated", position="wash").json()
    assert calm["notes"] == []


def test_a_declaration_against_a_stop_is_not_told_as_open(site, phone):
    stops(site)
    told = phone.say("declare", what="height").json()
    assert told["says"].startswith("Kept as said, but this speaks against it: ")
    assert told["notes"][0].startswith("The stop at the site")
