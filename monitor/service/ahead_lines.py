"""One look ahead as lines for a screen: who is needed where, by when, and what it rests on."""

from __future__ import annotations

from dataclasses import replace
from textwrap import wrap
from typing import TYPE_CHECKING

from monitor.alerts import paragraphs, words
from monitor.alerts.clock import SiteClock, age
from monitor.alerts.covers_short import covers_needed, left_without
from monitor.alerts.losses import feed_state, lost_because
from monitor.alerts.step import blocked_by
from monitor.alerts.watch import NOBODY_TOLD, tells_nobody
from monitor.service.ahead_open import ANSWERED, Open, how_late, instead, times, what_was_said
from monitor.service.warned import lines_ahead
from monitor.units import to_moment

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import datetime

    from monitor.alerts.losses import FeedSight
    from monitor.domain import Alert, Answered, Facts, Show
    from monitor.planning.covers_at_once import AtOnce
    from monitor.planning.workable import Span
    from monitor.service.sky import Sky

WIDTH = 80
_INDENT = "  "
_NAMED = 3
"""So many names of people before the rest is a number"""
STAGES = ("stop", "overdue", "start", "notice")
"""The gravest first."""


def lines(
    show: Show,
    sights: Sequence[FeedSight],
    sky: Sky,
    alerts: Sequence[Alert],
    facts: Mapping[str, Facts],
    answered: Mapping[str, Answered],
    blocked: Mapping[str, Span],
    now: datetime,
    at_once: Iterable[AtOnce] = (),
) -> Iterator[str]:
    """What there is to see.

    Parameters
    ----------
    alerts : all that are open now
    facts : by alert, what is known of its job at this moment
    answered : by alert, what the crew answered to it, while that holds
    blocked : positions where nobody may work now, told of as a stop or not yet
    at_once : covers that the plan needs at one moment
    """
    clock = SiteClock.named(show.site.timezone.key, now)
    yield f"{show.site.name}, {clock.at(now)} site time, {clock.zone_name}."
    read = [sight for sight in sights if feed_state(sight, now) != "lost"]
    for sight in sights:
        yield from _weather(sight, clock)
    rain = sky.source(show, now, sights).rain_now
    if rain is not None:
        yield from _wrapped(f"{rain}.")
    if not alerts and read:
        yield "Nothing has to be done on this forecast. It is an estimate and no permission."
    if any(not alert.members and alert.kind == "stop" for alert in alerts):
        yield from _ended(show, sky, alerts, clock)
    told = [a for a in alerts if words.says_stop(a, now)]
    stops = [*told, *_blocked(alerts, told, blocked)]
    yield from _stops(stops, clock)
    # No line sends anybody to a place where nobody works before it would have to begin.
    open_ones = [
        Open(
            a,
            facts.get(a.id, a.facts),
            answered.get(a.id),
            what_was_said(answered.get(a.id), show, now),
        )
        for a in alerts
        if a not in told and not _shut(a, stops)
    ]
    for one in open_ones:
        if one.alert.stage != "notice":
            yield ""
            yield from _alert(one, clock)
    yield from _later([one for one in open_ones if one.alert.stage == "notice"], clock)
    for needed in at_once:
        said = (covers_needed(needed, show, clock), *left_without(needed, show, clock))
        yield from _wrapped(" ".join(words.sentence(text) for text in said))
    yield ""
    for line in lines_ahead(show, sky.warned, now):
        yield from [line] if line.startswith("  >") else _wrapped(line)
    for credit in dict.fromkeys(r.weather.credit for r in sky.runs.of(show) if r.weather.credit):
        yield from _wrapped(credit)
    if tells_nobody(show.contacts):
        yield NOBODY_TOLD


def in_order(alerts: Sequence[Alert]) -> list[Alert]:
    """The gravest first, then by the latest start."""

    def key(alert: Alert) -> tuple[int, bool, float]:
        first = alert.start_by or alert.do_by
        return (
            STAGES.index(alert.stage),
            alert.position is not None,
            float("inf") if first is None else first.timestamp(),
        )

    return sorted((a for a in alerts if a.stage in STAGES), key=key)


def _blocked(
    alerts: Sequence[Alert], stops: Sequence[Alert], blocked: Mapping[str, Span]
) -> Iterator[Alert]:
    """What is open where nobody may work now, as the stop that it would be told as."""
    there = {stop.position for stop in stops}
    for alert in alerts:
        span = blocked.get(alert.position or "")
        if alert in stops or span is None or None in there or alert.position in there:
            continue
        facts = replace(
            alert.facts,
            blocked_by=blocked_by(alert.facts, span),
            blocked_until=to_moment(span.end_s),
        )
        yield replace(alert, kind="stop", stage="stop", facts=facts)


