"""Records with their own stamps; every table is worked by hand in the comment above it."""

from __future__ import annotations

import math

import psychrolib
import pytest
from shape_sheets import GUST, RAIN, ROWS, WIND, at, read, row, spans, stamp

from monitor.feeds.decode import Rejected

FIRST_OF = """\
[vars.precip]
first_of = [ { path = "six", period = "6h" }, { path = "one", period = "1h" } ]
cover = "following"
stat = "sum"
unit = "mm"
"""


def hours(*records, **more):
    return {"hours": [{"at": stamp(h), **fields} for h, fields in records], **more}


def test_what_a_record_lacks_is_missing_there_and_nothing_moves_up():
    # The record of 07:00 has no rain, that of 08:00 a null, 09:00 has 0.3: of 08 to 09.
    weather = read(
        ROWS + RAIN,
        hours((6, {"rain": 0.1}), (7, {}), (8, {"rain": None}), (9, {"rain": 0.3}), (10, {})),
    )
    assert spans(weather) == [(5, 6), (6, 7), (7, 8), (8, 9)]
    assert row(weather.rain_mm) == [0.1, None, None, 0.3]
    assert weather.dropped == ("steps left out at the end, without rain data: 1",)


def test_shortest_period_of_each_record_and_coarse_ones_stay_coarse():
    # 06:00 has 1 h and 6 h: the hour counts, 1.4. 07:00 has six hours only, to 13:00: 2.8.
    # 13:00 has nothing: the end. 3.9 of 06 to 12 would cover 1.4 again and is never looked at.
    weather = read(
        ROWS + FIRST_OF, hours((6, {"one": 1.4, "six": 3.9}), (7, {"six": 2.8}), (13, {}))
    )
    assert spans(weather) == [(6, 7), (7, 13)]
    assert row(weather.rain_mm) == [1.4, 2.8]
    assert weather.dropped == ("steps left out at the end, without rain data: 1",)


def test_a_longer_period_over_a_shorter_one_is_dropped_never_added():
    # 06:00 lacks its hour, so its six hours are looked at; they overlap the hours of 07:00 and
    # 08:00, which are kept. 06 to 07 is then not known: a gap.
    weather = read(
        ROWS + FIRST_OF,
        hours(
            (6, {"six": 9.0}), (7, {"one": 1.0, "six": 9.0}), (8, {"one": 2.0}), (9, {"six": 3.0})
        ),
    )
    assert spans(weather) == [(7, 8), (8, 9), (9, 15)]
    assert row(weather.rain_mm) == [1.0, 2.0, 3.0]
    assert weather.dropped == ("precip: 1 longer periods dropped that overlap shorter ones",)


def test_a_record_with_no_period_leaves_its_hour_not_known():
    weather = read(ROWS + FIRST_OF, hours((6, {"one": 1.0}), (7, {}), (8, {"one": 2.0})))
    assert spans(weather) == [(6, 7), (7, 8), (8, 9)]
    assert row(weather.rain_mm) == [1.0, None, 2.0]


def test_a_record_with_no_period_inside_a_longer_one_of_another_is_no_gap():
    weather = read(ROWS + FIRST_OF, hours((6, {"six": 6.0}), (8, {}), (12, {"one": 1.0})))
    assert spans(weather) == [(6, 12), (12, 13)]
    assert row(weather.rain_mm) == [6.0, 1.0]
    assert weather.dropped == ()


def test_moments_inside_a_coarse_step_all_count():
    # Rain of 06 to 12 in one. Wind 2 at 06, 4 at 08, 8 at 09, 5 at 12, along straight lines:
    # (2+4)/2 x 2 h + (4+8)/2 x 1 h + (8+5)/2 x 3 h = 6 + 6 + 19.5 = 31.5 over 6 h: 5.25.
    # The greatest gust of 7, 20, 9, 6 is 20. Thunder at 08 only: the step has thunder.
    thunder = (
        '[vars.thunder]\npath = "sky"\ncover = "instant"\nstat = "code"\n'
        'map = { T = "yes", "*" = "no" }\n'
    )
    weather = read(
        ROWS + FIRST_OF + WIND + GUST + thunder,
        hours(
            (6, {"six": 3.0, "wind": 2, "gust": 7, "sky": "-"}),
            (8, {"wind": 4, "gust": 20, "sky": "T"}),
            (9, {"wind": 8, "gust": 9, "sky": "-"}),
            (12, {"wind": 5, "gust": 6, "sky": "-"}),
        ),
    )
    assert spans(weather) == [(6, 12)]
    assert row(weather.wind_mps) == [5.25]
    assert row(weather.gust_mps) == [20]
    assert row(weather.thunder) == [1]


