"""Lists of each variable whose items have their own interval, worked by hand."""

from __future__ import annotations

import pytest
from shape_sheets import HEAD, INTERVALS, at, read, row, spans

from monitor.feeds.decode import Rejected

RAIN = '[vars.precip]\npath = "rain.values"\ncover = "interval"\nstat = "sum"\nunit = "mm"\n'
MORE = """\
[vars.wind]
path = "wind.values"
cover = "interval"
stat = "mean"
unit = "wmoUnit:km_h-1"
unit_check = { at = "wind.uom", is = "wmoUnit:km_h-1" }
[vars.gust]
path = "gust.values"
cover = "interval"
stat = "max"
unit = "m/s"
[vars.direction]
path = "from.values"
cover = "interval"
stat = "mean"
unit = "°"
[vars.thunder]
path = "weather.values"
value = "to_string(value)"
cover = "interval"
stat = "code"
map = { "~thunder" = "yes", "null" = "unknown", "*" = "no" }
"""


def item(text, value):
    """`6 PT3H` as an item from 06:00 of the first of June."""
    hour, length = text.split()
    return {"validTime": f"2026-06-01T{int(hour):02}:00:00+00:00/{length}", "value": value}


def layer(*items, **more):
    return {"values": [item(*one) for one in items], **more}


def test_totals_of_long_intervals_stay_whole():
    # 4.2 mm in three hours, six hours not known, nought in a day and three hours.
    answer = {"rain": layer(("6 PT3H", 4.2), ("9 PT6H", None), ("15 P1DT3H", 0))}
    weather = read(INTERVALS + RAIN, answer)
    assert spans(weather) == [(6, 9), (9, 15), (15, 42)]
    assert row(weather.rain_mm) == [4.2, None, 0]


def test_every_way_to_write_how_long():
    # P7DT14H is 182 h, PT90M an hour and a half, P1W seven days.
    for length, hours in (("P7DT14H", 182), ("PT90M", 1.5), ("P1W", 168), ("PT1H30M0S", 1.5)):
        weather = read(INTERVALS + RAIN, {"rain": layer((f"6 {length}", 1))})
        assert spans(weather) == [(6, 6 + hours)]
    both = {"validTime": "2026-06-01T06:00:00Z/2026-06-01T08:00:00+01:00", "value": 1}
    assert spans(read(INTERVALS + RAIN, {"rain": {"values": [both]}})) == [(6, 7)]


@pytest.mark.parametrize(
    "text",
    [
        *("2026-06-01T06:00Z", "2026-06-01T06:00Z/", "2026-06-01T06:00Z/P", "2026-06-01T06:00Z/PT"),
        *("2026-06-01T06:00Z/P1M", "2026-06-01T06:00Z/PT1.5H", "/PT1H", "x/PT1H", "", None, 5, []),
        "2026-06-01T06:00Z/P99999D",
    ],
)
def test_what_is_no_interval(text):
    with pytest.raises(Rejected) as caught:
        read(INTERVALS + RAIN, {"rain": {"values": [{"validTime": text, "value": 1}]}})
    assert caught.value.reason == "time"


@pytest.mark.parametrize("length", ["PT0S", "P0D"])
def test_an_interval_of_no_length_covers_nothing(length):
    weather = read(INTERVALS + RAIN, {"rain": layer((f"6 {length}", 1), ("7 PT1H", 2))})
    assert (spans(weather), row(weather.rain_mm)) == ([(7, 8)], [2])


def test_other_lengths_than_the_rains():
    # Rain of 06 to 12 and 12 to 13.
    # Wind 18 km/h = 5 m/s for two hours, 36 km/h = 10 m/s for six: (5 x 2 + 10 x 4) / 6 =
    # 8.333333 to 12, then 10. Gusts 12 for five hours, 20 from 11 to 12, 11 after: 20, then 11.
    # From the north for two hours, from the east for four: atan2(4, 2) = 63.434949 degrees (the
    # lists have other spans than the wind's, so each hour weighs the same).
    # Thunder at 07 only: yes for the whole step; then none.
    answer = {
        "rain": layer(("6 PT6H", 3), ("12 PT1H", 1)),
        "wind": layer(("6 PT2H", 18), ("8 PT6H", 36), uom="wmoUnit:km_h-1"),
        "gust": layer(("6 PT5H", 12), ("11 PT1H", 20), ("12 PT2H", 11)),
        "from": layer(("6 PT2H", 0), ("8 PT5H", 90)),
        "weather": layer(
            ("6 PT1H", [{"weather": None}]),
            ("7 PT1H", [{"weather": "rain"}, {"weather": "thunderstorms"}]),
            ("8 PT5H", [{"weather": "rain"}]),
        ),
    }
    weather = read(INTERVALS + RAIN + MORE, answer)
    assert row(weather.wind_mps) == [pytest.approx(50 / 6), 10]
    assert row(weather.gust_mps) == [20, 11]
    assert row(weather.wind_from_deg) == [pytest.approx(63.434949, abs=1e-6), 90]
    assert row(weather.thunder) == [1, 0]