def _shut(alert: Alert, stops: Sequence[Alert]) -> bool:
    """Whether a stop holds at its place at the time when it would have to begin."""
    if alert.stage == "overdue":
        return False
    return any(
        stop.position in (None, alert.position)
        and (
            alert.start_by is None
            or stop.facts.blocked_until is None
            or alert.start_by < stop.facts.blocked_until
        )
        for stop in stops
    )


# ---------------------------------------------------------------- weather


def _weather(sight: FeedSight, clock: SiteClock) -> list[str]:
    state = feed_state(sight, clock.now)
    if state == "lost":
        said = f"Weather lost: {lost_because(sight, clock)} No forecast is not a dry forecast."
        return _wrapped(said)
    if sight.reaches_to is None:
        return []
    said = f"Weather: {sight.source}, to {clock.at(sight.reaches_to)}"
    if sight.said_at is not None:
        how = "issued" if sight.issued else "read"
        said += f", {how} {clock.at(sight.said_at)}"
        if state == "ageing":
            said += f", {age(sight.said_at, clock.now)}: nothing newer has come"
    return _wrapped(f"{said}.")


# ---------------------------------------------------------------- what stands


def _ended(show: Show, sky: Sky, alerts: Sequence[Alert], clock: SiteClock) -> list[str]:
    """Where a stop outlasts the official warning that it was for."""
    stop = next((a for a in alerts if a.kind == "stop" and a.position is None), None)
    if stop is None or "official warning" not in (stop.facts.blocked_by or ""):
        return []
    if sky.warned.in_force(show, clock.now):
        return []
    until = stop.facts.blocked_until
    stays = "the stop stays" if until is None else f"the stop stays until {clock.at(until)}"
    return _wrapped(f"The official warning has ended; {stays}: 30 min after the last word of it.")


def _alert(one: Open, clock: SiteClock) -> list[str]:
    alert, facts = one.alert, one.facts
    verb, where = words.verb(alert), words.place(alert)
    head = f"{verb.order} {alert.count} {verb.joins} {where}{times(one, clock)}"
    if alert.stage == "overdue":
        due = "" if alert.do_by is None else f", due {clock.at(alert.do_by)} and not logged done"
        head = f"OVERDUE. {alert.count} at {where}: taken as {verb.undone}{due}"
    cut_off = words.one_line(alert.isolate_at or "")
    more = [one.said, instead(alert), _who(alert, facts, clock), _covers(facts)]
    more += [_wet(facts, clock)]
    more += [f"Cut-off: {cut_off}."] if cut_off and alert.action == "isolate" else []
    said = [*_wrapped(f"{head}."), *_wrapped(" ".join(m for m in more if m), _INDENT)]
    differ = paragraphs.feeds_differ(facts, clock)
    return [*said, *_wrapped(differ, _INDENT)] if differ else said


def _later(notices: Sequence[Open], clock: SiteClock) -> Iterator[str]:
    """What is not to be begun yet, a line each; what has no deadline, in one line together."""
    timed = [o for o in notices if o.alert.start_by is not None and o.alert.do_by is not None]
    if timed:
        yield ""
        yield _row("Start by", "Done by", "Not yet, but to be planned for", "Who")
        for one in timed:
            yield from _planned(one, clock)
        yield from _together([(o.alert, o.facts) for o in timed], clock)
    due = [o for o in notices if o.alert.start_by is None and o.alert.do_by is not None]
    for one in due:
        yield ""
        yield from _alert(one, clock)
    care: dict[str, list[str]] = {}
    for one in notices:
        if one.alert.do_by is None:
            alert = one.alert
            place = f"{alert.count} {words.verb(alert).joins} {words.place(alert)}"
            place += f" ({one.said.rstrip('.')})" if one.said else ""
            care.setdefault(words.verb(alert).order, []).append(place)
    if care:
        yield ""
    for order, places in care.items():
        yield from _wrapped(f"{order}, without a deadline: {', '.join(places)}.")


def _row(start: str, done: str, what: str, who: str) -> str:
    return f"{start:11}{done:15}{what:34}{who}".rstrip()


