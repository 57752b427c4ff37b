"""State, health and metrics: what they say, and that looking changes nothing."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from service_site import feed_of
from web_site import now, raise_alert, served, show_folder, stamp

from monitor.alerts.losses import FeedSight, Found
from monitor.domain import Message, Outcome
from monitor.service.answering import AnswerSaid, keep_answer
from monitor.service.delivering import deliver_due
from monitor.service.evaluated import last_evaluated, note_evaluated
from monitor.service.telling import follow_trouble
from monitor.store import outbox
from monitor.store.database import immediate
from monitor.web.metrics import Family, render

AT = datetime(2027, 7, 15, 12, tzinfo=UTC)


class Clock:
    """Stands until it is moved."""

    def __init__(self, at=AT):
        self.at = at

    def __call__(self):
        return self.at


def sight(source="local-weather", *, said=0.0, reaches=48.0, failing=None, at=AT, max_age=8.0):
    """A feed whose forecast was issued `said` hours before `at`."""
    return FeedSight(
        source=source,
        asked=True,
        failing=failing,
        said_at=None if said is None else at - timedelta(hours=said),
        reaches_to=None if said is None else at + timedelta(hours=reaches),
        max_age_s=max_age * 3600,
    )


def evaluated(site, *sights, at=AT):
    with site.db() as db, immediate(db):
        note_evaluated(db, sights, at)


def queue(site, at, contact="desk"):
    message = Message(
        alert_id="wash-1",
        kind="work",
        stage="start",
        subject="Start now: cover",
        text="Cover.",
        radio="Cover.",
        data={},
        thread="alert-wash-1",
        at=at,
    )
    with site.db() as db, immediate(db):
        return outbox.enqueue(
            db, message, contact, contact, at=at, expires_at=at + timedelta(hours=6)
        )


@pytest.fixture
def clocked(tmp_path):
    """A server with a clock of the test's own."""
    clock = Clock()
    folder = show_folder(tmp_path / "clocked", feeds=feed_of("http://127.0.0.1:9"))
    with served(folder, clock=clock) as site:
        yield site, clock


def parts_of(answer):
    return {part["part"]: part for part in answer.json()["parts"]}


# ---------------------------------------------------------------- health


def test_a_watch_that_works_is_200_without_a_token(clocked):
    site, _ = clocked
    evaluated(site, sight(said=0.5))
    answer = site.get("/health", token=False)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "application/json"
    assert answer.json()["works"] is True
    parts = parts_of(answer)
    assert parts["weather"]["says"] == "local-weather is current, its forecast 30 min ago."
    assert parts["evaluations"]["says"] == "What is needed was last worked out 0 s ago."
    assert "no person is being told" in parts["deliveries"]["says"]


@pytest.mark.parametrize(
    ("sights", "works", "says"),
    [
        ([], False, "names no weather feed"),
        ([sight(said=None)], False, "local-weather is lost"),
        # older than the 8 hours it may be
        ([sight(said=8.1)], False, "local-weather is lost, its forecast 8.1 h ago"),
        ([sight(said=1, reaches=-1)], False, "is lost"),
        (
            [sight(said=1, failing="It answered 503.")],
            True,
            "is ageing, its forecast 60 min ago; the last try failed.",
        ),
        # one of two: there is weather still, and it says which is gone
        ([sight(said=9), sight("other", said=1)], True, "local-weather is lost"),
    ],
)
def test_health_of_the_weather(clocked, sights, works, says):
    site, _ = clocked
    evaluated(site, *sights)
    answer = site.get("/health", token=False)
    part = parts_of(answer)["weather"]
    assert part["works"] is works
    assert says in part["says"]
    assert answer.status_code == (200 if works else 503)
    assert "503" not in part["says"]  # what a server answered is nobody's business here


def test_health_before_anything_was_looked_at(clocked):
    site, _ = clocked
    answer = site.get("/health", token=False)
    assert answer.status_code == 503
    assert [p["works"] for p in answer.json()["parts"]] == [False, False, True]


