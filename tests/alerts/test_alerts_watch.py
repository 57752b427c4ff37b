from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from datetime import time
from types import MappingProxyType
from zoneinfo import ZoneInfo

import pytest
from alert_samples import FACTS, MAILBOX, NOW, STOP, hours

from monitor.alerts import watch
from monitor.alerts.cautions import LIGHTNING
from monitor.builtin import builtin
from monitor.codes import read_code
from monitor.domain import Contact, Event, Fixture, Hours, Policy, Position, Show, Site

FOLDER = Contact(name="messages", kind="folder", path="messages")
FORBIDDEN = re.compile(r"\b(go|stand[ -]?by|all[ -]clear)\b", re.IGNORECASE)


def policy() -> Policy:
    settings = tomllib.loads(builtin("policy.toml").read_text("utf-8"))
    return Policy(**{"temporary_wet_hours": None, **settings})


def position(key: str, name: str, cut_off: str | None = None) -> Position:
    return Position(
        id=key,
        name=name,
        height_m=2.0,
        access="ground",
        access_limit_mps=None,
        setup_minutes=5.0,
        cover_minutes_each=2.0,
        bring_in_minutes_each=4.0,
        people_needed=1,
        isolate_at=cut_off,
    )


SHOW = Show(
    site=Site("Marrowmere", 52.0, -2.0, 30.0, ZoneInfo("Europe/London"), "II"),
    event=Event(load_in_at=NOW, show_hours=Hours(time(14), time(23))),
    positions=MappingProxyType(
        {"lip": position("lip", "Stage lip", "DIST-STG"), "bar": position("bar", "Bar canopy")}
    ),
    fixtures=(
        Fixture("L-1", read_code("IP65"), "lip", count=12, mount="upright"),
        Fixture("L-2", read_code("IP20"), "lip", count=3, condition="worn"),
        Fixture("B-1", read_code("IP20"), "bar", count=6, condition="new"),
    ),
    policy=policy(),
)


def on_watch(**changes):
    given = {
        "at": NOW,
        "next_word_at": hours(1),
        "sources": ["Hourly forecast A. Weather data by A, CC BY 4.0"],
        "contacts": [MAILBOX],
        "assumptions": ["thunder is not in this forecast"],
    }
    return watch.on_watch(changes.pop("show", SHOW), **{**given, **changes})


def test_it_says_what_is_watched_and_how():
    message = on_watch()
    text = message.text
    # 12 + 3 + 6
    assert text.startswith("On watch: 21 fixtures at 2 positions of Marrowmere.")
    assert "- Stage lip: 15\n- Bar canopy: 6\n" in text
    # exposure model section 11: new 1.0, hire 0.5, worn 0.2
    assert "- 12 fixtures in condition hire: 50 % of the test counts as allowance." in text
    assert "- 3 fixtures in condition worn: 20 % of the test counts as allowance." in text
    assert "- 6 fixtures in condition new: 100 % of the test counts as allowance." in text
    # 3 + 6 have no mount of their own
    assert "- 9 fixtures with mount any: taken at the worst angle of water." in text
    assert "- The show folder names no cut-off for: Bar canopy." in text
    assert "- Thunder is not in this forecast." in text
    assert "- Hourly forecast A. Weather data by A, CC BY 4.0." in text
    assert "Told: crew (1 by mail)." in text
    # an hour after 22:00 on the site's clock
    assert "Next word: by 23:00 (in 60 min)." in text
    assert LIGHTNING in text
    assert watch.SILENCE in text


def test_standings_add_up():
    # IP20 is indoor gear: no second digit for water
    assert "9 indoor gear" in on_watch().text


def test_silence_is_told_to_be_no_safety():
    assert "does not detect lightning" in watch.SILENCE
    assert "silence is not safety" in watch.SILENCE
    message = on_watch()
    assert "silence is not safety" in message.radio
    assert len(message.radio) <= 160


