"""Columns: totals since the run's start, steps of changing length, models side by side."""

from __future__ import annotations

import pytest
from shape_sheets import COLUMNS, HEAD, RAIN, WIND, at, read, row, spans, stamp

from monitor.feeds.decode import Rejected

TOTAL = '[vars.precip]\npath = "total"\ncover = "run_total"\nstat = "sum"\nunit = "kg m-2"\n'
SINCE_RUN = COLUMNS.replace("[time]", 'run_start = "run"\n[time]')


def test_a_total_since_the_start_of_the_run():
    # 1.0, 1.5, 1.5, 4.0 kg on a square metre: 0.5, 0, 2.5 mm; the first is only the baseline.
    answer = {"at": [stamp(h) for h in (1, 2, 3, 6)], "total": [1.0, 1.5, 1.5, 4.0]}
    weather = read(COLUMNS + TOTAL, answer)
    assert spans(weather) == [(1, 2), (2, 3), (3, 6)]
    assert row(weather.rain_mm) == [0.5, 0, 2.5]
    # Where the answer says that the run began at midnight, the first hour counts too.
    began = {**answer, "run": stamp(0)}
    weather = read(SINCE_RUN + TOTAL, began)
    assert spans(weather) == [(0, 1), (1, 2), (2, 3), (3, 6)]
    assert row(weather.rain_mm) == [1.0, 0.5, 0, 2.5]
    # At the first stamp itself, or not said: a baseline.
    for run in (stamp(1), stamp(2), None, "soon", 10**400):
        assert len(read(SINCE_RUN + TOTAL, {**answer, "run": run}).starts) == 3


def test_a_total_that_falls_is_not_known_and_told():
    # 25 hours; the total falls once by 0.04 (packing: read as nothing added) and once by 3 (a
    # new run or a fault: not known). After the fall it counts from where it fell to.
    total = [0.1 * h for h in range(25)]
    total[5] = total[4] - 0.04
    total[6:] = [t + 1.0 for t in total[6:]]
    total[20:] = [t - 3.0 for t in total[20:]]
    weather = read(COLUMNS + TOTAL, {"at": [stamp(h) for h in range(25)], "total": total})
    added = row(weather.rain_mm)
    assert added[3:6] == [pytest.approx(0.1), 0, pytest.approx(1.24)]
    assert added[19] is None
    assert added[20] == pytest.approx(0.1)
    assert weather.dropped == (
        "precip: the total falls by packing 1 times, read as 0",
        "precip: 1 of 25 values dropped as impossible (the total falls)",
    )
    with pytest.raises(Rejected, match="2 of 4 values dropped as impossible"):
        read(COLUMNS + TOTAL, {"at": [stamp(h) for h in range(4)], "total": [3, 1, 2, 1]})


def test_a_null_total_leaves_both_steps_beside_it_unknown():
    answer = {"at": [stamp(h) for h in range(5)], "total": [0, 1, None, 3, 4]}
    assert row(read(COLUMNS + TOTAL, answer).rain_mm) == [1, None, None, 1]


def test_an_absurd_total_is_dropped_with_the_fall_after_it():
    total = [0.0] * 60
    total[7] = 1e6
    weather = read(COLUMNS + TOTAL, {"at": [stamp(h) for h in range(60)], "total": total})
    assert row(weather.rain_mm) == [0.0] * 6 + [None, None] + [0.0] * 51


def test_what_overflows_is_dropped_like_any_other():
    metres = RAIN.replace('"mm"', '"m"')
    answer = {"at": [stamp(h) for h in range(30)], "rain": [0.001] * 29 + [1.7e308]}
    assert row(read(COLUMNS + metres, answer).rain_mm) == [1.0] * 29
    total = TOTAL.replace("kg m-2", "m")
    answer = {"at": [stamp(h) for h in range(50)], "total": [0.0] * 48 + [1.7e308, -1.7e308]}
    assert row(read(COLUMNS + total, answer).rain_mm) == [0.0] * 47


