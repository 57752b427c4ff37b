from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stored_samples import HOUR, MINUTE, NOON, alert, message

from monitor.domain import Outcome
from monitor.store.chain import verify
from monitor.store.database import immediate, open_database
from monitor.store.history import record_change
from monitor.store.outbox import (
    Hold,
    Send,
    cancel_older,
    deliveries,
    enqueue,
    expire,
    free_leases,
    lease,
    settle,
    undelivered,
)

SENT = Outcome(sent=True, detail="250 OK")
PASSING = Outcome(sent=False, detail="connection refused")
LASTING = Outcome(sent=False, lasting=True, detail="550 no such mailbox")
SECOND = timedelta(seconds=1)


def queue(db, number=1, at=NOON, lasts=6 * HOUR, contact="crew", to="a@example.org", **more):
    with immediate(db):
        return enqueue(db, message(number, **more), contact, to, at=at, expires_at=at + lasts)


def leased(db, now=NOON, seconds=60.0):
    row = lease(db, now, seconds)
    assert row is not None
    return row


# ------------------------------------------------------------ queueing


def test_a_message_is_queued_only_with_its_change(db):
    with pytest.raises(RuntimeError, match="in the transaction"):
        enqueue(db, message(), "crew", "a@example.org", at=NOON, expires_at=NOON)


def test_a_message_comes_back_whole(db):
    key = queue(db)
    row = leased(db)
    assert row.message == message()
    assert (row.id, row.contact, row.recipient) == (key, "crew", "a@example.org")
    assert (row.queued_at, row.expires_at, row.attempt) == (NOON, NOON + 6 * HOUR, 1)


def test_queued_twice_is_sent_once(db):
    assert queue(db) == queue(db, at=NOON + MINUTE)
    assert undelivered(db, NOON).waiting == 1


def test_each_recipient_contact_and_change_has_a_row_of_its_own(db):
    keys = {
        queue(db),
        queue(db, to="b@example.org"),
        queue(db, contact="office"),
        queue(db, stage="overdue"),
        queue(db, kind="watch"),
        queue(db, 2),
        queue(db, 3),
    }
    assert len(keys) == 7
    assert undelivered(db, NOON).by_contact == {"crew": 6, "office": 1}


def test_the_id_is_the_same_in_another_database(db, tmp_path):
    with open_database(tmp_path / "other.db") as other:
        queue(other, 9)
        assert queue(other) == queue(db)


def test_the_id_fits_a_header_as_it_is(db):
    key = queue(db, to='"odd name"@example.org')
    assert len(key) == 32
    assert set(key) <= set("0123456789abcdef")


def test_a_message_is_tied_to_the_change_it_tells_of(db):
    record_change(db, alert(1, "notice"), "rain later", NOON)
    with immediate(db):
        change = record_change(db, alert(1), "rain", NOON)
        enqueue(db, message(1), "crew", "a@example.org", at=NOON, expires_at=NOON + HOUR)
        enqueue(db, message("none", kind="watch"), "crew", "a@x", at=NOON, expires_at=NOON + HOUR)
    tied = db.execute("SELECT change FROM messages ORDER BY id").fetchall()
    assert tied == [(change,), (None,)]


# ------------------------------------------------------------ leasing


def test_what_has_been_due_longest_goes_first(db):
    queue(db, 1, at=NOON + MINUTE)
    queue(db, 2, at=NOON)
    assert leased(db, NOON + HOUR).message.alert_id == "alert-2"
    assert leased(db, NOON + HOUR).message.alert_id == "alert-1"
    assert lease(db, NOON + HOUR) is None


def test_a_stop_goes_before_all_else(db):
    queue(db, 1)
    queue(db, 2, at=NOON + MINUTE, kind="stop", stage="stop")
    queue(db, 3, at=NOON + 2 * MINUTE, stage="stop")
    later = NOON + HOUR
    assert [leased(db, later).message.alert_id for _ in range(3)] == [
        "alert-2",
        "alert-3",
        "alert-1",
    ]


def test_nothing_is_leased_before_its_time(db):
    queue(db, at=NOON)
    assert lease(db, NOON - SECOND) is None


def test_no_transaction_is_held_while_sending(db, path):
    queue(db)
    row = leased(db)
    assert not db.conn.in_transaction
    with open_database(path, wait_s=0.05) as other:
        record_change(other, alert(), "rain", NOON)
    settle(db, row, SENT, NOON)


def test_a_lease_that_runs_out_is_sent_again_under_the_same_id(db):
    queue(db)
    first = leased(db, NOON, seconds=60)
    assert lease(db, NOON + 59 * SECOND) is None
    second = leased(db, NOON + 60 * SECOND)
    assert (second.id, second.attempt) == (first.id, 2)


