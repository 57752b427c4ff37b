"""Log entries and answers posted: the rules of the command line, and each word kept once."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from web_site import bearer, now, raise_alert

from monitor.store.answers import answers
from monitor.store.chain import verify
from monitor.store.history import log_entries, stored_log
from monitor.store.tokens import holders, make_token, withdraw_token

LOG, ANSWERS = "/api/v1/log", "/api/v1/answers"


def word(**more):
    return {"id": str(uuid.uuid4()), **more}


def entries(site):
    with site.db() as db:
        return [(e.entry, e.position, e.fixture, e.by) for e in log_entries(db)]


# ---------------------------------------------------------------- log


def test_an_entry_is_kept_once_however_often_it_comes(site):
    one = word(entry="covered", position="wash", by="Ines", note="two hoods\n torn")
    first = site.post(LOG, one)
    assert first.status_code == 201
    body = first.json()
    assert (body["id"], body["known"]) == (one["id"], False)
    assert [(e["entry"], e["position"]) for e in body["logged"]] == [("covered", "wash")]
    again = site.post(LOG, one)
    assert (again.status_code, again.json()) == (200, {"id": one["id"], "known": True})
    assert entries(site) == [("covered", "wash", None, "Ines")]
    with site.db() as db:
        (kept,) = stored_log(db)
        assert (kept.key, kept.entry.note) == (one["id"], "two hoods torn")
        assert verify(db).ok


def test_the_same_id_for_something_else_is_a_conflict(site):
    one = word(entry="covered", position="wash")
    site.post(LOG, one)
    for other in ({**one, "entry": "uncovered"}, {**one, "by": "Ines"}):
        refused = site.post(LOG, other)
        assert refused.status_code == 409
        assert refused.json()["problems"][0]["code"] == "id-used"
    raise_alert(site)
    refused = site.post(ANSWERS, {"id": one["id"], "alert": "wash-1", "answer": "doing"})
    assert refused.status_code == 409
    assert len(entries(site)) == 1


def test_two_senders_of_one_id_are_told_and_neither_is_lost_unheard(site):
    raise_alert(site)
    for path, said in (
        (LOG, {"id": "00000001", "entry": "covered", "position": "wash"}),
        (ANSWERS, {"id": "00000002", "alert": "wash-1", "answer": "doing"}),
    ):
        assert site.post(path, said).status_code == 201
        with site.db() as db:
            other = make_token(db, f"tablet{said['id']}", now())
        refused = site.post(path, said, headers=bearer(other))
        assert refused.status_code == 409
        (problem,) = refused.json()["problems"]
        assert (problem["code"], problem["key"]) == ("id-used", "id")
        afresh = site.post(path, {**said, "id": f"1{said['id']}"}, headers=bearer(other))
        assert afresh.status_code == 201


def test_sent_again_under_the_token_that_took_its_place_it_is_known(site):
    # a phone whose token was replaced while it had no network
    one = word(entry="covered", position="wash")
    site.post(LOG, one)
    with site.db() as db:
        (first,) = holders(db)
        withdraw_token(db, first.name, now())
        other = make_token(db, "phone-2", now())
    again = site.post(LOG, one, headers=bearer(other))
    assert (again.status_code, again.json()["known"]) == (200, True)


def test_site_time_and_offsets(site):
    # load-in of the test show is today, so any past day will do: in July this zone is at +01:00
    site.post(LOG, word(entry="wet", position="wash", at="2020-07-15T13:00"))
    site.post(LOG, word(entry="wet", position="wash", at="2020-07-15T15:00+03:00"))
    with site.db() as db:
        assert [e.at for e in log_entries(db)] == [datetime(2020, 7, 15, 12, tzinfo=UTC)] * 2


def test_who_did_it_is_the_tokens_name_where_nobody_is_named(site):
    with site.db() as db:
        token = make_token(db, "stage-manager", now())
    site.post(LOG, word(entry="covered", position="wash"), headers=bearer(token))
    assert entries(site) == [("covered", "wash", None, "stage-manager")]


def test_for_an_alert_the_second_try_is_known_though_the_alert_has_changed(site):
    raise_alert(site, fixtures=("WASH", "SPOT"))
    one = word(entry="covered", alert="wash-1")
    assert site.post(LOG, one).status_code == 201
    raise_alert(site, fixtures=("SPOT",))
    assert site.post(LOG, one).status_code == 200
    assert entries(site)[0][:2] == ("covered", "wash")


def test_what_keeps_an_entry_from_counting_is_said(site):
    done = site.post(LOG, word(entry="covered", position="wash", count="3 of 6"))
    assert done.json()["notes"] == ["Until all of it is covered it counts as uncovered."]
    later = (now() + timedelta(minutes=4)).isoformat()
    done = site.post(LOG, word(entry="isolated", position="wash", at=later))
    assert done.json()["notes"] == ["That time is still to come: it counts from then on."]
    later = (now() + timedelta(minutes=6)).isoformat()
    refused = site.post(LOG, word(entry="isolated", position="wash", at=later))
    assert [(p["code"], p["key"]) for p in refused.json()["problems"]] == [("still-to-come", "at")]


BAD = [
    ({}, ["id", "entry", "position"]),
    (word(entry="covered"), ["position"]),
    (word(entry="covered", position="wash", fixture="WASH"), ["position"]),
    (word(entry="covered", position="wahs"), ["position"]),
    (word(entry="covred", position="wash"), ["entry"]),
    (word(entry="covered", position="wash", at="noon"), ["at"]),
    # clocks go back on 31 October 2027: half past one comes twice
    (word(entry="covered", position="wash", at="2027-10-31T01:30"), ["at"]),
    (word(entry="covered", position="wash", count="7 of 6"), ["count"]),
    (word(entry="moved", position="wash"), ["to"]),
    (word(entry="inspected", position="wash"), ["result"]),
    (word(entry="inspected", position="wash", result="soaked"), ["result"]),
    (word(entry="covered", position="wash", result="dry"), ["result"]),
    (word(entry="covered", alert="wash-9"), ["alert"]),
    ({"id": "1", "entry": "covered", "position": "wash"}, ["id"]),
    ({"id": "a b c d e f", "entry": "covered", "position": "wash"}, ["id"]),
    (word(entry="covered", position="wash", positon="wash"), ["positon"]),
    (word(entry="covered", position=7), ["position"]),
    (word(entry="covered", position="wash", by="x" * 1001), ["by"]),
    (word(entry="covered", position="wash", by=""), ["by"]),
    (word(entry="covered", position="wash", note="\ud800"), ["note"]),
    (word(entry="covered", position="wash", note="a\x00b"), ["note"]),
    # the body's faults and the show's, at once
    (
        word(entry="covered", position="wahs", count="x", noet="y", by=1),
        ["noet", "by", "position", "count"],
    ),
]


@pytest.mark.parametrize(
    ("body", "keys"), BAD, ids=lambda v: ",".join(v) if isinstance(v, list) else ""
)
def test_bad_entries_are_refused_whole_with_every_fault(site, body, keys):
    refused = site.post(LOG, body)
    assert refused.status_code == 422, refused.text
    assert refused.headers["Content-Type"] == "application/problem+json"
    problems = refused.json()["problems"]
    assert [problem["key"] for problem in problems] == keys
    assert all(problem["says"] and problem["remedy"] for problem in problems)
    assert entries(site) == []
    with site.db() as db:
        assert db.execute("SELECT count(*) FROM notes WHERE key LIKE 'word/%'").fetchone() == (0,)


@pytest.mark.parametrize("body", [[], [word()], "covered", 7, True])
def test_a_body_that_is_no_object(site, body):
    assert site.post(LOG, body).status_code == 422


def test_remedies_are_in_the_words_of_what_is_posted(site):
    refused = site.post(LOG, word(entry="moved", position="wash"))
    text = refused.text
    assert "--" not in text
    assert "Give to ID" in text


# ---------------------------------------------------------------- answers


@pytest.mark.parametrize("answer", ["doing", "cannot", "not-needed"])
def test_an_answer_is_kept_once_and_logs_nothing(site, answer):
    raise_alert(site)
    one = word(alert="wash-1", answer=answer, by="Ines")
    assert site.post(ANSWERS, one).status_code == 201
    assert site.post(ANSWERS, one).status_code == 200
    with site.db() as db:
        (kept,) = answers(db)
        assert verify(db).ok
    assert (kept.alert, kept.answer, kept.by) == ("wash-1", answer, "Ines")
    assert entries(site) == []


def test_done_logs_the_work_of_the_alert_once(site):
    raise_alert(site)
    one = word(alert="wash-1", answer="done", by="Ines")
    first = site.post(ANSWERS, one)
    assert first.status_code == 201
    assert [(e["entry"], e["position"]) for e in first.json()["logged"]] == [("covered", "wash")]
    assert site.post(ANSWERS, one).status_code == 200
    assert entries(site) == [("covered", "wash", None, "Ines")]


def test_answers_one_after_another_keep_the_earlier_ones(site):
    raise_alert(site)
    for answer in ("doing", "cannot"):
        site.post(ANSWERS, word(alert="wash-1", answer=answer))
    with site.db() as db:
        assert [kept.answer for kept in answers(db)] == ["doing", "cannot"]


@pytest.mark.parametrize(
    ("more", "keys"),
    [
        ({}, ["alert", "answer"]),
        ({"alert": "wash-9", "answer": "doing"}, ["alert"]),
        ({"alert": "wash-1", "answer": "later"}, ["answer"]),
        ({"alert": "look-1", "answer": "done"}, ["answer"]),
        ({"alert": "sky-1", "answer": "done"}, ["answer"]),
    ],
)
def test_bad_answers(site, more, keys):
    raise_alert(site)
    raise_alert(site, "look-1", action="inspect")
    raise_alert(site, "sky-1", action=None, kind="weather", position=None, fixtures=())
    refused = site.post(ANSWERS, word(**more))
    assert refused.status_code == 422
    assert [problem["key"] for problem in refused.json()["problems"]] == keys
    assert entries(site) == []
    with site.db() as db:
        assert answers(db) == ()


def test_cannot_with_its_reason_time_and_note(site):
    raise_alert(site)
    more = {"because": "too-windy", "until": "2099-07-15T23:30", "note": "gusts at the mast"}
    one = word(alert="wash-1", answer="cannot", by="Ines", **more)
    assert site.post(ANSWERS, one).status_code == 201
    assert site.post(ANSWERS, one).status_code == 200
    assert site.post(ANSWERS, {**one, "because": "no-lift"}).status_code == 409
    with site.db() as db:
        (kept,) = answers(db)
    # 23:30 in British Summer Time
    assert kept.until == datetime(2099, 7, 15, 22, 30, tzinfo=UTC)
    assert (kept.because, kept.note) == ("too-windy", "gusts at the mast")
    assert (kept.position, kept.family, kept.fixtures) == ("wash", "protect", ("WASH",))


@pytest.mark.parametrize(
    ("more", "keys"),
    [
        ({"answer": "cannot", "because": "tired"}, ["because"]),
        ({"answer": "cannot", "until": "soon"}, ["until"]),
        ({"answer": "cannot", "until": "2020-01-01T00:00"}, ["until"]),
        ({"answer": "doing", "because": "no-lift", "until": "23:00"}, ["because", "until"]),
        ({"answer": "cannot", "note": 7}, ["note"]),
        ({"answer": "cannot", "alert": "wash-9", "until": "soon"}, ["alert", "until"]),
    ],
)
def test_answers_that_make_no_sense(site, more, keys):
    raise_alert(site)
    refused = site.post(ANSWERS, word(**{"alert": "wash-1", **more}))
    assert refused.status_code == 422
    assert [problem["key"] for problem in refused.json()["problems"]] == keys
    with site.db() as db:
        assert answers(db) == ()


def test_an_alert_that_has_ended_is_not_answered_but_what_was_said_before_is_known(site):
    raise_alert(site)
    one = word(alert="wash-1", answer="doing")
    site.post(ANSWERS, one)
    raise_alert(site, stage="stood-down")
    refused = site.post(ANSWERS, word(alert="wash-1", answer="doing"))
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["code"] == "alert-ended"
    assert site.post(ANSWERS, one).status_code == 200
