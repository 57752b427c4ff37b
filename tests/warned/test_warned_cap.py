"""CAP messages to records: the standard's own examples, and what is odd or hostile."""

from __future__ import annotations

import gzip
import tracemalloc
from datetime import UTC, datetime, timedelta
from xml.sax.saxutils import escape

import pytest
from hypothesis import given
from hypothesis import strategies as st
from warned_samples import (
    EARTHQUAKE_A3,
    NOON,
    THUNDERSTORM_A2,
    TWO_LANGUAGES_A4,
    cap,
    info,
    reference,
)

from monitor.feeds.cap import MOST_BYTES, read_cap
from monitor.feeds.cap_fields import CUT, LONGEST_TEXT, Refused
from monitor.planning.official import OfficialWarning, Reference


def one(body: bytes, **more) -> OfficialWarning:
    (found,) = read_cap(body, "Office", **more)
    return found


# ---------------------------------------------------------------- the standard's examples


def test_the_thunderstorm_of_the_standard():
    found = one(THUNDERSTORM_A2.encode())
    assert (found.identifier, found.sender) == ("KSTO1055887203", "KSTO@NWS.NOAA.GOV")
    # 14:57 at seven hours behind UTC
    assert found.sent == datetime(2003, 6, 17, 21, 57, tzinfo=UTC)
    assert found.expires == datetime(2003, 6, 17, 23, 0, tzinfo=UTC)
    assert (found.status, found.msg_type, found.language) == ("Actual", "Alert", "en-US")
    assert (found.event, found.headline) == ("SEVERE THUNDERSTORM", "SEVERE THUNDERSTORM WARNING")
    assert (found.urgency, found.severity, found.certainty) == ("Immediate", "Severe", "Observed")
    assert found.responses == ("Shelter",)
    assert found.instruction == "TAKE COVER IN A SUBSTANTIAL SHELTER UNTIL THE STORM PASSES."
    assert found.description.startswith("AT 254 PM PDT...NATIONAL WEATHER SERVICE DOPPLER RADAR")
    assert found.sender_name == "NATIONAL WEATHER SERVICE SACRAMENTO CA"
    assert found.event_codes == (("SAME", "SVR"),)
    (area,) = found.areas
    assert area.polygons == (
        ((38.47, -120.14), (38.34, -119.95), (38.52, -119.74), (38.62, -119.89), (38.47, -120.14)),
    )
    assert area.geocodes == (("SAME", "006109"), ("SAME", "006009"), ("SAME", "006003"))
    assert (found.onset, found.effective, found.begins) == (None, None, found.sent)


def test_the_update_of_the_standard_names_what_it_follows():
    found = one(EARTHQUAKE_A3.encode())
    earlier = datetime(2003, 6, 12, 3, 30, tzinfo=UTC)
    assert found.references == (Reference("trinet@caltech.edu", "TRI13970876.1", earlier),)
    assert found.areas[0].circles == ((32.9525, -115.5527, 0.0),)
    assert found.web == "http://www.trinet.org/scsn/scsn.html"
    assert ("Magnitude", "3.4 Ml") in found.parameters
    # neither end is given: a day after sending
    assert not found.has_end
    assert found.until == found.sent + timedelta(hours=24)


@pytest.mark.parametrize(
    ("wish", "headline"),
    [
        ("es", "Alerta Amber en el condado de Los Ángeles"),
        ("es-US", "Alerta Amber en el condado de Los Ángeles"),
        ("es_MX", "Alerta Amber en el condado de Los Ángeles"),
        ("en", "Amber Alert in Los Angeles County"),
        ("fr", "Amber Alert in Los Angeles County"),
        ("e", "Amber Alert in Los Angeles County"),
        (None, "Amber Alert in Los Angeles County"),
    ],
)
def test_the_message_of_the_standard_in_two_languages(wish, headline):
    found = one(TWO_LANGUAGES_A4.encode(), language=wish)
    assert found.headline == headline
    assert len(found.elsewhere_named) == 2


# ---------------------------------------------------------------- several warnings, languages


def test_a_language_that_is_neither_asked_for_nor_english_is_the_first():
    infos = info(language="nb", event="Torden") + info(language="se", event="Bájándálki")
    assert one(cap(infos=infos), language="de").event == "Torden"


def test_one_message_may_hold_several_warnings():
    infos = (
        info(language="de-DE", event="Gewitter")
        + info(language="de-DE", event="Sturm")
        + info(language="en-GB", event="thunderstorms")
        + info(language="en-GB", event="gale")
    )
    found = read_cap(cap(infos=infos), "Office", "de")
    assert [(w.part, w.event) for w in found] == [(0, "Gewitter"), (1, "Sturm")]
    # each knows the like of it in the other language
    assert [w.elsewhere_named[0] for w in found] == ["thunderstorms", "gale"]
    assert found[0].key == found[1].key


def test_a_cancel_without_content_is_one_record():
    found = one(cap("W2", msg_type="Cancel", references=reference("W1"), infos=""))
    assert (found.event, found.areas) == ("", ())
    assert found.references == (Reference("warn@weather.example", "W1", NOON),)


def test_the_same_moment_in_another_zone_is_the_same_message():
    utc = one(cap())
    here = one(cap(sent=datetime.fromisoformat("2027-07-15T13:00:00+01:00")))
    assert utc.key == here.key


def test_cap_1_1_is_read_and_told():
    found = one(cap(space="urn:oasis:names:tc:emergency:cap:1.1"))
    assert found.event == "Thunderstorm"
    assert found.notes == ("It came as CAP 1.1.",)


