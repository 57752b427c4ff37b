"""Alerts to word and send: one told in practice notes, and any that could be."""

from __future__ import annotations

import string
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hypothesis import strategies as st

from monitor.domain import Alert, Contact, Facts, Message, Wait, Worth

# 15 July 2027 is a Thursday (1 January 2027 is a Friday; the 196th day is 195 = 27 weeks and
# 6 days later). The site's clock is British Summer Time, one hour ahead of UTC.
NOW = datetime(2027, 7, 15, 21, 0, tzinfo=UTC)


def hours(number: float) -> datetime:
    return NOW + timedelta(hours=number)


FACTS = Facts(
    site_name="Marrowmere",
    timezone="Europe/London",
    position_name="Delay towers A+B",
    fixture_names=("6 moving beam, IP54", "2 distribution, IP44"),
    weakest="connector of DTA-02",
    rain_mm=29.2,
    driven_mm=31.4,
    wet_from=hours(3),
    wet_to=hours(13),
    wind_mps=8.2,
    wind_from_deg=225.0,
    gust_mps=21.4,
    gust_at=hours(7),
    gap="open sky",
    used=2.31,
    can_wait=(Wait(("DTA-05", "DTB-05"), hours(5)),),
    access="platform",
    access_limit_mps=12.5,
    access_closes_at=hours(2),
    cover_name="elastic bag",
    cover_gust_limit_mps=15.0,
    sources=("Hourly forecast A",),
    issued_at=NOW - timedelta(minutes=70),
    credit=("Weather data by A, CC BY 4.0",),
    next_word_at=hours(0.25),
)

TOWERS = Alert(
    id="17",
    kind="work",
    stage="start",
    action="cover",
    position="delay",
    fixtures=("DTA-01", "DTA-02"),
    count=8,
    people=2,
    minutes=50.0,
    isolate_at="DIST-DTA",
    start_by=hours(2 / 3),
    do_by=hours(1.5),
    members=1,
    probability=None,
    at=NOW,
    reason="the platform closes before the rain",
    facts=FACTS,
)

STOP = replace(
    TOWERS,
    kind="stop",
    stage="stop",
    facts=replace(FACTS, blocked_by="gust 14 m/s at 9 m, limit 12.5", blocked_until=hours(9)),
)

LOST = Alert(
    id="weather",
    kind="weather",
    stage="start",
    action=None,
    position=None,
    fixtures=(),
    count=0,
    people=0,
    minutes=None,
    isolate_at=None,
    start_by=None,
    do_by=None,
    members=0,
    probability=None,
    at=NOW,
    reason="nothing new since 14:10",
    facts=Facts(site_name="Marrowmere", timezone="Europe/London", next_word_at=hours(1)),
)

MAILBOX = Contact(
    name="crew",
    kind="email",
    host="127.0.0.1",
    security="none",
    sender="Dryspell <watch@show.example>",
    to=("ines@crew.example",),
)


def note(**changes: object) -> Message:
    """A message as the outbox holds it."""
    plain = Message(
        alert_id="17",
        kind="work",
        stage="start",
        subject="Start by 22:40: cover 8 fixtures",
        text="Cover 8 fixtures at Delay towers A+B.\n\nStart by 22:40.\n\nCautions\n- Keep off.\n",
        radio="COVER 8 at Delay towers A+B.",
        data={"id": "17", "stage": "start"},
        thread="alert-17",
        at=NOW,
    )
    return replace(plain, **changes)


# Names that hold none of our own words, in several scripts, some of them very long.
_LETTERS = "XYZQ0123456789-+ äßé東Ж"
names = st.text(_LETTERS, min_size=1, max_size=200)
ids = st.text(string.digits, min_size=1, max_size=8)
moments = st.integers(-48 * 60, 240 * 60).map(lambda m: NOW + timedelta(minutes=m))
zones = st.sampled_from(
    ("Europe/London", "Asia/Kolkata", "America/St_Johns", "Asia/Dubai", "UTC", "Pacific/Apia")
)
amounts = st.floats(0, 500) | st.just(float("nan"))


def maybe(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.none() | strategy


facts = st.builds(
    Facts,
    site_name=names,
    timezone=zones,
    position_name=names | st.just(""),
    fixture_names=st.lists(names, max_size=3).map(tuple),
    weakest=maybe(names),
    rain_mm=maybe(amounts),
    driven_mm=maybe(amounts),
    wet_from=maybe(moments),
    wet_to=maybe(moments),
    wind_mps=maybe(amounts),
    wind_from_deg=maybe(st.floats(0, 360)),
    gust_mps=maybe(amounts),
    gust_at=maybe(moments),
    gap=maybe(names),
    used=maybe(amounts),
    can_wait=st.lists(
        st.builds(Wait, st.lists(ids, max_size=9).map(tuple), moments), max_size=2
    ).map(tuple),
    access=maybe(
        st.sampled_from(("ground", "ladder", "platform", "climb", "lowered-truss", "none"))
    ),
    access_limit_mps=maybe(amounts),
    access_closes_at=maybe(moments),
    blocked_by=maybe(names),
    blocked_until=maybe(moments),
    cover_name=maybe(names),
    cover_gust_limit_mps=maybe(amounts),
    sources=st.lists(names, max_size=2).map(tuple),
    issued_at=maybe(moments),
    credit=st.lists(names, max_size=2).map(tuple),
    next_word_at=maybe(moments),
    late=st.booleans(),
    who=st.lists(names, max_size=3).map(tuple),
    handed_to=st.lists(names, max_size=2).map(tuple),
    handed_at=maybe(moments),
    late_minutes=maybe(amounts),
    worth=maybe(st.builds(Worth, st.floats(0, 500), st.floats(0, 500), st.floats(0, 1))),
    covers=st.lists(st.tuples(names, st.integers(1, 99)), max_size=2).map(tuple),
    not_covered_because=maybe(names),
    spent_live=st.booleans(),
    logged_done=st.booleans(),
    answered=st.lists(names, max_size=1).map(tuple),
    rain_now=maybe(names),
    extra=st.lists(names, max_size=2).map(tuple),
)

ACTIONS = ("cover", "bring-in", "isolate", "uncover", "inspect", "clean")
STAGES = ("notice", "start", "overdue", "stop", "stood-down")


def alerts(kinds: tuple[str, ...], stages: tuple[str, ...] = STAGES) -> st.SearchStrategy[Alert]:
    return st.builds(
        Alert,
        id=ids,
        kind=st.sampled_from(kinds),
        stage=st.sampled_from(stages),
        action=st.sampled_from(ACTIONS),
        position=maybe(names),
        fixtures=st.lists(ids, max_size=4).map(tuple),
        count=st.integers(0, 1_000_000),
        people=st.integers(0, 99),
        minutes=maybe(amounts),
        isolate_at=maybe(names),
        start_by=maybe(moments),
        do_by=maybe(moments),
        members=st.integers(0, 60),
        probability=maybe(st.floats(0, 1)),
        at=st.just(NOW),
        reason=names | st.just(""),
        cautions=st.lists(names, max_size=2).map(tuple),
        facts=facts,
    )


open_work = alerts(("work",), ("notice", "start", "overdue")).map(
    lambda a: replace(a, facts=replace(a.facts, blocked_by=None))
)
