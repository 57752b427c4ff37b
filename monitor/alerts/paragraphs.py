"""The paragraphs of a message between its first line and its cautions.

Each function answers one question of the reader and returns an empty string where nothing
is known: a message never guesses and never prints a gap.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.alerts import official_words, words
from monitor.alerts.clock import age

if TYPE_CHECKING:
    from monitor.alerts.clock import SiteClock
    from monitor.domain import Access, Alert, Facts, FeedSays

_OF_ONE_MIND = timedelta(minutes=20)
"""Deadlines of several feeds no further apart than this are one to the crew (judgement)."""

_LIMITED: dict[Access | None, str] = {
    "ladder": "on a ladder",
    "platform": "on the platform",
    "climb": "a climb",
    "lowered-truss": "to lower or raise the truss",
}


def body(alert: Alert, clock: SiteClock) -> list[str]:
    """The paragraphs of any alert, in the order they are read; empty ones are skipped."""
    if alert.facts.official is not None:
        return [
            *official_words.paragraphs(alert, alert.facts.official),
            _next_word(alert, clock),
        ]
    if alert.stage == "stood-down":
        return [
            _labelled("Because", words.sentence(alert.reason) or "The forecast has changed."),
            *_extra(alert),
            _forecast(alert, clock),
            _next_word(alert, clock),
        ]
    if words.says_stop(alert, clock.now):
        return _stop_body(alert, clock)
    if alert.kind != "work":
        return [
            words.sentence(alert.reason),
            _what_silence_means(alert),
            *_extra(alert),
            _next_word(alert, clock),
        ]
    return [
        "\n".join(
            p for p in (_overdue(alert), _when(alert, clock), _isolate(alert), _who(alert)) if p
        ),
        _why(alert, clock),
        _can_wait(alert, clock),
        *_extra(alert),
        _forecast(alert, clock),
        feeds_differ(alert.facts, clock),
        _limit(alert, clock),
        _labelled("If it cannot be done", _if_not(alert)),
        _next_word(alert, clock),
    ]


def _stop_body(alert: Alert, clock: SiteClock) -> list[str]:
    facts = alert.facts
    cut_off = words.one_line(alert.isolate_at or "")
    reach = "only if it is reached without climbing and, in thunder, without crossing open ground"
    power = (
        f"Isolate at {cut_off}, {reach}."
        if cut_off
        else f"Isolate its power, {reach}. The show file does not say where it is cut off."
    )
    left = ""
    if alert.count:
        count = words.fixtures(alert.count)
        left = f"Left as they are: {count}. Take them as wet from now on."
    until = ""
    if facts.blocked_until is not None:
        until = (
            f"On this forecast nobody works there before {clock.near(facts.blocked_until)}, "
            f"site time {clock.zone_name}. People on site declare the end of it, not this message."
        )
    why = words.sentence(facts.blocked_by or "")
    reason = words.sentence(alert.reason)
    return [
        power,
        _labelled("Why", " ".join(dict.fromkeys(p for p in (why, reason) if p))),
        until,
        left,
        *_extra(alert),
        _forecast(alert, clock),
        _next_word(alert, clock),
    ]


def _overdue(alert: Alert) -> str:
    if alert.stage != "overdue":
        return ""
    return (
        f"It is not logged as done: take them as {words.verb(alert).undone}. "
        "Do not handle wet gear that is live."
    )


def _when(alert: Alert, clock: SiteClock) -> str:
    start, done = alert.start_by, alert.do_by
    parts = []
    if alert.stage == "overdue":
        if done is not None:
            parts.append(f"Was to be done by {clock.near(done)}.")
    else:
        if alert.facts.late:
            parts.append("It cannot all be done in time. Start at once with what counts most.")
        elif start is not None and start <= clock.now:
            parts.append(f"Start at once: the latest start was {clock.near(start)}.")
        elif start is not None:
            parts.append(f"Start by {clock.near(start)}.")
        finish = words.hands_off_by(alert)
        if done is not None and finish is not None:
            parts.append(f"Done by {clock.near(finish)}.")
            if finish != done:
                parts.append(
                    f"Nobody may work there from then on; the allowance lasts to {clock.at(done)}."
                )
    return f"{' '.join(parts)} Site time, {clock.zone_name}." if parts else ""


def _isolate(alert: Alert) -> str:
    cut_off = words.one_line(alert.isolate_at or "")
    if alert.action == "isolate":
        return f"The cut-off: {cut_off}." if cut_off else "The show file names no cut-off: ask."
    if cut_off:
        return f"Isolate first at {cut_off}."
    return "Isolate first. The show file does not say where: ask whoever answers for the power."


def _who(alert: Alert) -> str:
    parts = [words.people(alert.people)] if alert.people else []
    minutes = words.known(alert.minutes)
    if minutes is not None:
        parts.append(words.duration(minutes))
    return f"{', '.join(parts)}." if parts else ""


def _why(alert: Alert, clock: SiteClock) -> str:
    facts = alert.facts
    parts = []
    rain = words.known(facts.rain_mm)
    span = ""
    if facts.wet_from is not None and facts.wet_to is not None:
        span = f" from {clock.span(facts.wet_from, facts.wet_to)}"
    elif facts.wet_from is not None:
        span = f" from {clock.at(facts.wet_from)}"
    if rain is not None:
        parts.append(f"{words.depth(rain)} of rain{span}.")
    elif span:
        parts.append(f"Wet{span}.")
    parts += _wind(alert, clock)
    if facts.gap:
        parts.append(f"It comes in: {words.one_line(facts.gap)}.")
    driven = words.known(facts.driven_mm)
    if driven is not None:
        parts.append(f"On the worst face of the worst fixture: {words.depth(driven)} of water.")
    used = words.known(facts.used)
    if used is not None:
        parts.append(f"Share of its allowance used: {used:.1f}.")
    if facts.weakest:
        parts.append(f"Weakest: {words.one_line(facts.weakest)}.")
    if alert.reason:
        parts.append(words.sentence(alert.reason))
    return _labelled("Why", " ".join(parts))


def _wind(alert: Alert, clock: SiteClock) -> list[str]:
    facts = alert.facts
    wind, gust = words.known(facts.wind_mps), words.known(facts.gust_mps)
    said = []
    if wind is not None:
        from_deg = words.known(facts.wind_from_deg)
        side = f" {words.from_direction(from_deg)}" if from_deg is not None and wind > 0 else ""
        said.append(f"wind {words.speed(wind)}{side}")
    if gust is not None:
        at = f" at {clock.at(facts.gust_at)}" if facts.gust_at is not None else ""
        said.append(f"gusts at that height to {words.speed(gust)}{at}")
    return [words.sentence(", ".join(said))] if said else []


def _can_wait(alert: Alert, clock: SiteClock) -> str:
    waits = [
        f"{words.listed(w.fixtures)} until {clock.at(w.do_by)}"
        for w in alert.facts.can_wait
        if w.fixtures
    ]
    return _labelled("Can wait", words.sentence("; ".join(waits)))


def _forecast(alert: Alert, clock: SiteClock) -> str:
    facts = alert.facts
    sources = ", ".join(words.one_line(s) for s in facts.sources)
    if not sources and facts.issued_at is None:
        return ""
    parts = [sources or "source not named"]
    if facts.issued_at is not None:
        old = age(facts.issued_at, clock.now)
        parts.append(f"issued {clock.at(facts.issued_at)}, {old}")
    elif len(facts.sources) < 2:
        # Several say their own times beside their names.
        parts.append("issue time not given")
    is_past = alert.action in ("inspect", "clean")
    share = (
        words.sentence(facts.rain_now or "")
        if alert.stage == "stood-down" or is_past or facts.rain_now
        else words.chance(alert.members, alert.probability, facts.says_so)
    )
    stations = ", ".join(words.one_line(s) for s in facts.gauges)
    measured = f"The past measured on site by {stations}, where it was." if stations else ""
    said = f"{', '.join(parts)}. {share}".strip()
    return _labelled("Forecast", f"{said} {measured}".strip())


def feeds_differ(facts: Facts, clock: SiteClock) -> str:
    """What each feed says, where they are not of one mind."""
    told = facts.by_feed
    due = [feed.do_by for feed in told if feed.do_by is not None]
    apart = bool(due) and max(due) - min(due) > _OF_ONE_MIND
    if len(told) < 2 or not (apart or len(due) < len(told)):
        return ""
    return _labelled("Feeds differ", f"{', '.join(_feed(f, clock) for f in told)}.")


def _feed(feed: FeedSays, clock: SiteClock) -> str:
    name = words.one_line(feed.feed)
    if feed.do_by is not None:
        return f"{name} says {clock.at(feed.do_by)}"
    if feed.to is not None:
        return f"{name} sees no need until {clock.at(feed.to)}"
    return f"{name} does not say"


def _limit(alert: Alert, clock: SiteClock) -> str:
    facts = alert.facts
    limit = words.known(facts.access_limit_mps)
    where = _LIMITED.get(facts.access)
    if facts.access == "none":
        return _labelled("Limit", "Nobody works at this place. Cut its power and touch nothing.")
    if limit is not None:
        said = (
            f"Do not start {where or 'there'} in gusts above {words.speed(limit)}, or in thunder."
        )
    else:
        said = "Do not start in thunder."
    if facts.access_closes_at is not None:
        closes = clock.near(facts.access_closes_at)
        said += f" The limit is reached at {closes}: be down by then."
    holds = words.known(facts.cover_gust_limit_mps)
    if alert.action == "cover" and holds is not None:
        name = words.one_line(facts.cover_name or "") or "hood"
        said += f" The {name} holds in gusts up to {words.speed(holds)}."
    return _labelled("Limit", said)


def _if_not(alert: Alert) -> str:
    cut_off = words.one_line(alert.isolate_at or "")
    tell = f"and answer alert {words.one_line(alert.id)} with: cannot"
    if alert.action == "isolate":
        return f"keep everybody off the gear, {tell}."
    power = f"isolate at {cut_off}" if cut_off else "isolate it"
    return f"{power}, keep off, {tell}."


def _next_word(alert: Alert, clock: SiteClock) -> str:
    at = alert.facts.next_word_at
    said = f"by {clock.near(at)}." if at is not None else "when this changes."
    return _labelled("Next word", said)


def _what_silence_means(alert: Alert) -> str:
    if alert.kind == "delivery":
        return "Somebody on this list may not have been told. Do not wait for an answer from them."
    return (
        "No forecast is not a dry forecast. Decide by eye and by official warnings. "
        "Alerts raised before this stay in force."
    )


def _extra(alert: Alert) -> list[str]:
    said = " ".join(words.sentence(e) for e in alert.facts.extra)
    return [said] if said else []


def _labelled(label: str, said: str) -> str:
    return f"{label}: {said}" if said else ""
