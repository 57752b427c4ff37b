"""Warning services asked over real HTTP: each message once, and what cannot be read is said."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest
from test_warned_geojson import body as features
from test_warned_geojson import feature
from warned_samples import (
    FAR_FROM_THE_SITE,
    NOON,
    ROUND_THE_SITE,
    atom,
    atom_entry,
    cap,
    reference,
    rss,
    section,
    show_with_warnings,
)
from warned_server import warning_office

from monitor.alerts.official_reading import cannot_be_read
from monitor.feeds.line import Lines
from monitor.service import warned_polling
from monitor.service.asking import Asking
from monitor.service.warned import WarningsKept
from monitor.service.warned_polling import forget_next_warnings, poll_warnings, service_sights
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.history import recall
from monitor.store.warnings import message_bytes, stored_messages

BOMB = (
    b'<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    b"<alert>&b;</alert>"
)


@dataclass
class Desk:
    """A show with one warning service, its database and a clock."""

    show: Any
    db: Any
    folder: Any
    now: datetime = NOON

    def poll(self, **more: Any):
        asking = Asking(self.show, self.folder, lambda _: "", lambda: self.now, lambda: 0.0)
        return poll_warnings(self.db, asking, **more)

    def poll_one(self, **more: Any):
        (found,) = self.poll(**more)
        return found

    def later(self, **span: float) -> None:
        self.now += timedelta(**span)

    def in_force(self) -> list[str]:
        kept = WarningsKept()
        kept.catch_up(self.db, self.show, self.now)
        return [w.identifier for w in kept.in_force(self.show, self.now)]

    def sight(self):
        (found,) = service_sights(self.db, self.show)
        return found

    def memory(self) -> dict[str, Any]:
        return recall(self.db, "warnings/Office")

    def next_in(self) -> float:
        """Seconds until it is asked again."""
        return (datetime.fromisoformat(self.memory()["next_try_at"]) - self.now).total_seconds()


@pytest.fixture
def office():
    with warning_office() as made:
        yield made


@pytest.fixture
def desk(tmp_path, office):
    opened = []

    def make(path: str = "/index", **more: Any) -> Desk:
        folder = tmp_path / f"show{len(opened)}"
        show = show_with_warnings(folder, section("Office", f"{office.url}{path}", **more))
        db = open_database(folder / "dryspell.db")
        opened.append(db)
        return Desk(show, db, folder)

    yield make
    for db in opened:
        db.conn.close()


# ---------------------------------------------------------------- fetched once each


def test_each_message_is_fetched_once(office, desk):
    office.put("/index", atom(atom_entry("/w1"), atom_entry("/w2")))
    office.put("/w1", cap("W1"))
    office.put("/w2", cap("W2", polygon=FAR_FROM_THE_SITE))
    made = desk()
    first = made.poll_one()
    assert first.ok
    assert first.has_new
    assert made.in_force() == ["W1"]
    made.later(minutes=9)
    assert made.poll() == []  # every ten minutes, not before
    made.later(minutes=1)
    again = made.poll_one()
    assert again.ok
    assert not again.has_new
    assert office.asked == {"/index": 2, "/w1": 1, "/w2": 1}


def test_what_came_is_kept_as_it_came(office, desk):
    office.put("/index", rss(f"{office.url}/w1"))
    office.put("/w1", cap("W1"))
    made = desk()
    made.poll()
    (kept,) = stored_messages(made.db)
    assert message_bytes(made.db, kept.id) == cap("W1")
    assert kept.received_at == NOON
    assert verify(made.db).ok


def test_it_says_who_asks(office, desk):
    office.put("/index", atom())
    desk(contact="crew@example.org").poll()
    (headers,) = office.headers
    assert headers["User-Agent"].startswith("dryspell/")
    assert headers["User-Agent"].endswith(" crew@example.org")
    assert "application/cap+xml" in headers["Accept"]


def test_only_what_is_newer_is_asked_for(office, desk):
    office.put("/index", atom(atom_entry("/w1")), headers={"ETag": '"1"'})
    office.put("/w1", cap())
    made = desk()
    made.poll()
    made.later(minutes=10)
    assert made.poll_one().ok
    assert office.headers[-1]["If-None-Match"] == '"1"'
    assert made.sight().read_at == made.now
    made.later(minutes=10)
    assert made.poll_one().ok  # the tag outlives an answer without a body
    assert office.headers[-1]["If-None-Match"] == '"1"'
    assert office.asked["/w1"] == 1


def test_a_known_message_under_another_link_is_kept_once(office, desk):
    office.put("/index", atom(atom_entry("/w1"), atom_entry("/w1-again")))
    office.put("/w1", cap())
    office.put("/w1-again", cap())
    made = desk()
    made.poll()
    assert len(stored_messages(made.db)) == 1


def test_an_entry_that_has_changed_is_fetched_again(office, desk):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1"))
    made = desk()
    made.poll()
    office.put("/index", atom(atom_entry("/w1", updated="2027-07-15T12:09:00Z")))
    office.put(
        "/w1",
        cap("W2", msg_type="Update", sent=NOON + timedelta(minutes=9), references=reference("W1")),
    )
    made.later(minutes=10)
    made.poll()
    assert made.in_force() == ["W2"]


def test_what_the_index_places_elsewhere_or_calls_over_is_not_fetched(office, desk):
    first = "<cap:msgType>Alert</cap:msgType>"
    far = f"<cap:polygon>{FAR_FROM_THE_SITE}</cap:polygon>"
    near = f"<cap:polygon>{ROUND_THE_SITE}</cap:polygon>"
    over = "<cap:expires>2027-07-15T11:59:00+00:00</cap:expires>"
    update = "<cap:msgType>Update</cap:msgType>"
    office.put(
        "/index",
        atom(
            atom_entry("/far", more=first + far),
            atom_entry("/over", more=first + over),
            atom_entry("/near", more=first + near),
            # an update may take something back that was for the site
            atom_entry("/update", more=update + far + over),
        ),
    )
    office.put("/near", cap("N"))
    office.put("/update", cap("U", msg_type="Update", polygon=FAR_FROM_THE_SITE))
    made = desk()
    assert made.poll_one().ok
    assert office.asked == {"/index": 1, "/near": 1, "/update": 1}


def test_an_update_and_a_cancel(office, desk):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1"))
    made = desk()
    made.poll()
    assert made.in_force() == ["W1"]
    made.later(minutes=10)
    office.put("/index", atom(atom_entry("/w1"), atom_entry("/w2")))
    office.put("/w2", cap("W2", msg_type="Update", sent=made.now, references=reference("W1")))
    made.poll()
    assert made.in_force() == ["W2"]
    second_sent = made.now
    made.later(minutes=10)
    office.put("/index", atom(atom_entry("/w3")))
    office.put(
        "/w3",
        cap(
            "W3",
            msg_type="Cancel",
            sent=made.now,
            references=f"{reference('W1')} {reference('W2', second_sent)}",
            infos="",
        ),
    )
    made.poll()
    assert made.in_force() == []


def test_what_is_no_longer_listed_is_not_over(office, desk):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1"))
    made = desk()
    made.poll()
    office.put("/index", atom())
    made.later(minutes=10)
    assert made.poll_one().ok
    assert made.in_force() == ["W1"]
    made.now = NOON + timedelta(hours=4)
    assert made.in_force() == []


def test_tests_and_exercises_are_kept_and_not_in_force(office, desk):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", status="Test"))
    made = desk()
    made.poll()
    assert made.in_force() == []
    assert len(stored_messages(made.db)) == 1


def test_the_language_of_the_show(office, desk):
    infos = cap().partition(b"<info>")[2].rpartition(b"</info>")[0].decode()
    german = infos.replace("en-GB", "de-DE").replace("Yellow warning", "Gelbe Warnung")
    office.put("/one", cap(infos=f"<info>{infos}</info><info>{german}</info>"))
    made = desk("/one", language="de")
    made.poll()
    (kept,) = stored_messages(made.db)
    assert [w.language for w in kept.warnings] == ["de-DE"]


def test_an_index_that_moved(office, desk):
    office.put("/index", b"", status=302, headers={"Location": "/there"})
    office.put("/there", atom(atom_entry("/w1")))
    office.put("/w1", b"", status=301, headers={"Location": "/w1-there"})
    office.put("/w1-there", cap())
    made = desk()
    assert made.poll_one().ok
    assert made.in_force() == ["W1"]


@pytest.mark.parametrize("there", ["localhost", "[::1]", "127.0.0.2"])
def test_neither_index_nor_message_is_sent_on_into_the_sites_own_network(office, desk, there):
    # names and numbers of this machine stand for a router's or a camera's
    port = office.url.rpartition(":")[2]
    inside = {"Location": f"http://{there}:{port}/inside"}
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", b"", status=302, headers=inside)
    made = desk()
    found = made.poll_one()
    assert not found.ok
    assert f"the index links to {there.strip('[]')} without https" in found.says
    office.put("/index", b"", status=302, headers=inside)
    made.later(minutes=30)
    found = made.poll_one()
    assert not found.ok
    assert f"another host without a public name, {there.strip('[]')}" in found.says
    assert office.asked["/inside"] == 0


def test_the_geojson_form(office, desk):
    near = {"areaDesc": "Meadows", "references": [], "messageType": "Alert", "id": "N"}
    near |= {"sent": "2027-07-15T12:00:00+00:00", "expires": "2027-07-15T15:00:00+00:00"}
    near |= {"onset": None, "effective": None, "ends": None, "parameters": {}}
    office.put("/alerts?point=52.0,-2.0", features(feature(**near)), kind="application/geo+json")
    made = desk("/alerts?point=52.0,-2.0", form="geojson")
    assert made.poll_one().ok
    assert made.in_force() == ["N"]
    made.later(minutes=10)
    assert not made.poll_one().has_new
    assert "geo+json" in office.headers[-1]["Accept"]
    assert verify(made.db).ok


# ---------------------------------------------------------------- what cannot be read


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ({"body": b"<html>Sign in</html>", "kind": "text/html"}, "neither an Atom nor an RSS"),
        ({"body": BOMB}, "document type or entities"),
        ({"body": atom(atom_entry("/w1"))[:-30]}, "no whole XML"),
        ({"body": b""}, "no whole XML"),
        ({"body": b"down", "status": 503}, "is out of order (503)"),
        ({"body": b"", "status": 204}, "is out of order (204)"),
        ({"body": b"", "status": 304}, "is out of order (304)"),
        ({"body": b"who?", "status": 403}, "turns the request down (403)"),
        ({"body": b"", "status": 429}, "asks for fewer requests"),
    ],
    ids=str,
)
def test_an_index_that_cannot_be_read(office, desk, answer, says):
    office.put("/index", **answer)
    made = desk()
    found = made.poll_one()
    assert not found.ok
    assert says in found.says
    assert made.sight().failing == found.says
    assert made.sight().read_at is None
    assert cannot_be_read(made.sight(), made.now)


def test_nothing_listens(desk, office):
    made = desk()
    made.show = show_with_warnings(made.folder, section("Office", "http://127.0.0.1:9/index"))
    assert not made.poll_one().ok
    assert made.next_in() == 60


def test_it_is_asked_again_sooner_and_then_more_rarely(office, desk):
    office.put("/index", b"", status=503)
    made = desk()
    waits = []
    for _ in range(5):
        made.poll_one()
        waits.append(made.next_in())
        made.later(seconds=made.next_in())
    assert waits == [60, 120, 300, 600, 600]
    office.put("/index", atom())
    assert made.poll_one().ok
    assert made.next_in() == 600
    assert made.sight().failing is None


def test_patience_that_is_asked_for(office, desk):
    office.put("/index", b"", status=429, headers={"Retry-After": "1800"})
    made = desk()
    made.poll()
    assert made.next_in() == 1800
    office.put("/index", b"", status=403)
    made.later(minutes=30)
    made.poll()
    assert made.next_in() == 3600


def test_an_answer_that_wants_to_be_kept_long_is_asked_for_all_the_same(office, desk):
    # kept to two hours for a forecast; a warning waits for two polls at most
    expires = {"Expires": "Thu, 15 Jul 2027 18:00:00 GMT"}
    office.put("/index", atom(), headers=expires)
    made = desk()
    made.poll()
    assert made.next_in() == 1200


def test_one_message_that_cannot_be_read_is_a_trouble_while_it_is_listed(office, desk):
    office.put("/index", atom(atom_entry("/w1"), atom_entry("/bad"), atom_entry("/gone")))
    office.put("/w1", cap())
    office.put("/bad", BOMB)
    made = desk()
    found = made.poll_one()
    assert not found.ok
    assert "document type or entities" in found.says
    assert "and 1 more" in found.says
    # what could be read counts all the same
    assert made.in_force() == ["W1"]
    for _ in range(6):
        made.later(minutes=10)
        assert not made.poll_one().ok
    # three tries, no more
    assert office.asked["/bad"] == office.asked["/gone"] == 3
    assert office.asked["/w1"] == 1
    office.put("/index", atom(atom_entry("/w1")))
    made.later(minutes=10)
    assert made.poll_one().ok


def test_a_link_to_another_host_is_not_followed_and_is_said(office, desk):
    office.put("/index", atom(atom_entry("https://192.0.2.1/w1")))
    made = desk()
    found = made.poll_one()
    assert not found.ok
    assert "links to another host, 192.0.2.1" in found.says


def test_a_long_index_is_read_in_several_askings(office, desk):
    office.put("/index", atom(*(atom_entry(f"/w{i}") for i in range(4))), headers={"ETag": '"1"'})
    for i in range(4):
        office.put(f"/w{i}", cap(f"W{i}"))
    made = desk()
    step = timedelta(seconds=25)

    def clock() -> datetime:
        made.now += step
        return made.now

    asking = Asking(made.show, made.folder, lambda _: "", clock, lambda: 0.0)
    (first,) = poll_warnings(made.db, asking)
    assert not first.ok
    assert "more to be fetched" in first.says
    assert 0 < len(stored_messages(made.db)) < 4
    # it is under way, not lost
    assert not cannot_be_read(made.sight(), made.now)
    assert made.next_in() <= 60
    step = timedelta(0)
    made.later(minutes=1)
    (second,) = poll_warnings(made.db, asking)
    assert second.ok
    # the rest was not hidden by its own tag
    assert len(stored_messages(made.db)) == 4
    assert all(office.asked[f"/w{i}"] == 1 for i in range(4))


def test_a_message_that_asks_for_patience_ends_the_asking(office, desk):
    office.put("/index", atom(atom_entry("/w1"), atom_entry("/w2")))
    office.put("/w1", b"", status=429, headers={"Retry-After": "900"})
    office.put("/w2", cap())
    made = desk()
    assert not made.poll_one().ok
    assert office.asked["/w2"] == 0
    assert made.next_in() == 900


def test_a_service_that_was_read_is_not_lost_at_its_first_failure(office, desk):
    office.put("/index", atom())
    made = desk()
    made.poll()
    office.put("/index", b"", status=503)
    made.later(minutes=10)
    made.poll()
    assert made.sight().failing is not None
    assert not cannot_be_read(made.sight(), made.now)
    assert cannot_be_read(made.sight(), NOON + timedelta(minutes=31))


def test_another_address_is_asked_at_once_and_from_the_beginning(office, desk):
    office.put("/index", atom(atom_entry("/w1")), headers={"ETag": '"1"'})
    office.put("/other", atom(atom_entry("/w1")), headers={"ETag": '"1"'})
    office.put("/w1", cap())
    made = desk()
    made.poll()
    made.show = show_with_warnings(made.folder, section("Office", f"{office.url}/other"))
    assert not made.sight().asked
    assert made.poll_one().ok
    assert made.sight().asked


def test_the_clock_was_set_and_all_are_asked(office, desk):
    office.put("/index", atom())
    made = desk()
    made.poll()
    made.later(minutes=-5)
    assert made.poll() == []
    forget_next_warnings(made.db, made.show)
    assert len(made.poll()) == 1


def test_retry_asks_what_failed(office, desk):
    office.put("/index", b"", status=503)
    made = desk()
    made.poll()
    assert made.poll() == []
    office.put("/index", atom())
    assert made.poll_one(retry=True).ok
    assert made.poll(retry=True) == []


def test_stopped_from_outside_nothing_is_kept(office, desk):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap())
    lines = Lines()
    lines.cut()
    made = desk()
    assert made.poll(lines=lines) == []
    assert made.memory() is None
    assert stored_messages(made.db) == ()


def test_a_fault_of_ours_does_not_hold_up_the_next_service(office, desk, monkeypatch, caplog):
    office.put("/index", atom())
    made = desk()
    made.show = show_with_warnings(
        made.folder,
        section("Office", f"{office.url}/index"),
        section("Second", f"{office.url}/index"),
    )
    real = warned_polling.gather

    def breaking(source, *args, **more):
        if source.name == "Office":
            raise ZeroDivisionError
        return real(source, *args, **more)

    monkeypatch.setattr(warned_polling, "gather", breaking)
    first, second = made.poll()
    assert (first.ok, second.ok) == (False, True)
    assert "ZeroDivisionError" in first.says
    assert made.next_in() == 300


def test_memory_does_not_grow_with_what_is_gone(office, desk):
    made = desk()
    for i in range(5):
        office.put("/index", atom(atom_entry(f"/w{i}")))
        office.put(f"/w{i}", cap(f"W{i}"))
        made.poll()
        made.later(minutes=10)
    assert len(made.memory()["seen"]) == 1
    assert len(json.dumps(made.memory())) < 500
