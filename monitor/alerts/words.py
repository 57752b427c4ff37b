"""The crew's words for actions, amounts and directions, and the cleaning of typed names.

Names come from the user's files and are said as typed, save what could forge a line or a
header: control characters, line ends and invisible marks become spaces.
"""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.alerts.clock import SiteClock
    from monitor.domain import Action, Alert, Facts


LONGEST_SUBJECT = 119
"""Longer ones are cut by many mail programs."""

_LATE_AT_MOST = 180.0
"""Later than this is not in time at all; see `out_of_reach`."""

FEW_MEMBERS = 10
"""Under this many forecasts a share of them is not a chance."""


@dataclass(frozen=True, slots=True)
class Verb:
    """How one action is said."""

    order: str
    joins: str
    """The word between the fixtures and the place."""
    undone: str
    """What a fixture is taken to be while nobody has logged the action."""


VERBS: dict[Action, Verb] = {
    "cover": Verb("Cover", "at", "uncovered and wet"),
    "bring-in": Verb("Bring in", "from", "still out in the weather"),
    "isolate": Verb("Isolate", "at", "live"),
    "uncover": Verb("Uncover", "at", "still under wraps"),
    "inspect": Verb("Inspect", "at", "wet inside"),
    "clean": Verb("Clean", "at", "still dirty"),
}

_COMPASS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)


def one_line(text: str) -> str:
    """`text` without anything that could start a new line, hide or reverse letters."""
    kept = (" " if unicodedata.category(c) in {"Cc", "Cf", "Cs", "Zl", "Zp"} else c for c in text)
    return " ".join("".join(kept).split())


def sentence(text: str) -> str:
    """`text` with a capital and a full stop."""
    line = one_line(text)
    if not line:
        return ""
    line = line[0].upper() + line[1:]
    return line if line[-1] in ".!?" else f"{line}."


def verb(alert: Alert) -> Verb:
    """How the alert's action is said. Work without one is power to be cut: the order that
    asks nobody to touch wet gear.
    """
    return VERBS[alert.action or "isolate"]


def forbids_work(alert: Alert, now: datetime) -> bool:
    """True where the access is blocked at `now`: then no message may ask for work there,
    whatever stage it was made for. A limit that is reached later is told, not obeyed yet.
    """
    facts = alert.facts
    if alert.kind != "work" or alert.stage == "stood-down":
        return False
    if alert.stage == "stop":
        return True
    if not facts.blocked_by:
        return False
    begun = facts.access_closes_at is None or facts.access_closes_at <= now
    return begun and (facts.blocked_until is None or facts.blocked_until > now)


def says_stop(alert: Alert, now: datetime) -> bool:
    """True where the words are those of a stop, or of a stop's end."""
    return alert.kind == "stop" or forbids_work(alert, now)


def place(alert: Alert) -> str:
    """The position in crew words, else its id, else the site."""
    for name in (alert.facts.position_name, alert.position or "", alert.facts.site_name):
        line = one_line(name)
        if line:
            return line
    return "the site"


def fixtures(count: int) -> str:
    """`1 fixture`, `8 fixtures`."""
    return "1 fixture" if count == 1 else f"{count} fixtures"


def people(count: int) -> str:
    """`1 person`, `2 people`."""
    return "1 person" if count == 1 else f"{count} people"


def duration(minutes: float) -> str:
    """`50 min` up to two hours, then `2 h 51 min`; rounded up, so no job is made shorter."""
    whole = math.ceil(minutes - 1e-9)
    if whole <= 120:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def depth(mm: float) -> str:
    """`29 mm`, `4.1 mm`, `under 0.1 mm`."""
    if mm < 0.05:
        return "under 0.1 mm"
    return f"{mm:.1f} mm" if mm < 9.95 else f"{mm:.0f} mm"


def speed(mps: float) -> str:
    """`13 m/s`, `12.5 m/s`."""
    return f"{mps:.1f}".removesuffix(".0") + " m/s"


def from_direction(deg: float) -> str:
    """`from the south-west`."""
    return f"from the {_COMPASS[round((deg % 360) / 45) % 8]}"


def in_row(names: Sequence[str]) -> str:
    """`Ines, Tomas and Suki`."""
    said = [one_line(name) for name in names]
    if len(said) < 2:
        return "".join(said)
    return f"{', '.join(said[:-1])} and {said[-1]}"


def listed(ids: tuple[str, ...], most: int = 6) -> str:
    """`A1, A2 and 4 more`."""
    names = [one_line(i) for i in ids]
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"


