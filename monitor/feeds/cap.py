"""A CAP message to the warnings it holds. Pure; the bytes are not trusted.

Reads OASIS CAP 1.2, and 1.1, which says so. One message may hold several warnings, each in
several languages: the asked-for language is taken, else English, else the first. Elements
and their meaning as in the standard's
examples (Appendix A) and public guides; the text of its sections 3.2 was not read whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError, TreeBuilder

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from monitor.feeds.cap_fields import (
    Refused,
    circle,
    distinct,
    moment,
    one_line,
    polygon,
    references,
    whole_text,
)
from monitor.planning.official import OfficialWarning, WarnedArea

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime
    from xml.etree.ElementTree import Element

MOST_BYTES = 2_000_000
"""A message is at most a few hundred kilobytes."""
MOST_ELEMENTS = 100_000
MOST_DEEP = 100
_PIECE = 65_536
_MOST_INFOS = 200

CAP_1_2 = "urn:oasis:names:tc:emergency:cap:1.2"
CAP_1_1 = "urn:oasis:names:tc:emergency:cap:1.1"

_END_NAMES = ("eventendingtime",)
"""Parameters in which services give the end of the event, folded."""
_UNSPOKEN = "en-US"
"""The language of an `info` that names none, by the standard."""


def read_cap(body: bytes, service: str, language: str | None = None) -> tuple[OfficialWarning, ...]:
    """The warnings of one message, at least one; raises Refused.

    Parameters
    ----------
    body : as it came
    service : who publishes it, as the show folder names it
    language : as `de` or `de-AT`; the beginning of the message's own language tag
    """
    return warnings_of(parsed(body, MOST_BYTES), service, language)


def parsed(body: bytes, most_bytes: int) -> Element:
    """XML bytes as a tree; what could blow up, reach out or hide is refused unread."""
    if len(body) > most_bytes:
        raise Refused(f"it is larger than {most_bytes} bytes")
    parser = DefusedXMLParser(target=_Counted(), forbid_dtd=True)
    try:
        for start in range(0, len(body), _PIECE):
            parser.feed(body[start : start + _PIECE])
        root: Element = parser.close()
    except DefusedXmlException:
        raise Refused("it declares a document type or entities, which no warning needs") from None
    except (ParseError, ValueError, LookupError, RecursionError, OverflowError):
        raise Refused("it is no whole XML") from None
    return root


class _Counted(TreeBuilder):
    """Builds the tree, and stops where it grows past all reason: a few kilobytes on the line
    unpack to elements that fill the memory of a small machine.
    """

    def __init__(self) -> None:
        super().__init__()
        self._elements, self._depth = 0, 0

    def start(self, tag: str, attrs: dict[str, str]) -> Element:
        """Take in one element more, or one too many."""
        self._elements += 1
        self._depth += 1
        if self._elements > MOST_ELEMENTS:
            raise Refused(f"it has more than {MOST_ELEMENTS} elements")
        if self._depth > MOST_DEEP:
            raise Refused(f"its elements stand more than {MOST_DEEP} deep in each other")
        return super().start(tag, attrs)

    def end(self, tag: str) -> Element:
        """Leave one."""
        self._depth -= 1
        return super().end(tag)


def warnings_of(
    root: Element, service: str, language: str | None = None
) -> tuple[OfficialWarning, ...]:
    """The warnings of a message that is parsed already; raises Refused."""
    space, _, name = root.tag.rpartition("}")
    space = space.removeprefix("{")
    if name != "alert" or space not in (CAP_1_2, CAP_1_1):
        raise Refused("it is no CAP message")
    alert = _Named(root, f"{{{space}}}")
    identifier, sender = alert.line("identifier"), alert.line("sender")
    sent = moment(alert.line("sent"))
    if not identifier or not sender:
        raise Refused("it names no identifier or no sender")
    if sent is None:
        raise Refused("its time of sending is missing, or has no offset")
    head = OfficialWarning(
        service=service,
        identifier=identifier,
        sender=sender,
        sent=sent,
        status=alert.line("status"),
        msg_type=alert.line("msgType"),
        references=references(alert.text("references")),
        notes=("It came as CAP 1.1.",) if space == CAP_1_1 else (),
    )
    infos = [_Named(info, alert.space) for info in alert.all("info")[:_MOST_INFOS]]
    if not infos:
        return (head,)
    return tuple(_with_info(head, i, *said) for i, said in enumerate(_in_language(infos, language)))


def _in_language(
    infos: Sequence[_Named], language: str | None
) -> list[tuple[_Named, tuple[_Named, ...]]]:
    """The warnings in one language, each with its like in the others, where that is plain."""
    by_tag: dict[str, list[_Named]] = {}
    for info in infos:
        tag = (info.line("language") or _UNSPOKEN).lower().replace("_", "-")
        by_tag.setdefault(tag, []).append(info)
    tags = list(by_tag)
    wished = (_best(tags, language) if language else None) or _best(tags, "en") or tags[0]
    same = [infos for tag, infos in by_tag.items() if tag != wished]
    chosen = by_tag[wished]
    return [
        (info, tuple(other[i] for other in same if len(other) == len(chosen)))
        for i, info in enumerate(chosen)
    ]


def _best(tags: Sequence[str], language: str) -> str | None:
    """The tag that begins with the language; `de` also stands for a wished `de-AT`."""
    wish = language.strip().lower().replace("_", "-")
    for wanted in (wish, wish.split("-", maxsplit=1)[0]):
        for tag in tags:
            if tag == wanted or tag.startswith(f"{wanted}-"):
                return tag
    return None


def _with_info(
    head: OfficialWarning, part: int, info: _Named, others: Iterable[_Named]
) -> OfficialWarning:
    parameters = info.pairs("parameter")
    notes = list(head.notes)
    times: dict[str, datetime | None] = {}
    for name in ("effective", "onset", "expires"):
        text = info.line(name)
        times[name] = moment(text)
        if text and times[name] is None:
            notes.append(f"Its {name} time cannot be read: {text[:60]}.")
    return OfficialWarning(
        service=head.service,
        identifier=head.identifier,
        sender=head.sender,
        sent=head.sent,
        status=head.status,
        msg_type=head.msg_type,
        part=part,
        references=head.references,
        language=info.line("language") or _UNSPOKEN,
        event=info.line("event"),
        headline=info.line("headline"),
        description=info.text("description"),
        instruction=info.text("instruction"),
        urgency=info.line("urgency") or "Unknown",
        severity=info.line("severity") or "Unknown",
        certainty=info.line("certainty") or "Unknown",
        responses=tuple(one_line(found.text) for found in info.all("responseType")),
        effective=times["effective"],
        onset=times["onset"],
        expires=times["expires"],
        ends=event_end(parameters),
        areas=tuple(_area(_Named(area, info.space)) for area in info.all("area")),
        web=info.line("web"),
        sender_name=info.line("senderName"),
        event_codes=info.pairs("eventCode"),
        parameters=parameters,
        elsewhere_named=tuple(
            text for other in others for text in (other.line("event"), other.line("headline"))
        ),
        notes=tuple(notes),
    )


def event_end(parameters: Iterable[tuple[str, str]]) -> datetime | None:
    """The end of the event, where a parameter gives it."""
    for name, value in parameters:
        if name.lower() in _END_NAMES:
            return moment(value)
    return None


def _area(area: _Named) -> WarnedArea:
    polygons = [polygon(found.text or "") for found in area.all("polygon")]
    circles = [circle(found.text or "") for found in area.all("circle")]
    return WarnedArea(
        description=area.line("areaDesc"),
        polygons=tuple(ring for ring in polygons if ring is not None),
        circles=tuple(ring for ring in circles if ring is not None),
        geocodes=area.pairs("geocode"),
        unreadable=None in polygons or None in circles,
    )


@dataclass(frozen=True, slots=True)
class _Named:
    """An element whose children are looked up by name within one namespace."""

    element: Element
    space: str

    def all(self, name: str) -> list[Element]:
        return self.element.findall(f"{self.space}{name}")

    def text(self, name: str) -> str:
        return whole_text(self.element.findtext(f"{self.space}{name}"))

    def line(self, name: str) -> str:
        return one_line(self.element.findtext(f"{self.space}{name}"))

    def pairs(self, name: str) -> tuple[tuple[str, str], ...]:
        """`valueName` and `value` of each element of that name."""
        found = (_Named(element, self.space) for element in self.all(name))
        return distinct((pair.line("valueName"), pair.line("value")) for pair in found)
