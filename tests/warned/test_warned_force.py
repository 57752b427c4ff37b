"""What is in force at a moment, and from when to when thunder closes work outdoors."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import permutations
from zoneinfo import ZoneInfo

import pytest
from warned_samples import NOON, SITE, warning

from monitor.feeds.cap_area import SiteArea
from monitor.feeds.cap_fields import polygon
from monitor.feeds.cap_force import HELD_OVER, Listening, in_force, standing, thunder_spans
from monitor.planning.official import Reference, WarnedArea
from monitor.units import to_epoch

HERE = (WarnedArea(polygons=(polygon("51,-3 51,-1 53,-1 53,-3 51,-3"),)),)
THERE = (WarnedArea(polygons=(polygon("10,10 10,11 11,11 11,10 10,10"),)),)
OFFICE = {"Office": Listening()}


def h(hours: float) -> datetime:
    return NOON + timedelta(hours=hours)


def here(identifier: str = "W1", **said):
    return warning(identifier, **{"areas": HERE, **said})


def to(identifier: str, sent: datetime = NOON, sender: str = "warn@weather.example"):
    return (Reference(sender, identifier, sent),)


def names_of(found) -> list[str]:
    return [w.identifier for w in found]


def hours(spans) -> list[tuple[float, float]]:
    noon = to_epoch(NOON)
    return [((s.start_s - noon) / 3600, (s.end_s - noon) / 3600) for s in spans]


# ---------------------------------------------------------------- in force


def test_from_its_sending_until_its_end():
    said = [here()]
    assert names_of(in_force(said, SITE, OFFICE, h(0))) == ["W1"]
    assert names_of(in_force(said, SITE, OFFICE, h(3.99))) == ["W1"]
    assert in_force(said, SITE, OFFICE, h(4)) == ()


def test_one_that_begins_later_stands_already():
    said = [here(onset=h(3))]
    (found,) = in_force(said, SITE, OFFICE, h(0))
    assert found.begins == h(3)


def test_the_end_of_the_event_after_that_of_the_message():
    assert names_of(in_force([here(ends=h(9))], SITE, OFFICE, h(8))) == ["W1"]
    assert in_force([here(ends=h(2))], SITE, OFFICE, h(3)) == ()


def test_without_an_end_for_a_day():
    said = [here(expires=None)]
    assert names_of(in_force(said, SITE, OFFICE, h(23.9))) == ["W1"]
    assert in_force(said, SITE, OFFICE, h(24)) == ()


def test_a_message_that_expires_before_its_event_begins_holds_on():
    # renewed every few hours until the evening; then the line to the service breaks
    said = [here(onset=h(6), expires=h(3))]
    assert names_of(in_force(said, SITE, OFFICE, h(7))) == ["W1"]
    assert hours(thunder_spans(said, SITE, OFFICE, h(4))) == [(6.0, 30.5)]
    assert in_force(said, SITE, OFFICE, h(30)) == ()
    # an end of the event is believed, and so is a word that all is over
    assert in_force([here(onset=h(6), expires=h(3), ends=h(8))], SITE, OFFICE, h(8)) == ()
    assert in_force([here(sent=h(1), onset=h(6), expires=h(1))], SITE, OFFICE, h(1)) == ()


@pytest.mark.parametrize("status", ["Exercise", "Test", "System", "Draft", "TEST"])
def test_what_is_not_meant_is_not_in_force(status):
    assert in_force([here(status=status)], SITE, OFFICE, h(1)) == ()
    assert thunder_spans([here(status=status)], SITE, OFFICE, h(1)) == ()


def test_a_status_left_out_is_meant():
    assert names_of(in_force([here(status="")], SITE, OFFICE, h(1))) == ["W1"]


@pytest.mark.parametrize("kind", ["Ack", "Error", "Cancel"])
def test_messages_that_warn_of_nothing(kind):
    assert in_force([here(msg_type=kind)], SITE, OFFICE, h(1)) == ()


def test_elsewhere_is_left_out_and_unknown_is_not():
    said = [here("A"), here("B", areas=THERE), here("C", areas=())]
    assert names_of(in_force(said, SITE, OFFICE, h(1))) == ["A", "C"]
    assert names_of(standing(said, h(1))) == ["A", "B", "C"]


def test_a_service_that_is_no_longer_read_counts_no_more():
    assert in_force([here(service="Other")], SITE, OFFICE, h(1)) == ()


def test_the_gravest_first():
    said = [here("A", severity="Minor"), here("B", severity="Extreme"), here("C", severity="odd")]
    assert names_of(in_force(said, SITE, OFFICE, h(1))) == ["B", "A", "C"]


# ---------------------------------------------------------------- update and cancel


def test_an_update_takes_the_place_in_whatever_order_they_come():
    first = here("A")
    second = here("B", msg_type="Update", sent=h(1), references=to("A"), expires=h(6))
    third = here("C", msg_type="Update", sent=h(2), references=to("B", h(1)), expires=h(5))
    for order in permutations([first, second, third]):
        assert names_of(in_force(order, SITE, OFFICE, h(2.5))) == ["C"]


def test_a_cancel_before_its_warning_arrives():
    cancel = here("X", msg_type="Cancel", sent=h(1), references=to("A"), event="", headline="")
    assert in_force([cancel], SITE, OFFICE, h(2)) == ()
    assert in_force([cancel, here("A")], SITE, OFFICE, h(2)) == ()


def test_a_cancel_names_the_moment_in_any_zone():
    in_zone = NOON.astimezone(ZoneInfo("America/Chicago"))
    cancel = here("X", msg_type="Cancel", sent=h(1), references=to("A", in_zone))
    assert in_force([here("A"), cancel], SITE, OFFICE, h(2)) == ()


@pytest.mark.parametrize(
    "reference",
    [
        Reference("warn@weather.example", "A", h(-1)),  # an earlier message of that name
        Reference("other@weather.example", "A", NOON),
        Reference("warn@weather.example", "B", NOON),
    ],
)
def test_a_cancel_of_something_else_ends_nothing(reference):
    cancel = here("X", msg_type="Cancel", sent=h(1), references=(reference,))
    assert names_of(in_force([here("A"), cancel], SITE, OFFICE, h(2))) == ["A"]


def test_a_cancel_of_another_service_or_of_a_test_ends_nothing():
    for odd in ({"service": "Other"}, {"status": "Test"}, {"msg_type": "Alert"}):
        later = here("X", **{"msg_type": "Cancel", "sent": h(1), "references": to("A"), **odd})
        assert "A" in names_of(in_force([here("A"), later], SITE, OFFICE, h(2)))


def test_a_reference_whose_time_is_lost_still_ends_its_message():
    cancel = here("X", msg_type="Cancel", sent=h(1), references=(Reference("", "A"),))
    assert in_force([here("A"), cancel], SITE, OFFICE, h(2)) == ()


@pytest.mark.parametrize("kind", ["Cancel", "Update"])
def test_nobody_ends_what_another_sender_warns_of(kind):
    forged = here("X", sender="other@weather.example", msg_type=kind, sent=h(1))
    forged = replace(forged, references=to("A"), areas=THERE)
    assert names_of(in_force([here("A"), forged], SITE, OFFICE, h(2))) == ["A"]
    assert hours(thunder_spans([here("A"), forged], SITE, OFFICE, h(2))) == [(0.0, 4.5)]


@pytest.mark.parametrize("sender", ["", "WARN@weather.example"])
def test_a_sender_left_out_or_in_capitals_is_no_other(sender):
    cancel = here("X", sender=sender, msg_type="Cancel", sent=h(1), references=to("A"))
    assert in_force([here("A"), cancel], SITE, OFFICE, h(2)) == ()


# ---------------------------------------------------------------- thunder


def test_thunder_closes_from_its_onset_to_half_an_hour_after_its_end():
    spans = thunder_spans([here(onset=h(1))], SITE, OFFICE, h(0))
    assert hours(spans) == [(1.0, 4.5)]
    assert spans[0].by == "thunder"
    assert spans[0].says == "official warning: Thunderstorm (Office)"


def test_after_its_end_half_an_hour_is_still_closed():
    assert hours(thunder_spans([here()], SITE, OFFICE, h(4.49))) == [(0.0, 4.5)]
    assert thunder_spans([here()], SITE, OFFICE, h(4.5)) == ()


def test_effective_stands_in_for_the_onset():
    assert hours(thunder_spans([here(effective=h(2))], SITE, OFFICE, h(0))) == [(2.0, 4.5)]


def test_a_cancel_leaves_half_an_hour():
    cancel = here("X", msg_type="Cancel", sent=h(2), references=to("W1"))
    assert hours(thunder_spans([here(), cancel], SITE, OFFICE, h(2.1))) == [(0.0, 2.5)]


def test_a_cancel_before_the_onset_leaves_nothing():
    cancel = here("X", msg_type="Cancel", sent=h(0.5), references=to("W1"))
    assert thunder_spans([here(onset=h(1)), cancel], SITE, OFFICE, h(0.6)) == ()


def test_an_update_carries_on():
    update = here("B", msg_type="Update", sent=h(3), references=to("W1"), expires=h(6))
    assert hours(thunder_spans([here(), update], SITE, OFFICE, h(3))) == [(0.0, 3.5), (3.0, 6.5)]


def test_an_update_to_other_weather_leaves_half_an_hour():
    update = here(
        "B", msg_type="Update", sent=h(3), references=to("W1"), event="Rain", headline="R"
    )
    assert hours(thunder_spans([here(), update], SITE, OFFICE, h(3))) == [(0.0, 3.5)]


@pytest.mark.parametrize("areas", [(), THERE])
def test_what_is_not_for_the_site_without_doubt_closes_nothing(areas):
    assert thunder_spans([here(areas=areas)], SITE, OFFICE, h(1)) == ()


def test_a_service_asked_for_the_site_needs_no_shape():
    heard = {"Office": Listening(area=SiteArea(asked_here=True))}
    assert hours(thunder_spans([here(areas=())], SITE, heard, h(1))) == [(0.0, 4.5)]


def test_while_the_service_cannot_be_read_its_end_is_not_believed_for_hours():
    said = [here()]

    def closed(now: float, read: float) -> list[tuple[float, float]]:
        return hours(thunder_spans(said, SITE, {"Office": Listening(read_at=h(read))}, h(now)))

    # read after the end: over half an hour later
    assert closed(4.4, 4.1) == [(0.0, 4.5)]
    assert closed(5.0, 4.1) == []
    # last read before the end: held on, half an hour at a time
    assert closed(5.0, 3.9) == [(0.0, 5.5)]
    assert closed(9.9, 3.9) == [(0.0, 10.0)]
    held = HELD_OVER.total_seconds() / 3600
    assert closed(4 + held, 3.9) == []
    # before the end nothing changes
    assert closed(1.0, 0.5) == [(0.0, 4.5)]
    (span,) = thunder_spans(said, SITE, {"Office": Listening(read_at=h(3))}, h(5))
    assert span.says == "official warning: Thunderstorm (Office), which could not be read since"