def test_a_variable_with_its_own_list_of_stamps():
    # Rain each quarter of an hour, wind each hour: 4 at 06, 8 at 07, along a straight line
    # 4.5, 5.5, 6.5, 7.5 in the middle of the quarters. 07 to 07:15: it ends there, 8.
    text = COLUMNS.replace('"at"', '"quarter.at"\nformat = "unix_s"')
    text += RAIN.replace("1h", "15m").replace('"rain"', '"quarter.rain"')
    text += WIND.replace('"wind"', '"hour.wind"\ntime_path = "hour.at"')
    answer = {
        "quarter": {"at": [at(6.25 + 0.25 * i) for i in range(5)], "rain": [1, 2, 3, 4, 5]},
        "hour": {"at": [at(6), at(7)], "wind": [4, 8]},
    }
    weather = read(text, answer)
    assert row(weather.rain_mm) == [1, 2, 3, 4, 5]
    assert row(weather.wind_mps) == [4.5, 5.5, 6.5, 7.5, 8]
    # 07:00 lies further from 06:00 than the wind's closest stamps do: not bridged.
    answer["hour"] = {"at": [at(5), at(5.5), at(6), at(7)], "wind": [4, 4, 4, 8]}
    assert row(read(text, answer).wind_mps) == [None, None, None, None, 8]


def test_a_list_of_starts():
    text = (
        HEAD + '[shape]\nkind = "columns"\n[time]\npath = "to"\nstart_path = "from"\nzone = "UTC"\n'
    )
    text += RAIN.replace("preceding", "interval").replace('period = "1h"\n', "")
    answer = {"from": [stamp(6), stamp(7)], "to": [stamp(7), stamp(13)], "rain": [1, 2]}
    assert spans(read(text, answer)) == [(6, 7), (7, 13)]
    with pytest.raises(Rejected, match="not as many starts"):
        read(text, {**answer, "from": [stamp(6)]})


def test_periods_in_columns():
    text = COLUMNS + (
        '[vars.precip]\nfirst_of = [ { path = "one", period = "1h" }, { path = "six", '
        'period = "6h" } ]\ncover = "preceding"\nstat = "sum"\nunit = "mm"\n'
    )
    answer = {
        "at": [stamp(h) for h in (1, 2, 8)],
        "one": [0.5, 0.25, None],
        "six": [None, None, 3.0],
    }
    weather = read(text, answer)
    assert spans(weather) == [(0, 1), (1, 2), (2, 8)]
    assert row(weather.rain_mm) == [0.5, 0.25, 3.0]


MODELS = """\
[members]
parent = "hourly"
pattern = '(?P<var>[a-z]+?)(?:_member(?P<m>\\d{2}))?_(?P<model>alpha|beta)'
expect = 4
"""


def test_members_of_several_models():
    text = COLUMNS.replace('"at"', '"hourly.at"') + RAIN.replace('"rain"', '"hourly.rain"') + MODELS
    hourly = {
        "at": [stamp(6)],
        "rain_beta": [1],
        "rain_member10_beta": [3],
        "rain_member02_beta": [2],
        "rain_alpha": [4],
        "rain_gamma": [5],
        "rain": [6],
        "rain_p90_alpha": [7],
    }
    weather = read(text, {"hourly": hourly})
    assert weather.members == ("alpha-0", "beta-0", "beta-2", "beta-10")
    assert weather.rain_mm[:, 0].tolist() == [4, 1, 2, 3]
    assert weather.weights.tolist() == [0.25] * 4


def test_members_that_are_not_numbered():
    text = COLUMNS.replace('"at"', '"hourly.at"') + RAIN.replace('"rain"', '"hourly.rain"')
    text += "[members]\nparent = 'hourly'\npattern = '(?P<var>rain)(?:_run_(?P<m>[a-z]+))?'\n"
    hourly = {"at": [stamp(6)], "rain_run_b": [2], "rain": [0], "rain_run_a": [1]}
    weather = read(text, {"hourly": hourly})
    assert dict(zip(weather.members, weather.rain_mm[:, 0].tolist(), strict=True)) == {
        "0": 0,
        "a": 1,
        "b": 2,
    }