def chance(members: int, probability: float | None, agreeing: int | None = None) -> str:
    """How many forecasts say so; a percentage only from ten on."""
    if members <= 1:
        return "One forecast says so." if members == 1 else ""
    if members < FEW_MEMBERS and agreeing is not None:
        return _few(members, agreeing)
    if probability is None or not math.isfinite(probability):
        return f"{members} forecasts were read."
    if members < FEW_MEMBERS:
        return _few(members, round(probability * members))
    tenths = round(probability * 10)
    said = f"{tenths} in 10 chance"
    if tenths <= 0:
        said = "Under 1 in 10 chance"
    elif tenths >= 10:
        said = "Over 9 in 10 chance"
    return f"{said} ({probability * 100:.0f} %)."


def _few(members: int, agreeing: int) -> str:
    numbers = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    if agreeing >= members:
        return f"All {numbers[members]} forecasts say so."
    says = "says" if agreeing == 1 else "say"
    return f"{numbers[agreeing].capitalize()} of {numbers[members]} forecasts {says} so."


def known(value: float | None) -> float | None:
    """A plain finite number or None; arrays' own number types and NaN never leave here."""
    if value is None or not math.isfinite(value):
        return None
    return float(value)


def late_at_best(facts: Facts) -> float | None:
    """How late it is done at best [min]; None: not in time at all, or not late."""
    minutes = known(facts.late_minutes)
    return minutes if facts.late and minutes and minutes <= _LATE_AT_MOST else None


def hands_off_by(alert: Alert) -> datetime | None:
    """When work there has to be over: the deadline, or before it the closing of the access.

    The water's deadline is no time to finish by where wind or thunder shuts the place first.
    """
    return over_by(alert.start_by, alert.facts.access_closes_at, alert.do_by)


def over_by(
    start: datetime | None, closes: datetime | None, deadline: datetime | None
) -> datetime | None:
    """The same of a job by its times."""
    if deadline is None or closes is None or start is None or not start < closes < deadline:
        return deadline
    return closes


def labelled(label: str, said: str) -> str:
    """`Why: ...`; nothing where there is nothing to say."""
    return f"{label}: {said}" if said else ""


def sentences(said: Sequence[str]) -> list[str]:
    """Whole sentences as one paragraph."""
    joined = " ".join(sentence(s) for s in said)
    return [joined] if joined else []


def isolates_now(alert: Alert) -> bool:
    """Whether all it asks is to cut the power at once: what is wet and live, or was due."""
    return (
        alert.kind == "work"
        and alert.action == "isolate"
        and (
            alert.stage == "overdue"
            or (alert.facts.spent_live and alert.stage not in ("stop", "stood-down"))
        )
    )


def isolate_now(alert: Alert) -> str:
    """`ISOLATE NOW Downstage truss at DIST-STG; keep off`."""
    cut_off = one_line(alert.isolate_at or "")
    at = f" at {cut_off}" if cut_off else ""
    return f"ISOLATE NOW {place(alert)}{at}; keep off"


def no_time_left(alert: Alert, now: datetime) -> bool:
    """Whether the place closes before anything can be done there: then its power is cut."""
    closes = alert.facts.access_closes_at
    told = alert.kind == "work" and alert.stage == "overdue" and alert.action == "isolate"
    return told and bool(alert.facts.blocked_by) and closes is not None and closes > now


def times_used(used: float) -> str:
    """`112 % of the allowance`, `51 times the allowance`."""
    return (
        f"{used * 100:.0f} % of the allowance" if used < 2.0 else f"{used:.0f} times the allowance"
    )


def closing(alert: Alert) -> str:
    """What closes the place, in two words."""
    said = (alert.facts.blocked_by or "").lower()
    if "thunder" in said or "official" in said:
        return "the thunder"
    return "the dark" if "dark" in said else "the wind"


def ended(alert: Alert) -> str:
    """What an alert that is over is called: only what was done is done."""
    if alert.facts.logged_done:
        return "Done"
    # What is still live is not said to need nothing.
    return "No more water there" if alert.facts.spent_live else "No longer needed"


def crew(facts: Facts, clock: SiteClock) -> str:
    """`Ines and Tomas; from 22:00 Suki and Dario`."""
    said = in_row(facts.who)
    if not facts.handed_to:
        return said
    at = "then" if facts.handed_at is None else f"from {clock.at(facts.handed_at)}"
    return "; ".join(p for p in (said, f"{at} {in_row(facts.handed_to)}") if p)