def test_a_null_inside_a_coarse_step_leaves_it_unknown():
    weather = read(
        ROWS + FIRST_OF + WIND + GUST,
        hours(
            (6, {"six": 3.0, "wind": 2, "gust": 7}),
            (9, {"wind": None, "gust": None}),
            (12, {"one": 1.0, "wind": 5, "gust": 6}),
            (13, {"wind": 5, "gust": 6}),
        ),
    )
    assert row(weather.wind_mps) == [None, 5]
    assert row(weather.gust_mps) == [None, 6]


def test_start_of_the_interval_in_the_record_and_a_mean_rate():
    # 2 mm/h from 06 to 07 is 2 mm; 0.5 mm/h from 07 to 13 is 3 mm. What ends before it begins
    # (14:00 to 13:30) has no place.
    text = (
        ROWS.replace('path = "at"', 'path = "at"\nstart_path = "from"')
        + '[vars.precip]\npath = "rate"\ncover = "interval"\nstat = "rate"\nunit = "mm/h"\n'
    )
    weather = read(
        text,
        hours(
            (7, {"from": stamp(6), "rate": 2.0}),
            (13, {"from": stamp(7), "rate": 0.5}),
            (14, {"from": stamp(15), "rate": 4.0}),
        ),
    )
    assert spans(weather) == [(6, 7), (7, 13)]
    assert row(weather.rain_mm) == [2.0, 3.0]


def test_a_record_that_does_not_say_since_when_has_no_place():
    text = (
        ROWS.replace('path = "at"', 'path = "at"\nstart_path = "from"')
        + RAIN.replace("preceding", "interval")
        + WIND
    )
    weather = read(
        text,
        hours(
            (6, {"rain": 9, "wind": 3}),
            (7, {"from": stamp(6), "rain": 1, "wind": 5}),
            (8, {"from": stamp(7), "rain": 2, "wind": 5}),
        ),
    )
    assert (spans(weather), row(weather.rain_mm)) == ([(6, 7), (7, 8)], [1, 2])
    assert row(weather.wind_mps) == [4, 5]
    assert weather.dropped == ("1 stamps do not say since when",)


def test_an_intensity_holds_to_the_next_stamp():
    # 12 mm/h over 5 min is 1 mm; 6 mm/h over 10 min is 1 mm; the last stamp has no next.
    rate = '[vars.precip]\npath = "rate"\ncover = "instant"\nstat = "rate"\nunit = "mm/h"\n'
    text = ROWS.replace('path = "at"', 'path = "at"\nformat = "unix_s"') + rate
    answer = {
        "hours": [
            {"at": at(6), "rate": 12},
            {"at": at(6) + 300, "rate": 6},
            {"at": at(6) + 900, "rate": 9},
        ]
    }
    weather = read(text, answer)
    assert [(e - s) / 60 for s, e in zip(weather.starts, weather.ends, strict=True)] == [5, 10]
    assert row(weather.rain_mm) == [1.0, 1.0]
    assert weather.dropped == ("precip: the last stamp has no next one and covers no time",)
    # With a period: 5 min at most, so 6 mm/h is 0.5 mm, and the last one counts: 0.75 mm.
    weather = read(text + 'period = "5m"\n', answer)
    assert row(weather.rain_mm) == [1.0, 0.5, 0.75]
    assert weather.dropped == ()


def test_steps_to_the_next_and_since_the_last_stamp():
    # Native steps of 1 and 3 h. Since the last: what covers 05 to 06 is not said and left out.
    rain = '[vars.precip]\npath = "rain"\ncover = "{}"\nstat = "sum"\nunit = "mm"\n'
    answer = hours((6, {"rain": 1.0}), (7, {"rain": 2.0}), (10, {"rain": 4.0}))
    weather = read(ROWS + rain.format("since_last"), answer)
    assert (spans(weather), row(weather.rain_mm)) == ([(6, 7), (7, 10)], [2.0, 4.0])
    weather = read(ROWS + rain.format("until_next"), answer)
    assert (spans(weather), row(weather.rain_mm)) == ([(6, 7), (7, 10)], [1.0, 2.0])


