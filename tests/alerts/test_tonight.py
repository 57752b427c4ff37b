from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_alerts_watch import SHOW

from monitor.alerts.tonight import outlook
from monitor.domain import Crew, Event, Facts, Hours, Person
from monitor.planning.job import Job, Plan
from monitor.units import to_epoch

FORBIDDEN = re.compile(r"\b(go|stand[ -]?by|all[ -]clear)\b", re.IGNORECASE)
LONDON = ZoneInfo("Europe/London")


def at(clock: str, day: int = 16) -> datetime:
    return datetime.combine(datetime(2027, 7, day), time.fromisoformat(clock), LONDON)


NIGHT = (at("23:00", 15).astimezone(UTC), at("07:00").astimezone(UTC))
NOW = at("22:30", 15)
DARIO = Person("Dario", shifts=(Hours(time(23), time(9)),))
SUKI = Person("Suki", shifts=(Hours(time(9), time(23)),), call_out_minutes=25)
INES = Person("Ines", shifts=(Hours(time(9), time(23)),))
PEOPLE = replace(
    SHOW,
    event=Event(load_in_at=at("12:00", 15), quiet_hours=Hours(time(23), time(7))),
    crew=Crew(people=(DARIO, SUKI, INES)),
)


def job(position="lip", start=None, due=None, who=(), **more) -> Job:
    base = {
        "position": position,
        "family": "protect",
        "action": "cover",
        "fixtures": (),
        "count": 3,
        "people": 2,
        "minutes": 20.0,
        "start_by_s": None if start is None else to_epoch(start),
        "do_by_s": None if due is None else to_epoch(due),
        "members": 1,
        "probability": None,
        "reason": "rain",
        "facts": Facts(who=who),
    }
    return Job(**{**base, **more})


def plan(*jobs, known_to=None, blind=False) -> Plan:
    return Plan(
        jobs=jobs,
        thunder=None,
        blocked={},
        changes_s=(),
        blind=blind,
        known_until_s=to_epoch(known_to or at("12:00")),
        wind_known=True,
        thunder_known=True,
        protected={},
        brought_in={},
        spent={},
        rain_ahead={},
    )


def said(*jobs, show=PEOPLE, **more):
    return outlook(show, plan(*jobs, **more), NIGHT, NOW)


def test_what_is_planned_who_gets_up_and_the_sum_of_it():
    text = said(
        job("bar", at("04:00"), at("05:00")),
        job("lip", at("02:40"), at("03:30"), who=("Suki", "Dario")),
    ).text
    assert text.startswith("Tonight at Marrowmere, 23:00 to Fri 07:00: 2 jobs planned.\n")
    assert "You will be woken only if" in text
    assert (
        "Planned\n"
        "- Stage lip (3 fixtures): start by Fri 02:40, done by Fri 03:30, Suki and Dario\n"
        "- Bar canopy (3 fixtures): start by Fri 04:00, done by Fri 05:00, 2 people\n\n"
    ) in text
    # 02:40 less 25 and 20 is 01:55; less 20 alone is 02:20; Ines is off and not called
    assert (
        "Wake-up times\n"
        "- Suki: Fri 01:55 = start by Fri 02:40 less 25 min to come and 20 min to dress and walk, "
        "Stage lip\n"
        "- Dario: Fri 02:20 = start by Fri 02:40 less 20 min to dress and walk, Stage lip\n"
        "- Ines: nothing is expected\n\n"
    ) in text
    assert "silence is not safety" in text
    assert "Next word: by Fri 07:00" in text


def test_what_closes_before_the_water_is_due_is_done_by_then():
    closing = job("lip", at("04:00"), at("05:10"))
    closing = replace(closing, facts=replace(closing.facts, access_closes_at=at("05:00")))
    after = job("bar", at("04:00"), at("05:10"))
    # closed before it begins, and open again by then
    after = replace(after, facts=replace(after.facts, access_closes_at=at("03:00")))
    text = said(closing, after).text
    assert "Stage lip (3 fixtures): start by Fri 04:00, down and done by Fri 05:00, " in text
    assert "Bar canopy (3 fixtures): start by Fri 04:00, done by Fri 05:10, " in text


def test_a_night_with_nothing_in_it():
    message = said()
    assert message.text.startswith("Nothing is expected tonight at Marrowmere, 23:00 to Fri 07:00.")
    assert message.text.count("nothing is expected") == 3
    assert "nothing expected" in message.radio


@pytest.mark.parametrize("unknown", [{"known_to": at("03:00")}, {"blind": True}])
def test_a_night_that_is_not_all_foreseen_is_not_called_quiet(unknown):
    message = said(**unknown)
    assert "Nothing is expected" not in message.text
    assert "nothing expected" not in message.radio
    assert "not all of it can be foreseen" in message.text
    assert "The forecast is known without a break" in message.text


def test_what_begins_after_the_night_counts_where_it_takes_somebody_out_of_bed():
    # 25 minutes to come and 20 to dress and walk: a start by 07:44 is got up for at 06:59
    assert "1 job planned" in said(job("lip", at("07:44"), at("09:00"))).text
    assert "Nothing is expected" in said(job("lip", at("07:45"), at("09:00"))).text


def test_what_cannot_be_had_in_time_is_said():
    text = said(job("lip", None, at("03:00"), late_by_s=600.0)).text
    assert "Stage lip (3 fixtures): done by Fri 03:00, not to be had in time" in text
    assert "Suki: nothing is expected" in text


def test_what_was_answered_as_not_needed_is_left_out():
    assert "Nothing is expected" in said(job("lip", at("02:00"), at("03:00"), not_needed=True)).text


def test_a_crew_without_names():
    show = replace(PEOPLE, crew=Crew(parties=2, call_out_minutes=40))
    text = said(job("lip", at("02:40"), at("03:30")), show=show).text
    # whoever is called: nobody is known to be on site; 02:40 less 40 and 20 is 01:40
    assert "Whoever is called: Fri 01:40 = start by Fri 02:40 less 40 min to come" in text


moments = st.integers(0, 700).map(lambda m: datetime.fromtimestamp(to_epoch(NOW) + 60 * m, UTC))


@given(
    st.lists(
        st.builds(
            job,
            st.sampled_from(("lip", "bar")),
            st.none() | moments,
            moments,
            st.sampled_from(((), ("Suki",), ("Dario", "Suki"))),
        ),
        max_size=6,
    ),
    st.booleans(),
)
def test_any_night_is_said_in_plain_words(jobs, blind):
    message = said(*jobs, blind=blind)
    assert len(message.radio) <= 160
    assert "Silence is not safety" in message.radio
    assert len(message.subject) <= 119
    assert "Cautions\n- " in message.text
    assert not FORBIDDEN.search(message.text + message.radio + message.subject)
    if jobs:
        assert "Nothing is" not in message.text.split("\n")[0] or "Planned" not in message.text


def test_what_nobody_there_can_do_says_who_is_missing_and_where_its_power_is_cut():
    short = job("lip", at("02:40"), at("03:30"), missing="nobody here holds a climb ticket")
    hopeless = job("bar", at("04:00"), at("05:00"), late=True, late_by_s=4 * 3600.0)
    text = said(short, hopeless).text
    assert (
        "Stage lip (3 fixtures): cannot be done by who is there, nobody here holds a climb "
        "ticket: isolate "
    ) in text
    assert "cannot be done by who is there, it would be done more than 3 h late: isolate" in text
    assert "start by Fri 02:40" not in text.partition("Wake-up")[0]
