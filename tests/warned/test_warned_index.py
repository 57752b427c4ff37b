"""Indexes of warnings: Atom, RSS, one message; and which links are followed."""

from __future__ import annotations

from datetime import UTC, datetime
from xml.sax.saxutils import escape

import pytest
from hypothesis import given
from hypothesis import strategies as st
from warned_samples import ROUND_THE_SITE, atom, atom_entry, cap, rss

from monitor.feeds.cap_fields import Refused
from monitor.feeds.cap_index import Index, read_index, why_not_followed

AT = "https://feeds.weather.example/warnings/index.xml"


def index(body: bytes, address: str = AT) -> Index:
    return read_index(body, address, "Office")


def links(body: bytes, address: str = AT) -> list[str]:
    found = index(body, address)
    assert found.faults == ()
    return [entry.link for entry in found.entries]


def test_an_atom_index():
    found = index(atom(atom_entry("a.xml"), atom_entry("/b.xml"), atom_entry(f"{AT}?c")))
    assert [e.link for e in found.entries] == [
        "https://feeds.weather.example/warnings/a.xml",
        "https://feeds.weather.example/b.xml",
        "https://feeds.weather.example/warnings/index.xml?c",
    ]
    assert {e.stamp for e in found.entries} == {"2027-07-15T12:00:00Z"}


def test_relative_links_start_where_the_index_says():
    body = atom(atom_entry("a.xml"), base="https://feeds.weather.example/cap/")
    assert links(body) == ["https://feeds.weather.example/cap/a.xml"]


def test_the_link_to_the_message_is_told_by_its_type():
    entry = (
        '<entry><link href="page.html" type="text/html"/><link href="self.xml" rel="self"/>'
        '<link href="w.xml" type="application/cap+xml"/><link href="plain"/></entry>'
    )
    assert links(atom(entry)) == ["https://feeds.weather.example/warnings/w.xml"]
    assert links(atom('<entry><link href="x"/></entry>')) == [
        "https://feeds.weather.example/warnings/x"
    ]
    assert links(atom('<entry><content type="application/cap+xml" src="c"/></entry>')) == [
        "https://feeds.weather.example/warnings/c"
    ]


def test_an_rss_index():
    assert links(rss("a.xml", "https://api.weather.example/b")) == [
        "https://feeds.weather.example/warnings/a.xml",
        "https://api.weather.example/b",
    ]


def test_an_enclosure_of_the_right_type_comes_before_the_page():
    item = (
        '<rss version="2.0"><channel><item><link>page.html</link>'
        '<enclosure url="https://feeds.weather.example/w" type="application/cap+xml"/>'
        "</item></channel></rss>"
    )
    assert links(item.encode()) == ["https://feeds.weather.example/w"]


def test_what_an_entry_says_of_its_message():
    more = (
        "<cap:identifier>W1</cap:identifier><cap:msgType>Alert</cap:msgType>"
        "<cap:expires>2027-07-15T16:00:00+00:00</cap:expires>"
        f"<cap:polygon>{ROUND_THE_SITE}</cap:polygon>"
        "<cap:geocode><valueName>UGC</valueName><value>X1</value></cap:geocode>"
    )
    (entry,) = index(atom(atom_entry("a.xml", more=more))).entries
    assert entry.first
    assert entry.identifier == "W1"
    assert entry.expires == datetime(2027, 7, 15, 16, 0, tzinfo=UTC)
    assert entry.area is not None
    assert len(entry.area.polygons) == 1
    assert entry.area.geocodes == (("UGC", "X1"),)


def test_an_entry_that_does_not_call_itself_a_first_word_is_none():
    for more in (
        "",
        "<cap:message_type>Cancel</cap:message_type><cap:identifier>X</cap:identifier>",
    ):
        (entry,) = index(atom(atom_entry("a.xml", more=more))).entries
        assert not entry.first


def test_a_message_that_stands_in_its_entry():
    whole = cap().decode().partition("?>")[2]
    in_atom = atom(f'<entry><content type="application/cap+xml">{whole}</content></entry>')
    in_rss = f'<rss version="2.0"><channel><item>{whole}</item></channel></rss>'.encode()
    for body in (in_atom, in_rss, cap()):
        (entry,) = index(body).entries
        assert [w.identifier for w in entry.inside] == ["W1"]
        assert entry.link == ""


def test_an_empty_index_lists_nothing():
    assert index(atom()) == Index(())
    assert index(rss()) == Index(())


def test_an_entry_without_a_link_is_told():
    assert index(atom("<entry/>")).faults == ("an entry of the index has no link to a message",)
    assert index(rss("")).faults == ("an entry of the index has no link to a message",)


@pytest.mark.parametrize(
    "body",
    [
        b"<html><head><title>Sign in</title></head></html>",
        b"",
        b"not xml",
        atom(atom_entry("a.xml"))[:-20],
        b'<!DOCTYPE rss [<!ENTITY a "b">]><rss><channel/></rss>',
        b"<feed><entry/></feed>",
    ],
    ids=str,
)
def test_what_is_no_index_is_refused(body):
    with pytest.raises(Refused):
        index(body)


@pytest.mark.parametrize(
    "link",
    [
        "https://feeds.weather.example/x",
        "https://FEEDS.weather.example/x",
        "https://feeds.weather.example:8443/x",
        "https://api.weather.example/x",
        "https://weather.example/x",
        "https://a.b.weather.example/x",
    ],
)
def test_links_that_are_followed(link):
    assert why_not_followed(link, AT) == ""


@pytest.mark.parametrize(
    "link",
    [
        "http://feeds.weather.example/x",
        "https://weather.example.evil.example/x",
        "https://other.example/x",
        "https://evilweather.example/x",
        "https://192.168.1.1/x",
        "https://[fd00::1]/x",
        "https://169.254.169.254/latest",
        "https://localhost/x",
        "https://router/x",
        "http://127.0.0.1/x",
        "file:///etc/passwd",
        "ftp://feeds.weather.example/x",
        "https://[::1/x",
        "javascript:alert(1)",
        "",
    ],
)
def test_links_that_are_not_followed(link):
    assert why_not_followed(link, AT)
    found = index(rss(link.replace("&", "&amp;")))
    assert found.entries == ()
    assert len(found.faults) == 1


def test_hosts_under_a_public_ending_are_no_sisters():
    assert why_not_followed("https://shop.co.example/x", "https://weather.co.example/i")
    assert why_not_followed("https://a.gov.example/x", "https://b.gov.example/i")
    # nor do two names of their own share more than the last word
    assert why_not_followed("https://other.example/x", "https://weather.example/i")


def test_an_index_on_this_machine_leads_to_this_machine_only():
    at = "http://127.0.0.1:8000/i"
    assert why_not_followed("http://127.0.0.1:8001/x", at) == ""
    assert why_not_followed("http://192.168.1.1/x", at)
    assert why_not_followed("https://weather.example/x", at)


@given(st.binary(max_size=200), st.text(max_size=30))
def test_any_bytes_and_any_link_are_read_or_refused(body, link):
    shown = "".join(c for c in link if c.isprintable())
    for made in (body, atom(atom_entry(escape(shown, {'"': "&quot;"}))), rss(escape(shown))):
        try:
            found = index(made)
        except Refused:
            continue
        else:
            assert all(e.inside or not why_not_followed(e.link, AT) for e in found.entries)