def test_records_that_are_the_whole_answer_and_records_named_by_their_stamps():
    bare = [{"at": stamp(6), "rain": 0.5}]
    assert row(read(ROWS.replace('"hours"', '"@"') + RAIN, bare).rain_mm) == [0.5]
    named = {"hours": {stamp(6): {"rain": 0.5}, stamp(7): {"rain": 0.25}}}
    weather = read(ROWS.replace('path = "at"', 'path = "key"') + RAIN, named)
    assert row(weather.rain_mm) == [0.5, 0.25]
    plain = {"hours": {stamp(6): 0.5}}
    text = ROWS.replace('path = "at"', 'path = "key"') + RAIN.replace('"rain"', '"value"')
    assert row(read(text, plain).rain_mm) == [0.5]


def test_lists_of_several_days_gathered():
    text = ROWS.replace('"hours"', '"days[].hours[]"') + RAIN
    answer = {"days": [{"hours": [{"at": stamp(6), "rain": 1}]}, {"hours": None}, {}]}
    answer["days"].append({"hours": [{"at": stamp(8), "rain": None}, {"at": stamp(9), "rain": 2}]})
    weather = read(text, answer)
    assert spans(weather) == [(5, 6), (7, 8), (8, 9)]
    assert row(weather.rain_mm) == [1, None, 2]


def test_the_one_place_of_a_list():
    text = ROWS.replace("[shape]\n", '[shape]\nroot = "[0]"\n') + RAIN
    one = hours((6, {"rain": 1}))
    assert row(read(text, [one]).rain_mm) == [1]
    with pytest.raises(Rejected, match="a list of 2, not of one place"):
        read(text, [one, one])
    with pytest.raises(Rejected, match="a list of 0, not of one place"):
        read(text, [])
    with pytest.raises(Rejected, match="not an object of one place"):
        read(text, [None])
    with pytest.raises(Rejected, match="not an object of one place"):
        read(ROWS + RAIN, [one])


def test_components_to_speed_and_where_it_comes_from():
    # Air that moves 3 m/s to the east and 4 to the north: 5 m/s, from 180 + atan(3/4) degrees.
    # Over the step the vector (3, 4) stands at both ends.
    text = (
        ROWS
        + RAIN
        + '[vars.wind]\nvector = ["u", "v"]\ncover = "instant"\nstat = "mean"\nunit = "m/s"\n'
        + '[vars.gust]\nvector = ["gu", "gv"]\ncover = "instant"\nstat = "max"\nunit = "km/h"\n'
        + '[vars.direction]\nvector = ["u", "v"]\ncover = "instant"\nstat = "mean"\nunit = "m/s"\n'
    )
    fields = {"rain": 1, "u": 3, "v": 4, "gu": 0, "gv": -36}
    weather = read(text, hours((5, fields), (6, fields)))
    assert row(weather.wind_mps) == [5, 5]
    assert row(weather.gust_mps) == [10, 10]
    assert row(weather.wind_from_deg)[1] == pytest.approx(180 + math.degrees(math.atan2(3, 4)))
    # From the north, the east, the south and the west; a calm comes from nowhere.
    for u, v, comes_from in ((0, -2, 0), (-2, 0, 90), (0, 2, 180), (2, 0, 270)):
        weather = read(text, hours((6, {**fields, "u": u, "v": v})))
        assert row(weather.wind_from_deg) == [pytest.approx(comes_from)]
    weather = read(text, hours((6, {**fields, "u": 0, "v": 0}), (7, {**fields, "u": None})))
    assert row(weather.wind_mps)[0] == 0
    assert row(weather.wind_from_deg) == [None, None]


