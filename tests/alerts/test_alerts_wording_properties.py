"""Whatever the alert, a message keeps its promises."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

from alert_samples import FACTS, NOW, TOWERS, alerts, open_work
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.alerts import cautions, mail, radio, wording

many = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])

KINDS = ("work", "stop", "weather", "delivery")
FORBIDDEN = re.compile(r"\b(go|stand[ -]?by|all[ -]clear)\b", re.IGNORECASE)
VERB = re.compile(r"\b(cover|bring in|isolate|uncover|inspect|clean)\b", re.IGNORECASE)
FIRST_CUT_THE_POWER = re.compile(r"\bisolate (first|at|it|its power)\b", re.IGNORECASE)
ORDERS = {
    "cover": "cover",
    "bring-in": "bring in",
    "isolate": "isolate",
    "uncover": "uncover",
    "inspect": "inspect",
    "clean": "clean",
}


def verbs(text: str, order: str = "") -> list[str]:
    """The orders in a text, less cutting the power before another order is followed."""
    left = text if order == "isolate" else FIRST_CUT_THE_POWER.sub("", text)
    return [v.lower() for v in VERB.findall(left)]


@many
@given(alerts(KINDS))
def test_a_radio_line_fits_one_text_message(alert):
    said = wording.message(alert, NOW).radio
    assert len(said) <= 160
    assert all(" " <= c <= "~" for c in said)
    assert not set(said) & set("[]{}~|\\^`")


@many
@given(open_work)
def test_the_radio_line_of_a_job_keeps_what_matters(alert):
    said = wording.message(alert, NOW).radio
    assert ORDERS[alert.action].upper() in said
    zone = ZoneInfo(alert.facts.timezone)
    finish, shut = alert.do_by, alert.facts.access_closes_at
    if alert.start_by and finish and shut and alert.start_by < shut < finish:
        finish = shut  # nobody may be up there any more: the deadline is no time to finish by
    for moment, words in ((alert.start_by, "tart by "), (finish, "one by ")):
        if moment is not None:
            clock = moment.astimezone(zone).strftime("%H:%M")
            assert re.search(rf"{words}[A-Za-z0-9 ]*{clock}", said)
        else:
            assert words not in said
    if alert.people:
        assert re.search(rf"\b{alert.people} (person|people)\b", said)
    place = radio.plain_place(alert)
    assert place[:20].rstrip(" -+") in said


@many
@given(alerts(KINDS))
def test_cue_calls_and_rescue_words_are_not_ours(alert):
    message = wording.message(alert, NOW)
    for text in (message.subject, message.text, message.radio, json.dumps(message.data)):
        assert not FORBIDDEN.search(text)


@many
@given(alerts(("work", "stop")))
def test_every_message_about_work_carries_the_cautions(alert):
    message = wording.message(alert, NOW)
    for caution in (
        cautions.LIGHTNING,
        cautions.WET_AND_LIVE,
        cautions.ESTIMATE,
        cautions.CODES,
        cautions.ESCAPE_LIGHT,
    ):
        assert f"- {caution}\n" in message.text
        assert caution in message.data["cautions"]


@many
@given(open_work)
def test_one_verb_and_one_action(alert):
    message = wording.message(alert, NOW)
    order = ORDERS[alert.action]
    assert verbs(message.subject, order) == [order]
    assert verbs(message.text.splitlines()[0], order) == [order]
    assert set(verbs(message.radio, order)) == {order}
    assert set(verbs(message.text.partition("\nCautions\n")[0], order)) == {order}


@many
@given(alerts(("stop",), ("notice", "start", "overdue", "stop")))
def test_a_stop_asks_for_no_work_there(alert):
    message = wording.message(alert, NOW)
    said = message.text.partition("\nCautions\n")[0]
    assert verbs(said) == []
    assert verbs(message.subject) == []
    for asked in ("Start", "Done by", "people", "person"):
        assert asked not in said
    assert "solate" in said
    wet = alert.facts.spent_live
    head = "STOP. Wet and live, keep off " if wet else "STOP. Do not work at "
    assert message.radio.startswith(head)


@many
@given(alerts(KINDS))
def test_a_subject_is_one_short_line(alert):
    subject = wording.message(alert, NOW).subject
    assert 0 < len(subject) < 120
    assert subject == " ".join(subject.split())


@many
@given(alerts(KINDS))
def test_the_object_is_json_whatever_the_numbers(alert):
    found = wording.as_json(alert)
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert (found["probability"] is None) or alert.members >= 10


@many
@given(alerts(KINDS), st.text(max_size=60), st.text(max_size=60))
def test_no_typed_name_forges_a_line_or_a_header(alert, name, reason):
    alert = replace(
        alert,
        reason=f"{reason}\r\nBcc: all@crew.example",
        facts=replace(alert.facts, position_name=f"{name}\r\nCautions\n- none"),
    )
    message = wording.message(alert, NOW)
    assert message.text.splitlines().count("Cautions") == 1
    sent = mail.compose(
        message, sender="watch@show.example", recipient="crew@show.example", row_id="1"
    ).as_bytes()
    head = sent.partition(b"\r\n\r\n")[0].decode("ascii")
    names = [
        line.partition(":")[0] for line in head.split("\r\n") if not line.startswith((" ", "\t"))
    ]
    assert sorted(names) == sorted(
        (
            "From",
            "To",
            "Subject",
            "Date",
            "Message-ID",
            "In-Reply-To",
            "References",
            "Auto-Submitted",
            "MIME-Version",
            "Content-Type",
        )
    )


@many
@given(st.text(max_size=300), st.integers(0, 200))
def test_shortening_keeps_to_the_room(text, room):
    assert len(radio.shorten(text, room)) <= room


def test_a_name_in_another_script_falls_back_to_the_id():
    # nothing of these letters can be sent as plain characters
    alert = replace(TOWERS, position="T-2", facts=replace(FACTS, position_name="東塔"))
    assert wording.message(alert, NOW).radio.startswith("COVER 8 at T-2. Start by 22:40")
    assert "東塔" in wording.message(alert, NOW).text


def test_accents_are_kept_readable():
    assert radio.plain("Bühne Süd, façade [3] Ørsted ß") == "Buhne Sud, facade (3) Orsted ss"