def test_at_the_start_nobody_else_is_sending(db):
    queue(db)
    leased(db)
    queue(db, 2, contact="office")
    settle(db, leased(db), PASSING, NOON)
    assert lease(db, NOON + SECOND) is None
    assert free_leases(db, NOON + SECOND) == 2
    assert {leased(db, NOON + SECOND).message.alert_id for _ in range(2)} == {"alert-1", "alert-2"}


def test_what_failed_before_goes_after_what_is_new_and_one_at_a_time_for_a_contact(db):
    for number in (1, 2):
        queue(db, number, to=f"{number}@example.org")
    for _ in range(2):
        settle(db, leased(db), PASSING, NOON)
    queue(db, 3, to="3@example.org", at=NOON + HOUR)
    queue(db, 4, contact="office", at=NOON + HOUR)
    order = [leased(db, NOON + HOUR).message.alert_id for _ in range(2)]
    assert order == ["alert-3", "alert-4"]
    # something is under way to the crew's server, which has failed lately: the others wait
    assert lease(db, NOON + HOUR) is None


# ------------------------------------------------------------ held, and told together


def held(until):
    return lambda row: Hold(until)


def alone(row):
    return Send(row.number)


def test_a_held_row_is_asked_about_again_at_its_moment(db):
    queue(db)
    assert lease(db, NOON, choose=held(NOON + 10 * MINUTE)) is None
    assert lease(db, NOON + 9 * MINUTE, choose=alone) is None
    left = undelivered(db, NOON + 9 * MINUTE)
    assert (left.waiting, left.oldest_age_s) == (1, None)
    assert undelivered(db, NOON + 12 * MINUTE).oldest_age_s == 120.0
    assert lease(db, NOON + 10 * MINUTE, choose=alone).attempt == 1


def test_many_that_are_held_keep_nobody_from_writing_for_long(db):
    for number in range(1, 252):
        queue(db, number, at=NOON + number * SECOND)
    asked, begun = [], []

    def choose(row):
        asked.append(row.number)
        return Send(row.number) if len(asked) == 251 else Hold(NOON + HOUR)

    db.conn.set_trace_callback(lambda said: begun.append(said) if "BEGIN" in said else None)
    row = lease(db, NOON + 10 * MINUTE, choose=choose)
    db.conn.set_trace_callback(None)
    # each is asked about once, in the order queued, a hundred at a time: 100, 100 and 51
    assert asked == sorted(set(asked))
    assert row.number == asked[-1]
    assert len(begun) == 3


def test_a_hold_is_reconsidered_at_the_start(db):
    queue(db)
    assert lease(db, NOON, choose=held(NOON + 3 * HOUR)) is None
    assert free_leases(db, NOON + SECOND) == 1
    assert leased(db, NOON + SECOND).attempt == 1


def joining(db, carrier=1, *others):
    numbers = {d.row.message.alert_id: d.row.number for d in deliveries(db)}
    choice = Send(numbers[f"alert-{carrier}"], tuple(numbers[f"alert-{n}"] for n in others))
    return lambda row: choice


def states(db):
    return {d.row.message.alert_id: d.state for d in deliveries(db)}


def test_what_goes_with_another_is_sent_with_it(db):
    for number in (1, 2, 3):
        queue(db, number)
    row = lease(db, NOON, choose=joining(db, 2, 1, 3))
    assert row.message.alert_id == "alert-2"
    assert [other.message.alert_id for other in row.joined] == ["alert-1", "alert-3"]
    assert lease(db, NOON, choose=alone) is None
    settle(db, row, SENT, NOON)
    assert set(states(db).values()) == {"sent"}
    assert deliveries(db)[0].detail == f"told with message {row.id}"
    assert verify(db).ok


def test_a_retry_takes_the_same_with_it(db):
    for number in (1, 2):
        queue(db, number)
    first = lease(db, NOON, choose=joining(db, 1, 2))
    settle(db, first, PASSING, NOON)
    again = leased(db, NOON + HOUR)
    assert (again.id, again.joined) == (first.id, first.joined)
    # and one that was under way when the machine was switched off
    free_leases(db, NOON + HOUR)
    after = leased(db, NOON + HOUR)
    assert (after.id, after.joined) == (first.id, first.joined)


@pytest.mark.parametrize("end", ["given up", "overtaken"])
def test_what_was_to_go_with_a_message_that_goes_no_more_is_sent_by_itself(db, end):
    for number in (1, 2):
        queue(db, number)
    row = lease(db, NOON, choose=joining(db, 1, 2))
    if end == "given up":
        settle(db, row, LASTING, NOON)
    else:
        settle(db, row, PASSING, NOON)
        cancel_older(db, "thread-1", "crew", "a@example.org", NOON)
    assert leased(db, NOON + SECOND).message.alert_id == "alert-2"