@pytest.mark.parametrize("contacts", [[], [FOLDER]])
def test_with_only_a_folder_nobody_is_told_and_it_says_so(contacts):
    message = on_watch(contacts=contacts)
    assert "No person is being told" in message.text.split("\n\n")[1]
    assert "No person is told." in message.radio
    assert message.data["tells_nobody"] is True


def test_a_webhook_is_somebody():
    message = on_watch(contacts=[FOLDER, Contact(name="board", kind="webhook", stages=("start",))])
    assert "Told: messages (folder), board (webhook, only start)." in message.text


def test_no_words_of_the_radio():
    for message in (on_watch(), on_watch(next_word_at=None), watch.trial(SHOW, at=NOW)):
        for text in (message.subject, message.text, message.radio, json.dumps(message.data)):
            assert not FORBIDDEN.search(text)
        assert "\n" not in message.subject
        assert len(message.subject) < 120


def test_a_trial_asks_for_nothing():
    message = watch.trial(SHOW, at=NOW)
    assert message.kind == "test"
    assert message.text.startswith("Test from the weather monitor at Marrowmere. Nothing to do.")
    assert message.radio == "TEST from the weather monitor at Marrowmere. Nothing to do."


def test_a_long_name_is_cut_on_the_radio():
    long = replace(SHOW, site=replace(SHOW.site, name="Meadow " * 40))
    message = watch.on_watch(long, at=NOW, next_word_at=hours(1), sources=[], contacts=[MAILBOX])
    assert len(message.radio) <= 160
    assert "silence is not safety" in message.radio


# ---------------------------------------------------------------- who is told, and when


def test_a_stop_that_stands_is_said_to_who_comes_on_now():
    stop = replace(STOP, position="lip", at=hours(-2), facts=replace(FACTS, position_name="Lip"))
    message = on_watch(stops=[stop])
    # two hours before 22:00 on the site's clock
    assert message.text.split("\n\n")[1].startswith(
        "A stop stands at Lip since 20:00: nobody starts, nobody climbs; "
    )
    assert "A stop stands." in message.radio
    assert message.data["stops"] == [stop.id]
    assert "stop stands" not in on_watch().text


def test_turns_and_what_holds_a_message_back_are_said():
    deputy = replace(MAILBOX, name="deputy", turn=2)
    phone = Contact(name="phones", kind="apprise", to=("env:A", "env:B"), short=True)
    text = on_watch(contacts=[MAILBOX, deputy, phone]).text
    assert "deputy (1 by mail, in turn 2)" in text
    assert "phones (2 by text message, chat or push, the radio line)" in text
    assert "A later turn is told of an order that nobody before has answered" in text
    assert "more than one message in 10 min, but for a stop" in text
    assert "quiet hours" not in text.lower()
    alone = on_watch(contacts=[replace(MAILBOX, gap_minutes=0.0)]).text
    assert "later turn" not in alone
    assert "more than one message" not in alone


def test_quiet_hours_are_said_as_they_are_kept():
    quiet = replace(SHOW, event=replace(SHOW.event, quiet_hours=Hours(time(23, 30), time(7))))
    text = watch.on_watch(quiet, at=NOW, next_word_at=None, sources=(), contacts=[MAILBOX]).text
    assert "In quiet hours, 23:30 to 07:00, everybody is told of a stop" in text


def test_load_in_is_an_assumption_while_it_lasts():
    rigging = replace(SHOW, event=replace(SHOW.event, load_in_ends_at=hours(4)))
    said = [a for a in on_watch(show=rigging).data["assumptions"] if "Load-in" in a]
    # 21:00 UTC is 22:00 at the site; four hours on it is 02:00 on Friday
    (assumed,) = said
    assert assumed.startswith("Load-in to Fri 02:00: open connectors count. Until then each is")
    over = replace(SHOW, event=replace(SHOW.event, load_in_ends_at=hours(-1)))
    assert "Load-in" not in " ".join(on_watch(show=over).data["assumptions"])
