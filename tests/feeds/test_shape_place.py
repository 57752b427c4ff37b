"""Another place or another clock than the one asked for, in answers of every shape."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest
from shape_sheets import COLUMNS, INTERVALS, RAIN, ROWS, read, row, stamp

from monitor.feeds.decode import Rejected
from monitor.feeds.place import distance_m, place_told

PLACE = (
    '[place]\nlat = "lat"\nlon = "lon"\nelevation = "high"\ndistance_m = "stations[0].distance"\n'
)
SITE = {"latitude": 50.0, "longitude": 8.0, "elevation_m": 100.0}


def told(more, **site):
    answer = {"hours": [{"at": stamp(6), "rain": 1}], **more}
    return place_told(read(ROWS + RAIN + PLACE, answer, **(site or SITE)).dropped)


def test_distances_on_the_sphere():
    # A degree of a great circle is a 360th of it: 6 371 008.8 m x pi / 180 = 111 195.08 m.
    assert distance_m(0, 0, 0, 1) == pytest.approx(111195.08, abs=0.01)
    assert distance_m(10, 20, 11, 20) == pytest.approx(111195.08, abs=0.01)
    assert distance_m(90, 0, -90, 0) == pytest.approx(180 * 111195.08, rel=1e-7)
    assert distance_m(0, 179.5, 0, -179.5) == pytest.approx(111195.08, abs=0.01)
    # On the 60th parallel a degree of longitude is near half of that.
    assert distance_m(60, 8, 60, 9) == pytest.approx(111195.08 / 2, rel=1e-4)


def test_a_point_a_station_or_a_height_far_away_is_told():
    # 0.1 degrees of latitude are 11.1 km, 0.2 are 22.2 km.
    assert told({"lat": 50.1, "lon": 8.0}) == ()
    assert told({"lat": 50.2, "lon": 8.0}) == (
        "place: the forecast is for a point 22 km from the site",
    )
    assert told({"high": 400}) == ()
    assert told({"high": 401}) == ("place: the forecast is for a height 301 m above the site",)
    assert told({"high": -250}) == ("place: the forecast is for a height 350 m below the site",)
    assert told({"stations": [{"distance": 15000.0}]}) == ()
    assert told({"stations": [{"distance": 15500.0}, {"distance": 3}]}) == (
        "place: the station is 16 km from the site",
    )


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"lat": "50.2", "lon": True, "high": [400]},
        {"lat": 50.2},
        {"high": 10**400, "stations": []},
        {"stations": {"distance": 99999}},
    ],
)
def test_a_place_that_is_not_said_is_not_judged(more):
    assert told(more) == ()


def test_a_sample_without_a_show_has_no_site_to_be_far_from():
    far = {"lat": 10, "lon": 8, "high": 4000, "stations": [{"distance": 20000}]}
    assert told(far, latitude=None) == ("place: the station is 20 km from the site",)


SPAN = RAIN.replace('"preceding"', '"interval"')
SHAPES = [
    # The stamp that counts is the one the service wrote, whatever it covers.
    (ROWS + RAIN, {"hours": [{"at": stamp(9), "rain": 1}, {"at": stamp(6), "rain": 1}]}),
    (COLUMNS + RAIN, {"at": [stamp(6), stamp(9)], "rain": [1, 1]}),
    (
        COLUMNS + RAIN.replace("preceding", "run_total"),
        {"at": [stamp(6), stamp(9)], "rain": [1, 1]},
    ),
    (
        INTERVALS + SPAN,
        {"rain": [{"validTime": f"{stamp(6)}/PT1H", "value": 1}]},
    ),
    (
        ROWS.replace('"at"', '"at"\nstart_path = "from"') + SPAN,
        {"hours": [{"from": stamp(6), "at": stamp(9), "rain": 1}]},
    ),
]


@pytest.mark.parametrize(("text", "answer"), SHAPES)
def test_a_first_stamp_far_from_the_fetch_is_of_another_clock(text, answer):
    first = datetime(2026, 6, 1, 6, tzinfo=UTC)
    for early in (timedelta(hours=-3), timedelta(hours=26)):
        assert len(read(text, answer, fetched_at=first + early).starts)
    for wrong in (timedelta(hours=-3, minutes=-1), timedelta(hours=26, minutes=1)):
        with pytest.raises(Rejected, match="the first stamp is 2026-06-01T06:00Z") as caught:
            read(text, answer, fetched_at=first + wrong)
        assert caught.value.reason == "time"
    wider = text.replace("[time]\n", '[time]\nreach_back = "3d"\n')
    assert len(read(wider, answer, fetched_at=first + timedelta(hours=71)).starts)


def test_an_archive_lies_in_the_past_and_is_no_forecast():
    archive = ROWS.replace("[shape]", 'kind = "archive"\nparams = { a = "{from_date}" }\n[shape]')
    answer = {"hours": [{"at": stamp(6), "rain": 1}, {"at": stamp(7), "rain": 2}]}
    weather = read(archive + RAIN, answer, fetched_at=datetime(2031, 1, 1, tzinfo=UTC))
    assert row(weather.rain_mm) == [1, 2]
    assert weather.forecast.tolist() == [False, False]


def test_the_offset_that_the_answer_states_in_rows():
    text = ROWS.replace('"UTC"', '"Europe/Berlin"\noffset_path = "offset"') + RAIN
    answer = {"hours": [{"at": "2026-06-01T08:00", "rain": 1}], "offset": 7200}
    assert read(text, answer).ends[0] == datetime(2026, 6, 1, 6, tzinfo=UTC).timestamp()
    with pytest.raises(Rejected, match="3600 s from UTC"):
        read(text, {**answer, "offset": 3600})


@pytest.mark.parametrize("kind", ["rows", "intervals"])
def test_clock_changes(kind):
    # 2026-10-25, Berlin: 02:00 to 03:00 is there twice; 2026-03-29 it is not there at all.
    # The hour before and the hour after are where they belong, that one is left out and told.
    for day, before, after in ((25, 23, 2), (29, 0, 1)):
        month = 10 if day == 25 else 3
        clocks = [f"2026-{month:02}-{day}T{h:02}:00" for h in (1, 2, 3)]
        if kind == "rows":
            text = ROWS.replace('"UTC"', '"Europe/Berlin"') + RAIN.replace("preceding", "following")
            answer = {"hours": [{"at": c, "rain": i} for i, c in enumerate(clocks)]}
        else:
            text = INTERVALS.replace('"UTC"', '"Europe/Berlin"') + SPAN
            answer = {
                "rain": [{"validTime": f"{c}/PT1H", "value": i} for i, c in enumerate(clocks)]
            }
        weather = read(text, answer)
        assert [datetime.fromtimestamp(t, UTC).hour for t in weather.starts] == [before, after]
        assert row(weather.rain_mm) == [0, 2]
        assert weather.dropped == (
            "1 stamps fall into an hour that Europe/Berlin has twice or not at all",
        )


def test_too_much_that_cannot_be():
    # One of twenty is 5 %: dropped and told. Two of twenty are not believed any more.
    def hours(absurd):
        rain = [900.0 if i in absurd else 0.5 for i in range(20)]
        return {"hours": [{"at": stamp(6 + i), "rain": r} for i, r in enumerate(rain)]}

    weather = read(ROWS + RAIN, hours({7}))
    assert math.isnan(weather.rain_mm[0, 7])
    assert weather.dropped == ("precip: 1 of 20 values dropped as impossible (900 mm)",)
    with pytest.raises(Rejected, match="2 of 20"):
        read(ROWS + RAIN, hours({7, 8}))