@pytest.mark.parametrize(
    ("seconds", "works"), [(0, True), (179, True), (180, False), (3600, False), (-240, False)]
)
def test_health_of_the_pace(clocked, seconds, works):
    site, clock = clocked
    evaluated(site, sight(said=1))
    clock.at += timedelta(seconds=seconds)
    answer = site.get("/health", token=False)
    assert parts_of(answer)["evaluations"]["works"] is works
    assert answer.status_code == (200 if works else 503)


def test_health_of_deliveries_that_wait(clocked):
    site, clock = clocked
    evaluated(site, sight(said=1))
    queue(site, AT)
    assert site.get("/health").status_code == 200
    clock.at += timedelta(minutes=5, seconds=1)
    evaluated(site, sight(said=1), at=clock.at)
    answer = site.get("/health")
    assert answer.status_code == 503
    assert "1, the oldest queued 5 min ago" in parts_of(answer)["deliveries"]["says"]


def test_health_of_a_contact_that_is_not_reached(tmp_path):
    clock = Clock()
    contacts = (
        '[[contacts]]\nname = "Night desk"\nkind = "webhook"\nurl = "http://127.0.0.1:9/x"\n'
        'secret = "env:HOOK_SECRET"\n'
    )
    environ = {"HOOK_SECRET": "whsec_" + "c2VydmljZS10ZXN0LXNlY3JldC0wMTIz"}
    folder = show_folder(tmp_path / "show", contacts=contacts)
    with served(folder, clock=clock, environ=environ) as site:
        evaluated(site, sight(said=1))
        queue(site, AT, contact="Night desk")
        with site.db() as db:
            for _ in range(3):  # nobody listens there; from the third time on it is told
                watched = site.place.watch.current
                deliver_due(
                    db,
                    watched.show,
                    watched.contacts,
                    clock,
                    site.place.watch.secret,
                    lambda: 0.5,
                    lambda: False,
                )
                outbox.free_leases(db, clock())
        answer = site.get("/health", token=False)
        assert answer.status_code == 503
        assert "do not reach: 1" in parts_of(answer)["deliveries"]["says"]
        assert "Night desk" not in answer.text
        state = site.get("/api/v1/state").json()
        assert state["deliveries"]["not_reached"] == ["Night desk"]


def test_health_is_looked_up_once_a_second_however_many_ask(clocked, monkeypatch):
    site, clock = clocked
    evaluated(site, sight(said=1))
    opened = []
    real = type(site.place).opened

    def counted(self):
        opened.append(1)
        return real(self)

    monkeypatch.setattr(type(site.place), "opened", counted)
    for _ in range(20):
        assert site.get("/health", token=False).status_code == 200
    assert len(opened) == 1
    clock.at += timedelta(seconds=1)
    site.get("/health", token=False)
    assert len(opened) == 2


# ---------------------------------------------------------------- state


def test_state_says_how_things_stand(clocked):
    site, clock = clocked
    evaluated(site, sight(said=1.5, failing="It answered 503."))
    raise_alert(site)
    raise_alert(site, "roof-1")
    raise_alert(site, "roof-1", stage="stood-down")
    with site.db() as db:
        keep_answer(db, AnswerSaid("wash-1", "doing", by="Ines"), site.place.show, AT, str)
    queue(site, AT)
    clock.at += timedelta(seconds=90)
    site.post("/api/v1/observations", {"station": "mast", "time": stamp(AT), "temp_c": 15})
    state = site.get("/api/v1/state").json()
    assert state["schema"] == "dryspell.state/1"
    assert (state["at"], state["evaluated_at"]) == (stamp(clock.at), stamp(AT))
    assert state["site"] == "Lower meadow"
    (alert,) = state["alerts"]
    assert (alert["id"], alert["kind"], alert["stage"], alert["action"]) == (
        "wash-1",
        "work",
        "start",
        "cover",
    )
    assert alert["fixtures"] == ["WASH"]
    assert alert["answer"] == {"answer": "doing", "at": stamp(AT), "by": "Ines"}
    more = {"action": "cover", "because": None, "until": None, "note": None}
    assert alert["answers"] == [{**alert["answer"], **more}]
    assert (alert["turns"], alert["awaits_answer"], alert["next_turn_at"]) == ([], False, None)
    (feed,) = state["feeds"]
    assert (feed["source"], feed["state"], feed["failing"]) == (
        "local-weather",
        "ageing",
        "It answered 503.",
    )
    assert feed["age_s"] == pytest.approx(1.5 * 3600 + 90)
    assert state["stations"][0] == {"station": "mast", "last_at": stamp(AT), "every_minutes": 5.0}
    assert state["stations"][1]["last_at"] is None
    assert state["deliveries"]["waiting"] == 1
    assert state["deliveries"]["oldest_age_s"] == pytest.approx(90)
    assert state["folder_fault"] is None


