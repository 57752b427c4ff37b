"""Messages about the watch itself: on watch, at the start and daily, and a test.

A crew that hears nothing must know what the silence means: what is watched, on which
assumptions, from which weather, who is told, and what the monitor cannot see.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from monitor.alerts import cautions, radio, words
from monitor.alerts.clock import SiteClock
from monitor.domain import Message
from monitor.exposure.rig import compile_rig
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from monitor.domain import Alert, Contact, Policy, Show

WATCH_SCHEMA = "dryspell.watch/1"
TEST_SCHEMA = "dryspell.test/1"

NOBODY_TOLD = "No person is being told: messages are only laid in a folder."

SILENCE = (
    "This monitor does not detect lightning. Its silence is not safety: no message does not "
    "mean that no rain, wind or thunder comes."
)

_WORKS = (
    "If you read this, this contact works. Messages about work, stops, lost weather and "
    "failed deliveries will arrive the same way."
)

_STANDINGS = {
    "indoor": "indoor gear",
    "temporary": "for temporary use outdoors",
    "extended": "for extended use outdoors",
    "permanent": "for permanent use outdoors",
}


def tells_nobody(contacts: Iterable[Contact]) -> bool:
    """True where no contact reaches a person or another system."""
    return all(c.kind == "folder" for c in contacts)


def on_watch(
    show: Show,
    *,
    at: datetime,
    next_word_at: datetime | None,
    sources: Sequence[str],
    contacts: Sequence[Contact],
    assumptions: Sequence[str] = (),
    stops: Sequence[Alert] = (),
) -> Message:
    """The message of the first start and of every day.

    Parameters
    ----------
    sources : one entry per feed, with its credit: "Hourly forecast A. Data by A, CC BY 4.0"
    assumptions : sentences beyond those that follow from the show folder
    stops : those that stand
    """
    clock = SiteClock(show.site.timezone, at)
    site = words.one_line(show.site.name) or "the site"
    pieces = sum(f.count for f in show.fixtures)
    next_word = (
        f"by {clock.near(next_word_at)}." if next_word_at is not None else "when something changes."
    )
    assumed = [*_assumed(show, clock), *(words.sentence(a) for a in assumptions)]
    what = f"{words.fixtures(pieces)}, {_positions(len(show.positions))}"
    next_at = None if next_word_at is None else clock.at(next_word_at)
    line = _radio(site, what, contacts, next_at, stops=bool(stops))
    paragraphs = [
        f"On watch: {words.fixtures(pieces)} at {_positions(len(show.positions))} of {site}.",
        *(_stop(alert, clock) for alert in stops),
        " ".join([_told(contacts), *_when_told(show, contacts)]),
        SILENCE,
        _list("Watched", _watched(show)),
        _list("Assumed", assumed),
        _list("Weather", [words.sentence(s) for s in sources] or ["No feed is read."]),
        f"Next word: {next_word}",
        f"Radio: {line}",
        _list("Cautions", (cautions.LIGHTNING, cautions.CODES, cautions.ESTIMATE)),
        f"Written {clock.at(at)} site time, {clock.zone_name}.",
    ]
    text = "\n\n".join(paragraphs) + "\n"
    data: dict[str, Any] = {
        "schema": WATCH_SCHEMA,
        "at": iso_utc(at),
        "site": show.site.name,
        "revision": show.revision,
        "fixtures": pieces,
        "positions": _counts(show),
        "assumptions": assumed,
        "sources": list(sources),
        "told": [c.name for c in contacts],
        "tells_nobody": tells_nobody(contacts),
        "stops": [alert.id for alert in stops],
        "next_word_at": iso_utc(next_word_at),
        "radio": line,
        "says": text,
    }
    subject = f"On watch at {site}: {words.fixtures(pieces)}"
    return Message(
        alert_id="watch",
        kind="watch",
        stage=None,
        subject=radio.shorten(subject, words.LONGEST_SUBJECT),
        text=text,
        radio=line,
        data=data,
        thread="watch",
        at=at,
    )


def trial(show: Show, *, at: datetime) -> Message:
    """One message that shows a contact works; it asks for nothing."""
    clock = SiteClock(show.site.timezone, at)
    site = words.one_line(show.site.name) or "the site"
    line = radio.fit("TEST from the weather monitor at ", radio.plain(site), ". Nothing to do.")
    text = "\n\n".join(
        (
            f"Test from the weather monitor at {site}. Nothing to do.",
            _WORKS,
            SILENCE,
            f"Radio: {line}",
            f"Written {clock.at(at)} site time, {clock.zone_name}.\n",
        )
    )
    return Message(
        alert_id="test",
        kind="test",
        stage=None,
        subject=radio.shorten(f"Test: weather monitor at {site}", words.LONGEST_SUBJECT),
        text=text,
        radio=line,
        data={
            "schema": TEST_SCHEMA,
            "at": iso_utc(at),
            "site": show.site.name,
            "radio": line,
            "says": text,
        },
        thread=f"test-{iso_utc(at)}",
        at=at,
    )


def _positions(count: int) -> str:
    return "1 position" if count == 1 else f"{count} positions"


def _counts(show: Show) -> dict[str, int]:
    counts = dict.fromkeys(show.positions, 0)
    for fixture in show.fixtures:
        counts[fixture.position] += fixture.count
    return counts


def _watched(show: Show) -> list[str]:
    rig = compile_rig(show)
    by_standing: Counter[str] = Counter()
    for fixture, kind in zip(show.fixtures, rig.kind_of.tolist(), strict=True):
        by_standing[rig.kinds[kind].standing] += fixture.count
    lines = [
        f"{by_standing[standing]} {said}, by the weakest part of their chain"
        for standing, said in _STANDINGS.items()
        if by_standing[standing]
    ]
    lines += [
        f"{words.one_line(show.positions[key].name) or key}: {count}"
        for key, count in _counts(show).items()
    ]
    return lines


def _assumed(show: Show, clock: SiteClock) -> list[str]:
    conditions: Counter[str] = Counter()
    any_mount = 0
    no_cut_off = tuple(p.name or key for key, p in show.positions.items() if not p.isolate_at)
    for fixture in show.fixtures:
        conditions[fixture.condition] += fixture.count
        any_mount += fixture.count if fixture.mount == "any" else 0
    factors = _factors(show.policy)
    lines = [
        f"{words.fixtures(conditions[c])} in condition {c}: {factor * 100:.0f} % of the test "
        "counts as allowance."
        for c, factor in factors.items()
        if conditions[c]
    ]
    if any_mount:
        lines.append(
            f"{words.fixtures(any_mount)} with mount any: taken at the worst angle of water."
        )
    rigged = show.event.load_in_ends_at
    if rigged is not None and clock.now < rigged:
        lines.append(
            f"Load-in to {clock.at(rigged)}: open connectors count. Until then each is taken as "
            "open that is not capped in the show folder or logged capped."
        )
    margin = show.policy.hourly_margin
    if margin != 1:
        lines.append(f"Hourly rain forecasts are multiplied by {margin:g}: they lose peaks.")
    if no_cut_off:
        lines.append(f"The show folder names no cut-off for: {words.listed(no_cut_off)}.")
    return lines


def _factors(policy: Policy) -> dict[str, float]:
    return {
        "new": policy.condition_new,
        "hire": policy.condition_hire,
        "worn": policy.condition_worn,
    }


def _stop(alert: Alert, clock: SiteClock) -> str:
    """A stop that stands, for who comes on now and was not told."""
    why = words.one_line(alert.facts.blocked_by or alert.reason)
    return words.sentence(
        f"A stop stands at {words.place(alert)} since {clock.at(alert.at)}: nobody starts, "
        f"nobody climbs; {why}"
    )


def _told(contacts: Sequence[Contact]) -> str:
    if tells_nobody(contacts):
        return NOBODY_TOLD
    said = []
    for contact in contacts:
        name = words.one_line(contact.name)
        more = [_reach(contact)]
        if contact.short:
            more.append("the radio line")
        if contact.stages is not None:
            more.append(f"only {' and '.join(contact.stages)}")
        if contact.turn > 1:
            more.append(f"in turn {contact.turn}")
        said.append(f"{name} ({', '.join(more)})")
    return f"Told: {', '.join(said)}."


def _reach(contact: Contact) -> str:
    if contact.kind == "email":
        return f"{len(contact.to)} by mail"
    if contact.kind == "apprise":
        return f"{len(contact.to)} by text message, chat or push"
    return contact.kind


def _when_told(show: Show, contacts: Sequence[Contact]) -> list[str]:
    """What holds a message back, in sentences."""
    if tells_nobody(contacts):
        return []
    said = []
    if any(contact.turn > 1 for contact in contacts):
        said.append(
            "A later turn is told of an order that nobody before has answered, or that cannot be "
            "done; of a stop everybody is told at once."
        )
    people = [contact for contact in contacts if contact.kind in {"email", "apprise"}]
    if gaps := [contact.gap_minutes for contact in people if contact.gap_minutes]:
        said.append(
            f"Nobody gets more than one message in {min(gaps):g} min, but for a stop, what is "
            "overdue, an order to isolate, and a start that could not wait."
        )
    quiet = show.event.quiet_hours
    if quiet is not None and people:
        said.append(
            f"In quiet hours, {quiet.start:%H:%M} to {quiet.end:%H:%M}, everybody is told of a "
            "stop; of a start, what is overdue and lost weather those on shift or on call, and "
            "contacts that are nobody's in particular; the rest waits until they end."
        )
    return said


def _radio(
    site: str, what: str, contacts: Sequence[Contact], next_word: str | None, *, stops: bool
) -> str:
    tail = f": {what}."
    if next_word is not None:
        tail += f" Next word by {next_word}."
    tail += " No lightning is detected; silence is not safety."
    more = ["A stop stands."] if stops else []
    more += ["No person is told."] if tells_nobody(contacts) else []
    return radio.fit("ON WATCH at ", radio.plain(site), tail, more)


def _list(label: str, lines: Iterable[str]) -> str:
    return "\n".join([label, *(f"- {line}" for line in lines)])
