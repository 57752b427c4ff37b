from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from stored_samples import NOON, alert, same_weather, weather

from monitor.domain import Alert, Facts, LogEntry, Message, Wait, Weather
from monitor.store.records import (
    from_json,
    from_text,
    to_json,
    to_text,
    weather_content,
    weather_from,
)

few = settings(max_examples=40, deadline=None)
words = st.text(max_size=12)
moments = st.datetimes(timezones=st.just(UTC))
numbers = st.floats(allow_nan=False)
json_data = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=8,
)
many_words = st.lists(words, max_size=3).map(tuple)


def some(strategy):
    return st.none() | strategy


waits = st.builds(Wait, fixtures=many_words, do_by=moments)
facts = st.builds(
    Facts,
    site_name=words,
    timezone=words,
    fixture_names=many_words,
    weakest=some(words),
    rain_mm=some(numbers),
    wet_from=some(moments),
    gust_mps=some(numbers),
    gust_at=some(moments),
    used=some(numbers),
    can_wait=st.lists(waits, max_size=2).map(tuple),
    access=some(st.sampled_from(["ground", "climb"])),
    blocked_until=some(moments),
    sources=many_words,
    late=st.booleans(),
    extra=many_words,
)
alerts = st.builds(
    Alert,
    id=words,
    kind=st.sampled_from(["work", "stop", "weather", "delivery"]),
    stage=st.sampled_from(["notice", "start", "overdue", "stop", "stood-down"]),
    action=some(st.sampled_from(["cover", "bring-in"])),
    position=some(words),
    fixtures=many_words,
    count=st.integers(),
    people=st.integers(),
    minutes=some(numbers),
    isolate_at=some(words),
    start_by=some(moments),
    do_by=some(moments),
    members=st.integers(),
    probability=some(numbers),
    at=moments,
    reason=words,
    cautions=many_words,
    facts=facts,
)
entries = st.builds(
    LogEntry,
    at=moments,
    entry=st.sampled_from(["covered", "moved", "inspected"]),
    position=some(words),
    fixture=some(words),
    count=some(st.tuples(st.integers(), st.integers())),
    to=some(words),
    result=some(st.sampled_from(["dry", "water-inside"])),
    by=some(words),
    note=some(words),
)
messages = st.builds(
    Message,
    alert_id=words,
    kind=st.sampled_from(["work", "watch"]),
    stage=some(st.sampled_from(["notice", "stood-down"])),
    subject=words,
    text=words,
    radio=words,
    data=st.dictionaries(words, json_data, max_size=4),
    thread=words,
    at=moments,
)


@few
@given(alerts)
def test_an_alert_comes_back_whole(record):
    assert from_json(Alert, to_json(record)) == record


@few
@given(entries)
def test_a_log_entry_comes_back_whole(record):
    assert from_json(LogEntry, to_json(record)) == record


@few
@given(messages)
def test_a_message_comes_back_whole(record):
    assert from_json(Message, to_json(record)) == record


@few
@given(st.data())
def test_weather_comes_back_to_the_last_bit(data):
    steps, members = data.draw(st.integers(0, 4)), data.draw(st.integers(1, 3))
    any_number = st.floats(width=64)
    column = arrays(np.float64, (members, steps), elements=any_number)
    row = arrays(np.float64, (steps,), elements=any_number)
    sent = Weather(
        starts=data.draw(row),
        ends=data.draw(row),
        rain_mm=data.draw(column),
        wind_mps=data.draw(column),
        gust_mps=data.draw(column),
        wind_from_deg=data.draw(column),
        temp_c=data.draw(column),
        dew_point_c=data.draw(column),
        cloud_pct=data.draw(column),
        thunder=data.draw(column),
        weights=data.draw(arrays(np.float64, (members,), elements=any_number)),
        forecast=data.draw(arrays(np.bool_, (steps,))),
        wind_basis=data.draw(st.sampled_from(["open", "local"])),
        wind_height_m=data.draw(numbers),
        source=data.draw(words),
        credit=data.draw(words),
        issued_at=data.draw(some(moments)),
        fetched_at=data.draw(some(moments)),
        members=data.draw(many_words),
        feed_of=tuple(data.draw(st.lists(st.integers(0, 3), max_size=3))),
        dropped=data.draw(many_words),
    )
    assert same_weather(weather_from(weather_content(sent), sent.fetched_at), sent)


def test_the_axis_of_one_member_stays_of_length_one():
    sent = weather(steps=3, members=1)
    assert weather_from(weather_content(sent), None).rain_mm.shape == (1, 3)


def test_arrays_that_come_back_may_be_written_to():
    back = weather_from(weather_content(weather()), None)
    back.rain_mm[0, 0] = 1.0
    assert back.rain_mm[0, 0] == 1.0


def test_two_fetches_of_one_run_are_the_same_content():
    one = weather(fetched_at=NOON)
    assert weather_content(one) == weather_content(replace(one, fetched_at=None))


@few
@given(moments, st.timedeltas(timedelta(hours=-14), timedelta(hours=14)))
def test_text_of_moments_sorts_as_time_does(one, apart):
    try:
        other = one + apart
    except OverflowError:
        return
    assert (to_text(one) < to_text(other)) == (one < other)


def test_a_moment_is_kept_in_utc():
    summer = timezone(timedelta(hours=2))
    text = to_text(datetime(2027, 7, 15, 14, 0, 0, 5, tzinfo=summer))
    assert text == "2027-07-15T12:00:00.000005Z"
    assert from_text(text) == datetime(2027, 7, 15, 12, 0, 0, 5, tzinfo=UTC)


def test_a_moment_without_an_offset_is_refused():
    with pytest.raises(ValueError, match="without an offset"):
        to_text(datetime(2027, 7, 15, 12))


def test_a_number_that_json_has_no_word_for_does_not_stop_an_alert():
    sent = alert(minutes=float("inf"), probability=float("nan"))
    back = from_json(Alert, to_json(sent))
    assert back.minutes == float("inf")
    assert np.isnan(back.probability)


def test_numbers_of_arrays_are_plain_numbers():
    sent = alert(count=np.int64(6), minutes=np.float64(24.5), facts=Facts(late=np.True_))
    back = from_json(Alert, to_json(sent))
    assert (back.count, back.minutes, back.facts.late) == (6, 24.5, True)
    assert type(back.count) is int


def test_not_known_in_free_data_is_null():
    assert to_json({"gust": float("nan")}) == '{"gust":null}'


def test_history_from_before_a_field_takes_its_default():
    assert from_json(Wait, '{"fixtures":["a"],"do_by":"2027-07-15T12:00:00.000000Z"}') == Wait(
        ("a",), NOON
    )
    assert from_json(
        LogEntry, '{"at":"2027-07-15T12:00:00.000000Z","entry":"covered"}'
    ) == LogEntry(NOON, "covered")


def test_what_is_no_record_is_refused():
    with pytest.raises(TypeError, match="set has no place"):
        to_json({"fixtures": {1, 2}})