def test_state_needs_a_token(site):
    assert site.get("/api/v1/state", token=False).status_code == 401


def test_a_note_of_an_evaluation_is_read_back_as_it_was(site):
    evaluated(site, sight("a", said=1), sight("b", said=None))
    with site.db() as db:
        found = last_evaluated(db)
    assert found.at == AT
    assert [(f.source, f.state, f.said_at) for f in found.feeds] == [
        ("a", "current", AT - timedelta(hours=1)),
        ("b", "lost", None),
    ]


# ---------------------------------------------------------------- looking changes nothing


def test_whoever_looks_changes_nothing(site):
    raise_alert(site)
    evaluated(site, sight(said=1, at=now()), at=now())
    site.post("/api/v1/observations", {"station": "mast", "temp_c": 15})
    before = site.contents()
    for path in (
        "/",
        "/health",
        "/metrics",
        "/api/v1/state",
        "/api/v1/log",
        "/api/v1/answers",
        "/api/v1/observations",
        f"/api/v1/observations/gateway/{site.token}?tempf=59&station=mast",
        "/api/v1/log?id=abcdefgh&entry=covered&position=wash",
        "/api/v1/answers?id=abcdefgh&alert=wash-1&answer=done",
    ):
        site.get(path)
        site.get(path, token=False)
    assert site.contents() == before


def test_a_post_that_is_refused_changes_nothing(site):
    raise_alert(site)
    before = site.contents()
    for path in ("/api/v1/log", "/api/v1/answers", "/api/v1/observations", "/health", "/nothing"):
        for body in ({}, [], {"id": "abcdefgh"}, {"station": "mast"}, "x", None):
            assert site.post(path, body).status_code >= 400
            assert site.post(path, body, token=False).status_code >= 400
    assert site.contents() == before


# ---------------------------------------------------------------- metrics

# The text format as Prometheus documents it ("Exposition formats", version 0.0.4), written down
# from that page: a line is a comment, HELP, TYPE or a sample; a label's value escapes backslash,
# quote and line feed; the lines of one family stand together, HELP and TYPE before samples.
NAME = r"[a-zA-Z_:][a-zA-Z0-9_:]*"
LABEL = r'[a-zA-Z_][a-zA-Z0-9_]*="(?:[^"\\\n]|\\\\|\\"|\\n)*"'
SAMPLE = re.compile(rf"({NAME})(\{{{LABEL}(?:,{LABEL})*\}})? (-?\d+(?:\.\d+)?(?:e[+-]?\d+)?|NaN)")
HELP = re.compile(rf"# HELP ({NAME}) (?:[^\\\n]|\\\\|\\n)*")
TYPE = re.compile(rf"# TYPE ({NAME}) (counter|gauge)")


