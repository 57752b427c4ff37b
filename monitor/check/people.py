"""What is hardly meant of the people named: positions nobody can be sent to, tickets nobody asks
for, hours with nobody there, and whoever cannot be reached.
"""

from __future__ import annotations

from datetime import datetime, time
from difflib import get_close_matches
from itertools import combinations
from typing import TYPE_CHECKING

from monitor.alerts.watch import tells_nobody
from monitor.planning.on_site import on_shift
from monitor.show.findings import dotted
from monitor.units import SECONDS_PER_HOUR, to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from monitor.check.at_line import AtLine
    from monitor.domain import Person, Position, Problem, Show

_STEP_S = SECONDS_PER_HOUR / 4
_DAY_STEPS = 24 * 4
_LIKE = 0.72
"""How alike two tickets are that most likely mean the same, as for misspelt keys"""


def nobody_comes(show: Show, says: AtLine, unheld: set[str | None]) -> Iterator[Problem]:
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


# ---- tickets


def unasked_tickets(show: Show, says: AtLine) -> Iterator[Problem]:
    """Tickets that are held, asked for nowhere, and spelt almost like one that is.

    Others are left alone: people hold more than a show asks for.
    """
    asked = {ticket for position in show.positions.values() for ticket in position.tickets}
    for number, person in enumerate(show.crew.people):
        for ticket in person.tickets:
            if ticket in asked:
                continue
            folded = {other.casefold(): other for other in sorted(asked)}
            like = get_close_matches(ticket.casefold(), list(folded), 1, _LIKE)
            if like:
                yield says(
                    ("people", number, "tickets"),
                    "ticket-not-asked",
                    f"{person.name} holds the ticket {ticket}, which no position asks for.",
                    f"Did you mean {folded[like[0]]}?",
                )


# ---- hours


def nobody_there(show: Show, says: AtLine) -> Iterator[Problem]:
    """Hours of the first day out in which nobody is on shift, nor to be called."""
    people = show.crew.people
    if not people:
        return
    zone, event = show.site.timezone, show.event
    first_s = to_epoch(event.load_in_at)
    last_s = first_s + _DAY_STEPS * _STEP_S
    if event.load_out_at is not None:
        last_s = min(last_s, to_epoch(event.load_out_at))
    moments = [first_s + n * _STEP_S for n in range(_DAY_STEPS) if first_s + n * _STEP_S < last_s]
    alone = [at for at in moments if not _there(people, show, at)]
    spans: list[tuple[float, float]] = []
    for at in alone:
        if spans and spans[-1][1] == at:
            spans[-1] = (spans[-1][0], at + _STEP_S)
        else:
            spans.append((at, at + _STEP_S))
    if not spans:
        return
    said = ", ".join(
        " to ".join(to_moment(s).astimezone(zone).strftime("%H:%M") for s in (a, min(b, last_s)))
        for a, b in spans
    )
    yield says(
        ("people",),
        "nobody-on-site",
        f"gear is out and nobody is on shift or to be called from {said}: an order then "
        "reaches nobody who could do it.",
        "Let shifts meet, or give somebody call_out_minutes.",
    )


# ---- who is reached


def out_of_reach(show: Show, says: AtLine) -> Iterator[Problem]:
    """People to be called whom no contact reaches, and contacts of which none comes first."""
    if tells_nobody(show.contacts):
        return
    for number, person in enumerate(show.crew.people):
        if person.call_out_minutes is not None and person.contact is None:
            yield says(
                ("people", number, "call_out_minutes"),
                "nothing-reaches-them",
                f"{person.name} can be called off shift, and no contact reaches them.",
                "Give contact, the name of one of the [[contacts]].",
            )
    first = min(contact.turn for contact in show.contacts)
    if first > 1:
        number = next(n for n, c in enumerate(show.contacts) if c.turn == first)
        yield says(
            ("contacts", number, "turn"),
            "no-first-turn",
            f"no contact has turn 1: those of turn {first} are told first.",
            "Give turn = 1 to whoever is to be told at once.",
        )
