"""What is told of official warnings: once, quoted, with its source; again when it changes."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from warned_samples import NOON, SITE, section, show_with_warnings, warning

from monitor.alerts import wording
from monitor.alerts.official import OfficialState, advance_official
from monitor.alerts.official_reading import ServiceSight, short_line, unread_found, whole_lines
from monitor.alerts.official_words import NO_PROMISE, UNPLACED
from monitor.feeds.cap_area import SiteArea
from monitor.feeds.cap_fields import polygon
from monitor.feeds.cap_force import Listening, thunder_spans
from monitor.planning.official import Reference, WarnedArea
from monitor.store.records import from_json, to_json

HERE = (WarnedArea("The meadows", polygons=(polygon("51,-3 51,-1 53,-1 53,-3 51,-3"),)),)
THERE = (WarnedArea("The north", polygons=(polygon("57,-4 57,-3 58,-3 57,-4"),)),)
OFFICE = {"Office": Listening()}


def h(hours: float) -> datetime:
    return NOON + timedelta(hours=hours)


def here(identifier: str = "W1", **said):
    kept = {
        "areas": HERE,
        "description": "Storms with hail.\n\nStay in.",
        "instruction": "Go indoors.",
        "sender_name": "Weather Office Example",
        **said,
    }
    return warning(identifier, **kept)


def to(identifier: str, sent: datetime = NOON):
    return (Reference("warn@weather.example", identifier, sent),)


@pytest.fixture
def show(tmp_path):
    return show_with_warnings(tmp_path / "show", section("Office", "https://weather.example/i"))


class Life:
    """Evaluations one after the other; what is remembered goes through the database's JSON."""

    def __init__(self, show, listening=OFFICE):
        self.show, self.listening = show, listening
        self.state = OfficialState()

    def at(self, hours: float, *warnings, **more):
        changes, after = advance_official(
            self.state, warnings, more.get("listening", self.listening), self.show, h(hours), h(20)
        )
        self.state = from_json(OfficialState, to_json(after))
        assert self.state == after
        return [c.alert for c in changes]


# ---------------------------------------------------------------- once, and quoted


def test_a_warning_is_told_once_with_its_words_and_its_source(show):
    life = Life(show)
    (alert,) = life.at(0.5, here())
    assert (alert.kind, alert.stage, alert.id) == ("weather", "notice", "official-warning-1")
    said = wording.message(alert, h(0.5))
    assert said.subject == "Official warning for Lower meadow: Thunderstorm (Office)"
    # NOON is 12:00 UTC: 13:00 on the site's clock in July
    assert said.text.split("\n\nRadio:")[0] == (
        "Official warning for Lower meadow: Thunderstorm (Office).\n\n"
        # 17:00 and half an hour
        "Be down now, in a building or a hard-top vehicle: nobody works outdoors from now to "
        "17:30, 30 min after its end. Site time, BST (UTC+1).\n\n"
        "Office says:\n"
        "> Yellow warning of thunderstorms\n"
        ">\n"
        "> Storms with hail.\n"
        ">\n"
        "> Stay in.\n"
        ">\n"
        "> Go indoors.\n\n"
        "Severity moderate, urgency immediate, certainty likely.\n"
        "By Office (Weather Office Example), sent Thu 15 Jul 13:00 BST. In force from Thu 15 Jul "
        "13:00 BST to Thu 15 Jul 17:00 BST, site time.\n"
        "Area: The meadows.\n"
        "It is a warning of thunder for the site: all work outdoors is closed for its time and "
        "for 30 min after it.\n\n"
        f"{NO_PROMISE}\n\n"
        "Next word: by Fri 09:00."
    )
    assert said.data["official"]["quoted"][0] == "Yellow warning of thunderstorms"
    assert "Thunder heard or lightning seen" in said.text
    for hours in (0.6, 1, 2, 3.9):
        assert life.at(hours, here()) == []