def test_what_is_overtaken_is_told_with_nothing(db):
    for number in (1, 2, 3):
        queue(db, number)
    row = lease(db, NOON, choose=joining(db, 1, 2, 3))
    settle(db, row, PASSING, NOON)
    cancel_older(db, "thread-3", "crew", "a@example.org", NOON)
    again = leased(db, NOON + HOUR)
    assert [other.message.alert_id for other in again.joined] == ["alert-2"]
    settle(db, again, SENT, NOON + HOUR)
    assert states(db) == {"alert-1": "sent", "alert-2": "sent", "alert-3": "cancelled"}


# ------------------------------------------------------------ settling


def test_sent_is_sent_for_good(db):
    queue(db)
    done = settle(db, leased(db), SENT, NOON + SECOND)
    assert (done.result, done.next_try_at) == ("sent", None)
    assert lease(db, NOON + HOUR) is None
    (delivery,) = deliveries(db)
    assert (delivery.state, delivery.settled_at, delivery.detail) == (
        "sent",
        NOON + SECOND,
        "250 OK",
    )
    assert undelivered(db, NOON).oldest_age_s is None


def test_the_pauses_between_attempts(db):
    """With jitter 0.5 the pause is as said: 1, 2, 5, 10, 20, 30, 30, ... minutes."""
    queue(db, lasts=24 * HOUR)
    now, pauses = NOON, []
    for _ in range(8):
        done = settle(db, leased(db, now), PASSING, now, jitter=0.5)
        assert done.result == "retry"
        pauses.append((done.next_try_at - now) / MINUTE)
        assert lease(db, done.next_try_at - SECOND) is None
        now = done.next_try_at
    assert pauses == [1, 2, 5, 10, 20, 30, 30, 30]


@pytest.mark.parametrize(("jitter", "pause_s"), [(0.0, 48), (0.25, 54), (0.75, 66)])
def test_a_pause_is_drawn_a_fifth_either_side(db, jitter, pause_s):
    # 60 s x (1 + 0.2 (2 j - 1)): j 0 -> 48, 0.25 -> 54, 0.75 -> 66
    queue(db)
    done = settle(db, leased(db), PASSING, NOON, jitter)
    assert (done.next_try_at - NOON).total_seconds() == pytest.approx(pause_s)


def test_a_server_that_asks_for_more_time_gets_it(db):
    queue(db)
    slow = Outcome(sent=False, retry_after_s=600.0)
    done = settle(db, leased(db), slow, NOON)
    assert done.next_try_at == NOON + 10 * MINUTE


def test_a_server_that_asks_for_less_does_not_shorten_the_pause(db):
    queue(db)
    done = settle(db, leased(db), Outcome(sent=False, retry_after_s=1.0), NOON)
    assert done.next_try_at == NOON + MINUTE


def test_a_server_that_asks_for_too_much_is_given_up_at_once(db):
    queue(db, lasts=HOUR)
    done = settle(db, leased(db), Outcome(sent=False, retry_after_s=3600.0), NOON)
    assert done.result == "given-up"


def test_a_lasting_failure_is_given_up_aloud(db):
    queue(db)
    done = settle(db, leased(db), LASTING, NOON)
    assert (done.result, done.detail) == ("given-up", "550 no such mailbox")
    assert done.row.message == message()
    assert lease(db, NOON + HOUR) is None
    left = undelivered(db, NOON)
    assert (left.waiting, left.given_up) == (0, 1)


def test_too_little_time_for_the_usual_pause_is_used_all_the_same(db):
    # The third pause is 5 min; after 1 + 2 min of a 7 min life 4 are left: half is 2 min.
    queue(db, lasts=7 * MINUTE)
    now = NOON
    for _ in range(2):
        now = settle(db, leased(db, now), PASSING, now).next_try_at
    done = settle(db, leased(db, now), PASSING, now)
    assert done.next_try_at == NOON + 5 * MINUTE


def test_the_last_failure_before_the_end_is_given_up(db):
    queue(db, lasts=30 * SECOND)
    done = settle(db, leased(db), PASSING, NOON)
    assert done.result == "given-up"


def test_an_attempt_that_ends_after_the_end_is_given_up(db):
    queue(db, lasts=HOUR)
    row = leased(db, NOON + 59 * MINUTE)
    assert settle(db, row, PASSING, NOON + 61 * MINUTE).result == "given-up"


def test_what_is_past_its_age_is_never_sent_but_given_up_aloud(db):
    queue(db, 1, lasts=HOUR)
    settle(db, leased(db), PASSING, NOON)
    queue(db, 2, lasts=HOUR)
    queue(db, 3, lasts=2 * HOUR)
    now = NOON + HOUR
    assert expire(db, now - SECOND) == ()
    assert leased(db, now).message.alert_id == "alert-3"
    given_up = expire(db, now)
    assert [(g.row.message.alert_id, g.result) for g in given_up] == [
        ("alert-1", "given-up"),
        ("alert-2", "given-up"),
    ]
    assert given_up[0].detail == "connection refused"
    assert "not delivered in the time" in given_up[1].detail
    assert expire(db, now) == ()


