"""What must be covered, brought in or isolated for rain, by when, and in how many minutes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from monitor.domain import Action, Bools, Fixture, Position
from monitor.exposure.results import Exposure
from monitor.exposure.rig import Rig
from monitor.planning.by_feed import feed_says
from monitor.planning.chance import Reach, at_risk, chance, do_by_s, shown_probability
from monitor.planning.covers_in_stock import Allotment, CoversInStock
from monitor.planning.dark import Feeding
from monitor.planning.facts import plain_facts, weather_facts
from monitor.planning.job import Job
from monitor.planning.job_cautions import (
    bare_for_the_show,
    cover_cautions,
    open_tails,
)
from monitor.planning.job_reasons import can_wait, why
from monitor.planning.present import Present
from monitor.planning.puddles import NO_COVER_HELPS, StandingWater
from monitor.planning.spells import gust_at_risk, wet_spells
from monitor.planning.washed import WashedThen
from monitor.planning.workable import Span, gust_at_position, latest_start_s, workable_s
from monitor.planning.worth import NOT_WORTH, job_minutes, paying, worth
from monitor.units import SECONDS_PER_MINUTE, to_moment


class Needs:
    """Rain jobs of one plan. Covers promised to one job are not promised to the next."""

    def __init__(
        self,
        rig: Rig,
        ahead: Exposure,
        present: Present,
        rows: dict[int, list[Fixture]],
        now_s: float,
        no_cover: Collection[str] = (),
        beside: Mapping[tuple[str, str], int] | None = None,
    ) -> None:
        """`no_cover`: positions where the crew has said that there is no cover. `beside`: by
        position and cover, how many are on a part of a row that counts as uncovered.
        """
        self._rig, self._ahead, self._present = rig, ahead, present
        self._rows, self._now_s, self._no_cover = rows, now_s, no_cover
        steps = ahead.steps
        self._known = ~steps.unknown
        self._reach = Reach.of(
            steps.weather.starts, steps.weather.ends, self._known, steps.weather.feed_of
        )
        self._share: dict[str, float] = {}
        """By position: of members at which work there is due"""
        self._deadlines: dict[tuple[int, float], float] = {}
        """By group and share: asked for when it is looked for, and again for its job"""
        self.feeding = Feeding.of(
            rig.show, {f.id: present.where[g] for g in present.out for f in rows.get(g, ())}
        )
        """What is dark without which part, of what is out"""
        on = [f for g in present.covered for f in rows.get(g, ())]
        self.stock = CoversInStock(rig.show, on, self._off_their_rows(beside or {}))

    def _off_their_rows(self, beside: Mapping[tuple[str, str], int]) -> dict[tuple[str, str], int]:
        """Covers that are at a position without counting as on: blown off, or on part of a row."""
        found = dict(beside)
        for g in self._present.blown:
            for fixture in self._rows.get(g, ()):
                if fixture.cover is not None:
                    key = (self._present.where[g], fixture.cover)
                    found[key] = found.get(key, 0) + fixture.count
        return found

    def in_turn(
        self, due: Mapping[str, Mapping[int, float]], under_way: Collection[str] = ()
    ) -> list[str]:
        """Positions in the order in which they are given covers.

        Where somebody is at it already; then what is due first, to the minute; then where more
        is at stake.
        """

        def rank(position_id: str) -> tuple[bool, float, float, str]:
            bare = {g: t for g, t in due[position_id].items() if g not in self._present.covered}
            first = float(np.floor(min(bare.values(), default=np.inf) / SECONDS_PER_MINUTE))
            value = sum(f.value * f.count for g in bare for f in self._rows[g])
            return position_id not in under_way, first, -value, position_id

        return sorted(due, key=rank)

    def due(self, groups: Iterable[int], position: Position) -> dict[int, float]:
        """When each group that needs hands for rain must be done with (seconds)."""
        mine = [
            g
            for g in groups
            if g in self._present.rain_alerts and self._present.used[g] < 1.0 and g in self._rows
        ]
        rows = {g: self._rows[g] for g in mine}
        bags = all(f.cover is not None for fixtures in rows.values() for f in fixtures)
        share, due = self._paying(position, "cover" if bags else "bring-in", rows)
        self._share[position.id] = share
        if due:
            return due
        # What does not pay is told all the same, where so many members spend it.
        due = {g: self._deadline_s(g, share) for g in mine}
        return {g: at for g, at in due.items() if not np.isnan(at)}

    def _deadline_s(self, group: int, share: float) -> float:
        key = group, share
        if key not in self._deadlines:
            crossings = self._ahead.next_spent_s[:, group]
            weights = self._ahead.steps.weather.weights
            self._deadlines[key] = do_by_s(crossings, weights, share, self._reach)
        return self._deadlines[key]

    def _paying(
        self, position: Position, action: Action, rows: dict[int, list[Fixture]]
    ) -> tuple[float, dict[int, float]]:
        return paying(self._rig.show, position, action, rows, self._deadline_s)

    def jobs(
        self,
        position: Position,
        groups: Sequence[int],
        due: dict[int, float],
        closed: Sequence[Span],
    ) -> list[Job]:
        """Cover, bring in or isolate for the first wet spell.

        At most one job for what is bare and one for what leaks although it is covered.
        """
        not_worth: list[Job] = []
        while due:
            spell = self._first_spell(due, self._share[position.id])
            last_s = float(self._ahead.steps.weather.ends[spell[1]])
            here = {g: at for g, at in due.items() if at <= last_s + 1.0}
            jobs = self._of_spell(position, here, closed, spell)
            if any(job.start_by_s is not None for job in jobs):
                return jobs
            not_worth = not_worth or jobs
            due = {g: at for g, at in due.items() if g not in here}
        return not_worth or self._half_used(position, groups)

    def _of_spell(
        self,
        position: Position,
        due: dict[int, float],
        closed: Sequence[Span],
        spell: tuple[int, int],
    ) -> list[Job]:
        bare = {g: at for g, at in due.items() if g not in self._present.covered}
        leaking = {g: at for g, at in due.items() if g in self._present.covered}
        jobs = []
        if bare:
            fixtures = [f for g in bare for f in self._rows[g]]
            action, given = self._action(position, fixtures, spell[1] + 1)
            if action == "cover" and self._standing(position, bare, spell).from_s is not None:
                action, given = "bring-in", Allotment(not_covered_because=NO_COVER_HELPS)
            job = self._job(position, action, bare, closed, spell, given)
            if job.start_by_s is not None:
                job = self._with_covers(job, given, self._while_s(bare))
            jobs.append(job)
        if leaking:
            action = "isolate" if position.access == "none" else "bring-in"
            job = self._job(position, action, leaking, closed, spell, Allotment())
            jobs.append(replace(job, family="covered"))
        return jobs

    def _first_spell(self, due: dict[int, float], share: float) -> tuple[int, int]:
        """First and last step of the wet spell in which the first deadline falls."""
        first_due, weather = min(due.values()), self._ahead.steps.weather
        wet = self._wet(due, share)
        for first, last in wet_spells(wet, weather.starts, weather.ends):
            if weather.starts[first] - 1.0 <= first_due <= weather.ends[last] + 1.0:
                return first, last
        # It crosses by its wet-hours clock on a film with no rain, or in a member's own shower.
        step = min(int(np.searchsorted(weather.ends, first_due)), len(weather.ends) - 1)
        return step, step

    def _wet(self, groups: Iterable[int], share: float) -> Bools:
        """(step,) where so many members have water on any of some groups."""
        weather = self._ahead.steps.weather
        falls = (self._ahead.wetting_mm[:, :, list(groups)] > 0.0).any(axis=2).astype(float)
        return at_risk(falls, weather.weights, share, self._known, weather.feed_of)

    def _while_s(self, due: Mapping[int, float]) -> tuple[float, float]:
        """From when covers must be on until the last rain ahead on these groups is over (seconds).

        Film may spend the last of an allowance after the rain.
        """
        first, wet = min(due.values()), np.flatnonzero(self._wet(due, self._rig.show.policy.risk))
        over = self._ahead.steps.weather.ends[wet[-1]] if len(wet) else first
        return first, max(float(over), first + SECONDS_PER_MINUTE)

    def _action(
        self, position: Position, fixtures: Sequence[Fixture], steps: int
    ) -> tuple[Action, Allotment]:
        """Cover where all can be, else bring in; and the covers there are for it."""
        if position.access == "none":
            return "isolate", Allotment()
        if position.id in self._no_cover:
            return "bring-in", Allotment(not_covered_because="the crew says that there is no cover")
        gust = gust_at_position(self._ahead.steps, position, self._rig.show.site)[:, :steps]
        weights, risk = self._ahead.steps.weather.weights, self._rig.show.policy.risk
        given = self.stock.offer(position.id, fixtures, gust_at_risk(gust, weights, risk))
        return ("cover" if given.covered else "bring-in"), given

    def _with_covers(
        self, job: Job, offered: Allotment, while_s: tuple[float, float] | None = None
    ) -> Job:
        """The job with its covers taken from the stock: no other is promised them."""
        fixtures = [self._rig.show.fixtures[self._rig.index_of[f]] for f in job.fixtures]
        given = self.stock.settle(job.position, fixtures, offered, while_s)
        return replace(job, facts=replace(job.facts, covers=given.covers))

    def _half_used(self, position: Position, groups: Sequence[int]) -> list[Job]:
        """A word at half used, where nothing is due yet: there is no deadline to it."""
        present, rows = self._present, self._rows
        half = [
            g
            for g in groups
            if g in present.rain_alerts
            and g not in present.covered
            and 0.5 <= present.used[g] < 1.0
        ]
        fixtures = [f for g in half for f in rows.get(g, ())]
        if not fixtures or not self._rig.show.policy.half_used_warns:
            return []
        used = float(max(present.used[g] for g in half))
        weather = self._ahead.steps.weather
        action, given = self._action(position, fixtures, len(weather.starts))
        facts = replace(
            plain_facts(self._rig.show, position, fixtures, used),
            not_covered_because=given.not_covered_because,
            extra=self._cautions(action, half, fixtures, self._now_s, None),
        )
        job = Job(
            position.id,
            "protect",
            action,
            tuple(f.id for f in fixtures),
            sum(f.count for f in fixtures),
            position.people_needed,
            None,
            None,
            None,
            len(weather.weights),
            None,
            f"{used:.0%} of the allowance is used; no rain in this forecast spends the rest",
            facts=facts,
        )
        return [self._with_covers(job, given)]

    def _cautions(
        self,
        action: Action,
        groups: Sequence[int],
        fixtures: Sequence[Fixture],
        from_s: float,
        rain_until_s: float | None,
    ) -> tuple[str, ...]:
        show = self._rig.show
        said = open_tails(show, self._ahead, groups, self._rows, self._now_s)
        if action == "cover":
            said += cover_cautions(show, fixtures, self._ahead, from_s, rain_until_s)
            said += () if rain_until_s else bare_for_the_show(show, fixtures, self._now_s)
        return (*said, *self.feeding.says(fixtures))

    def _job(
        self,
        position: Position,
        action: Action,
        due: dict[int, float],
        closed: Sequence[Span],
        spell: tuple[int, int],
        given: Allotment,
    ) -> Job:
        ahead, rows, used = self._ahead, self._rows, self._present.used
        share, paid = self._paying(position, action, {g: rows[g] for g in due})
        due = paid or due
        fixtures = [f for g in due for f in rows[g]]
        count = sum(f.count for f in fixtures)
        minutes = job_minutes(position, action, count)
        at_stake = sum(f.value * f.count for f in fixtures)
        worst = min(due, key=lambda g: due[g])
        do_by = due[worst]
        weather = ahead.steps.weather
        by_spell_end = chance(
            ahead.next_spent_s[:, worst],
            weather.weights,
            float(weather.ends[spell[1]]),
            self._reach,
        )
        closes = next((s for s in closed if s.start_s > self._now_s), None)
        steps = slice(spell[0], spell[1] + 1)
        cover = self.stock.frailest(fixtures) if given.covered else None
        part = ahead.weakest_part(worst)
        left_s = workable_s(closed, self._now_s, do_by)
        stands, ends_s = self._standing(position, due, spell), float(weather.ends[spell[1]])
        thrown = WashedThen.at(self._rig.show, self._present, due, self._now_s, ends_s)
        facts = replace(
            thrown.facts(weather_facts(self._rig.show, position, ahead, worst, steps, fixtures)),
            weakest=None if part == "fixture" else part,
            used=float(used[worst]),
            says_so=by_spell_end.crossed,
            by_feed=feed_says(ahead, self._reach, due, share, steps),
            can_wait=can_wait(due, rows),
            access_closes_at=None if closes is None else to_moment(closes.start_s),
            cover_name=None if cover is None else cover.name,
            cover_gust_limit_mps=None if cover is None else cover.gust_limit_mps,
            late=bool(paid) and left_s < minutes * SECONDS_PER_MINUTE - 1e-6,
            worth=worth(
                self._rig.show, minutes, position.people_needed, at_stake, by_spell_end.share
            ),
            not_covered_because=given.not_covered_because,
            extra=(
                *stands.caution(),
                *thrown.cautions(),
                *self._cautions(action, list(due), fixtures, do_by, ends_s),
            ),
        )
        return Job(
            position.id,
            "protect",
            action,
            tuple(f.id for f in fixtures),
            count,
            position.people_needed,
            minutes,
            latest_start_s(closed, do_by, minutes) if paid else None,
            do_by,
            by_spell_end.heard,
            shown_probability(by_spell_end.share, by_spell_end.heard),
            (
                thrown.reason(do_by)
                or stands.reason(do_by)
                or why(self._rig.show, facts, do_by, float(used[worst]))
            )
            + ("" if paid else f"; {NOT_WORTH}"),
            late=facts.late,
            value=at_stake,
            facts=facts,
        )

    def _standing(
        self, position: Position, groups: Iterable[int], spell: tuple[int, int]
    ) -> StandingWater:
        ends_s = float(self._ahead.steps.weather.ends[spell[1]])
        return StandingWater(self._rig.show, self._ahead, self._reach, position.id, groups, ends_s)