def test_a_gust_that_is_not_known_may_be_derived_and_is_told():
    # Wind 4 at 05, 6 at 06, 5 at 07. First step: gust known, 9. Second: the greatest wind in it
    # is 6, 6 x 1.6 = 9.6.
    text = ROWS + RAIN.replace("preceding", "following") + WIND
    derived = (
        '[vars.gust]\npath = "gust"\ncover = "following"\nperiod = "1h"\nstat = "max"\n'
        'unit = "m/s"\nfallback = { from = "wind", factor = 1.6 }\n'
    )
    answer = hours(
        (5, {"rain": 0, "wind": 4, "gust": 9}), (6, {"rain": 0, "wind": 6}), (7, {"wind": 5})
    )
    weather = read(text + derived, answer)
    assert row(weather.gust_mps) == [9, 9.6]
    assert "gust: derived in 1 of 2 steps, 1.6 x the wind, not forecast" in weather.dropped
    # A service with no gusts at all: nothing is missing from its answer.
    bare = derived.replace('path = "gust"\n', "").replace('period = "1h"\n', 'period = "1h"\n')
    weather = read(text + bare, answer)
    assert row(weather.gust_mps) == [9.6, 9.6]
    assert weather.dropped[-1].startswith("gust: derived in 2 of 2 steps")
    assert not any("not in the answer" in one for one in weather.dropped)


def test_the_unit_in_every_record():
    text = ROWS + RAIN + 'unit_check = { at = "unit", is = "mm", each = true }\n'
    sound = hours((6, {"rain": 1, "unit": "mm"}), (7, {}), (8, {"rain": 1, "unit": "mm"}))
    assert row(read(text, sound).rain_mm) == [1, None, 1]
    with pytest.raises(Rejected, match="precip came in cm"):
        read(text, hours((6, {"rain": 1, "unit": "mm"}), (7, {"rain": 1, "unit": "cm"})))
    with pytest.raises(Rejected, match="no stated unit"):
        read(text, hours((6, {"rain": 1})))


@pytest.mark.parametrize(
    ("stated", "unit", "metres_per_second"),
    # 15 mph = 15 x 0.44704; the unit may stand behind the number if it is the sheet's own.
    [("15 mph", "mph", 6.7056), ("15", "mph", 6.7056), (" 1.5e1 mi/h ", "mph", 6.7056)],
)
def test_a_number_in_words(stated, unit, metres_per_second):
    wind = WIND.replace("m/s", unit)
    answer = hours((6, {"rain": 1, "wind": stated}))
    with pytest.raises(Rejected, match="is no number"):
        read(ROWS + RAIN + wind, answer)
    weather = read(ROWS + RAIN + wind + 'parse = "number"\n', answer)
    assert row(weather.wind_mps) == [pytest.approx(metres_per_second)]


@pytest.mark.parametrize("stated", ["15 km/h", "10 to 15 mph", "mph", "", "1_5", "nan", "0x1f"])
def test_words_that_are_no_number_of_that_unit(stated):
    wind = WIND.replace("m/s", "mph") + 'parse = "number"\n'
    with pytest.raises(Rejected, match="is no number"):
        read(ROWS + RAIN + wind, hours((6, {"rain": 1, "wind": stated})))


@pytest.mark.parametrize(
    ("code", "flag"),
    [
        (95, 1),
        ("heavyrainandthunder", 1),
        ("rain", 0),
        (30, 1),
        (29.9, 0),
        (True, None),
        (None, None),
    ],
)
def test_codes(code, flag):
    thunder = (
        '[vars.thunder]\npath = "code"\ncover = "instant"\nstat = "code"\n'
        'map = { "true" = "unknown", "~thunder" = "yes", ">=30" = "yes", "*" = "no" }\n'
    )
    weather = read(ROWS + RAIN + thunder, hours((6, {"rain": 1, "code": code})))
    assert row(weather.thunder) == [flag]


@pytest.mark.parametrize(
    ("unit", "value", "millimetres"),
    # 1 kg of water on a square metre lies 1 mm deep.
    [("in", 0.1, 2.54), ("cm", 0.3, 3), ("m", 0.002, 2), ("kg m-2", 1.5, 1.5), ("l/m2", 2, 2)],
)
def test_units_of_rain(unit, value, millimetres):
    weather = read(ROWS + RAIN.replace('"mm"', f'"{unit}"'), hours((6, {"rain": value})))
    assert row(weather.rain_mm) == [pytest.approx(millimetres)]


@pytest.mark.parametrize(
    ("unit", "value", "percent"),
    [("octas", 5, 62.5), ("0..1", 0.25, 25), ("fraction", 1, 100), ("wmoUnit:percent", 40, 40)],
)
def test_units_of_cloud(unit, value, percent):
    cloud = f'[vars.cloud]\npath = "sky"\ncover = "instant"\nstat = "mean"\nunit = "{unit}"\n'
    weather = read(ROWS + RAIN + cloud, hours((6, {"rain": 1, "sky": value})))
    assert row(weather.cloud_pct) == [percent]


