"""Which warnings are in force at a moment, and when one of thunder closes work outdoors. Pure.

Later messages take earlier ones of their own sender back by naming them, in whatever order
they arrive. A warning that is missing from a list is not over: its own end, an update or a
cancel ends it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from monitor.domain import Site
from monitor.feeds.cap_area import SiteArea, concerns
from monitor.planning.official import OfficialWarning, Reference
from monitor.planning.thunder_words import closes_work
from monitor.planning.workable import AFTER_THUNDER_S, Span
from monitor.units import to_epoch

HELD_OVER = timedelta(hours=6)
"""So long a warning of thunder still closes work after its end while its service cannot be
read: it may have been drawn out (our own judgement).
"""

_NOT_MEANT = ("exercise", "system", "test", "draft")
_NOT_IN_FORCE = ("cancel", "ack", "error")
_TAKES_BACK = ("update", "cancel")


@dataclass(frozen=True, slots=True)
class Listening:
    """What the judging of a service's warnings rests on."""

    area: SiteArea = field(default_factory=SiteArea)
    thunder_words: tuple[str, ...] = ()
    read_at: datetime | None = None
    """When the service was last read in full; None: not known"""


def is_meant(warning: OfficialWarning) -> bool:
    """Whether it is meant in earnest: tests and exercises are kept and told nowhere."""
    return warning.status.lower() not in _NOT_MEANT


class TakenBack:
    """Which messages later ones took back, and when and how."""

    def __init__(self, warnings: Iterable[OfficialWarning]) -> None:
        self._by: dict[tuple[str, str], list[tuple[Reference, OfficialWarning]]] = {}
        for warning in warnings:
            if is_meant(warning) and warning.msg_type.lower() in _TAKES_BACK:
                for reference in warning.references:
                    found = self._by.setdefault((warning.service, reference.identifier), [])
                    found.append((reference, warning))

    def by(self, warning: OfficialWarning) -> OfficialWarning | None:
        """The first message that took it back, None where it stands."""
        found = [
            later
            for reference, later in self._by.get((warning.service, warning.identifier), ())
            if names(reference, warning)
            and later.key != warning.key
            and is_by_same(later.sender, warning.sender)
        ]
        return min(found, key=lambda later: later.sent, default=None)


def is_by_same(one: str, other: str) -> bool:
    """Whether two messages come from one sender, as far as both say who it is.

    In a list of many offices one must not end what another warns of: by mistake or by malice,
    it would open work in a storm. What the right sender never ends holds until its own end.
    """
    return not one or not other or one.casefold() == other.casefold()


def names(reference: Reference, warning: OfficialWarning | Reference) -> bool:
    """Whether a reference means this message; what either leaves open does not tell apart."""
    if reference.identifier != warning.identifier:
        return False
    if reference.sender and warning.sender and reference.sender != warning.sender:
        return False
    return None in (reference.sent, warning.sent) or reference.sent == warning.sent


def standing(warnings: Sequence[OfficialWarning], now: datetime) -> tuple[OfficialWarning, ...]:
    """Those that are meant, not taken back and not over, wherever they are for.

    One that begins later stands too: `begins` says when.
    """
    back = TakenBack(warnings)
    return tuple(
        warning
        for warning in warnings
        if can_stand(warning) and warning.until > now and back.by(warning) is None
    )


def in_force(
    warnings: Sequence[OfficialWarning],
    site: Site,
    listening: Mapping[str, Listening],
    now: datetime,
) -> tuple[OfficialWarning, ...]:
    """Those that stand and are for the site, or may be, gravest first.

    Parameters
    ----------
    listening : by service; what another service said no longer counts
    now : aware
    """
    found = [
        warning
        for warning in standing(warnings, now)
        if warning.service in listening
        and concerns(warning, site, listening[warning.service].area) != "elsewhere"
    ]
    return tuple(sorted(found, key=lambda w: (_graveness(w), w.begins, w.key, w.part)))


def thunder_spans(
    warnings: Sequence[OfficialWarning],
    site: Site,
    listening: Mapping[str, Listening],
    now: datetime,
) -> tuple[Span, ...]:
    """Time in which official warnings of thunder close all work outdoors.

    From a warning's beginning to its end or to the message that took it back, and 30 minutes
    more, as after any thunder. One whose area is not known closes nothing: it is shown.
    """
    back = TakenBack(warnings)
    spans = []
    for warning in warnings:
        heard = listening.get(warning.service)
        if heard is None or not can_stand(warning):
            continue
        if not closes_work(warning, heard.thunder_words):
            continue
        if concerns(warning, site, heard.area) != "site":
            continue
        span = _span(warning, back.by(warning), heard, now)
        if span is not None:
            spans.append(span)
    return tuple(sorted(spans, key=lambda s: (s.start_s, s.end_s)))


def _span(
    warning: OfficialWarning, later: OfficialWarning | None, heard: Listening, now: datetime
) -> Span | None:
    end = warning.until if later is None else min(warning.until, later.sent)
    if end <= warning.begins:
        return None
    end_s = to_epoch(end) + AFTER_THUNDER_S
    says = f"official warning: {warning.title} ({warning.service})"
    unread = heard.read_at is not None and heard.read_at < end <= now
    if later is None and unread:
        held = min(to_epoch(now) + AFTER_THUNDER_S, to_epoch(end + HELD_OVER))
        if held > end_s:
            end_s = held
            says += ", which could not be read since"
    return (
        Span(to_epoch(warning.begins), end_s, "thunder", says=says)
        if end_s > to_epoch(now)
        else None
    )


def can_stand(warning: OfficialWarning) -> bool:
    """Whether it is a warning of its own, not a word on another and no test."""
    has_content = bool(warning.event or warning.headline or warning.description)
    return is_meant(warning) and has_content and warning.msg_type.lower() not in _NOT_IN_FORCE


def _graveness(warning: OfficialWarning) -> int:
    order = ("extreme", "severe", "moderate", "minor")
    severity = warning.severity.lower()
    return order.index(severity) if severity in order else len(order)
