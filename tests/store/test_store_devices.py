"""Links and devices: found by a digest, ended together, and who was let in when kept for good."""

from __future__ import annotations

import base64
import hashlib
import sqlite3
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain import BadInputError
from monitor.store import database
from monitor.store import devices as devices_module
from monitor.store.chain import verify
from monitor.store.database import immediate, open_database
from monitor.store.devices import (
    LONGEST_NAME,
    device_of,
    devices,
    link_of,
    links,
    make_link,
    note_said,
    plain_name,
    sign_in,
    sign_out,
    was_in,
    withdraw_link,
)
from monitor.store.schema import STEPS

AT = datetime(2027, 7, 15, 12, tzinfo=UTC)


@pytest.fixture
def db(tmp_path):
    with closing(open_database(tmp_path / "dryspell.db")) as db:
        yield db


def link(db, role="crew", name="Night crew"):
    return link_of(db, make_link(db, role, name, AT))


def access(db):
    rows = db.query("SELECT what, role, link, device, given_by FROM access_changes ORDER BY id")
    return [tuple(row.values()) for row in rows]


def test_a_secret_is_32_random_bytes_and_only_its_digest_is_kept(db):
    made = [make_link(db, "crew", f"L{n}", AT) for n in range(20)]
    made += [sign_in(db, link_of(db, secret), "D", AT)[1] for secret in made]
    assert len(set(made)) == 40
    assert {len(base64.urlsafe_b64decode(secret + "=")) for secret in made} == {32}
    kept = [row["digest"] for row in db.query("SELECT digest FROM links ORDER BY id")]
    kept += [row["digest"] for row in db.query("SELECT digest FROM devices ORDER BY id")]
    assert kept == [hashlib.sha256(secret.encode()).hexdigest() for secret in made]


@pytest.mark.parametrize("wrong", ["", "x", "A" * 43, "A" * 44, "é" * 43, "\x00", "A" * 42 + "\n"])
def test_what_is_no_secret_of_ours_is_nobodys(db, wrong):
    sign_in(db, link(db), "Dario", AT)
    assert (link_of(db, wrong), device_of(db, wrong), was_in(db, wrong)) == (None, None, False)


def test_a_digest_is_no_secret_and_a_link_no_device(db):
    secret = make_link(db, "crew", "Night crew", AT)
    _, cookie = sign_in(db, link_of(db, secret), "Dario", AT)
    assert device_of(db, hashlib.sha256(cookie.encode()).hexdigest()[:43]) is None
    assert device_of(db, secret) is None
    assert link_of(db, cookie) is None


def test_who_was_let_in_when_is_in_the_chain_and_is_never_altered(db):
    way = link(db)
    dario, _ = sign_in(db, way, "Dario", AT + timedelta(hours=1))
    sign_in(db, way, "Suki", AT + timedelta(hours=2))
    sign_out(db, dario, AT + timedelta(hours=3))
    withdraw_link(db, "Night crew", AT + timedelta(hours=4), "Ines")
    assert access(db) == [
        ("link-made", "crew", "Night crew", None, None),
        ("came-in", "crew", "Night crew", "Dario", "Dario"),
        ("came-in", "crew", "Night crew", "Suki", "Suki"),
        ("went-out", "crew", "Night crew", "Dario", "Dario"),
        ("link-withdrawn", "crew", "Night crew", None, "Ines"),
        ("went-out", "crew", "Night crew", "Suki", "Ines"),
    ]
    assert verify(db).ok
    for change in ("UPDATE access_changes SET role = 'chief'", "DELETE FROM access_changes"):
        with pytest.raises(sqlite3.IntegrityError, match="history is never"):
            db.execute(change)
    db.execute("DROP TRIGGER access_changes_unaltered")
    db.execute("UPDATE access_changes SET device = 'Ines' WHERE id = 2")
    found = verify(db)
    assert (found.ok, found.first_bad) == (False, 2)


def test_withdrawing_ends_all_or_nothing(db, monkeypatch):
    way = link(db)
    cookies = [sign_in(db, way, name, AT)[1] for name in ("Dario", "Suki", "Ines")]
    before = access(db)
    ended = []

    def failing(*args, **more):
        ended.append(args)
        if len(ended) == 3:
            raise sqlite3.OperationalError("disk I/O error")
        return add(*args, **more)

    add = devices_module.chain.add
    monkeypatch.setattr(devices_module.chain, "add", failing)
    with pytest.raises(sqlite3.OperationalError):
        withdraw_link(db, "Night crew", AT)
    monkeypatch.undo()
    assert access(db) == before
    assert all(device_of(db, cookie) for cookie in cookies)
    assert withdraw_link(db, "Night crew", AT) == ("Dario", "Suki", "Ines")
    assert not any(device_of(db, cookie) for cookie in cookies)
    assert all(was_in(db, cookie) for cookie in cookies)


def test_out_once_is_out_for_good(db):
    dario, cookie = sign_in(db, link(db), "Dario", AT)
    assert sign_out(db, dario, AT)
    assert not sign_out(db, dario, AT)
    assert device_of(db, cookie) is None
    assert [row[0] for row in access(db)].count("went-out") == 1


def test_nobody_comes_in_by_a_link_withdrawn_meanwhile(db):
    way = link(db)
    withdraw_link(db, way.name, AT)
    with pytest.raises(BadInputError, match="withdrawn"):
        sign_in(db, way, "Dario", AT)
    assert devices(db) == ()


def test_the_last_word_is_noted_once_a_minute(db):
    _, cookie = sign_in(db, link(db), "Dario", AT)
    for seconds in (0, 59, 60, 61):
        note_said(db, device_of(db, cookie), AT + timedelta(seconds=seconds))
    assert devices(db)[0].last_said_at == AT + timedelta(seconds=60)
    # a clock that was set back does not silence it
    note_said(db, device_of(db, cookie), AT)
    assert devices(db)[0].last_said_at == AT


def test_eight_devices_at_once_never_share_a_name(tmp_path):
    path = tmp_path / "dryspell.db"
    with closing(open_database(path)) as db:
        way = link(db)
        named = []

        def come_in():
            with closing(open_database(path)) as own:
                named.append(sign_in(own, way, "Dario", AT)[0].name)

        threads = [threading.Thread(target=come_in) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(named) == ["Dario", *(f"Dario {n}" for n in range(2, 9))]
        assert verify(db).ok


@given(st.text(max_size=60))
def test_a_name_is_one_plain_line_or_refused(typed):
    try:
        name = plain_name(typed, "name")
    except BadInputError:
        return
    assert 0 < len(name) <= LONGEST_NAME
    assert name.isprintable()
    assert name == " ".join(name.split())
    assert plain_name(name, "name") == name


def test_a_database_of_before_takes_the_new_tables(tmp_path, monkeypatch):
    path = tmp_path / "dryspell.db"
    with monkeypatch.context() as before:
        before.setattr(database, "STEPS", STEPS[:6])
        with closing(open_database(path)) as db:
            assert "links" not in db.table_names()
    with closing(open_database(path)) as db:
        sign_in(db, link(db), "Dario", AT)
        with immediate(db):
            assert [one.name for one in links(db)] == ["Night crew"]
        assert verify(db).ok
