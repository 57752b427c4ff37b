"""An official warning as received: what it says, of which time and place, and what it takes back.

Field names follow the Common Alerting Protocol (OASIS CAP 1.2), whichever form it came in.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from monitor.units import iso_utc

USUAL_LIFE = timedelta(hours=24)
"""How long a warning without any end holds (our own judgement; said with it)."""


CALLS = re.compile(r"\b(?:go|stand by|all clear)\b", re.IGNORECASE)
"""Cue calls and rescue calls on the same radios: they stand only where a service is quoted."""
LEFT_OUT = "[...]"
_LONGEST_TITLE = 80
LONGEST_HEADLINE = 200


def without_calls(text: str) -> str:
    """What a service says, as it may stand in a sentence of ours."""
    return CALLS.sub(LEFT_OUT, text)


def in_short(title: str, longest: int = _LONGEST_TITLE) -> str:
    """A title as it may stand in a sentence of ours: without calls, and cut where it is long.

    A stop must not end where nobody reads any more.
    """
    said = without_calls(" ".join(title.split()))
    if len(said) <= longest:
        return said
    return (said[:longest].rpartition(" ")[0] or said[:longest]) + "..."


@dataclass(frozen=True, slots=True)
class Reference:
    """An earlier message, as a later one names it."""

    sender: str
    identifier: str
    sent: datetime | None = None


@dataclass(frozen=True, slots=True)
class WarnedArea:
    """One area of a warning. Points are (latitude, longitude) [deg]."""

    description: str = ""
    polygons: tuple[tuple[tuple[float, float], ...], ...] = ()
    circles: tuple[tuple[float, float, float], ...] = ()
    """Latitude, longitude [deg], radius [km]"""
    geocodes: tuple[tuple[str, str], ...] = ()
    """The name of the code list, and the code"""
    unreadable: bool = False
    """It has a shape that could not be read: where it lies is not known."""


@dataclass(frozen=True, slots=True)
class OfficialWarning:
    """One warning of one message, in one language; texts are as they were sent.

    A message without any content, as many cancels are, is one record without an event.
    """

    service: str
    identifier: str
    sender: str
    sent: datetime
    status: str
    msg_type: str
    part: int = 0
    """Which of the warnings of its message"""
    references: tuple[Reference, ...] = ()
    language: str = ""
    event: str = ""
    headline: str = ""
    description: str = ""
    instruction: str = ""
    urgency: str = "Unknown"
    severity: str = "Unknown"
    certainty: str = "Unknown"
    responses: tuple[str, ...] = ()
    effective: datetime | None = None
    onset: datetime | None = None
    expires: datetime | None = None
    """End of the message, not always of what it warns of"""
    ends: datetime | None = None
    """End of what it warns of, where the service says so"""
    areas: tuple[WarnedArea, ...] = ()
    web: str = ""
    sender_name: str = ""
    event_codes: tuple[tuple[str, str], ...] = ()
    parameters: tuple[tuple[str, str], ...] = ()
    elsewhere_named: tuple[str, ...] = ()
    """Its events and headlines in the other languages of the message"""
    notes: tuple[str, ...] = ()
    """What was odd about it, in sentences of ours"""

    @property
    def key(self) -> str:
        """What tells one message from every other: sender, identifier, time sent."""
        return message_key(self.sender, self.identifier, self.sent)

    @property
    def begins(self) -> datetime:
        """When what it warns of begins."""
        return self.onset or self.effective or self.sent

    @property
    def until(self) -> datetime:
        """When it is over: the end of the event, else of the message, else a day after sending.

        A message that expires before its event ends was to be followed by another; while
        that one is missing the first holds on. So does one that expires before what it warns
        of has begun: for a day from there, as nothing tells when that is over.
        """
        if self.ends is not None and self.ends >= self.begins:
            return self.ends
        if self._ends_unsaid:
            return self.begins + USUAL_LIFE
        return self.expires or self.sent + USUAL_LIFE

    @property
    def _ends_unsaid(self) -> bool:
        """Whether all the times it gives lie before an onset that it gives too.

        One sent after its expiry says that it is over.
        """
        onset, expires = self.onset, self.expires
        return onset is not None and expires is not None and self.sent < expires < onset

    @property
    def has_end(self) -> bool:
        """Whether the service itself says when it is over."""
        ends = self.ends is not None and self.ends >= self.begins
        return ends or (self.expires is not None and not self._ends_unsaid)

    @property
    def place(self) -> str:
        """The areas in the service's words."""
        return "; ".join(dict.fromkeys(a.description for a in self.areas if a.description))

    @property
    def title(self) -> str:
        """What it is about, in its own words as far as they may stand in a sentence of ours."""
        return in_short(self.event or self.headline or "warning")


def message_key(sender: str, identifier: str, sent: datetime) -> str:
    """`sender,identifier,2003-06-17T21:57:00Z`: the same moment written in two zones is one."""
    return f"{sender},{identifier},{iso_utc(sent.astimezone(UTC))}"
