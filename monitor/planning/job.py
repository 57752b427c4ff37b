"""What wants hands: one job, and the plan of them all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from monitor.domain import Action, Facts
from monitor.planning.covers_at_once import AtOnce
from monitor.planning.dark import Feeding
from monitor.planning.workable import Span


@dataclass(frozen=True, slots=True)
class Job:
    """One action at one position. Times in seconds; None where there is no deadline."""

    position: str
    family: Literal["protect", "covered", "uncover", "inspect", "clean"]
    """`covered`: what leaks or blows off although it is covered; `uncover`: a cover that has to
    come off by `do_by_s`
    """
    action: Action
    fixtures: tuple[str, ...]
    count: int
    people: int
    minutes: float | None
    start_by_s: float | None
    do_by_s: float | None
    members: int
    probability: float | None
    reason: str
    late: bool = False
    blocked: Span | None = None
    """What blocks the position now."""
    value: float = 0.0
    """Of what is at stake, in the unit of the fixtures' value"""
    ends_s: float | None = None
    """When it is done at the latest start that the crew's plan leaves it"""
    late_by_s: float = 0.0
    """How long after its do-by it is done at best; infinite: never by these people"""
    call_by_s: float | None = None
    """When whoever is off shift then has to be called at the latest; None: nobody has to"""
    under_way: bool = False
    """Somebody has answered that they are doing it"""
    cannot: Span | None = None
    """Somebody has answered that it cannot be done, and until when"""
    not_needed: bool = False
    """Somebody has answered that it is not needed: no hands are planned for it"""
    missing: str | None = None
    """Why those who are there never begin it before it is due: "nobody here holds a climb
    ticket", "2 of 3 people it takes"; nothing is asked of them there but to cut its power
    """
    cut_by_s: float | None = None
    """By when its power is cut where nothing else is left to do: before thunder or an official
    warning stops all work outdoors
    """
    lost_by_s: float | None = None
    """When the first of them are spent, which nobody can save any more: `do_by_s` is of the rest.
    Their power is to be cut before that
    """
    no_time: Span | None = None
    """What closes the position before set-up and one fixture can be done: nobody begins now"""
    facts: Facts = field(default_factory=Facts)


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that wants hands, as seen now."""

    jobs: tuple[Job, ...]
    thunder: Span | None
    """Thunder that blocks all work outdoors now."""
    blocked: Mapping[str, Span]
    """Positions where nobody may work now, and why."""
    changes_s: tuple[float, ...]
    """Moments ahead at which something in the plan turns, rising."""
    blind: bool
    """The weather ahead is missing, or has gaps or unknown steps within the notice: nothing
    may be stood down on it.
    """
    known_until_s: float
    """The weather ahead is known without a break until here."""
    wind_known: bool
    """The gust of this moment is known: without it no wind can be said to have dropped."""
    thunder_known: bool
    """Whether thunder comes is known for all of the notice."""
    protected: Mapping[str, bool]
    """Of every fixture that was asked about: covered or brought in."""
    brought_in: Mapping[str, bool]
    """The same: not out in the weather."""
    spent: Mapping[str, bool]
    """The same: its allowance is spent and no inspection has found it dry since."""
    rain_ahead: Mapping[str, bool]
    """By position: rain reaches something there within the notice."""
    used: Mapping[str, float] = field(default_factory=dict)
    """Of every fixture that was asked about: the share of its allowance used until now."""
    soaking: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """By position: fixtures out there whose allowance is spent and that water reaches before a
    start called now would be due.
    """
    heard_until_s: Mapping[str, float] = field(default_factory=dict)
    """By feed: what it says of the rain is known without a break until here."""
    thunder_heard: tuple[str, ...] = ()
    """Feeds that say of this moment whether it has thunder."""
    covers_short: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    """By cover that is short: how many are wanted at once, and how many are left in stock."""
    covers_at_once: Mapping[str, AtOnce] = field(default_factory=dict)
    """By cover that rain asks for: how many are needed at one moment, and who gets none."""
    cover_notices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """By position: what to know of the covers that are on, where it orders nothing."""
    feeding: Feeding = field(default_factory=Feeding)
    """What is dark without which part, of what is out."""