def test_the_radio_line(show):
    (alert,) = Life(show).at(0.5, here())
    assert wording.message(alert, h(0.5)).radio == (
        "OFFICIAL WARNING at Lower meadow: Thunderstorm (Office). To 17:00. Be down now."
    )
    (alert,) = Life(show).at(0.5, here(event="Stand by for storms " * 9))
    line = wording.message(alert, h(0.5)).radio
    # its headline speaks of thunder
    asks = "To 17:00. Be down now."
    assert line == f"OFFICIAL WARNING at Lower meadow: read it in the mail (Office). {asks}"
    (alert,) = Life(show).at(0.5, here(event="雷"))
    assert "read it in the mail" in wording.message(alert, h(0.5)).radio
    (alert,) = Life(show).at(0.5, here(event="Very severe storms of every kind " * 9))
    assert len(wording.message(alert, h(0.5)).radio) <= 160


def test_thunder_ahead_is_told_with_its_times_and_when_to_be_down(show):
    # from 15:00 to 18:00 UTC, an hour later on the site's clock
    (alert,) = Life(show).at(0.5, here(onset=h(3), expires=h(6)))
    message = wording.message(alert, h(0.5))
    assert message.radio == (
        "OFFICIAL WARNING at Lower meadow: Thunderstorm (Office). 16:00 to 19:00. Be down by 16:00."
    )
    # 13:30 to 16:00 are two hours and a half: no countdown yet
    assert "Be down by 16:00, in a building or a hard-top vehicle" in message.text
    assert "from then to 19:30" in message.text
    long = replace(
        alert, facts=replace(alert.facts, site_name="The Very Long Meadow of the Old Lords " * 4)
    )
    line = wording.message(long, h(0.5)).radio
    assert len(line) <= 160
    assert "16:00 to 19:00. Be down by 16:00." in line


def test_the_end_of_a_warning_of_thunder_says_that_the_stop_stays(show):
    # over by its time at 17:00; the planner keeps work closed to 17:30 and so is it told
    life = Life(show)
    life.at(0.5, here())
    (ended,) = life.at(4.1, here())
    (span,) = thunder_spans([here()], SITE, OFFICE, h(4.1))
    assert span.end_s == h(4.5).timestamp()
    message = wording.message(ended, h(4.1))
    assert "The STOP stays to 17:30." in message.radio
    assert "The stop for thunder stays for 30 min after it, until 17:30 (in 24 min)" in message.text
    # cancelled at 15:00: to 15:30
    life = Life(show)
    life.at(0.5, here())
    cancel = here("X", msg_type="Cancel", sent=h(2), references=to("W1"))
    (ended,) = life.at(2.1, here(), cancel)
    assert "The STOP stays to 15:30." in wording.message(ended, h(2.1)).radio
    # an update draws it out to 18:00 and is not what ended it
    life = Life(show)
    life.at(0.5, here())
    update = here("W2", msg_type="Update", sent=h(1), references=to("W1"), expires=h(5))
    life.at(1, here(), update)
    (ended,) = life.at(5.1, here(), update)
    assert "The STOP stays to 18:30." in wording.message(ended, h(5.1)).radio


def test_the_end_of_a_gale_says_nothing_of_a_stop(show):
    life = Life(show)
    life.at(0.5, here(event="Gale", headline="Gale"))
    (ended,) = life.at(4.1, here(event="Gale", headline="Gale"))
    assert "STOP" not in wording.message(ended, h(4.1)).radio


CALLS = re.compile(r"\b(go|stand by|all clear)\b", re.IGNORECASE)


def test_words_that_are_calls_stand_only_where_the_service_is_quoted(show):
    life = Life(show)
    alerts = life.at(0.5, here(), here("U", areas=()))
    alerts += life.at(1, here(severity="Severe"), here("U", areas=()))
    alerts += life.at(5)
    assert len(alerts) == 5
    for alert in alerts:
        said = wording.message(alert, alert.at)
        ours = "\n".join(line for line in said.text.split("\n") if not line.startswith(">"))
        assert not CALLS.search(ours + said.subject + said.radio)