def test_the_end_of_the_event_from_its_parameter():
    more = (
        "<parameter><valueName>eventEndingTime</valueName>"
        "<value>2027-07-15T18:30:00+00:00</value></parameter>"
    )
    found = one(cap(more=more))
    assert found.ends == datetime(2027, 7, 15, 18, 30, tzinfo=UTC)
    assert found.until == found.ends


def test_an_end_before_its_beginning_is_not_believed():
    more = (
        "<parameter><valueName>eventEndingTime</valueName>"
        "<value>2027-07-15T09:00:00+00:00</value></parameter>"
    )
    assert one(cap(more=more)).until == datetime(2027, 7, 15, 16, 0, tzinfo=UTC)


def test_a_time_without_offset_is_not_guessed():
    found = one(cap(expires="2027-07-15T16:00:00"))
    assert found.expires is None
    assert found.notes == ("Its expires time cannot be read: 2027-07-15T16:00:00.",)
    assert found.until == NOON + timedelta(hours=24)


@pytest.mark.parametrize(
    ("shape", "unreadable"),
    [
        ("51.9,-2.2 51.9,-1.8 52.1,-1.8", False),  # not closed: closed for it
        ("51.9,-2.2 51.9 52.1,-1.8 51.9,-2.2", True),
        ("51.9,-2.2 52.1,-1.8 51.9,-2.2", True),  # two corners
        ("91,0 91,1 92,1 91,0", True),
        ("nan,0 1,1 2,2 nan,0", True),
        ("a,b c,d e,f a,b", True),
    ],
)
def test_a_shape_that_cannot_be_read_is_not_a_place_elsewhere(shape, unreadable):
    (area,) = one(cap(polygon=shape)).areas
    assert area.unreadable is unreadable
    assert bool(area.polygons) is not unreadable


def test_a_text_keeps_its_lines_and_loses_what_cannot_be_seen():
    hidden = "First line\r\n\u202esecond\u202c\x85 line\n\n\u200bthird"
    assert one(cap(description=hidden)).description == "First line\nsecond line\n\nthird"


def test_a_text_without_end_is_cut_and_says_so():
    found = one(cap(description="x" * (LONGEST_TEXT + 1)))
    assert found.description == "x" * LONGEST_TEXT + CUT


# ---------------------------------------------------------------- what is refused

BOMB = (
    '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY a "aaaaaaaaaa">'
    '<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]><alert>&c;</alert>'
)
REACHING_OUT = '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]><alert>&x;</alert>'


@pytest.mark.parametrize(
    ("body", "because"),
    [
        (BOMB.encode(), "entities"),
        (REACHING_OUT.encode(), "entities"),
        (b"<!DOCTYPE html><html><body>Sign in</body></html>", "document type"),
        (b"<html><body>Sign in</body></html>", "no CAP message"),
        (b"", "no whole XML"),
        (b'{"features": []}', "no whole XML"),
        (THUNDERSTORM_A2.encode()[:700], "no whole XML"),
        (gzip.compress(THUNDERSTORM_A2.encode()), "no whole XML"),
        (b'<?xml version="1.0" encoding="no-such"?><alert/>', "no whole XML"),
        (b"<alert>" + b"<a>" * 50, "no whole XML"),
        (cap(space="http://www.incident.com/cap/1.0"), "no CAP message"),
        (cap(space="urn:oasis:names:tc:emergency:cap:2.0"), "no CAP message"),
        (cap(identifier=""), "no identifier"),
        (cap(sender=""), "no sender"),
        (cap().replace(b"2027-07-15T12:00:00+00:00", b"2027-07-15T12:00:00", 1), "no offset"),
        (cap().replace(b"2027-07-15T12:00:00+00:00", b"yesterday", 1), "no offset"),
        (b" " * (MOST_BYTES + 1), "larger"),
        (b"<alert>" + b"<a/>" * 100_001 + b"</alert>", "elements"),
    ],
    ids=str,
)
def test_what_is_no_warning_is_refused(body, because):
    with pytest.raises(Refused, match=because):
        read_cap(body, "Office")


@pytest.mark.parametrize("body", [b"<a>" * 600_000, b"<a>" + b"<a/>" * 480_000], ids=len)
def test_what_would_fill_the_memory_is_left_off_on_the_way(body):
    # whole, each of these trees takes more than 50 MB (an element is over 100 bytes)
    tracemalloc.start()
    try:
        with pytest.raises(Refused, match="more than 100"):
            read_cap(body, "Office")
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 30e6


def read_or_refused(body: bytes) -> None:
    try:
        found = read_cap(body, "Office", "en")
    except Refused:
        return
    assert found
    assert all(isinstance(w, OfficialWarning) and w.until and w.key for w in found)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(body):
    read_or_refused(body)


@given(st.data())
def test_a_message_with_pieces_changed_is_read_or_refused(data):
    body = bytearray(THUNDERSTORM_A2.encode())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(body) - 1))
        piece = data.draw(st.sampled_from([b"<", b">", b"&", b"\x00", b"\xff", b"9", b",", b" "]))
        width = data.draw(st.sampled_from([0, 1, 40]))
        body[at : at + width] = piece
    read_or_refused(bytes(body))


TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=40)


@given(sent=TEXTS, references=TEXTS, polygon=TEXTS, expires=TEXTS, more=TEXTS)
def test_any_content_of_the_elements_is_read_or_refused(sent, references, polygon, expires, more):
    body = cap(
        references=references,
        polygon=escape(polygon),
        expires=escape(expires),
        more=f"<parameter><valueName>eventEndingTime</valueName><value>{escape(more)}</value>"
        f"</parameter><circle>{escape(more)}</circle>",
    )
    read_or_refused(body)
    read_or_refused(body.replace(b"2027-07-15T12:00:00+00:00", escape(sent).encode(), 1))
