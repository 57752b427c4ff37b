"""Readings posted: kept once, told whole, refused whole."""

from __future__ import annotations

from datetime import timedelta

import pytest
from web_site import bearer, now, served, show_folder, stamp

from monitor.store.tokens import make_token

PATH = "/api/v1/observations"


def reading(minutes_ago=0.0, station="mast", **more):
    values = more or {"rain_total_mm": 12.4}
    at = now().replace(microsecond=0) - timedelta(minutes=minutes_ago)
    return {"station": station, "time": stamp(at), **values}


def stored(site):
    return [(row["station"], row["body"]) for row in site.rows("readings")]


def test_a_reading_is_kept_once_however_often_it_comes(site):
    one = reading()
    first = site.post(PATH, one)
    assert first.status_code == 201
    assert first.json() == {"station": "mast", "time": one["time"], "known": False}
    for _ in range(3):
        again = site.post(PATH, one)
        assert (again.status_code, again.json()["known"]) == (200, True)
    assert stored(site) == [("mast", '{"rain_total_mm":12.4}')]


def test_another_reading_of_the_same_moment_is_a_conflict_and_the_first_stays(site):
    one = reading()
    site.post(PATH, one)
    other = site.post(PATH, {**one, "rain_total_mm": 13.0})
    assert other.status_code == 409
    assert other.json()["problems"][0]["code"] == "reading-conflict"
    assert stored(site) == [("mast", '{"rain_total_mm":12.4}')]


def test_a_list_is_kept_whole_and_says_what_was_known(site):
    readings = [reading(n) for n in range(500)]
    site.post(PATH, readings[7])
    first = site.post(PATH, readings)
    assert first.status_code == 201
    assert [r["known"] for r in first.json()["readings"]] == [n == 7 for n in range(500)]
    again = site.post(PATH, readings)
    assert (again.status_code, len(again.json()["readings"])) == (200, 500)
    assert len(stored(site)) == 500


def test_the_same_reading_twice_in_one_list(site):
    one = reading()
    done = site.post(PATH, [one, one])
    assert [r["known"] for r in done.json()["readings"]] == [False, True]


def test_of_a_list_with_a_fault_nothing_is_kept_and_every_fault_is_told(site):
    wrong = site.post(
        PATH, [reading(1), reading(2, station="mats"), {"station": "mast"}, 7, reading(3)]
    )
    assert wrong.status_code == 422
    keys = [problem["key"] for problem in wrong.json()["problems"]]
    assert keys == ["[1].station", "[2]", "[3]"]
    assert stored(site) == []


def test_a_conflict_within_a_list_keeps_nothing_of_it(site):
    one = reading(5)
    site.post(PATH, one)
    wrong = site.post(PATH, [reading(4), {**one, "rain_total_mm": 99.0}])
    assert wrong.status_code == 409
    assert [p["key"] for p in wrong.json()["problems"]] == ["[1].time"]
    assert len(stored(site)) == 1


@pytest.mark.parametrize("count", [0, 501])
def test_a_list_of_another_length_is_refused(site, count):
    refused = site.post(PATH, [reading(n) for n in range(count)])
    assert refused.status_code == 422
    assert "1 to 500" in refused.json()["problems"][0]["remedy"]


def test_of_many_faults_the_first_fifty_are_told_and_the_rest_counted(site):
    refused = site.post(PATH, [{"station": "mats", "temp_c": 1} for _ in range(120)])
    problems = refused.json()["problems"]
    assert len(problems) == 51
    assert problems[-1]["says"] == "And 70 more."


def test_a_station_that_the_show_does_not_name_is_refused_with_what_would_be_right(site):
    refused = site.post(PATH, reading(station="mats"))
    assert refused.status_code == 422
    (problem,) = refused.json()["problems"]
    assert (problem["code"], problem["key"]) == ("unknown-station", "station")
    assert "Perhaps mast is meant" in problem["remedy"]
    assert "[[gauges]]" in problem["remedy"]


def test_without_any_gauge_the_show_is_to_be_told(tmp_path):
    folder = show_folder(tmp_path / "show", outside='[page]\nlisten = "127.0.0.1:0"\n')
    with served(folder) as site:
        refused = site.post(PATH, reading())
        assert "[[gauges]]" in refused.json()["problems"][0]["remedy"]
        crew = site.post(PATH, {"station": "crew", "raining": True})
        assert crew.status_code == 201
        assert stored(site) == [("crew", '{"raining":true}')]