def _planned(one: Open, clock: SiteClock) -> Iterator[str]:
    alert, facts = one.alert, one.facts
    start, done = alert.start_by, words.hands_off_by(alert)
    assert start is not None
    assert done is not None
    shut = " down" if done != alert.do_by else ""
    late = " late" if one.late and not one.waits_for_nobody else ""
    verb = words.verb(alert)
    what = f"{verb.order} {alert.count} {verb.joins} {words.place(alert)}"
    begin = "at once" if start <= clock.now else clock.at(start)
    if one.answer is not None and one.waits_for_nobody:
        begin = ANSWERED[one.answer.answer]
    who = words.listed(facts.who, _NAMED) or words.people(alert.people)
    row = _row(begin, f"{clock.at(done)}{late or shut}", f"{what} ", who)
    yield from [row] if len(row) <= WIDTH else _wrapped(row, " " * 26, keep=True)
    more = [one.said, words.sentence(how_late(one, clock))]
    yield from _wrapped(" ".join(m for m in more if m), _INDENT)
    differ = paragraphs.feeds_differ(facts, clock)
    yield from _wrapped(differ, _INDENT) if differ else []


def _together(timed: Sequence[tuple[Alert, Facts]], clock: SiteClock) -> Iterator[str]:
    """Rain and covers of all that is to be planned for: when, how much, what to fetch."""
    covers: dict[str, int] = {}
    for _, facts in timed:
        for name, count in facts.covers:
            covers[name] = covers.get(name, 0) + count
    wet = [f for _, f in timed if f.wet_from is not None and f.wet_to is not None]
    if wet:
        first = min(f.wet_from for f in wet if f.wet_from is not None)
        last = max(f.wet_to for f in wet if f.wet_to is not None)
        said = f"Wet {clock.span(first, last)}"
        said += f", up to {words.depth(max(f.rain_mm or 0.0 for f in wet))}"
        gusts = [f.gust_mps for f in wet if f.gust_mps is not None]
        said += f", gusts up to {words.speed(max(gusts))} where people work" if gusts else ""
        yield from _wrapped(f"{said}.")
    if covers:
        most = sorted(covers.items(), key=lambda item: -item[1])
        yield from _wrapped(f"Covers: {', '.join(f'{n} {words.one_line(c)}' for c, n in most)}.")
    short = dict.fromkeys(f.not_covered_because for _, f in timed if f.not_covered_because)
    for why in short:
        yield from _wrapped(words.sentence(why))


def _stops(stops: Sequence[Alert], clock: SiteClock) -> Iterator[str]:
    """Where nobody works now; places of one reason and one end together."""
    alike: dict[tuple[str, datetime | None], list[Alert]] = {}
    for alert in stops:
        alike.setdefault((alert.facts.blocked_by or "", alert.facts.blocked_until), []).append(
            alert
        )
    for (why, until), there in alike.items():
        places = dict.fromkeys(words.place(alert) for alert in there)
        said = f"STOP. Nobody works at {', '.join(places)}"
        if until is not None:
            said += f" before {clock.near(until)}"
        cut_off = dict.fromkeys(words.one_line(a.isolate_at) for a in there if a.isolate_at)
        more = [words.sentence(why), "People on site declare the end of it."]
        more += [f"Power is cut at: {'; '.join(cut_off)}."] if cut_off else []
        yield ""
        yield from _wrapped(f"{said}.")
        yield from _wrapped(" ".join(m for m in more if m), _INDENT)


def _who(alert: Alert, facts: Facts, clock: SiteClock) -> str:
    parts = [words.people(alert.people)] if alert.people else []
    if alert.minutes is not None:
        parts.append(words.duration(alert.minutes))
    said = ", ".join(parts)
    if facts.who:
        said += f": {words.listed(facts.who, _NAMED)}"
    if facts.handed_to and facts.handed_at is not None:
        said += f", from {clock.at(facts.handed_at)} {words.listed(facts.handed_to, _NAMED)}"
    return f"{said}." if said else ""


def _covers(facts: Facts) -> str:
    if facts.covers:
        return f"Covers: {', '.join(f'{n} {words.one_line(c)}' for c, n in facts.covers)}."
    return words.sentence(facts.not_covered_because or "")


def _wet(facts: Facts, clock: SiteClock) -> str:
    if facts.wet_from is None or facts.wet_to is None:
        return ""
    said = f"Wet {clock.span(facts.wet_from, facts.wet_to)}"
    if facts.rain_mm is not None:
        said += f", {words.depth(facts.rain_mm)}"
    if facts.gust_mps is not None:
        said += f", gusts {words.speed(facts.gust_mps)} there"
    return f"{said}."


def _wrapped(text: str, indent: str = "", *, keep: bool = False) -> list[str]:
    """Lines no wider than the screen; `keep` leaves the first as it is laid out."""
    return wrap(
        text if keep else words.one_line(text),
        WIDTH,
        initial_indent="" if keep else indent,
        subsequent_indent=indent or _INDENT,
        break_long_words=False,
        break_on_hyphens=False,
    )
