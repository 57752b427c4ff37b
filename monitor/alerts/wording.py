"""An alert in words: subject, text, radio line and JSON.

Written for a tired person in the rain: the action first, one verb, short sentences, units,
the site's own clock. Every paragraph answers one question, in the order they are asked.
The words used as cue calls and rescue calls on the same radios are never ours to use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.alerts import cautions, official_words, paragraphs, radio, words
from monitor.alerts.clock import SiteClock
from monitor.alerts.troubles import called
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

    `links`, each (label, address), stand at the end of the text: where an answer is given. They
    are never on the radio.
    """
    data = _object(alert, now)
    if links:
        data["links"] = [{"label": label, "url": url} for label, url in links]
    return Message(
        alert_id=alert.id,
        kind=alert.kind,
        stage=alert.stage,
        subject=radio.shorten(
            _subject(alert, SiteClock.named(alert.facts.timezone, now)), words.LONGEST_SUBJECT
        ),
        text="\n".join([_text(alert, now), *(_linked(links) or _how_to_answer(alert))]),
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
        **({} if official is None else {"official": official_words.as_json(official)}),
    }


def _radio(alert: Alert, now: datetime) -> str:
    return radio.line(alert, SiteClock.named(alert.facts.timezone, now))


def _text(alert: Alert, now: datetime) -> str:
    clock = SiteClock.named(alert.facts.timezone, now)
    said = [_headline(alert, clock), *paragraphs.body(alert, clock)]
    said.append(f"Radio: {_radio(alert, now)}")
    said.append("\n".join(["Cautions", *(f"- {c}" for c in cautions.said_with(alert))]))
    said.append(_footer(alert, clock))
    return "\n\n".join(p for p in said if p) + "\n"


def _how_to_answer(alert: Alert) -> list[str]:
    """For those who have no link: the command."""
    if alert.kind != "work" or alert.stage in ("stop", "stood-down"):
        return []
    said = f"dryspell answer {words.one_line(alert.id)} doing, done, cannot or not-needed"
    return [f"Answer with: {said}\n"]


def _linked(links: Sequence[tuple[str, str]]) -> list[str]:
    said = [f"{words.one_line(label)}: {words.one_line(url)}\n" for label, url in links]
    return ["".join(said)] if said else []


# ---------------------------------------------------------------- the first line


def _order(alert: Alert) -> str:
    verb = words.verb(alert)
    what = f"{words.fixtures(alert.count)} " if alert.count else ""
    return f"{verb.order} {what}{verb.joins} {words.place(alert)}"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _headline(alert: Alert, clock: SiteClock) -> str:
    where = words.place(alert)
    if words.says_stop(alert, clock.now):
        if alert.stage == "stood-down":
            return f"The stop at {where} ends on this forecast."
        return f"Stop. Do not work at {where}. Nobody starts, nobody climbs."
    if alert.kind == "work":
        head = _work_headline(alert, clock)
        what = "; ".join(words.one_line(n) for n in alert.facts.fixture_names)
        return f"{head}\n{what}" if what else head
    return _monitor_headline(alert)


def _work_headline(alert: Alert, clock: SiteClock) -> str:
    order = _order(alert)
    if alert.stage == "notice":
        later = alert.start_by is not None and alert.start_by > clock.now and not alert.facts.late
        return f"Notice: {_lower(order)}.{' Not yet, but plan for it.' if later else ''}"
    if alert.stage == "overdue":
        return f"Overdue: {_lower(order)}."
    if alert.stage == "stood-down":
        return f"No longer needed: {_lower(order)}."
    return f"{order}."


def _monitor_headline(alert: Alert) -> str:
    if alert.facts.official is not None:
        return official_words.headline(alert, alert.facts.official)
    where = words.one_line(alert.facts.site_name) or "the site"
    trouble = called(alert)
    if trouble is not None:
        if alert.stage == "stood-down":
            return f"{trouble.over} {where}."
        return f"{trouble.raised} {where}. {trouble.then}".rstrip()
    if alert.kind == "weather":
        if alert.stage == "stood-down":
            return f"Weather for {where} is read again."
        if alert.stage == "notice":
            return f"The forecast for {where} is in doubt. Look at the sky yourself."
        return f"Weather lost. There is no usable forecast for {where}."
    if alert.stage == "stood-down":
        return f"Messages for {where} arrive again."
    return f"Messages for {where} are not arriving. Tell the crew by voice."


def _subject(alert: Alert, clock: SiteClock) -> str:
    where = words.place(alert)
    if words.says_stop(alert, clock.now):
        ended = alert.stage == "stood-down"
        return f"Stop ends on this forecast: {where}" if ended else f"Stop: do not work at {where}"
    if alert.kind != "work":
        return words.one_line(_monitor_headline(alert)).rstrip(".")
    order = _order(alert)
    start = f"start by {clock.at(alert.start_by)}" if alert.start_by is not None else ""
    due = f"due {clock.at(alert.do_by)}" if alert.do_by is not None else ""
    heads = {
        "notice": ", ".join(p for p in ("Notice", start) if p),
        "start": f"{start[:1].upper()}{start[1:]}",
        "overdue": ", ".join(p for p in ("Overdue", due) if p),
        "stood-down": "No longer needed",
    }
    head = heads.get(alert.stage, "")
    return f"{head}: {_lower(order)}" if head else order


def _footer(alert: Alert, clock: SiteClock) -> str:
    lines = [f"Written {clock.at(clock.now)} site time, {clock.zone_name}."]
    if alert.kind in {"work", "stop"}:
        lines.append(f"Alert {words.one_line(alert.id)}. Log what is done; an answer is not a log.")
    lines += [words.one_line(c) for c in alert.facts.credit]
    return "\n".join(lines)
