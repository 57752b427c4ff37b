"""The first line of a message and its subject: what to do, where, by when.

The line carries one order; the subject begins with what is read on a locked screen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts import official_words, stop_words, words
from monitor.alerts.fitting import shorten, shorter_place
from monitor.alerts.troubles import called

if TYPE_CHECKING:
    from monitor.alerts.clock import SiteClock
    from monitor.domain import Alert

_LONGEST_PLACE = 50
"""Characters a place may take of a subject that has to hold more than it."""


def first_line(alert: Alert, clock: SiteClock) -> str:
    """What to do and where, then what the fixtures are."""
    if words.says_stop(alert, clock.now):
        return stop_words.headline(alert)
    if alert.kind == "work":
        head = _work(alert, clock)
        what = "; ".join(words.one_line(n) for n in alert.facts.fixture_names)
        return f"{head}\n{what}" if what else head
    return _monitor(alert)


def subject(alert: Alert, clock: SiteClock) -> str:
    """The same in one short line."""
    return shorten(_subject(alert, clock), words.LONGEST_SUBJECT)


def _order(alert: Alert) -> str:
    verb = words.verb(alert)
    what = f"{words.fixtures(alert.count)} " if alert.count else ""
    return f"{verb.order} {what}{verb.joins} {words.place(alert)}"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _work(alert: Alert, clock: SiteClock) -> str:
    if words.no_time_left(alert, clock.now):
        return f"{_no_time(alert, clock)}."
    if words.isolates_now(alert):
        return f"{words.isolate_now(alert)}."
    order = _order(alert)
    if alert.stage == "notice":
        later = alert.start_by is not None and alert.start_by > clock.now and not alert.facts.late
        return f"Notice: {_lower(order)}.{' Not yet, but plan for it.' if later else ''}"
    if alert.stage == "overdue":
        return f"Overdue: {_lower(order)}."
    if alert.stage == "stood-down":
        return f"{words.ended(alert)}: {_lower(order)}."
    return f"{order}."


def _no_time(alert: Alert, clock: SiteClock, room: int | None = None) -> str:
    """Nothing can be done there before it closes."""
    closes = alert.facts.access_closes_at
    at = "" if closes is None else f" at {clock.at(closes)}"
    cut_off = words.one_line(alert.isolate_at or "")
    where = words.place(alert)
    if room is not None:
        where, cut_off = shorter_place(where, room), shorten(cut_off, room // 2)
    power = f"isolate at {cut_off}" if cut_off else "isolate it"
    return f"No time left before {words.closing(alert)}{at}: do not start at {where}; {power}"


def _monitor(alert: Alert) -> str:
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
    if words.says_stop(alert, clock.now):
        return stop_words.subject(alert)
    if alert.kind != "work":
        return words.one_line(_monitor(alert)).rstrip(".")
    if words.no_time_left(alert, clock.now):
        return _no_time(alert, clock, _LONGEST_PLACE // 2)
    if words.isolates_now(alert):
        return _isolate_now(alert)
    order = _order(alert)
    start = f"start by {clock.at(alert.start_by)}" if alert.start_by is not None else ""
    due = f"due {clock.at(alert.do_by)}" if alert.do_by is not None else ""
    heads = {
        "notice": ", ".join(p for p in ("Notice", start or due) if p),
        "start": f"{start[:1].upper()}{start[1:]}",
        "overdue": ", ".join(p for p in ("Overdue", due) if p),
        "stood-down": words.ended(alert),
    }
    head = heads.get(alert.stage, "")
    return f"{head}: {_lower(order)}" if head else order


def _isolate_now(alert: Alert) -> str:
    """In whole, or with shorter names: to keep off is never cut."""
    whole = words.isolate_now(alert)
    if len(whole) <= words.LONGEST_SUBJECT:
        return whole
    cut_off = shorten(words.one_line(alert.isolate_at or ""), _LONGEST_PLACE // 2)
    at = f" at {cut_off}" if cut_off else ""
    return f"ISOLATE NOW {shorter_place(words.place(alert), _LONGEST_PLACE)}{at}; keep off"