@pytest.mark.parametrize(
    ("unit", "value", "metres_per_second"),
    # km/h: 36 / 3.6; knots: 1852 m in 3600 s; mph: 0.44704.
    [
        ("km/h", 36, 10),
        ("wmoUnit:km_h-1", 18, 5),
        ("kt", 36, 36 * 1852 / 3600),
        ("mph", 10, 4.4704),
    ],
)
def test_units_of_wind(unit, value, metres_per_second):
    weather = read(ROWS + RAIN + WIND.replace("m/s", unit), hours((6, {"rain": 1, "wind": value})))
    assert row(weather.wind_mps) == [pytest.approx(metres_per_second)]


@pytest.mark.parametrize(
    ("answer", "reason"),
    [
        ({}, "shape"),
        ({"hours": 3}, "shape"),
        ({"hours": []}, "empty"),
        ({"hours": {}}, "empty"),
        ({"hours": [{}]}, "time"),
        ({"hours": [None]}, "time"),
        ({"hours": [{"at": stamp(6)}]}, "missing-variable"),
        ({"hours": [{"at": stamp(6), "rain": None}]}, "missing-variable"),
        ({"hours": [{"at": stamp(6), "rain": "1"}]}, "implausible"),
        ({"hours": [{"at": stamp(6), "rain": [1]}]}, "implausible"),
        ({"hours": [{"at": "0001-01-01T00:00:00+14:00", "rain": 1}]}, "time"),
        ({"hours": [{"at": "9999-12-31T23:59:59-14:00", "rain": 1}]}, "time"),
    ],
)
def test_answers_that_are_turned_down(answer, reason):
    with pytest.raises(Rejected) as caught:
        read(ROWS + RAIN, answer)
    assert caught.value.reason == reason


def test_repeated_and_unsorted_records():
    # 07:00 stands twice with the same rain and another wind: rain kept, wind not known.
    weather = read(
        ROWS + RAIN + WIND,
        hours(
            (8, {"rain": 3, "wind": 1}),
            (7, {"rain": 2, "wind": 1}),
            (6, {"rain": 1, "wind": 1}),
            (7, {"rain": 2, "wind": 9}),
        ),
    )
    assert row(weather.rain_mm) == [1, 2, 3]
    assert row(weather.wind_mps) == [1, None, None]
    weather = read(ROWS + RAIN, hours((6, {"rain": 1}), (7, {"rain": 2}), (7, {"rain": 2.5})))
    assert row(weather.rain_mm) == [1]


def test_dew_point_from_humidity_only_where_none_is_given():
    psychrolib.SetUnitSystem(psychrolib.SI)
    both = (
        '[vars.temp]\npath = "t"\ncover = "instant"\nstat = "mean"\nunit = "K"\n'
        '[vars.humidity]\npath = "rh"\ncover = "instant"\nstat = "mean"\nunit = "0..1"\n'
        '[vars.dew_point]\npath = "dew"\ncover = "instant"\nstat = "mean"\nunit = "°C"\n'
    )
    for celsius, share in ((20, 0.5), (30, 0.9), (10, 0.75), (12, 0.98), (25, 0.3)):
        fields = {"rain": 1, "t": celsius + 273.15, "rh": share}
        weather = read(ROWS + RAIN + both, hours((6, fields), (7, {**fields, "dew": 1.0})))
        # Another library, another curve of saturation (ASHRAE's): a tenth of a degree apart.
        right = psychrolib.GetTDewPointFromRelHum(float(celsius), share)
        assert row(weather.dew_point_c)[0] == pytest.approx(right, abs=0.1)
    assert row(read(ROWS + RAIN + both, hours((6, {**fields, "dew": 1.0}))).dew_point_c) == [1.0]
    soaked = hours((6, {"rain": 1, "t": 283.15, "rh": 1.05}), (7, {"rain": 1, "t": 280, "rh": 0}))
    weather = read(ROWS + RAIN + both, soaked)
    # 105 % is read as saturated: the dew point is the temperature. None has a dew point at 0 %.
    assert row(weather.dew_point_c)[0] == pytest.approx(10)
