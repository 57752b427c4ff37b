"""An index of CAP messages, Atom or RSS, to the links worth following. Pure.

Entries may carry pieces of their message (`cap:` elements). They are only used to leave out
what is over or lies elsewhere without doubt; what is told comes from the message itself.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urljoin, urlsplit

from monitor.feeds.cap import CAP_1_1, CAP_1_2, parsed, warnings_of
from monitor.feeds.cap_fields import Refused, circle, distinct, moment, one_line, polygon
from monitor.feeds.request import host_of
from monitor.planning.official import WarnedArea

if TYPE_CHECKING:
    from datetime import datetime
    from xml.etree.ElementTree import Element

    from monitor.planning.official import OfficialWarning

MOST_BYTES = 20_000_000
_MOST_ENTRIES = 20_000

ATOM = "{http://www.w3.org/2005/Atom}"
_XML_BASE = "{http://www.w3.org/XML/1998/namespace}base"
CAP_TYPES = ("application/cap+xml", "application/common-alerting-protocol+xml")
_XML_TYPES = ("application/xml", "text/xml")
_SHORT_LABEL = 3
"""A second-level label this short may be a public suffix (`co`, `gov`): no kinship by it."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One entry of an index: where its message is, and what the entry itself says of it."""

    link: str
    """Absolute; empty where the message stands in the entry itself"""
    stamp: str = ""
    """When the entry was last changed, as text: the same link may lead to a newer message"""
    identifier: str = ""
    first: bool = False
    """It says of its message that this is a first one: it takes nothing back."""
    expires: datetime | None = None
    area: WarnedArea | None = None
    inside: tuple[OfficialWarning, ...] = ()


@dataclass(frozen=True, slots=True)
class Index:
    """What an index lists, and what of it cannot be followed."""

    entries: tuple[Listed, ...]
    faults: tuple[str, ...] = ()


def read_index(body: bytes, address: str, service: str, language: str | None = None) -> Index:
    """The entries of an Atom or RSS index, or the one message that the address is of itself.

    Parameters
    ----------
    address : where the body came from; relative links start there
    """
    root = parsed(body, MOST_BYTES)
    if root.tag in (f"{{{CAP_1_2}}}alert", f"{{{CAP_1_1}}}alert"):
        return Index((Listed("", inside=warnings_of(root, service, language)),))
    if root.tag == f"{ATOM}feed":
        base = _based(address, root)
        found = [
            _atom_entry(entry, _based(base, entry), service, language)
            for entry in root.findall(f"{ATOM}entry")[:_MOST_ENTRIES]
        ]
    elif root.tag.lower() == "rss":
        items = root.findall("channel/item")[:_MOST_ENTRIES]
        found = [_rss_item(item, address, service, language) for item in items]
    else:
        raise Refused("it is neither an Atom nor an RSS index, nor a CAP message")
    entries, faults = [], []
    for entry in found:
        wrong = "" if entry.inside else why_not_followed(entry.link, address)
        if wrong:
            faults.append(wrong)
        else:
            entries.append(entry)
    return Index(tuple(dict.fromkeys(entries)), tuple(dict.fromkeys(faults)))


def why_not_followed(link: str, index: str) -> str:
    """Why a link of an index is not followed; empty where it is.

    Only to the index's own host, or to a sister under the same name, and only over https; an
    index on this machine may lead to this machine. So no index can have addresses of the
    site's own network asked. What a message's own server sends the request on to is held to
    the same.
    """
    try:
        there, here = urlsplit(link), urlsplit(index)
        host, own = (there.hostname or "").lower(), (here.hostname or "").lower()
    except ValueError:
        return "a link of the index is no address"
    if not host:
        return "an entry of the index has no link to a message"
    if there.scheme != "https" and not (there.scheme == "http" == here.scheme and host == own):
        return f"the index links to {host} without https"
    if host != own and (_is_number(host) or not _are_sisters(host, own)):
        return f"the index links to another host, {host}"
    return ""


def why_not_moved(address: str, index: str) -> str:
    """Why an index is not read where its server says that it has moved; empty where it is.

    It may move to another name, and never to a number or into the site's own network.
    """
    there, own = host_of(address), host_of(index)
    if there != own and _is_number(there):
        return f"to another host without a public name, {there}"
    return ""