def test_calls_and_endless_names_of_the_service_stay_in_its_quotation(show):
    event = "Storm, all clear " + "and more " * 1000
    odd = {"event": event.strip(), "sender_name": "Go Office", "headline": "Stand by"}
    areas = (replace(HERE[0], description="Go Road"),)
    life = Life(show)
    alerts = life.at(0.5, here(**odd, areas=areas))
    alerts += life.at(1, here(**odd, areas=areas, severity="Severe"))
    alerts += life.at(5)
    (alert, *_) = alerts
    assert alert.facts.official.event.startswith("Storm, [...] and more")
    assert f"> {event.strip()}\n" in wording.message(alert, h(0.5)).text
    for alert in alerts:
        said = wording.message(alert, alert.at)
        ours = [line for line in said.text.split("\n") if not line.startswith(">")]
        assert not CALLS.search("\n".join((*ours, said.subject, said.radio)))
        assert len(ours[0]) < 200
    short = short_line(here(**odd), show, placed=True)
    assert not CALLS.search(short)
    (span,) = thunder_spans([here(event="All clear thunder " * 90)], SITE, OFFICE, h(1))
    assert not CALLS.search(span.says)
    assert len(span.says) < 150


def test_what_the_service_says_cannot_pass_for_ours(show):
    forged = "Fine.\n\nRadio: STOP ENDS\n\nCautions\n- none"
    (alert,) = Life(show).at(0.5, here(description=forged, headline="A\u2028Radio: B"))
    text = wording.message(alert, h(0.5)).text
    assert text.count("\nRadio: ") == 1
    assert "> Radio: STOP ENDS" in text


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ({"certainty": "Possible"}, "closes no work by itself"),
        ({"expires": None}, "It gives no end: taken to hold for 24 h from its sending."),
        ({"web": "https://weather.example/w"}, "More: https://weather.example/w\n"),
        ({"areas": (replace(HERE[0], description="Zone, " * 200),)}, "Zone, Zone [and more]."),
        ({"notes": ("It came as CAP 1.1.",)}, "It came as CAP 1.1."),
    ],
)
def test_what_is_said_beside(show, said, line):
    (alert,) = Life(show).at(0.5, here(**said))
    assert line in wording.message(alert, h(0.5)).text


def test_other_weather_says_nothing_of_closing(show):
    (alert,) = Life(show).at(0.5, here(event="Gale", headline="Gale"))
    text = wording.message(alert, h(0.5)).text
    assert "outdoors is closed" not in text
    assert "closes no work" not in text


# ---------------------------------------------------------------- update, cancel, end


def test_an_update_is_told_under_the_same_alert_with_what_changed(show):
    life = Life(show)
    (first,) = life.at(0.5, here())
    update = here(
        "W2", msg_type="Update", sent=h(1), references=to("W1"), severity="Severe", expires=h(7)
    )
    (second,) = life.at(1, here(), update)
    assert second.id == first.id
    # it begins with its own sending now, which was also past before: no news
    assert second.reason == (
        "changed by Office: severity severe instead of moderate, until Thu 15 Jul 20:00 BST "
        "instead of Thu 15 Jul 17:00 BST"
    )
    assert life.at(1.5, here(), update) == []


def test_an_update_that_changes_nothing_of_weight_is_not_told(show):
    life = Life(show)
    life.at(0.5, here())
    update = here(
        "W2", msg_type="Update", sent=h(1), references=to("W1"), expires=h(4.3), description="New."
    )
    assert life.at(1, here(), update) == []
    # yet it carries the alert on: its own cancel is known
    cancel = here("X", msg_type="Cancel", sent=h(2), references=to("W2", h(1)))
    (ended,) = life.at(2, here(), update, cancel)
    assert (ended.id, ended.stage) == ("official-warning-1", "stood-down")


def test_small_moves_add_up(show):
    life = Life(show)
    life.at(0.5, here())
    chain = [here()]
    told = []
    for i in range(1, 4):
        chain.append(
            here(
                f"U{i}",
                msg_type="Update",
                sent=h(0.5 + i / 10),
                references=to(chain[-1].identifier, chain[-1].sent),
                expires=h(4 + i / 4),
            )
        )
        told += life.at(0.5 + i / 10, *chain)
    # 15 min each: the second is 30 min from what was told
    assert [a.facts.official.said[1].count("17:30") for a in told] == [1]


def test_a_cancel_is_told_with_its_time(show):
    life = Life(show)
    life.at(0.5, here())
    cancel = here("X", msg_type="Cancel", sent=h(2), references=to("W1"))
    (ended,) = life.at(2.1, here(), cancel)
    assert ended.stage == "stood-down"
    assert ended.reason == "cancelled by Office, Thu 15 Jul 15:00 BST"
    text = wording.message(ended, h(2.1)).text
    assert text.startswith("Ended, the official warning for Lower meadow: Thunderstorm (Office).")
    assert NO_PROMISE in text
    assert life.at(2.2, here(), cancel) == []


