"""Whole plans of random rigs, and every way to work them: an independent yardstick for plan().

Rain of 6 mm/h straight down spends whole millimetres on ten minutes, so that every deadline,
shift, closing and call-out falls on a grid of ten minutes. What there is to do is made here from
the rig and the weather that were drawn, by hand rules of its own: nothing is read from a plan.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from exposure.rigs import SITE, fixture, hours, position, show

from monitor.domain import Crew, Event, Hours, Person

SLOT, SLOTS = 600.0, 36
"""Ten minutes; six hours."""
NIGHTS = (
    # London: noon in summer, before midnight, and the nights on which the clock is changed
    datetime(2027, 7, 1, 12, tzinfo=UTC),
    datetime(2027, 7, 1, 21, tzinfo=UTC),
    datetime(2027, 3, 27, 23, tzinfo=UTC),
    datetime(2027, 10, 30, 22, tzinfo=UTC),
)
LONDON = ZoneInfo("Europe/London")
ACCESS = {"ground": None, "ladder": 10.0, "platform": 12.5, "none": None}


def drawn(rng):
    """A rig, its weather, and when it begins."""
    begins = NIGHTS[int(rng.integers(len(NIGHTS)))]
    names = list(ACCESS)
    places = []
    for n in range(int(rng.integers(1, 5))):
        access = names[int(rng.choice(4, p=[0.3, 0.3, 0.25, 0.15]))]
        places.append(
            position(
                f"p{n}",
                access=access,
                access_limit_mps=ACCESS[access],
                setup_minutes=10.0 * int(rng.integers(access == "none", 2)),
                cover_minutes_each=10.0,
                bring_in_minutes_each=10.0,
                people_needed=1 if rng.random() < 0.65 else 2,
                tickets=("platform",) if rng.random() < 0.25 else (),
            )
        )
    rows = [
        fixture(
            "IP20",
            f"f{n}",
            position=place.id,
            count=int(rng.integers(1, 4)),
            stated_mm=float(rng.integers(1, 13)),
            value=float(rng.integers(1, 9)),
        )
        for n, place in enumerate(places)
    ]
    dry, steps = int(rng.integers(0, 4)), 7
    rain = np.where(np.arange(steps) < dry, 0.0, 6.0)
    gust = np.where(rng.random(steps) < 0.3, rng.choice([11.0, 14.0], steps), 3.0)
    weather = hours(rain, 0.0, gust=gust, start=begins)
    thunder = (rng.random((1, steps)) < 0.1).astype(float)
    described = show(rows, positions=places, site=replace(SITE, timezone=LONDON))
    described = replace(described, event=Event(begins), crew=_crew(rng, begins))
    return described, replace(weather, thunder=thunder), begins


def _crew(rng, begins):
    if rng.random() < 0.2:
        return Crew(parties=int(rng.integers(1, 3)))
    local = begins.astimezone(LONDON)
    people = []
    for n in range(int(rng.integers(1, 4))):
        edge = (local.hour * 60 + 10 * int(rng.integers(2, 20))) % 1440
        change = time(edge // 60, edge % 60)
        far = time((local.hour + 12) % 24)
        shifts = ((), (Hours(far, change),), (Hours(change, far),))[int(rng.integers(3))]
        call = 10.0 * int(rng.integers(1, 6)) if rng.random() < 0.4 else None
        tickets = ("platform",) if rng.random() < 0.5 else ()
        people.append(Person(f"hand {n}", tickets, shifts, call))
    return Crew(people=tuple(people))


class Work:
    """What there is to do at one place, on the grid."""

    def __init__(self, described, weather, begins, place):
        (row,) = (f for f in described.fixtures if f.position == place.id)
        zero = begins.timestamp()
        self.place, self.value = place.id, row.value * row.count
        self.isolate = place.access == "none"
        each = 0 if self.isolate else row.count
        self.slots = round(place.setup_minutes / 10) + each
        self.first = round(place.setup_minutes / 10) + (0 if self.isolate else 1)
        self.people, self.alone_ok = place.people_needed, place.access in ("ground", "none")
        self.tickets = frozenset(() if self.isolate else place.tickets)
        first_wet = int(np.flatnonzero(weather.rain_mm[0])[0])
        # 6 mm/h: a millimetre in ten minutes
        self.due = first_wet * 6 + round(row.stated_mm)
        shut = np.zeros(SLOTS + 60, dtype=bool)
        for n in range(len(weather.starts)):
            at = round((weather.starts[n] - zero) / SLOT)
            if weather.thunder[0, n]:
                shut[at : at + 6 + 3] = True
            if (
                place.access_limit_mps is not None
                and weather.gust_mps[0, n] > place.access_limit_mps
            ):
                shut[at : at + 6] = True
        self.shut = shut


def there(crew, begins):
    """By person: in which slots they can be on site, and in which without being called."""
    can, shift = {}, {}
    for person in crew.people:
        on = []
        for n in range(SLOTS):
            # Whole local minutes of a slot's beginning, by the clock on the wall
            local = (begins + timedelta(seconds=n * SLOT)).astimezone(LONDON)
            on.append(not person.shifts or any(_within(local, h, person) for h in person.shifts))
        call = person.call_out_minutes
        comes = None if call is None else 0 if on[0] else round(call / 10)
        shift[person.name] = on
        can[person.name] = [o or (comes is not None and n >= comes) for n, o in enumerate(on)]
    return can, shift


def _within(local, hours_, _person):
    """Whether a moment lies in a shift of the day or the day before, first of double hours."""
    for day in (local.date() - timedelta(days=1), local.date()):
        start = datetime.combine(day, hours_.start, tzinfo=LONDON).timestamp()
        last = day if hours_.end > hours_.start else day + timedelta(days=1)
        end = datetime.combine(last, hours_.end, tzinfo=LONDON).timestamp()
        if start <= local.timestamp() < end:
            return True
    return False


def parties(work, crew, can, slot):
    """Sets of people that may hold it in a slot."""
    if not crew.people:
        return [(n,) for n in range(crew.parties)]
    here = [p for p in crew.people if can[p.name][slot]]
    if len(here) == 1 and not work.alone_ok:
        return []
    return [
        tuple(p.name for p in who)
        for who in itertools.combinations(here, work.people)
        if work.tickets <= {t for p in who for t in p.tickets}
    ]


def ways(work, crew, can, until):
    """Every (start, end, pairs of hand and slot) that is done by a slot."""
    able = [parties(work, crew, can, slot) for slot in range(until)]
    crowd = [tuple(can[p.name][slot] for p in crew.people) for slot in range(until)]
    open_ = [bool(able[slot]) and not work.shut[slot] for slot in range(until)]
    all_open = [
        not work.shut[s] and (s >= SLOTS or bool(parties(work, crew, can, s))) for s in range(SLOTS)
    ]
    found = []
    for start in range(until):
        if not all(all_open[start : start + work.first]) or not open_[start]:
            continue
        need, slot = work.slots, start
        while slot < until and need:
            need -= open_[slot]
            slot += 1
        if need:
            continue
        stretches = []
        for s in range(start, slot):
            if not able[s]:
                continue
            if stretches and stretches[-1][-1] == s - 1 and crowd[s] == crowd[s - 1]:
                stretches[-1].append(s)
            else:
                stretches.append([s])
        for chosen in itertools.product(*(able[s[0]] for s in stretches)):
            held = frozenset(
                (hand, s)
                for who, of in zip(chosen, stretches, strict=True)
                for hand in who
                for s in of
            )
            found.append((start, slot, held))
    return sorted(found, key=lambda way: -way[0])


def latest_starts(works, crew, can):
    """The best sorted starts with every deadline kept, or None: gone through one by one."""
    options = [ways(work, crew, can, work.due) for work in works]
    best = None

    def on(n, held, starts):
        nonlocal best
        if n == len(works):
            merit = sorted(starts)
            best = merit if best is None or merit > best else best
            return
        rest = [options[m][0][0] for m in range(n + 1, len(works))]
        for start, _, mine in options[n]:
            if best is not None and sorted((*starts, start, *rest)) <= best:
                return
            if not mine & held:
                on(n + 1, held | mine, (*starts, start))

    if all(options):
        on(0, frozenset(), ())
    return best