def _is_number(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return host == "localhost" or "." not in host
    return True


def _are_sisters(one: str, other: str) -> bool:
    """`api.weather.example` and `feeds.weather.example`."""
    for host, sister in ((one, other), (other, one)):
        family = host.partition(".")[2]
        labels = family.split(".")
        is_own = len(labels) >= 2 and len(labels[-2]) > _SHORT_LABEL
        if is_own and (sister == family or sister.endswith(f".{family}")):
            return True
    return False


def _atom_entry(entry: Element, base: str, service: str, language: str | None) -> Listed:
    inside = _inside(entry.find(f"{ATOM}content"), service, language)
    best, link = len(_RANKS), ""
    for element in entry.findall(f"{ATOM}link"):
        rank = _rank(element)
        if element.get("href") and rank < best:
            best, link = rank, _joined(_based(base, element), element.get("href", ""))
    source = entry.find(f"{ATOM}content")
    if not link and source is not None and source.get("src"):
        link = _joined(_based(base, source), source.get("src", ""))
    stamp = one_line(entry.findtext(f"{ATOM}updated"))
    return _listed(entry, link, stamp, inside)


_RANKS = ("cap", "xml", "untyped", "other")


def _rank(link: Element) -> int:
    """How likely an Atom link leads to the message: told by its type, not by its place."""
    kind = link.get("type", "").split(";")[0].strip().lower()
    if link.get("rel", "alternate") not in ("alternate", "via", "enclosure", "related"):
        return len(_RANKS)
    if kind in CAP_TYPES:
        return 0
    if kind in _XML_TYPES:
        return 1
    return 2 if not kind else 3


def _rss_item(item: Element, base: str, service: str, language: str | None) -> Listed:
    inside: tuple[OfficialWarning, ...] = ()
    for space in (CAP_1_2, CAP_1_1):
        inside = inside or _inside_of(item.find(f"{{{space}}}alert"), service, language)
    link = one_line(item.findtext("link"))
    for enclosure in item.findall("enclosure"):
        if enclosure.get("type", "").lower() in CAP_TYPES:
            link = enclosure.get("url", link)
    return _listed(item, _joined(base, link), one_line(item.findtext("pubDate")), inside)


def _listed(entry: Element, link: str, stamp: str, inside: tuple[OfficialWarning, ...]) -> Listed:
    for space in (CAP_1_2, CAP_1_1):
        name = f"{{{space}}}"
        expires = moment(one_line(entry.findtext(f"{name}expires")))
        identifier = one_line(entry.findtext(f"{name}identifier"))
        polygons = [polygon(e.text or "") for e in entry.findall(f"{name}polygon")]
        circles = [circle(e.text or "") for e in entry.findall(f"{name}circle")]
        codes = distinct(
            (
                one_line(e.findtext(f"{name}valueName") or e.findtext(f"{ATOM}valueName")),
                one_line(e.findtext(f"{name}value") or e.findtext(f"{ATOM}value")),
            )
            for e in entry.findall(f"{name}geocode")
        )
        if expires or identifier or polygons or circles or codes:
            area = WarnedArea(
                polygons=tuple(ring for ring in polygons if ring is not None),
                circles=tuple(ring for ring in circles if ring is not None),
                geocodes=codes,
                unreadable=None in polygons or None in circles,
            )
            kind = entry.findtext(f"{name}msgType") or entry.findtext(f"{name}message_type")
            first = one_line(kind).lower() == "alert"
            return Listed(link, stamp, identifier, first, expires, area, inside)
    return Listed(link, stamp, inside=inside)


def _inside(
    content: Element | None, service: str, language: str | None
) -> tuple[OfficialWarning, ...]:
    """The message that stands whole in an entry's content."""
    found: tuple[OfficialWarning, ...] = ()
    for space in (CAP_1_2, CAP_1_1):
        alert = None if content is None else content.find(f"{{{space}}}alert")
        found = found or _inside_of(alert, service, language)
    return found


def _inside_of(
    alert: Element | None, service: str, language: str | None
) -> tuple[OfficialWarning, ...]:
    if alert is None:
        return ()
    try:
        return warnings_of(alert, service, language)
    except Refused:
        # The link, if there is one, may still lead to a whole one.
        return ()


def _based(base: str, element: Element) -> str:
    return _joined(base, element.get(_XML_BASE, "")) or base


def _joined(base: str, link: str) -> str:
    try:
        return urljoin(base, link.strip()) if link.strip() else ""
    except ValueError:
        return ""
