"""What people on site declare open again after weather: work at height, and power.

The monitor says that the rain is over and never more. It keeps who declared the rest, answers
with what still speaks against it, and says which declarations something has ended since.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from monitor.alerts.clock import SiteClock
from monitor.alerts.words import listed, one_line
from monitor.domain import BadInputError, Declared, Problem
from monitor.planning.under_power import in_part, power_words
from monitor.service.after_rain import rain_spells
from monitor.service.crew_word import is_known
from monitor.service.possible import hanging
from monitor.service.speaks_against import MOST_NAMED, against, place_name, touches
from monitor.show.clock import CLOCKS_DIFFER, ClockError, lately
from monitor.show.nearest import suggestion
from monitor.store.database import immediate
from monitor.store.declared import declared, record_declared, stops_since
from monitor.store.history import log_entries
from monitor.units import to_moment

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Show
    from monitor.store.declared import Stopped

Opened = Literal["height", "power"]
SAYS: dict[Opened, str] = {"height": "work at height", "power": "power"}

_KEPT = "It is kept as said. The monitor opens nothing: whoever declared it answers for it."


@dataclass(frozen=True, slots=True)
class DeclaredSaid:
    """A declaration as typed or posted; None: not given."""

    what: Opened
    by: str | None = None
    position: str | None = None
    at: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class KeptDeclared:
    """What came of it: that it was known already, or what was kept, and what speaks against."""

    is_new: bool
    declared: Declared | None = None
    notes: tuple[str, ...] = ()
    is_contested: bool = False
    """Something that is known here speaks against it"""


@dataclass(frozen=True, slots=True)
class Stands:
    """A declaration, and what has ended it since, or stood against it then."""

    declared: Declared
    ended_at: datetime | None = None
    """When that began; not after the declaration: it was made while that stood"""
    ended_by: Literal["stop", "rain"] | None = None

    @property
    def stands(self) -> bool:
        """Nothing has ended it."""
        return self.ended_at is None


def keep_declared(
    db: Database,
    said: DeclaredSaid,
    show: Show,
    now: datetime,
    spelt: Callable[[str], str],
    word_id: str | None = None,
    sender: str | None = None,
    sent: object = None,
) -> KeptDeclared:
    """Keep a declaration, whatever stands against it; the notes say what does.

    `sender` is who declared where it names nobody. `sent` is the word as it came, where what
    was said was made of it with what changes, such as the moment of receipt.

    Raises
    ------
    BadInputError : with every fault in it, or because its id stands for another word
    """
    with immediate(db):
        if is_known(db, word_id, sender, "declared", said if sent is None else sent):
            return KeptDeclared(is_new=False)
        made = declared_of(replace(said, by=said.by or sender), show, now, spelt)
        contested = tuple(against(db, made, show, now))
        notes = (*contested, *beside(db, made, show, now), _KEPT)
        record_declared(db, made, word_id or uuid.uuid4().hex, now)
    return KeptDeclared(is_new=True, declared=made, notes=notes, is_contested=bool(contested))


def declared_of(
    said: DeclaredSaid, show: Show, now: datetime, spelt: Callable[[str], str]
) -> Declared:
    """The declaration that `said` stands for; BadInputError with every fault in it."""
    problems: list[Problem] = []
    by = one_line(said.by or "")
    if not by:
        remedy = f"Give {spelt('by')} NAME: a declaration is somebody's."
        problems.append(Problem("missing-value", "Nobody declares it.", remedy, key=spelt("by")))
    if said.position is not None and said.position not in show.positions:
        says = f"position {said.position[:40]} is not in the show."
        remedy = suggestion(said.position, show.positions)
        problems.append(Problem("unknown-position", says, remedy, key=spelt("position")))
    at = now
    if said.at is not None:
        try:
            at = lately(said.at, show.site.timezone, now)
        except ClockError as fault:
            problems.append(Problem(fault.code, fault.says, fault.remedy, key=spelt("at")))
        if at > now + CLOCKS_DIFFER:
            says = "That time is still to come."
            remedy = "Declare it when it is so."
            problems.append(Problem("still-to-come", says, remedy, key=spelt("at")))
    if problems:
        raise BadInputError(problems)
    return Declared(at, said.what, by, said.position, said.note)


# ---------------------------------------------------------------- what there is to say beside it


def beside(db: Database, made: Declared, show: Show, now: datetime) -> Iterator[str]:
    """What there is to say beside that: what it does not reach, and who declares it."""
    if made.what == "power":
        cut = _isolated(db, made, show, now)
        if cut:
            yield (f"Logged as isolated, and so until logged energised: {listed(cut, MOST_NAMED)}.")
    people = [one_line(person.name) for person in show.crew.people]
    if people and made.by.casefold() not in {name.casefold() for name in people}:
        yield f"{made.by} is not among the people of the show folder."


def _isolated(db: Database, made: Declared, show: Show, now: datetime) -> tuple[str, ...]:
    """Places and fixtures that the log leaves isolated, in crew words."""
    log = [entry for entry in log_entries(db) if entry.at <= now]
    where = {name: at.position for name, at in hanging(show, log, now).items()}
    names = []
    for fixture, entry in power_words(log, where).items():
        place = where.get(fixture)
        if entry.entry != "isolated" or place is None or made.position not in (None, place):
            continue
        name = entry.fixture if entry.fixture is not None else place_name(show, place)
        part = f" ({entry.count[0]} of {entry.count[1]})" if in_part(entry) and entry.count else ""
        names.append(f"{name}{part}")
    return tuple(dict.fromkeys(names))


# ---------------------------------------------------------------- which still stand


def declarations(db: Database) -> tuple[Stands, ...]:
    """Every declaration with what ended it, by the time it was made for.

    A stop that begins later ends it where it touches, and rain that begins later ends it
    everywhere: what was looked at then has to be looked at again. What was declared while a
    stop stood or the rain went on does not come into force when those end.
    """
    made = declared(db)
    if not made:
        return ()
    stops = stops_since(db, made[0].at)
    rain = [
        (to_moment(spell.from_s), None if spell.over_s is None else to_moment(spell.over_s))
        for spell in rain_spells(db)
    ]
    return tuple(_stands(one, stops, rain) for one in made)


def _stands(
    made: Declared,
    stops: tuple[Stopped, ...],
    rain: list[tuple[datetime, datetime | None]],
) -> Stands:
    touching = [(s.begun_at, s.lifted_at) for s in stops if touches(s.position, made)]
    stop = next((a for a, b in touching if a > made.at or b is None or b > made.at), None)
    shower = next((a for a, b in rain if a > made.at or b is None or b > made.at), None)
    stands = any(b is None for _, b in touching)
    if stop is not None and (stands or shower is None or stop <= shower):
        # A stop that still stands is the graver word, whichever came first.
        return Stands(made, stop, "stop")
    if shower is not None:
        return Stands(made, shower, "rain")
    return Stands(made)


def in_words(one: Stands, show: Show, now: datetime) -> str:
    """A declaration in a sentence: "power, the whole site: declared 18:10 by Odile"."""
    clock, made = SiteClock(show.site.timezone, now), one.declared
    where = "the whole site" if made.position is None else place_name(show, made.position)
    said = f"{SAYS[made.what]}, {where}: declared {clock.at(made.at)} by {made.by}"
    if one.ended_at is None:
        return said
    if one.ended_at <= made.at:
        return f"{said}, in the {one.ended_by} of {clock.at(one.ended_at)}: not open by that"
    return f"{said}, before the {one.ended_by} of {clock.at(one.ended_at)}"