def test_another_sender_neither_ends_a_warning_nor_speaks_in_its_place(show):
    life = Life(show)
    (first,) = life.at(0.5, here())
    other = {"sender": "other@weather.example", "sent": h(1), "references": to("W1")}
    cancel = here("X", msg_type="Cancel", **other)
    assert life.at(1.1, here(), cancel) == []
    update = here("Y", msg_type="Update", expires=h(9), **other)
    (second,) = life.at(1.2, here(), cancel, update)
    assert (second.id, second.stage) != (first.id, "stood-down")
    assert life.at(1.3, here(), cancel, update) == []
    (ended,) = life.at(4.1, here(), cancel, update)
    assert (ended.id, ended.stage) == (first.id, "stood-down")


def test_its_end_is_told(show):
    life = Life(show)
    life.at(0.5, here())
    heard = {"Office": Listening(read_at=h(4.1))}
    (ended,) = life.at(4.2, here(), listening=heard)
    assert ended.reason == "its time is over since Thu 15 Jul 17:00 BST"


def test_its_end_while_the_service_cannot_be_read(show):
    life = Life(show)
    life.at(0.5, here())
    heard = {"Office": Listening(read_at=h(3))}
    (ended,) = life.at(4.2, here(), listening=heard)
    assert "Office could not be read since, so look yourself" in ended.reason


def test_an_update_that_leaves_the_site_is_told_as_an_end(show):
    life = Life(show)
    life.at(0.5, here())
    update = here("W2", msg_type="Update", sent=h(1), references=to("W1"), areas=THERE)
    (ended,) = life.at(1, here(), update)
    assert ended.reason == "a later message of Office takes its place, and is not for the site"


def test_a_service_taken_out_of_the_show(show):
    life = Life(show)
    life.at(0.5, here())
    (ended,) = life.at(1, here(), listening={})
    assert "no longer among the services" in ended.reason


def test_two_warnings_of_one_message_each_go_on_from_their_like(show):
    life = Life(show)
    storm, gale = here(), here(event="Gale", headline="Gale", part=1)
    first = life.at(0.5, storm, gale)
    assert len(first) == 2
    later = [
        replace(w, identifier="W2", msg_type="Update", sent=h(1), references=to("W1"), severity=s)
        for w, s in ((gale, "Severe"), (storm, "Moderate"))
    ]
    (told,) = life.at(1, storm, gale, *later)
    assert told.facts.official.event == "Gale"
    assert told.id == next(a.id for a in first if a.facts.official.event == "Gale")


def test_two_of_the_same_kind_do_not_change_places(show):
    life = Life(show)
    early, late = here(expires=h(4)), here(part=1, onset=h(8), expires=h(12))
    assert len(life.at(0.5, early, late)) == 2
    for hours in (0.6, 1, 2):
        assert life.at(hours, late, early) == []


# ---------------------------------------------------------------- area not known


def test_what_cannot_be_placed_is_told_together_and_as_such(show):
    life = Life(show)
    loose = [
        here(f"L{i}", areas=(WarnedArea(f"Zone {i}", geocodes=(("Z", f"{i}"),)),))
        for i in range(12)
    ]
    (alert,) = life.at(0.5, *loose)
    said = wording.message(alert, h(0.5))
    assert said.subject == (
        "Official warning for Lower meadow: 12 warnings whose area is not known (Office)"
    )
    assert UNPLACED in said.text
    assert "Thunderstorm: Zone 0, until Thu 15 Jul 17:00 BST." in said.text
    assert "And 2 more." in said.text
    assert "outdoors is closed" not in said.text
    assert life.at(1, *loose) == []


def test_a_new_one_among_them_waits_for_the_hour(show):
    life = Life(show)
    one, two = here("A", areas=()), here("B", areas=())
    (first,) = life.at(0, one)
    assert life.at(0.5, one, two) == []
    (second,) = life.at(1, one, two)
    assert second.id == first.id
    assert second.facts.official.event == "2 warnings whose area is not known"
    assert life.at(2, one, two) == []
    (ended,) = life.at(4, one, two)
    assert ended.reason == "Office has none left whose area is not known"


# ---------------------------------------------------------------- clock changes