def read_metrics(text):
    """(name, labels as text) -> value; every line is held to the grammar."""
    assert text.endswith("\n")
    values, family, seen = {}, None, set()
    for line in text.removesuffix("\n").split("\n"):
        if found := HELP.fullmatch(line):
            family = found[1]
            assert family not in seen
            seen.add(family)
            helped = True
        elif found := TYPE.fullmatch(line):
            assert found[1] == family
            assert helped
            helped = False
            assert (found[2] == "counter") == family.endswith("_total")
        else:
            found = SAMPLE.fullmatch(line)
            assert found, line
            assert found[1] == family, line
            key = (found[1], found[2] or "")
            assert key not in values, line
            values[key] = float(found[3])
    assert all(name.startswith("dryspell_") for name, _ in values)
    return values


def test_metrics_are_in_the_text_format(clocked):
    site, _ = clocked
    evaluated(site, sight(said=1))
    raise_alert(site)
    raise_alert(site, "roof-1", stage="overdue")
    queue(site, AT - timedelta(seconds=30))
    site.post("/api/v1/observations", {"station": "mast", "time": stamp(AT), "temp_c": 15})
    answer = site.get("/metrics", token=False)
    assert answer.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    values = read_metrics(answer.text)
    # 2027-07-15T12:00Z: 20,649 days after 1970-01-01 (57 years, 14 leap days, 195 days into it)
    at = (57 * 365 + 14 + 195) * 86400 + 12 * 3600
    assert values["dryspell_rule_evaluation_timestamp_seconds", ""] == at
    assert values["dryspell_obs_last_timestamp_seconds", '{station="mast"}'] == at
    assert values["dryspell_alert_state", '{rule="cover"}'] == 3
    assert values["dryspell_alerts_open", '{rule="cover"}'] == 2
    assert values["dryspell_alert_state", '{rule="stop"}'] == 0
    assert values["dryspell_notify_waiting", ""] == 1
    assert values["dryspell_notify_oldest_seconds", ""] == 30
    fetches = {
        labels: value
        for (name, labels), value in values.items()
        if name == "dryspell_feed_fetch_total"
    }
    assert set(fetches.values()) == {0}
    assert len(fetches) == 5


def test_attempts_to_send_are_counted_by_kind_of_contact(clocked):
    site, clock = clocked
    for seconds in range(3):
        queue(site, AT + timedelta(seconds=seconds), contact="messages")
    queue(site, AT, contact="one that was taken out")
    with site.db() as db:
        for outcome in (
            Outcome(sent=True),
            Outcome(sent=False, detail="busy"),
            Outcome(sent=False, lasting=True, detail="no"),
            Outcome(sent=True),
        ):
            clock.at += timedelta(seconds=3)
            outbox.settle(db, outbox.lease(db, clock.at), outcome, clock.at, 0.5)
    values = read_metrics(site.get("/metrics", token=False).text)
    sent = {
        labels: int(value)
        for (name, labels), value in values.items()
        if name == "dryspell_notify_total"
    }
    assert sum(sent.values()) == 4
    assert sum(n for labels, n in sent.items() if 'channel="folder"' in labels) == 3
    assert sum(n for labels, n in sent.items() if 'channel="gone"' in labels) == 1


def test_names_with_quotes_and_backslashes_stay_readable():
    family = Family("dryspell_x", "gauge", "One \\ line\nand another.")
    family.add(1.5, feed='a "b" \\c\nd')
    family.add(float("nan"), feed="e")
    text = render([family, Family("dryspell_empty", "gauge", "Nothing.")])
    assert text == (
        "# HELP dryspell_x One \\\\ line\\nand another.\n# TYPE dryspell_x gauge\n"
        'dryspell_x{feed="a \\"b\\" \\\\c\\nd"} 1.5\ndryspell_x{feed="e"} NaN\n'
    )
    read_metrics(text)


def test_a_trouble_of_the_weather_is_its_rule(site):
    with site.db() as db, immediate(db):
        follow_trouble(
            db, site.place.show, "weather", Found("start", "It is gone."), now(), over="back"
        )
    values = read_metrics(site.get("/metrics", token=False).text)
    assert values["dryspell_alert_state", '{rule="weather"}'] == 2
