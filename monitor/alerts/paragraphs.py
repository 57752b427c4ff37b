"""The paragraphs of a message between its first line and its cautions.

Each function answers one question of the reader and returns an empty string where nothing
is known: a message never guesses and never prints a gap.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.alerts import official_words, stop_words, words
from monitor.alerts.troubles import called
from monitor.alerts.why import feeds_differ, forecast, why, worth

if TYPE_CHECKING:
    from monitor.alerts.clock import SiteClock
    from monitor.domain import Access, Alert

__all__ = ["body", "feeds_differ"]

_CLOSES_SOON = timedelta(hours=6)
"""A closing so long after the work is due is no matter of this job (judgement)."""
_LIMITED: dict[Access | None, str] = {
    "ladder": "on a ladder",
    "platform": "on the platform",
    "climb": "a climb",
    "lowered-truss": "to lower or raise the truss",
}


def body(alert: Alert, clock: SiteClock) -> list[str]:
    """The paragraphs of any alert, in the order they are read; empty ones are skipped."""
    said = alert.facts.official
    if said is not None:
        return [*official_words.paragraphs(alert, said), _next_word(alert, clock)]
    extra = words.sentences(alert.facts.extra)
    if alert.stage == "stood-down":
        because = words.sentence(alert.reason) or "The forecast has changed."
        return [
            words.labelled("Because", because),
            *words.sentences(alert.facts.answered),
            *extra,
            *(
                []
                if alert.facts.logged_done
                else [forecast(alert, clock), _next_word(alert, clock)]
            ),
        ]
    if words.says_stop(alert, clock.now):
        return [*stop_words.body(alert, clock), _next_word(alert, clock)]
    if alert.kind != "work":
        return [
            words.sentence(alert.reason),
            _what_silence_means(alert),
            *extra,
            _next_word(alert, clock),
        ]
    return [
        "\n".join(
            p
            for p in (
                _overdue(alert),
                _when(alert, clock),
                _isolate(alert),
                _who(alert, clock),
                _covers(alert),
            )
            if p
        ),
        *words.sentences(alert.facts.answered),
        why(alert, clock),
        worth(alert),
        _can_wait(alert, clock),
        *extra,
        forecast(alert, clock),
        feeds_differ(alert.facts, clock),
        _limit(alert, clock),
        words.labelled("If you cannot", _if_not(alert)),
        _next_word(alert, clock),
    ]


def _overdue(alert: Alert) -> str:
    if alert.stage != "overdue":
        return ""
    if alert.facts.spent_live:
        return "It is wet and live: nobody touches it, nobody covers it, until its power is cut."
    if alert.action == "isolate":
        return "It is not logged as done: take them as live. Do not handle wet gear."
    return (
        f"It is not logged as done: take them as {words.verb(alert).undone}. "
        "Do not handle wet gear that is live."
    )


def _when(alert: Alert, clock: SiteClock) -> str:
    start, done, late = alert.start_by, alert.do_by, alert.facts.late
    parts = []
    if alert.stage == "overdue":
        if words.no_time_left(alert, clock.now):
            if done is not None:
                parts.append(f"The allowance lasts to {clock.near(done)}: isolated by then.")
        elif done is not None:
            parts.append(f"Was to be done by {clock.near(done)}.")
    else:
        minutes = words.late_at_best(alert.facts)
        if late and start is not None and start > clock.now:
            how = "it cannot all be done in time"
            if minutes is not None:
                how = f"{words.duration(minutes)} late at best"
            parts.append(f"Start by {clock.near(start)}: {how}.")
        elif late:
            parts.append(_how_late(alert))
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


def _how_late(alert: Alert) -> str:
    minutes = words.late_at_best(alert.facts)
    if minutes is not None:
        by = words.duration(minutes)
        return f"Start at once with what counts most: all of it is done {by} late at best."
    return "It cannot all be done in time. Start at once with what counts most."


def _isolate(alert: Alert) -> str:
    cut_off = words.one_line(alert.isolate_at or "")
    if alert.action == "isolate":
        return f"The cut-off: {cut_off}." if cut_off else "The show file names no cut-off: ask."
    if cut_off:
        return f"Isolate first at {cut_off}."
    return "Isolate first. The show file does not say where: ask whoever answers for the power."


def _who(alert: Alert, clock: SiteClock) -> str:
    parts = [words.people(alert.people)] if alert.people else []
    names = words.crew(alert.facts, clock)
    if names:
        parts = [f"{parts[0]} ({names})" if parts else names]
    minutes = words.known(alert.minutes)
    if minutes is not None:
        parts.append(words.duration(minutes))
    return f"{', '.join(parts)}." if parts else ""


def _covers(alert: Alert) -> str:
    facts = alert.facts
    taken = words.in_row([f"{n} x {words.one_line(name)}" for name, n in facts.covers])
    if taken and alert.action == "cover":
        return f"Take from the store: {taken}."
    if taken and alert.action == "uncover":
        return f"What comes off: {taken}."
    because = words.sentence(facts.not_covered_because or "")
    return f"Why not under covers: {because}" if because else ""


def _can_wait(alert: Alert, clock: SiteClock) -> str:
    waits = [
        f"{words.listed(w.fixtures)} until {clock.at(w.do_by)}"
        for w in alert.facts.can_wait
        if w.fixtures
    ]
    return words.labelled("Can wait", words.sentence("; ".join(waits)))


def _limit(alert: Alert, clock: SiteClock) -> str:
    facts = alert.facts
    limit = words.known(facts.access_limit_mps)
    where = _LIMITED.get(facts.access)
    if facts.access == "none":
        return words.labelled(
            "Limit", "Nobody works at this place. Cut its power and touch nothing."
        )
    if alert.action == "isolate":
        return words.labelled(
            "Limit", "In thunder isolate it only from indoors: nobody crosses open ground for it."
        )
    if limit is not None:
        said = (
            f"Do not start {where or 'there'} in gusts above {words.speed(limit)}, or in thunder."
        )
    else:
        said = "Do not start in thunder."
    soon = facts.access_closes_at is not None and (
        facts.access_closes_at - (alert.do_by or clock.now) < _CLOSES_SOON
    )
    if facts.access_closes_at is not None and soon:
        closes = clock.near(facts.access_closes_at)
        opens = alert.start_by is not None and facts.access_closes_at <= alert.start_by
        said += (
            f" Nobody works there from {closes} on; by the start told above it is open again, on "
            "this forecast."
            if opens
            else f" The limit is reached at {closes}: be down by then."
        )
    holds = words.known(facts.cover_gust_limit_mps)
    if alert.action == "cover" and holds is not None:
        name = words.one_line(facts.cover_name or "") or "hood"
        said += f" The {name} holds in gusts up to {words.speed(holds)}."
    return words.labelled("Limit", said)


def _if_not(alert: Alert) -> str:
    cut_off = words.one_line(alert.isolate_at or "")
    tell = f"tell who leads the crew, and answer alert {words.one_line(alert.id)} with: cannot"
    if alert.action == "isolate":
        return f"keep everybody off the gear, {tell}."
    if alert.action == "clean":
        return f"leave it as it is, {tell}."
    power = f"isolate at {cut_off}" if cut_off else "isolate it"
    return f"{power}, keep off, {tell}."


def _next_word(alert: Alert, clock: SiteClock) -> str:
    at = alert.facts.next_word_at
    said = f"by {clock.near(at)}." if at is not None else "when this changes."
    return words.labelled("Next word", said)


def _what_silence_means(alert: Alert) -> str:
    if alert.kind == "delivery":
        return "Somebody on this list may not have been told. Do not wait for an answer from them."
    trouble = called(alert)
    if trouble is not None and not trouble.about_weather:
        return ""
    return (
        "No forecast is not a dry forecast. Decide by eye and by official warnings. "
        "Alerts raised before this stay in force."
    )
