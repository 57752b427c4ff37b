"""A record gone through under a simulated clock: by hand, and against one assessment of it all."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from exposure.rigs import NOON, after, entry, fixture, hours, one_fixture, position, show
from hypothesis import HealthCheck, given, settings
from rehearsed import BAG, logs, records, small_show

from monitor.alerts.wording import message
from monitor.domain import Cover
from monitor.exposure.assess import assess
from monitor.exposure.rig import compile_rig
from monitor.exposure.steps import cut
from monitor.planning.workable import blocking, gust_spans, thunder_spans
from monitor.rehearsal import _Run, as_json, rehearse

UNHURRIED = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def told(found, *stages, kind="work"):
    return [c.alert for c in found.changes if c.alert.stage in stages and c.alert.kind == kind]


def stages(found):
    return [(c.alert.stage, c.alert.action) for c in found.changes]


# ---------------------------------------------------------------- by hand


def test_nobody_acts():
    # IP20, bag in stock. 1 mm/h from 02:00 (14 h on): 0.5 mm at 02:30; one fixture is 2 + 1
    # min, so start by 02:27, called an hour before, work ahead told 12 h before
    described = show([fixture("IP20", cover="bag")], covers=[BAG])
    found = rehearse(described, hours([*[0] * 14, 1, 1, *[0] * 6], 0.0))
    at = [(c.alert.stage, c.alert.action, c.alert.at) for c in found.changes]
    begin = 14.5 - 3 / 60
    assert [(s, a) for s, a, _ in at[:3]] == [
        ("notice", "cover"),
        ("start", "cover"),
        # spent and live: to isolate it comes before covering it or looking into it
        ("overdue", "isolate"),
    ]
    for (_, _, moment), expected in zip(at, (begin - 12, begin - 1, 14.5), strict=False):
        assert abs((moment - after(expected)).total_seconds()) <= 2.0
    assert ("notice", "inspect") in stages(found)
    assert told(found, "start")[0].do_by == after(14.5)
    row = as_json(found)["fixtures"][0]
    assert row["spent_at"] == "2027-07-02T02:30:00Z"
    # 2 mm on an allowance of 0.5
    assert row["used"] == pytest.approx(4.0)


def test_the_crew_follows_and_it_stays_dry():
    described = show([fixture("IP20", cover="bag")], covers=[BAG])
    found = rehearse(described, hours([*[0] * 14, 1, 1, *[0] * 6], 0.0), crew="follows")
    assert stages(found) == [("notice", "cover"), ("start", "cover"), ("stood-down", "cover")]
    start = told(found, "start")[0]
    (done,) = found.log
    # three minutes after the start was called
    assert (done.entry, done.fixture, done.by) == ("covered", "f1", "simulated crew")
    assert abs((done.at - start.at).total_seconds() - 180.0) <= 1.0
    assert told(found, "stood-down")[0].at - done.at <= (after(1 / 60) - NOON)
    row = as_json(found)["fixtures"][0]
    assert (row["used"], row["spent_at"]) == (0.0, None)
    assert row["covered_hours"] == pytest.approx(22 - (done.at - NOON).total_seconds() / 3600)


def test_the_crew_pauses_while_blocked():
    # ladder, limit 10: gust 14 from 15:00 to 16:00; due 17:30. 40 fixtures x 3 min and 2 to set
    # up are 122 min: 90 after the gust and 32 before it, so start by 14:28. Called at 13:28,
    # 92 min are done by 15:00 and the last 30 from 16:00 on: logged at 16:30
    ladder = position(access="ladder", access_limit_mps=10.0, cover_minutes_each=3.0)
    described = show(
        [fixture("IP20", cover="bag", count=40)],
        positions=[ladder],
        covers=[replace(BAG, in_stock=40)],
    )
    weather = hours([0, 0, 0, 0, 0, 1, 1], 0.0, gust=[3, 3, 3, 14, 3, 3, 3])
    found = rehearse(described, weather, crew="follows")
    start = told(found, "start")[0]
    assert abs((start.at - after(1 + 28 / 60)).total_seconds()) <= 2.0
    assert abs((start.start_by - after(2 + 28 / 60)).total_seconds()) <= 2.0
    assert abs((found.log[0].at - after(4.5)).total_seconds()) <= 2.0
    assert as_json(found)["fixtures"][0]["used"] == 0.0


@pytest.mark.parametrize("off_h", [1 + 28.5 / 60, 2 + 10 / 60])
def test_what_joins_a_job_later_is_worked_on_too(off_h):
    # two fixtures of 1 min and 2 to set up; due 14:30. f2 is covered when the start is called
    # for f1 (at 13:27, done at 13:30), and uncovered while that is being done, or after it;
    # there is one party, so f2 begins at 13:30 at the earliest
    rig = show(
        [fixture("IP20", "f1", cover="bag"), fixture("IP20", "f2", cover="bag")], covers=[BAG]
    )
    log = [entry(0.1, "covered", fixture="f2"), entry(off_h, "uncovered", fixture="f2")]
    found = rehearse(rig, hours([0, 0, 1, 1, 1, *[0] * 4], 0.0), log, crew="follows")
    done = [(e.fixture, e.at) for e in found.log if e.by == "simulated crew"]
    assert [name for name, _ in done] == ["f1", "f2"]
    # three minutes after it was called and the party was free, f2 alone
    begins_h = max(off_h, 1.5)
    assert abs((done[1][1] - after(begins_h + 3 / 60)).total_seconds()) <= 2.0


@pytest.mark.parametrize("parties", [1, 2])
def test_the_crew_has_no_more_hands_than_its_parties(parties):
    # two ground positions, one fixture each: 2 to set up and 1 to cover; both due 14:30. Two
    # parties start both by 14:27: called at 13:27, done at 13:30. One party does one after the
    # other, so the first by 14:24, called at 13:24, done at 13:27; the second as above
    rig = show(
        [
            fixture("IP20", "f1", position="a", cover="bag"),
            fixture("IP20", "f2", position="b", cover="bag"),
        ],
        positions=[position("a"), position("b")],
        covers=[BAG],
    )
    rig = replace(rig, crew=replace(rig.crew, parties=parties))
    found = rehearse(rig, hours([0, 0, 1, 1, 1, *[0] * 4], 0.0), crew="follows")
    logged = sorted(e.at for e in found.log)
    first = after(1 + (27 if parties == 1 else 30) / 60)
    assert abs((logged[0] - first).total_seconds()) <= 2.0
    assert abs((logged[-1] - after(1.5)).total_seconds()) <= 2.0


def test_power_is_cut_where_nobody_can_reach():
    mast = position(access="none", setup_minutes=5.0)
    found = rehearse(
        one_fixture("IP20", positions=[mast]), hours([0, 0, 1, 1, 0], 0.0), crew="follows"
    )
    assert [e.entry for e in found.log] == ["isolated"]
    assert ("stood-down", "isolate") in stages(found)
    assert not told(found, "overdue")


def test_thunder_is_told_and_ended_half_an_hour_after():
    weather = replace(hours([0.0] * 6, 2.0), thunder=np.array([[0.0, 1, 1, 0, 0, 0]]))
    found = rehearse(one_fixture("IP65"), weather)
    at = [(c.alert.stage, c.alert.at) for c in found.changes]
    assert at == [("stop", after(1.0)), ("stood-down", after(3.5))]


def test_an_entry_is_unknown_before_its_time():
    # covered at 14:20 by hand; until then the monitor asks for it
    described = show([fixture("IP20", cover="bag")], covers=[BAG])
    log = [entry(2 + 1 / 3, "covered", by="Ines")]
    found = rehearse(described, hours([0, 0, 1, 1, 0, 0], 0.0), log)
    assert [c.alert.stage for c in found.changes] == ["notice", "start", "stood-down"]
    assert found.changes[-1].alert.at == after(2 + 1 / 3)
    assert found.changes[-1].reason == "logged covered by Ines at Thu 14:20"


def test_what_is_put_out_later_was_not_out_before():
    # it rains until 16:00; put out at 17:00 nothing has been used
    log = [entry(5.0, "put-out")]
    found = rehearse(one_fixture("IP44"), hours([30, 30, 30, 30, 0, 0, 0, 0], 0.0), log)
    row = as_json(found)["fixtures"][0]
    assert (row["used"], row["hours_out"]) == (0.0, 3.0)
    # what was asked for before anybody knew ends there
    assert found.changes[-1].alert.at <= after(8.0)
    assert not any(c.alert.stage == "overdue" for c in found.changes if c.alert.at > after(5.0))


def test_out_from_the_records_start_where_that_is_before_load_in():
    early = hours([1.0] * 4, 0.0, start=after(-10))
    assert as_json(rehearse(one_fixture("IP20"), early))["fixtures"][0]["hours_out"] == 4.0
    late = hours([1.0] * 4, 0.0, start=after(10))
    row = as_json(rehearse(one_fixture("IP20"), late))["fixtures"][0]
    assert (row["hours_out"], row["wetting_mm"]) == (4.0, pytest.approx(4.0))


def test_an_extended_fixture_is_only_inspected():
    # daily showers on a film that nothing dries (dew point unknown): every day from 1 July on
    # has wet hours, so the fifteenth is 15 July, 13.5 days after noon, looked at in hours
    weather = hours(([2.0] + [0.0] * 23) * 17, 1.0)
    found = rehearse(one_fixture("IP55"), weather)
    assert stages(found) == [("notice", "inspect")]
    at = found.changes[0].alert.at
    assert after(13.5 * 24) < at <= after(13.5 * 24 + 6)


# ---------------------------------------------------------------- odd records


def test_a_record_of_no_steps():
    weather = hours([0.0], 0.0).take(np.arange(0))
    found = as_json(rehearse(one_fixture("IP20"), weather))
    assert (found["weather"]["from"], found["weather"]["steps"]) == (None, 0)
    assert found["alerts"] == []


def test_a_record_of_one_step():
    # 2 mm in the only hour: 0.5 is through in its first quarter
    found = rehearse(one_fixture("IP20"), hours([2.0], 0.0))
    assert stages(found)[0] == ("start", "bring-in")
    assert ("overdue", "isolate") in stages(found)
    assert as_json(found)["fixtures"][0]["spent_at"] == "2027-07-01T12:15:00Z"


def test_a_record_of_no_rain_tells_nothing():
    found = rehearse(small_show(), hours([0.0] * 72, 3.0, gust=5.0))
    assert found.changes == ()
    assert all(row["used"] == 0.0 for row in as_json(found)["fixtures"])


def test_rain_that_is_not_known_is_not_dry():
    nan = float("nan")
    found = as_json(rehearse(one_fixture("IP20"), hours([0, nan, nan, 0, 1], 0.0)))
    assert found["weather"]["unknown_steps"] == 2
    assert found["weather"]["rain_mm"] == 1.0
    row = found["fixtures"][0]
    assert row["unknown_hours"] == 2.0
    assert any("2.0 h not known" in note for note in row["notes"])


def test_missing_steps_are_counted_as_hours_not_known():
    weather = hours([0.0] * 10, 2.0).take(np.r_[0:4, 7:10])
    found = as_json(rehearse(one_fixture("IP20"), weather))
    assert found["weather"]["missing_hours"] == 3.0
    assert found["fixtures"][0]["unknown_hours"] == 3.0


def test_nothing_is_stood_down_by_a_gap():
    # a start is open for rain at 14:00; then the record has a hole, and what came is unknown
    nan = float("nan")
    weather = hours([0, 0, 0.4, nan, nan, nan, nan, 0, 0, 0], 0.0)
    weather = replace(weather, rain_mm=weather.rain_mm.copy())
    found = rehearse(one_fixture("IP20"), weather)
    # 0.4 of 0.5 mm: half used is told, and nothing can be said to be over in the hole
    assert stages(found)[0] == ("notice", "bring-in")
    assert not [a for a in told(found, "stood-down") if a.at < after(7.0)]


def test_steps_of_five_minutes():
    # 72 h in 864 steps; 1.2 mm/h from 36 h on: 0.5 mm after 25 min
    rain = np.zeros(864)
    rain[432:480] = 0.1
    found = rehearse(small_show(), hours(rain, 0.0, each_h=1 / 12), crew="absent")
    rows = {row["id"]: row for row in as_json(found)["fixtures"]}
    assert rows["l1"]["spent_at"] == "2027-07-03T00:25:00Z"
    assert len(found.weather.starts) == 864


# ---------------------------------------------------------------- in pieces as at once


def at_once_and_in_pieces(described, weather, log, crew):
    rig = compile_rig(described)
    out_from = min(NOON.timestamp(), float(weather.starts[0]))
    run = _Run(rig, weather, sorted(log, key=lambda e: e.at), out_from, crew)
    while run.now < weather.ends[-1]:
        run.step()
    run.now = max(run.now, float(weather.ends[-1]))
    known = run._known()
    run._count(known)
    whole = assess(rig, weather, known, out_from_s=out_from)
    return run._so_far, whole.carried, whole.group_of


@pytest.mark.parametrize("crew", ["absent", "follows"])
@UNHURRIED
@given(weather=records(unknown=True, most=30), log=logs())
def test_counted_in_pieces_is_counted_at_once(crew, weather, log):
    pieces, whole, of = at_once_and_in_pieces(small_show(), weather, log, crew)
    for name in ("used", "dose", "total", "blown"):
        one, other = getattr(pieces, name)[..., of], getattr(whole, name)[..., of]
        assert np.allclose(one, other, rtol=1e-9, atol=1e-12), name
    for name in ("spent_s", "half_used_s"):
        one, other = getattr(pieces, name)[of], getattr(whole, name)[of]
        assert np.allclose(one, other, rtol=0, atol=0.01, equal_nan=True), name
    assert pieces.thunder_until_s == whole.thunder_until_s
    assert np.array_equal(pieces.stay_days[of], whole.stay_days[of])


@UNHURRIED
@given(weather=records(most=20), log=logs(most=3))
def test_a_wet_hours_clock_runs_beside_the_dose_in_pieces_too(weather, log):
    clocked = small_show(temporary_wet_hours=5.0)
    pieces, whole, of = at_once_and_in_pieces(clocked, weather, log, "absent")
    assert np.allclose(pieces.dose[..., of], whole.dose[..., of], rtol=1e-9, atol=1e-12)
    # a film dries by the sun at mid-step, and a piece of a step has another middle
    assert np.allclose(pieces.used[..., of], whole.used[..., of], rtol=0.01, atol=0.02)


# ---------------------------------------------------------------- whatever the weather

_WORK = {"cover", "bring-in", "isolate", "uncover", "inspect", "clean"}
_FORBIDDEN = re.compile(r"\b(go|stand by|stand-by|standby|all clear|all-clear)\b", re.IGNORECASE)


def blocked_at(described, weather, moment_s, position_id):
    """Whether nobody may work at a position, from the record and the rules alone."""
    steps = cut(weather, (), described.policy)
    place = described.positions[position_id]
    spans = (
        *thunder_spans(steps, described.policy.risk),
        *gust_spans(steps, place, described.site, described.policy.risk),
    )
    return blocking(spans, moment_s) is not None


@pytest.mark.parametrize("crew", ["absent", "follows"])
@UNHURRIED
@given(weather=records(unknown=True, most=30), log=logs())
def test_no_message_asks_for_work_where_nobody_may_work(crew, weather, log):
    described = small_show()
    found = rehearse(described, weather, log, crew=crew)
    ids, stopped = {}, False
    for change in found.changes:
        alert, now = change.alert, change.alert.at.timestamp()
        assert change.reason
        if alert.kind == "stop" and alert.position is None and alert.stage == "stood-down":
            stopped = False
        ids.setdefault(alert.id, alert.position)
        assert ids[alert.id] == alert.position
        if alert.stage == "stop":
            assert alert.action is None
            if alert.position is None:
                stopped = True
            # a stop of the site that is not lifted yet, or what closes the place itself
            assert stopped or blocked_at(described, weather, now, alert.position)
        elif alert.position is not None and alert.stage != "stood-down":
            assert alert.action in _WORK
            assert not blocked_at(described, weather, now, alert.position)
        elif alert.stage == "stood-down" and alert.position is not None:
            # only what somebody logged may end while nobody may work there
            by_log = alert.reason.startswith(("logged", "nothing there"))
            assert by_log or not blocked_at(described, weather, now, alert.position)
    in_order(found.changes)
    sayable(found.changes)


def in_order(changes):
    """Alerts follow each other in time, and one that has ended is never heard of again."""
    ended = set()
    moments = [c.alert.at for c in changes]
    assert moments == sorted(moments)
    for change in changes:
        assert change.alert.id not in ended
        if change.alert.stage == "stood-down":
            ended.add(change.alert.id)


def sayable(changes):
    """Each change is a message of the right length, without the words of cue calls."""
    for change in changes:
        said = message(change.alert, change.alert.at)
        assert len(said.radio) <= 160
        for text in (said.subject, said.text, said.radio):
            assert not _FORBIDDEN.search(text), text


# ---------------------------------------------------------------- the file

_KEYS = {
    "schema": str,
    "weather": dict,
    "crew": str,
    "fixtures": list,
    "alerts": list,
    "cautions": list,
}
_NUMBER, _MAYBE, _TEXT, _TIME = "number", "number or null", "text", "time or null"
_FIXTURE = {
    "id": _TEXT,
    "code": _TEXT,
    "position": _TEXT,
    "standing": _TEXT,
    "weakest_part": _TEXT,
    "allowance_mm": _MAYBE,
    "wetting_mm": _NUMBER,
    "used": _NUMBER,
    "half_used_at": _TIME,
    "spent_at": _TIME,
    "wet_hours": _NUMBER,
    "damp_hours": _NUMBER,
    "dusty_hours": _NUMBER,
    "hours_out": _NUMBER,
}
_ALERT = {
    "id": _TEXT,
    "kind": _TEXT,
    "stage": _TEXT,
    "action": "text or null",
    "position": "text or null",
    "count": _NUMBER,
    "people": _NUMBER,
    "minutes": _MAYBE,
    "isolate_at": "text or null",
    "start_by": _TIME,
    "do_by": _TIME,
    "members": _NUMBER,
    "probability": _MAYBE,
    "at": _TIME,
    "reason": _TEXT,
}


def fits(value, kind):
    if kind.endswith("or null") and value is None:
        return True
    if kind.startswith("time"):
        return datetime.strptime(value, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC) is not None
    if kind.startswith("text"):
        return isinstance(value, str)
    return type(value) in (int, float) and np.isfinite(value)


def test_the_file_is_as_the_interface_says():
    hood = Cover("hood", "hood", keeps_out_to_deg=45.0, gust_limit_mps=8.0, in_stock=9)
    described = show(
        [
            fixture("IP20", "f1", cover="hood"),
            fixture("IP65", "f2"),
            fixture("IP44", "f3", position="truss", stated_hours_in_rain=2.0),
        ],
        positions=[position(), position("truss", access="ladder", access_limit_mps=10.0)],
        covers=[hood],
    )
    weather = replace(
        hours([0, 0, 1, 9, 9, 0, 0, 1], 4.0, gust=[3, 3, 9, 12, 3, 3, 3, 3]),
        thunder=np.array([[0, 0, 0, 0, 0, 1.0, 0, 0]]),
    )
    found = as_json(rehearse(described, weather, [entry(0.5, "covered", fixture="f1")]))
    assert found["schema"] == "dryspell.rehearsal/1"
    assert {k: type(found[k]) for k in _KEYS} == _KEYS
    index = found["weather"]["driving_rain_index_mm"]
    assert list(index) == ["0", "45", "90", "135", "180", "225", "270", "315"]
    assert found["weather"]["from"] == "2027-07-01T12:00:00Z"
    assert found["weather"]["to"] == "2027-07-01T20:00:00Z"
    assert found["weather"]["rain_mm"] == 20.0
    for row in found["fixtures"]:
        assert all(fits(row[key], kind) for key, kind in _FIXTURE.items()), row
        assert all(isinstance(note, str) for note in row["notes"])
    assert found["fixtures"][1]["allowance_mm"] is None
    assert found["alerts"]
    for alert in found["alerts"]:
        assert all(fits(alert[key], kind) for key, kind in _ALERT.items()), alert
        assert all(isinstance(f, str) for f in alert["fixtures"])
        assert alert["kind"] in {"work", "stop", "weather", "delivery"}
        assert alert["stage"] in {"notice", "start", "overdue", "stop", "stood-down"}
        assert alert["action"] in {*_WORK, None}
        assert alert["at"] is not None
        assert alert["probability"] is None
    assert any("cover counts as off from" in note for note in found["fixtures"][0]["notes"])
    assert found["cautions"][0].startswith("The record itself was the forecast")