def test_nulls_and_gaps_leave_the_step_unknown_its_own_ends_do_not():
    # Rain 06 to 12. Wind: null from 08 to 09. Gusts: nothing from 08 to 09. Direction begins at
    # 08, inside the step, and ends at 10: there is no more of it, and what there is stands.
    # Thunder: not known from 08 to 09, none else.
    answer = {
        "rain": layer(("6 PT6H", 3)),
        "wind": layer(("6 PT2H", 18), ("8 PT1H", None), ("9 PT3H", 18), uom="wmoUnit:km_h-1"),
        "gust": layer(("6 PT2H", 12), ("9 PT3H", 20)),
        "from": layer(("8 PT2H", 45)),
        "weather": layer(("6 PT2H", [{}]), ("8 PT1H", None), ("9 PT3H", [{}])),
    }
    weather = read(INTERVALS + RAIN + MORE, answer)
    assert row(weather.wind_mps) == [None]
    assert row(weather.gust_mps) == [None]
    assert row(weather.wind_from_deg) == [pytest.approx(45)]
    assert row(weather.thunder) == [None]


def test_an_empty_layer_has_no_unit_and_is_told():
    answer = {"rain": layer(("6 PT1H", 1)), "wind": {"values": []}}
    weather = read(INTERVALS + RAIN + MORE, answer)
    assert weather.dropped == (
        "wind: not in the answer",
        "gust: not in the answer",
        "direction: not in the answer",
        "thunder: not in the answer",
    )
    with pytest.raises(Rejected, match="wind came in wmoUnit:m_s-1"):
        read(
            INTERVALS + RAIN + MORE,
            {**answer, "wind": layer(("6 PT1H", 5), uom="wmoUnit:m_s-1")},
        )


def test_intervals_that_overlap_are_not_added():
    # 06 to 12 overlaps the two hours inside it, which are shorter: they stay.
    answer = {"rain": layer(("6 PT6H", 9), ("7 PT1H", 1), ("8 PT1H", 2), ("12 PT1H", 3))}
    weather = read(INTERVALS + RAIN, answer)
    assert spans(weather) == [(7, 8), (8, 9), (12, 13)]
    assert row(weather.rain_mm) == [1, 2, 3]
    assert weather.dropped == ("precip: 1 longer periods dropped that overlap shorter ones",)
    # What is not known does not push aside what is, however short.
    weather = read(INTERVALS + RAIN, {"rain": layer(("6 PT6H", 9), ("7 PT1H", None))})
    assert (spans(weather), row(weather.rain_mm)) == ([(6, 12)], [9])


def test_the_same_interval_twice():
    answer = {
        "rain": layer(("6 PT1H", 1), ("6 PT1H", 1), ("7 PT1H", 1), ("7 PT1H", 2), ("8 PT1H", 3))
    }
    weather = read(INTERVALS + RAIN, answer)
    assert row(weather.rain_mm) == [1, None, 3]


def test_lists_of_items_with_a_stamp_or_with_start_and_end():
    text = HEAD + (
        '[shape]\nkind = "intervals"\ninterval = "to"\nvalue = "mm"\n'
        '[time]\nformat = "unix_s"\nstart_path = "from"\n'
    )
    items = {"rain": {"values": [{"from": at(6), "to": at(8), "mm": 2}]}}
    assert spans(read(text + RAIN, items)) == [(6, 8)]
    preceding = RAIN.replace('"interval"', '"preceding"\nperiod = "1h"')
    assert spans(read(text + preceding, items)) == [(7, 8)]


def test_a_mean_rate_over_its_interval():
    rate = RAIN.replace('"sum"', '"rate"').replace('"mm"', '"mm/h"')
    # 2 mm/h over three hours.
    assert row(read(INTERVALS + rate, {"rain": layer(("6 PT3H", 2))}).rain_mm) == [6]
    # A kilogram on a square metre in an hour, in a second: 3600 mm/h is not possible.
    flux = rate.replace("mm/h", "kg m-2 s-1")
    assert row(read(INTERVALS + flux, {"rain": layer(("6 PT1H", 1 / 3600))}).rain_mm) == [1]
    with pytest.raises(Rejected, match="3600 mm"):
        read(INTERVALS + flux, {"rain": layer(("6 PT1H", 1))})


def test_an_amount_is_held_against_the_length_it_fell_in():
    # 250 mm in an hour is the most that is believed: 400 in two hours may be, in one not.
    assert row(read(INTERVALS + RAIN, {"rain": layer(("6 PT2H", 400))}).rain_mm) == [400]
    with pytest.raises(Rejected, match="400 mm"):
        read(INTERVALS + RAIN, {"rain": layer(("6 PT1H", 400))})


@pytest.mark.parametrize(
    ("answer", "reason"),
    [
        ({}, "missing-variable"),
        ([], "shape"),
        ({"rain": {"values": []}}, "missing-variable"),
        ({"rain": {"values": {}}}, "missing-variable"),
        ({"rain": {"values": [3]}}, "time"),
    ],
)
def test_answers_that_are_turned_down(answer, reason):
    with pytest.raises(Rejected) as caught:
        read(INTERVALS + RAIN + "required = true\n", answer)
    assert caught.value.reason == reason