def test_what_is_in_flight_is_not_expired(db):
    queue(db, lasts=HOUR)
    row = leased(db, NOON + HOUR - SECOND)
    assert expire(db, NOON + HOUR) == ()
    assert settle(db, row, SENT, NOON + HOUR + SECOND).result == "sent"


def test_a_late_failure_does_not_disturb_the_next_attempt(db):
    queue(db)
    slow = leased(db, NOON, seconds=60)
    again = leased(db, NOON + 61 * SECOND)
    assert settle(db, slow, LASTING, NOON + 62 * SECOND).result == "retry"
    assert lease(db, NOON + 63 * SECOND) is None
    assert settle(db, again, SENT, NOON + 64 * SECOND).result == "sent"


def test_giving_up_and_telling_of_it_are_one(db):
    """A crash between the two takes both back."""
    queue(db)
    row = leased(db)

    def give_up_and_die():
        with immediate(db):
            assert settle(db, row, LASTING, NOON).result == "given-up"
            raise KeyError("killed here")

    with pytest.raises(KeyError):
        give_up_and_die()
    assert undelivered(db, NOON).given_up == 0
    assert leased(db, NOON + 2 * MINUTE).id == row.id


# ------------------------------------------------------------ overtaken


def test_a_later_message_cancels_what_was_still_unsent(db):
    queue(db, 1)
    queue(db, 1, to="b@example.org")
    queue(db, 2)
    (gone,) = cancel_older(db, "thread-1", "crew", "a@example.org", NOON)
    assert (gone.result, gone.row.recipient) == ("cancelled", "a@example.org")
    queue(db, 1, stage="stood-down")
    left = [d.row.message.stage for d in deliveries(db) if d.state == "queued"]
    assert left == ["start", "start", "stood-down"]
    assert cancel_older(db, "thread-9", "crew", "a@example.org", NOON) == ()


def test_what_was_cancelled_in_flight_is_told_as_it_was(db):
    queue(db, 1)
    queue(db, 2)
    arrived, lost = leased(db), leased(db)
    for thread in ("thread-1", "thread-2"):
        cancel_older(db, thread, "crew", "a@example.org", NOON)
    assert settle(db, arrived, SENT, NOON).result == "sent"
    assert settle(db, lost, PASSING, NOON).result == "cancelled"
    assert [d.state for d in deliveries(db)] == ["sent", "cancelled"]
    assert verify(db).ok


# ------------------------------------------------------------ how far behind


def test_how_far_delivery_is_behind(db):
    queue(db, 1, at=NOON)
    queue(db, 2, at=NOON + MINUTE, contact="office")
    queue(db, 3, at=NOON + MINUTE)
    settle(db, leased(db), PASSING, NOON)
    left = undelivered(db, NOON + 10 * MINUTE)
    assert left.oldest_age_s == 600.0
    assert (left.waiting, left.failing, left.given_up) == (3, 1, 0)
    assert left.by_contact == {"crew": 2, "office": 1}


def test_deliveries_since_a_moment(db):
    queue(db, 1)
    queue(db, 2, at=NOON + HOUR)
    (only,) = deliveries(db, since=NOON + HOUR)
    assert (only.row.message.alert_id, only.state, only.settled_at) == ("alert-2", "queued", None)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.sampled_from(["queue", "sent", "passing", "lasting", "wait", "cancel", "expire"]),
        max_size=25,
    )
)
def test_whatever_happens_each_message_has_one_end_and_the_chain_holds(tmp_path_factory, events):
    path = tmp_path_factory.mktemp("any") / "dryspell.db"
    now, outcomes = NOON, {"sent": SENT, "passing": PASSING, "lasting": LASTING}
    with open_database(path) as db:
        db.execute("PRAGMA synchronous = OFF")
        for number, event in enumerate(events):
            if event == "queue":
                queue(db, number, at=now, lasts=HOUR)
            elif event == "wait":
                now += 20 * MINUTE
            elif event == "expire":
                expire(db, now)
            elif event == "cancel":
                cancel_older(db, f"thread-{number - 1}", "crew", "a@example.org", now)
            elif (row := lease(db, now)) is not None:
                settle(db, row, outcomes[event], now)
        assert verify(db).ok
        ends = db.execute(
            "SELECT message, count(*) FROM outcomes WHERE result <> 'retry' GROUP BY message"
        ).fetchall()
        assert all(count == 1 for _, count in ends)
        settled = {message_id for message_id, _ in ends}
        open_rows = {d.row.number for d in deliveries(db) if d.state == "queued"}
        assert settled | open_rows == set(range(1, events.count("queue") + 1))
        assert not settled & open_rows
