"""A cover drill timed by three taps, and real jobs that correct its minutes."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from duty_site import Phone
from set_up_site import Chief, Form, changes, demo_show, files, position
from web_site import now, served

from monitor.domain import Answered, LogEntry
from monitor.store.answers import record_answer
from monitor.store.history import record_log

DRILL = "/set-up/drill"
TOWER = f"{DRILL}?at=tower-a"
"""Three lamps under domes and three other pieces: 12 min to get there, 4 each by the file."""


class Clock:
    def __init__(self):
        self.at = now().replace(microsecond=0)

    def __call__(self):
        return self.at

    def goes(self, minutes):
        self.at += timedelta(minutes=minutes)


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def site(tmp_path, clock):
    with served(demo_show(tmp_path / "show"), clock=clock) as found:
        yield found


def tap(phone, path, **more):
    """The one big button of the page, as a browser without a script sends it."""
    form = Form(phone.get(path).text, DRILL)
    step = phone.get(path).text.partition('name="tap" value="')[2].partition('"')[0]
    answer = phone.get(DRILL, params={**form.fields, "tap": step, **more})
    assert answer.status_code == 303, answer.text
    return answer.headers["Location"]


def drilled(phone, clock, *minutes, path=TOWER):
    """The address after as many taps, with so many minutes before each."""
    for gap in minutes:
        clock.goes(gap)
        path = tap(phone, path)
    return path


def kept_form(phone, path):
    """The form that keeps the minutes, if there is one: its fields."""
    text = phone.get(path).text
    _, found, rest = text.partition('<form method="post" action="/set-up/drill">')
    return Form(found + rest, DRILL).fields if found else None


def test_three_taps_then_the_minutes_then_a_revision(site, clock):
    """14 min to get there; 15.5 for the three that take a cover are 5.17 each, up to 5.2."""
    chief, before = Chief(site), files(site)
    path = drilled(chief, clock, 0, 14, 15.5)
    assert "14 min to get there, 5.2 min to cover each." in chief.get(path).text
    assert "12 min to get there, 4 min to cover each." in chief.get(path).text
    assert (files(site), changes(site)) == (before, ())
    answer = chief.sends(DRILL, kept_form(chief, path))
    assert answer.status_code == 303
    tower = position(site, "tower-a")
    assert (tower["setup_minutes"], tower["cover_minutes_each"]) == (14.0, 5.2)
    (change,) = changes(site)
    assert (change.by, change.position) == ("Ines", "tower-a")
    assert change.says == (
        "drill timed, 3 covered: setup_minutes 12 to 14; cover_minutes_each 4 to 5.2"
    )
    # the remark beside the figure stays
    assert b"# drive, mats, outriggers" in files(site)["show.toml"]
    assert "Kept." in chief.get(answer.headers["Location"]).text
    assert "drill timed" in chief.get("/history").text


def test_the_times_are_in_the_address_and_a_reload_changes_nothing(site, clock):
    crew = Chief(site, "Dario", "crew")
    rows = site.contents()
    path = drilled(crew, clock, 0, 14)
    first = crew.get(path).text
    clock.goes(3)
    again = crew.get(path).text
    assert parse_qs(urlsplit(path).query)["there"] == [
        (clock.at - timedelta(minutes=3)).strftime("%Y-%m-%dT%H:%M:%SZ")
    ]
    assert "All covered" in first
    assert "All covered" in again
    assert "3 min ago" in again
    assert site.contents() == rows


def test_it_counts_from_the_tap_not_from_when_it_came(site, clock):
    chief = Chief(site)
    clock.goes(5)
    tapped = (clock.at - timedelta(minutes=2)).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    path = tap(chief, TOWER, tapped=tapped)
    assert parse_qs(urlsplit(path).query)["out"] == [tapped.replace(".000Z", "Z")]
    # and nobody is there before they set out
    early = (clock.at - timedelta(minutes=9)).strftime("%Y-%m-%dT%H:%M:%SZ")
    path = tap(chief, path, tapped=early)
    query = parse_qs(urlsplit(path).query)
    assert query["there"] == query["out"]


@pytest.mark.parametrize("tapped", ["yesterday", "2001-01-01T00:00:00Z", "2999-01-01T00:00:00Z"])
def test_a_phone_with_a_strange_clock_is_not_believed(site, clock, tapped):
    path = tap(Chief(site), TOWER, tapped=tapped)
    assert parse_qs(urlsplit(path).query)["out"] == [clock.at.strftime("%Y-%m-%dT%H:%M:%SZ")]


def test_how_many_were_covered_changes_the_minutes(site, clock):
    chief = Chief(site)
    path = drilled(chief, clock, 0, 12, 24)
    assert "8 min to cover each" in chief.get(path).text  # 24 / 3
    six = f"{path}&count=6"
    assert "4 min to cover each" in chief.get(six).text
    assert chief.sends(DRILL, kept_form(chief, six)).status_code == 303
    assert position(site, "tower-a")["cover_minutes_each"] == 4


def test_crew_time_and_only_a_chief_keeps(site, clock):
    crew, before = Chief(site, "Dario", "crew"), files(site)
    path = drilled(crew, clock, 0, 14, 15)
    page = crew.get(path).text
    assert kept_form(crew, path) is None
    assert "Only a chief keeps them" in page
    fields = dict(parse_qs(urlsplit(path).query))
    refused = crew.sends(DRILL, {**fields, "csrf": crew.token(), "count": "3"})
    assert refused.status_code == 403
    assert (files(site), changes(site)) == (before, ())
    # the chief opens the same address
    chief = Chief(site)
    assert chief.sends(DRILL, kept_form(chief, path)).status_code == 303
    assert Chief(site, "Client", "guest").get(TOWER).status_code == 403
    assert Phone(site).get(TOWER).status_code == 401


@pytest.mark.parametrize("count", ["", "0", "many", "-2", "99999"])
def test_a_count_that_is_none_is_said_beside_its_field(site, clock, count):
    chief, before = Chief(site), files(site)
    path = drilled(chief, clock, 0, 14, 15)
    answer = chief.sends(DRILL, {**kept_form(chief, path), "count": count})
    assert answer.status_code == 422
    assert set(Form(answer.text, DRILL).wrong) == {"count"}
    assert files(site) == before


@pytest.mark.parametrize(
    "times",
    [
        "out=soon",
        "there=2027-07-15T12:00:00Z",
        "out=2001-01-01T00:00:00Z&there=2001-01-02T00:00:00Z",
        "out=2999-01-01T00:00:00Z",
        "out=2026-01-01T12:00:00",
    ],
)
def test_an_address_that_is_no_drill(site, times):
    chief = Chief(site)
    assert chief.get(f"{TOWER}&{times}").status_code == 422
    fields = {"csrf": chief.token(), "at": "tower-a", "count": "3"}
    fields |= {key: value[0] for key, value in parse_qs(times).items()}
    assert chief.sends(DRILL, fields).status_code == 422
    assert chief.get(f"{DRILL}?at=nowhere").status_code == 404


def test_three_taps_in_a_row_are_no_drill(site, clock):
    chief, before = Chief(site), files(site)
    path = drilled(chief, clock, 0, 0.4, 0.4)
    assert "that was tapped, not timed" in chief.get(path).text
    assert kept_form(chief, path) is None
    fields = {key: value[0] for key, value in parse_qs(urlsplit(path).query).items()}
    answer = chief.sends(DRILL, {**fields, "csrf": chief.token(), "count": "3"})
    assert answer.status_code == 422
    assert files(site) == before


def test_two_chiefs_at_once(site, clock):
    chief = Chief(site)
    fields = kept_form(chief, drilled(chief, clock, 0, 14, 15))
    Chief(site, "Suki").keeps("/set-up/place?at=tower-b", setup_minutes="20")
    refused = chief.sends(DRILL, fields)
    assert refused.status_code == 422
    assert "Suki at " in refused.text
    assert position(site, "tower-b")["setup_minutes"] == 20.0


# ---------------------------------------------------------------- real jobs


def real_job(site, clock, minutes, number):
    began = clock.at - timedelta(hours=number)
    done = began + timedelta(minutes=minutes)
    three = ("DTA-01", "DTA-02", "DTA-03")
    with site.db() as db:
        record_answer(db, Answered(began, "a-1", "doing", "tower-a", "protect", three, by="Suki"))
        for fixture in three:
            entry = LogEntry(done, "covered", fixture=fixture, by="Suki")
            record_log(db, entry, f"job-{number}-{fixture}", done)
        record_answer(db, Answered(done, "a-1", "done", "tower-a", "protect", three, by="Suki"))


def test_three_real_jobs_are_offered_and_stand_once_a_chief_says_so(site, clock):
    """Planned 12 + 3 x 4 = 24 min; 36 in the middle is 1.5 times: 18, and 6 each."""
    chief = Chief(site)
    for number, minutes in ((30, 36), (20, 30)):
        real_job(site, clock, minutes, number)
    page = chief.get(TOWER).text
    assert "once there are 3: so far 2" in page
    assert kept_form(chief, TOWER) is None
    real_job(site, clock, 60, 10)
    before = files(site)
    page = chief.get(TOWER).text
    assert "3 real jobs here" in page
    assert "1.5 times as long" in page
    assert "18 min to get there, 6 min to cover each." in page
    assert kept_form(Chief(site, "Dario", "crew"), TOWER) is None
    assert files(site) == before
    assert chief.sends(DRILL, kept_form(chief, TOWER)).status_code == 303
    tower = position(site, "tower-a")
    assert (tower["setup_minutes"], tower["cover_minutes_each"]) == (18.0, 6.0)
    assert changes(site)[0].says.startswith("3 real jobs timed: setup_minutes 12 to 18")
    # by the new minutes they took as long as is planned
    assert "took about as long" in chief.get(TOWER).text


def test_keeping_what_is_not_offered_keeps_nothing(site):
    chief, before = Chief(site), files(site)
    answer = chief.sends(DRILL, {"csrf": chief.token(), "at": "tower-a"})
    assert answer.status_code == 422
    assert files(site) == before
    assert "There are no minutes to keep" in answer.text
