"""Requests that come before the forecast's own and tell where to ask: a place to its grid.

What they say changes seldom, so it is kept for as long as the sheet allows. Where it cannot
be asked anew, what was kept holds on: an old address that still answers beats no forecast.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import urlsplit

from monitor.feeds.paths import found
from monitor.feeds.strict_json import parse_json
from monitor.feeds.verdict import Verdict
from monitor.feeds.waiting import kept_moment

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from monitor.feeds.exchange import Answer
    from monitor.feeds.request import Asked

AGAIN_AFTER = timedelta(hours=1)
"""After a failure to ask anew, while what was kept holds on."""

_PLAIN = re.compile(r"[A-Za-z0-9_.-]{1,64}")
"""Anything else in an address could lead elsewhere."""


class Step(Protocol):
    """One `[[resolve]]` part of a sheet."""

    @property
    def url(self) -> str:
        """Where to ask, with blanks."""

    @property
    def take(self) -> Mapping[str, str]:
        """Name of a blank -> path in the answer."""

    @property
    def keep(self) -> float:
        """For how long the answer holds [s]."""


class Unresolved(Exception):  # noqa: N818 - told by its verdict
    """A step gave no answer that can be used, and none is kept."""

    def __init__(self, judged: Verdict, answer: Answer | None, request: Asked) -> None:
        self.judged = judged
        self.answer = answer
        self.request = request
        super().__init__(judged.says)


@dataclass(frozen=True, slots=True)
class Resolved:
    """Blanks for the forecast's request, and what to keep of how they were found."""

    taken: Mapping[str, str]
    kept: Mapping[str, Any]
    from_memory: bool
    """Whether any of it was not asked just now."""


def resolve(
    steps: Sequence[Step],
    kept: Mapping[str, Any],
    now: Callable[[], datetime],
    asked: Callable[[str, Mapping[str, str]], Asked],
    heard: Callable[[Asked], tuple[Verdict, Answer | None]],
) -> Resolved:
    """Go through the steps in turn, a later one with the blanks of the earlier ones.

    Parameters
    ----------
    kept : as the last call returned it
    asked : makes the request of a step's address and the blanks so far
    heard : asks it
    """
    taken: dict[str, str] = {}
    keeps: dict[str, Any] = {}
    from_memory = False
    for step in steps:
        request = asked(step.url, taken)
        key = _digest(request, step)
        known = _known(kept.get(key))
        at = now()
        if known is not None and known[1] - timedelta(seconds=step.keep) <= at < known[1]:
            values, until, from_memory = *known, True
        else:
            judged, answer = heard(request)
            found_out = _taken(step, request, answer) if judged.fault is None and answer else None
            if isinstance(found_out, dict):
                values, until = found_out, now() + timedelta(seconds=step.keep)
            elif known is None or judged.fault == "stopped":
                raise Unresolved(found_out or judged, answer, request)
            else:
                values, until, from_memory = known[0], now() + AGAIN_AFTER, True
        taken |= values
        keeps[key] = {"taken": values, "until": until.isoformat()}
    return Resolved(taken, keeps, from_memory)


def _digest(request: Asked, step: Step) -> str:
    return hashlib.sha256(f"{request.place} {sorted(step.take.items())}".encode()).hexdigest()


def _known(entry: Any) -> tuple[dict[str, str], datetime] | None:
    if not isinstance(entry, dict) or not isinstance(entry.get("taken"), dict):
        return None
    until = kept_moment(entry.get("until"))
    return None if until is None else (dict(entry["taken"]), until)


def _taken(step: Step, request: Asked, answer: Answer) -> dict[str, str] | Verdict:
    """The blanks that the answer fills, or what is wrong with it."""
    said = parse_json(answer.body)
    values = {}
    for name, path in step.take.items():
        value = found(said, path)
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            return _unfit(f"The answer of {request.host} has nothing at {path}.")
        text = str(value)
        if not (_PLAIN.fullmatch(text) or _same_server(text, step.url, request.url)):
            return _unfit(f"{request.host} names an address that is not its own at {path}.")
        values[name] = text
    return values


def _same_server(address: str, *asked: str) -> bool:
    """Whether an address may be asked next: as well protected, on the server that named it."""
    try:
        parts = urlsplit(address)
        servers = {(one.scheme, one.netloc.lower()) for one in map(urlsplit, asked)}
    except ValueError:
        return False
    bare = not parts.query and not parts.fragment
    return bare and (parts.scheme, parts.netloc.lower()) in servers


def _unfit(says: str) -> Verdict:
    return Verdict("passing", says, "unresolved")