def test_times_over_the_night_of_the_clock_change(tmp_path):
    # On 31 October 2027 at 02:00 BST London turns back to 01:00 GMT: 01:30 comes twice.
    show = show_with_warnings(tmp_path / "s", section("Office", "https://weather.example/i"))
    sent = datetime(2027, 10, 31, 0, 30, tzinfo=UTC)
    said = here(sent=sent, expires=sent + timedelta(hours=1))
    (change,), _ = advance_official(
        OfficialState(), [said], OFFICE, show, sent + timedelta(minutes=1)
    )
    text = wording.message(change.alert, sent).text
    assert "sent Sun 31 Oct 01:30 BST" in text
    assert "to Sun 31 Oct 01:30 GMT, site time" in text


def test_times_in_a_zone_without_letters(tmp_path):
    show = show_with_warnings(tmp_path / "s", section("Office", "https://weather.example/i"))
    show = replace(show, site=replace(show.site, timezone=ZoneInfo("Asia/Kathmandu")))
    (change,), _ = advance_official(OfficialState(), [here()], OFFICE, show, h(1))
    # 12:00 UTC is 17:45 at 5 h 45 min ahead
    assert "sent Thu 15 Jul 17:45 UTC+5:45" in wording.message(change.alert, h(1)).text


# ---------------------------------------------------------------- services, lines


def sight(service="Office", **more) -> ServiceSight:
    kept = {
        "host": "weather.example",
        "asked": True,
        "failing": "it is out of order (503).",
        "faulty": True,
        "read_at": None,
        **more,
    }
    return ServiceSight(service=service, **kept)


def test_a_service_that_cannot_be_read_is_said_with_where_to_look(show):
    found = unread_found([sight(read_at=h(0))], show, h(2))
    assert found is not None
    assert found.stage == "start"
    assert found.reason == "Office was last read in full at 13:00: it is out of order (503)."
    assert found.extra[0] == "Look yourself at Office (weather.example)"
    other = sight("Second", failing=None, read_at=h(2))
    found = unread_found([sight(), other], show, h(2))
    assert found is not None
    assert found.stage == "notice"
    assert found.extra[-1] == "Still read: Second"


def test_services_that_are_read_or_not_asked_yet_are_no_trouble(show):
    fine = [
        sight(failing=None),
        sight(asked=False),
        sight(faulty=False),
        # a quarter of an hour, or a poll and the five minutes in which it is tried again
        sight(read_at=h(1.76)),
        sight(read_at=h(1.42), poll=timedelta(minutes=30)),
    ]
    assert unread_found(fine, show, h(2)) is None
    assert unread_found([], show, h(2)) is None


@pytest.mark.parametrize(("read_h", "poll_min"), [(1.74, 10), (1.74, 2), (1.41, 30)])
def test_a_service_that_fails_is_told_soon(show, read_h, poll_min):
    late = sight(read_at=h(read_h), poll=timedelta(minutes=poll_min))
    assert unread_found([late], show, h(2)) is not None


def test_a_service_that_answered_well_and_then_no_more_cannot_be_read(show):
    well = sight(failing=None, faulty=False, read_at=h(0), poll=timedelta(minutes=20))
    # an answer may be kept for two polls before it is asked for again
    assert unread_found([well], show, h(0.99)) is None
    found = unread_found([well], show, h(1.01))
    assert found is not None
    assert found.reason == "Office was last read in full at 13:00: nothing has come from it since."


def test_lines_for_the_screen(show):
    assert whole_lines(here(), show, placed=False) == [
        (
            'Official warning by Office: "Yellow warning of thunderstorms", from Thu 15 Jul 13:00 '
            "BST to Thu 15 Jul 17:00 BST. Its area is not known here: it may concern the site."
        ),
        "  > Yellow warning of thunderstorms",
        "  > Storms with hail.",
        "  >",
        "  > Stay in.",
        "  > Go indoors.",
    ]


def test_codes_of_the_show_place_a_warning(show):
    said = here(areas=(WarnedArea("Zone", geocodes=(("Z", "1"),)),))
    heard = {"Office": Listening(area=SiteArea(codes=("Z:1",)))}
    (alert,) = Life(show, heard).at(0.5, said)
    assert "outdoors is closed" in wording.message(alert, h(0.5)).text
