"""What a show can do with but hardly means: covers that run short, speeds in other units, and
positions that nobody can be sent to.
"""

from __future__ import annotations

import tomllib
from datetime import datetime, time
from itertools import combinations
from typing import TYPE_CHECKING

from monitor.domain import Problem
from monitor.planning.covers_in_stock import counted
from monitor.planning.on_site import on_shift
from monitor.show.findings import SHOW_FILE, dotted
from monitor.toml_places import line_of, toml_places
from monitor.units import KMH_TO_MPS, MPH_TO_MPS, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from monitor.domain import Fixture, Person, Position, Show
    from monitor.toml_places import Path

ACCESS_AT_MOST_MPS = 25.0
"""No access stays open in more (judgement: twice what EN 280 allows a platform) [m/s]."""
COVER_AT_MOST_MPS = 35.0
"""No cover over a fixture stands more (judgement: over Beaufort 12) [m/s]."""
NOBODY_HOLDS = "ticket-not-held"


def warnings(
    show: Show, files: Mapping[str, bytes] | None = None, told: Sequence[Problem] = ()
) -> tuple[Problem, ...]:
    """What needs attention though nothing of it is refused.

    Parameters
    ----------
    show : as it was read
    files : it was read from, for the line of each key
    told : by the reading; what of it needs attention is not repeated, but counts
    """
    says = _Says(files or {})
    unheld = {problem.key for problem in told if problem.code == NOBODY_HOLDS}
    return (
        *_short(show, says),
        *_unlikely(show, says),
        *_nobody_comes(show, says, unheld),
    )


def needs_attention(told: Sequence[Problem]) -> bool:
    """Whether what the reading told is more than something to know."""
    return any(problem.code == NOBODY_HOLDS for problem in told)


class _Says:
    """A warning at its line of show.toml."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        text = files.get(SHOW_FILE, b"").decode("utf-8", "replace").removeprefix("\ufeff")
        try:
            tomllib.loads(text)
            self._places: Mapping[Path, int] = toml_places(text)
        except ValueError:
            self._places = {}

    def __call__(self, path: Path, code: str, says: str, remedy: str) -> Problem:
        line = line_of(self._places, path)
        return Problem(
            code, says, remedy, file=SHOW_FILE, line=line, key=dotted(path), refused=False
        )


# ---- covers


def _short(show: Show, says: _Says) -> Iterator[Problem]:
    """Covers of which the rig wants more than there are, were all of it to be covered at once."""
    wanted = counted(show.fixtures)
    for number, cover in enumerate(show.covers.values()):
        missing = wanted.get(cover.id, 0) - cover.in_stock
        if missing <= 0:
            continue
        where = _by_position(show, [f for f in show.fixtures if f.cover == cover.id])
        yield says(
            ("covers", number, "in_stock"),
            "covers-short",
            f"{wanted[cover.id]} of cover {cover.id} are wanted and {cover.in_stock} are in stock: "
            f"{missing} missing ({where}).",
            "Get more, or name another cover for some; where they run short the position due "
            "first gets them, and the rest is brought in.",
        )


def _by_position(show: Show, fixtures: Sequence[Fixture]) -> str:
    found: dict[str, int] = {}
    for fixture in fixtures:
        found[fixture.position] = found.get(fixture.position, 0) + fixture.count
    most = sorted(found.items(), key=lambda one: -one[1])
    return ", ".join(f"{number} at {show.positions[p].name}" for p, number in most)


# ---- speeds


def _unlikely(show: Show, says: _Says) -> Iterator[Problem]:
    for number, position in enumerate(show.positions.values()):
        limit = position.access_limit_mps
        if limit is not None and limit > ACCESS_AT_MOST_MPS:
            yield says(
                ("positions", number, "access_limit_mps"),
                "unlikely-speed",
                f"access_limit_mps of position {position.id} is {limit:g} m/s: nobody works at "
                "height in that.",
                _in_other_units(limit),
            )
    for number, cover in enumerate(show.covers.values()):
        limit = cover.gust_limit_mps
        if limit is not None and limit > COVER_AT_MOST_MPS:
            yield says(
                ("covers", number, "gust_limit_mps"),
                "unlikely-speed",
                f"gust_limit_mps of cover {cover.id} is {limit:g} m/s: hardly a cover stands that.",
                _in_other_units(limit),
            )


def _in_other_units(speed: float) -> str:
    return (
        f"Were it km/h it would be {speed * KMH_TO_MPS:.1f} m/s, were it mph "
        f"{speed * MPH_TO_MPS:.1f} m/s; give it in metres per second."
    )


# ---- people


def _nobody_comes(show: Show, says: _Says, unheld: set[str | None]) -> Iterator[Problem]:
    """Positions that no moment of the day has the people for."""
    people = show.crew.people
    if not people:
        return
    hung = {fixture.position for fixture in show.fixtures}
    moments = _moments(show)
    for number, position in enumerate(show.positions.values()):
        if position.id not in hung or dotted(("positions", number, "tickets")) in unheld:
            continue
        there = [_there(people, show, at) for at in moments]
        most = max(len(found) for found in there)
        if most < position.people_needed:
            yield says(
                ("positions", number, "people_needed"),
                "never-enough-people",
                f"position {position.id} needs {position.people_needed} people, and no more than "
                f"{most} of those named are ever there together.",
                "Name more people, let their shifts meet, or say who may be called out.",
            )
        elif not any(_enough(position, found) for found in there):
            yield says(
                ("positions", number, "tickets"),
                "never-enough-people",
                f"position {position.id} needs {position.people_needed} people with "
                f"{_all_of(position.tickets)} among them, and their shifts never meet so.",
                "Let their shifts meet, or say who may be called out.",
            )


def _moments(show: Show) -> list[float]:
    """Every quarter of an hour of the first day: shifts begin and end on the site's clock."""
    day = show.event.load_in_at.astimezone(show.site.timezone).date()
    start = datetime.combine(day, time.min, show.site.timezone).timestamp()
    return [start + quarter * SECONDS_PER_HOUR / 4 for quarter in range(24 * 4)]


def _there(people: Sequence[Person], show: Show, at_s: float) -> list[Person]:
    """On shift, or to be called."""
    zone = show.site.timezone
    return [p for p in people if p.call_out_minutes is not None or on_shift(p, zone, at_s)]


def _enough(position: Position, people: Sequence[Person]) -> bool:
    """Whether a working party can be made of them: all its tickets held, and not too many."""
    if len(people) < position.people_needed:
        return False
    asked = set(position.tickets)
    holders = [set(person.tickets) & asked for person in people if asked & set(person.tickets)]
    most = min(position.people_needed, len(asked))
    return not asked or any(
        set().union(*some) >= asked
        for number in range(1, most + 1)
        for some in combinations(holders, number)
    )


def _all_of(tickets: Sequence[str]) -> str:
    return " and ".join(f"the ticket {ticket}" for ticket in tickets)