def test_what_was_left_out_of_a_reading_is_told(site):
    done = site.post(PATH, reading(temp_c=15.0, gust_mps=400.0))
    assert done.status_code == 201
    assert any("gust" in told for told in done.json()["told"])


def test_a_number_without_end_is_left_out_and_not_a_fault(site):
    body = f'{{"station":"mast","time":"{stamp(now())}","temp_c":15,"wind_mps":1{"0" * 400}}}'
    done = site.post(PATH, data=body, headers={"Content-Type": "application/json"})
    assert done.status_code == 201, done.text
    (row,) = stored(site)
    assert '"temp_c":15.0' in row[1]
    assert [told.split()[0] for told in done.json()["told"]] == ["wind_mps"]


def test_a_reading_without_a_time_is_of_now(site):
    before = now() - timedelta(seconds=1)
    done = site.post(PATH, {"station": "mast", "temp_c": 15})
    assert stamp(before) <= done.json()["time"] <= stamp(now())


# ---------------------------------------------------------------- gateway stations


def form_of(minutes_ago=0, **more):
    at = now().replace(microsecond=0) - timedelta(minutes=minutes_ago)
    return {
        "PASSKEY": "0123456789ABCDEF",
        "stationtype": "Invented V1",
        "dateutc": at.strftime("%Y-%m-%d %H:%M:%S"),
        "tempf": "59.0",  # 15 C
        "totalrainin": "1.000",  # 25.4 mm
        **more,
    }


def gateway(site, token=None, query=""):
    return f"/api/v1/observations/gateway/{token or site.token}{query}"


def named_token(site, name):
    with site.db() as db:
        return make_token(db, name, now())


def test_a_gateways_form_is_kept_once_under_the_station_its_token_is_named_after(site):
    path, form = gateway(site, named_token(site, "mast")), form_of()
    assert site.post(path, token=False, data=form).status_code == 201
    assert site.post(path, token=False, data=form).status_code == 200
    (row,) = stored(site)
    assert row == ("mast", '{"rain_total_mm":25.4,"temp_c":15.0}')


def test_a_gateway_may_name_its_station_in_the_address(site):
    done = site.post(gateway(site, query="?station=lawn"), token=False, data=form_of())
    assert done.json()["station"] == "lawn"
    wrong = site.post(gateway(site, query="?station=roof"), token=False, data=form_of())
    assert wrong.status_code == 422
    nameless = site.post(gateway(site), token=False, data=form_of())
    assert "?station=ID" in nameless.json()["problems"][0]["remedy"]


def test_with_one_gauge_a_gateway_is_that_one(tmp_path):
    outside = '[[gauges]]\nstation = "roof"\n[page]\nlisten = "127.0.0.1:0"\n'
    with served(show_folder(tmp_path / "show", outside=outside)) as site:
        done = site.post(gateway(site), token=False, data=form_of())
        assert (done.status_code, done.json()["station"]) == (201, "roof")


def test_a_gateway_that_does_not_say_it_sends_a_form(site):
    path = gateway(site, query="?station=mast")
    done = site.post(path, token=False, data=b"tempf=59.0&totalrainin=1.0")
    assert done.status_code == 201
    as_json = site.post(path, form_of(), token=False)
    assert as_json.status_code == 415


def test_a_gateway_with_a_wrong_or_withdrawn_token_is_not_let_in(site):
    assert site.post(gateway(site, "x" * 52), token=False, data=form_of()).status_code == 401
    # a right header does not stand in for the address
    assert site.post(gateway(site, "x" * 52), data=form_of()).status_code == 401
    assert stored(site) == []


@pytest.mark.parametrize(
    "body", [b"\xff\xfe", b"&".join(b"a%d=1" % n for n in range(300)), b"tempf=warm", b""]
)
def test_a_form_that_cannot_be_read_is_told_so(site, body):
    refused = site.post(gateway(site, query="?station=mast"), token=False, data=body)
    assert refused.status_code in (400, 422)
    assert refused.headers["Content-Type"] == "application/problem+json"


def test_the_last_use_of_a_token_is_noted(site):
    token = named_token(site, "mast")
    site.post(PATH, reading(), headers=bearer(token))
    used = {row["name"]: row["last_used_at"] for row in site.rows("tokens")}
    assert used["mast"] is not None
