"""An alert in words: subject, text, radio line and JSON.

Written for a tired person in the rain: the action first, one verb, short sentences, units,
the site's own clock. Every paragraph answers one question, in the order they are asked.
The words used as cue calls and rescue calls on the same radios are never ours to use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.alerts import cautions, headline, official_words, paragraphs, radio, words
from monitor.alerts.clock import SiteClock
from monitor.domain import Message
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import Alert

SCHEMA = "dryspell.alert/1"


def as_json(alert: Alert) -> dict[str, Any]:
    """The one alert object, the same in a rehearsal, a webhook and the page."""
    return _object(alert, alert.at)


def message(alert: Alert, now: datetime, links: Sequence[tuple[str, str]] = ()) -> Message:
    """The alert as a message that any contact can carry, read at `now`.

    `links`, each (label, address), are where an answer is given: before the radio line and the
    cautions, so that nobody has to look for them. They are never on the radio.
    """
    data = _object(alert, now)
    if links:
        data["links"] = [{"label": label, "url": url} for label, url in links]
    return Message(
        alert_id=alert.id,
        kind=alert.kind,
        stage=alert.stage,
        subject=headline.subject(alert, SiteClock.named(alert.facts.timezone, now)),
        text=_text(alert, now, _linked(links) or _how_to_answer(alert)),
        radio=_radio(alert, now),
        data=data,
        thread=f"alert-{alert.id}",
        at=now,
    )


def _object(alert: Alert, now: datetime) -> dict[str, Any]:
    probability = words.known(alert.probability)
    official = alert.facts.official
    return {
        "schema": SCHEMA,
        "id": alert.id,
        "kind": alert.kind,
        "stage": alert.stage,
        "action": alert.action,
        "position": alert.position,
        "fixtures": list(alert.fixtures),
        "count": int(alert.count),
        "people": int(alert.people),
        "minutes": words.known(alert.minutes),
        "isolate_at": alert.isolate_at,
        "start_by": iso_utc(alert.start_by),
        "do_by": iso_utc(alert.do_by),
        "members": int(alert.members),
        "probability": None if alert.members < words.FEW_MEMBERS else probability,
        "says_so": alert.facts.says_so,
        "by_feed": [
            {
                "feed": feed.feed,
                "do_by": iso_utc(feed.do_by),
                "to": iso_utc(feed.to),
                "members": int(feed.members),
            }
            for feed in alert.facts.by_feed
        ],
        "at": iso_utc(alert.at),
        "reason": alert.reason,
        "cautions": list(cautions.said_with(alert)),
        "radio": _radio(alert, now),
        "says": _text(alert, now),
        **_planned(alert),
        **({} if official is None else {"official": official_words.as_json(official)}),
    }


def _planned(alert: Alert) -> dict[str, Any]:
    """Who is planned for it, what it takes from the store, what acting is worth, what was
    answered.
    """
    facts, down_by = alert.facts, words.hands_off_by(alert)
    return {
        "who": list(facts.who),
        "handed_to": list(facts.handed_to),
        "handed_at": iso_utc(facts.handed_at),
        "down_by": None if down_by == alert.do_by else iso_utc(down_by),
        "late": bool(facts.late),
        "late_minutes": words.known(facts.late_minutes),
        "worth": None
        if facts.worth is None
        else {
            "cost": words.known(facts.worth.cost),
            "at_stake": words.known(facts.worth.at_stake),
            "chance": None
            if alert.members < words.FEW_MEMBERS
            else words.known(facts.worth.chance),
        },
        "covers": [{"cover": name, "count": int(count)} for name, count in facts.covers],
        "not_covered_because": facts.not_covered_because,
        "spent_live": bool(facts.spent_live),
        "logged_done": bool(facts.logged_done),
        "answered": list(facts.answered),
    }


def _radio(alert: Alert, now: datetime) -> str:
    return radio.line(alert, SiteClock.named(alert.facts.timezone, now))


def _text(alert: Alert, now: datetime, answering: Sequence[str] = ()) -> str:
    clock = SiteClock.named(alert.facts.timezone, now)
    said = [headline.first_line(alert, clock), *paragraphs.body(alert, clock)]
    said.append("\n".join(answering))
    said.append(f"Radio: {_radio(alert, now)}")
    said.append("\n".join(["Cautions", *(f"- {c}" for c in cautions.said_with(alert))]))
    said.append(_footer(alert, clock))
    return "\n\n".join(p for p in said if p) + "\n"


def _how_to_answer(alert: Alert) -> list[str]:
    """For those who have no link: the command."""
    if alert.kind != "work" or alert.stage in ("stop", "stood-down"):
        return []
    said = f"dryspell answer {words.one_line(alert.id)} doing, done, cannot or not-needed"
    return [f"Answer with: {said}"]


def _linked(links: Sequence[tuple[str, str]]) -> list[str]:
    return [f"{words.one_line(label)}: {words.one_line(url)}" for label, url in links]


def _footer(alert: Alert, clock: SiteClock) -> str:
    lines = [f"Written {clock.at(clock.now)} site time, {clock.zone_name}."]
    if alert.kind in {"work", "stop"}:
        lines.append(f"Alert {words.one_line(alert.id)}. Log what is done; an answer is not a log.")
    lines += [words.one_line(c) for c in alert.facts.credit]
    return "\n".join(lines)
