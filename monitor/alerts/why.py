"""Why a message asks what it asks: the rain, the wind, what acting is worth, which forecast.

Each function answers one question and returns an empty string where nothing is known.
"""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.alerts import words
from monitor.alerts.clock import age

if TYPE_CHECKING:
    from monitor.alerts.clock import SiteClock
    from monitor.domain import Alert, Facts, FeedSays

_OF_ONE_MIND = timedelta(minutes=20)
"""Deadlines of several feeds no further apart than this are one to the crew (judgement)."""
_OF_ONE_RAIN = timedelta(hours=1)
"""And of rain: feeds tell it by the hour."""
_TOLD = re.compile(r"^(?P<feed>.*), (?P<how>issued|read) (?P<at>[^,]*)$")
"""A feed as several are named: each with its own time."""
_SAYS_RAIN = re.compile(r"\bmm (?:of rain|instead)\b")
_SAYS_USED = re.compile(r"\ballowance is used\b|% used already\b")


def why(alert: Alert, clock: SiteClock) -> str:
    """What comes, or what fell, and the reason; nothing is said twice."""
    facts, reason = alert.facts, words.sentence(alert.reason)
    parts = [_rain(facts, clock, told=bool(_SAYS_RAIN.search(reason)))]
    parts += _wind(facts, clock)
    if facts.gap:
        parts.append(f"It comes in: {words.one_line(facts.gap)}.")
    driven = words.known(facts.driven_mm)
    if driven is not None:
        parts.append(f"On the worst face of the worst fixture: {words.depth(driven)} of water.")
    used = words.known(facts.used)
    if used is not None and used >= 0.005 and not _SAYS_USED.search(reason):
        parts.append(f"Share of its allowance used: {max(used, 0.1):.1f}.")
    if facts.weakest:
        parts.append(f"Weakest: {words.one_line(facts.weakest)}.")
    said = [p for p in parts if p]
    first = [reason] if reason else []
    # What was lost is told by what happened; what is to be done, by what comes.
    ordered = [*first, *said] if _SAYS_RAIN.search(reason) else [*said, *first]
    return words.labelled("Why", " ".join(ordered))


def _rain(facts: Facts, clock: SiteClock, *, told: bool) -> str:
    by_feed = rain_by_feed(facts, clock)
    if by_feed:
        return by_feed
    rain = words.known(facts.rain_mm)
    span = ""
    if facts.wet_from is not None and facts.wet_to is not None:
        span = f" from {clock.span(facts.wet_from, facts.wet_to)}"
    elif facts.wet_from is not None:
        span = f" from {clock.at(facts.wet_from)}"
    if rain is not None and not told:
        return f"{words.depth(rain)} of rain{span}."
    return f"Wet{span}." if span else ""


def _wind(facts: Facts, clock: SiteClock) -> list[str]:
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


def worth(alert: Alert) -> str:
    """What acting costs against what it saves."""
    found = alert.facts.worth
    if found is None:
        return ""
    saved = found.at_stake * found.chance
    pays = "worth it" if found.cost <= saved + 1e-9 else "not worth it by that alone"
    if alert.members < words.FEW_MEMBERS:
        # So few forecasts give no chance that could be told.
        said = f"acting costs {found.cost:.0f}, at stake {found.at_stake:.0f}: {pays}."
        return words.labelled("Worth", words.sentence(said))
    said = (
        f"acting costs {found.cost:.0f}, at stake {found.at_stake:.0f} x "
        f"{found.chance * 100:.0f} % = {saved:.0f}: {pays}."
    )
    return words.labelled("Worth", words.sentence(said))


def forecast(alert: Alert, clock: SiteClock) -> str:
    """Which forecast it rests on, how old it is, and how many say so."""
    facts = alert.facts
    if not facts.sources and facts.issued_at is None:
        return ""
    is_past = alert.action in ("inspect", "clean") or facts.spent_live or alert.kind == "stop"
    share = (
        words.sentence(facts.rain_now or "")
        if alert.stage == "stood-down" or is_past or facts.rain_now
        else words.chance(alert.members, alert.probability, facts.says_so)
    )
    stations = ", ".join(words.one_line(s) for s in facts.gauges)
    measured = f"The past measured on site by {stations}, where it was." if stations else ""
    said = f"{_sources(facts, clock)}. {share}".strip()
    return words.labelled("Forecast", f"{said} {measured}".strip())


def _sources(facts: Facts, clock: SiteClock) -> str:
    """`A, issued 20:50, 70 min old`; several by the time they were issued or read at."""
    names = [words.one_line(s) for s in facts.sources]
    old = None if facts.issued_at is None else age(facts.issued_at, clock.now)
    if len(names) < 2:
        name = names[0] if names else "source not named"
        if facts.issued_at is None:
            told = _TOLD.match(name)
            given = told is not None and told["how"] == "issued"
            return name if given else f"{name}, issue time not given"
        return f"{name}, issued {clock.at(facts.issued_at)}, {old}"
    by_time: dict[str, list[str]] = {}
    for name in names:
        told = _TOLD.match(name)
        when = "" if told is None else f"{told['how']} {told['at']}"
        by_time.setdefault(when, []).append(name if told is None else told["feed"])
    said = [
        f"{words.in_row(feeds)} {when}".rstrip() if when else words.in_row(feeds)
        for when, feeds in by_time.items()
    ]
    if facts.issued_at is None:
        return "; ".join(said)
    if "" in by_time and len(by_time) == 1:
        return f"{said[0]}, the oldest issued {clock.at(facts.issued_at)}, {old}"
    return f"{'; '.join(said)} (the oldest {old})"


def rain_by_feed(facts: Facts, clock: SiteClock) -> str:
    """The rain of each feed, where they have it at other times; of one mind, nothing.

    The mean of one that has it at two and one that has it at four is a shower that none has.
    """
    told = [feed for feed in facts.by_feed if feed.rain_mm is not None]
    spans = [
        (feed.wet_from, feed.wet_to)
        for feed in told
        if feed.wet_from is not None and feed.wet_to is not None
    ]
    if len(told) < 2 or not spans:
        return ""
    apart = max(
        max(start for start, _ in spans) - min(start for start, _ in spans),
        max(end for _, end in spans) - min(end for _, end in spans),
    )
    if len(spans) == len(told) and apart <= _OF_ONE_RAIN:
        return ""
    return words.sentence(f"Rain by feed: {'; '.join(_rain_of(feed, clock) for feed in told)}")


def _rain_of(feed: FeedSays, clock: SiteClock) -> str:
    name = words.one_line(feed.feed)
    if feed.wet_from is None or feed.wet_to is None or feed.rain_mm is None:
        return f"{name} none"
    return f"{name} {words.depth(feed.rain_mm)} from {clock.span(feed.wet_from, feed.wet_to)}"


def feeds_differ(facts: Facts, clock: SiteClock) -> str:
    """What each feed says, where they are not of one mind."""
    told = facts.by_feed
    due = [feed.do_by for feed in told if feed.do_by is not None]
    apart = bool(due) and max(due) - min(due) > _OF_ONE_MIND
    if len(told) < 2 or not (apart or len(due) < len(told)):
        return ""
    return words.labelled("Feeds differ", f"{', '.join(_feed(f, clock) for f in told)}.")


def _feed(feed: FeedSays, clock: SiteClock) -> str:
    name = words.one_line(feed.feed)
    if feed.do_by is not None:
        return f"{name} says {clock.at(feed.do_by)}"
    if feed.to is not None:
        return f"{name} sees no need until {clock.at(feed.to)}"
    return f"{name} does not say"
