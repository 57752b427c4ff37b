"""What must be covered, brought in or isolated for rain, by when, and in how many minutes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from monitor.domain import Action, Cover, Facts, FeedSays, Fixture, Floats, Position, Wait
from monitor.exposure.results import Exposure
from monitor.exposure.rig import Rig
from monitor.planning.chance import Reach, at_risk, chance, do_by_s, shown_probability
from monitor.planning.facts import plain_facts, weather_facts
from monitor.planning.job import Job
from monitor.planning.present import Present
from monitor.planning.workable import Span, gust_at_position, latest_start_s, workable_s
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_moment

SAME_SPELL_S = 6 * SECONDS_PER_HOUR
"""Wet steps less far apart than this are one wet spell (judgement)."""
_CAN_WAIT_S = SECONDS_PER_HOUR
"""A fixture due this much after the first one of its job is named as able to wait."""


class Needs:
    """Rain jobs of one plan. Covers promised to one job are not promised to the next."""

    def __init__(
        self,
        rig: Rig,
        ahead: Exposure,
        present: Present,
        rows: dict[int, list[Fixture]],
        now_s: float,
    ) -> None:
        self._rig, self._ahead, self._present = rig, ahead, present
        self._rows, self._now_s = rows, now_s
        self._covers_taken: dict[str, int] = {}
        steps = ahead.steps
        self._known = ~steps.unknown
        self._reach = Reach.of(
            steps.weather.starts, steps.weather.ends, self._known, steps.weather.feed_of
        )
        for g in present.covered:
            self._take(rows.get(g, ()))

    def _take(self, fixtures: Iterable[Fixture]) -> None:
        for fixture in fixtures:
            if fixture.cover is not None:
                taken = self._covers_taken.get(fixture.cover, 0)
                self._covers_taken[fixture.cover] = taken + fixture.count

    def due(self, groups: Iterable[int]) -> dict[int, float]:
        """When each group that needs hands for rain must be done with (seconds)."""
        weather, risk = self._ahead.steps.weather, self._rig.show.policy.risk
        due: dict[int, float] = {}
        for g in groups:
            if g in self._present.rain_alerts and self._present.used[g] < 1.0 and g in self._rows:
                crossings = self._ahead.next_spent_s[:, g]
                do_by = do_by_s(crossings, weather.weights, risk, self._reach)
                if not np.isnan(do_by):
                    due[g] = do_by
        return due

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
        if not due:
            return self._half_used(position, groups)
        spell = self._first_spell(due)
        last_s = float(self._ahead.steps.weather.ends[spell[1]])
        due = {g: at for g, at in due.items() if at <= last_s + 1.0}
        bare = {g: at for g, at in due.items() if g not in self._present.covered}
        leaking = {g: at for g, at in due.items() if g in self._present.covered}
        jobs = []
        if bare:
            fixtures = [f for g in bare for f in self._rows[g]]
            action = self._action(position, fixtures, spell[1] + 1)
            jobs.append(self._job(position, action, bare, closed, spell))
            if action == "cover":
                self._take(fixtures)
        if leaking:
            action = "isolate" if position.access == "none" else "bring-in"
            job = self._job(position, action, leaking, closed, spell)
            jobs.append(replace(job, family="covered"))
        return jobs

    def _first_spell(self, due: dict[int, float]) -> tuple[int, int]:
        """First and last step of the wet spell in which the first deadline falls."""
        ahead, policy = self._ahead, self._rig.show.policy
        weather, first_due = ahead.steps.weather, min(due.values())
        wet = at_risk(
            (ahead.wetting_mm[:, :, list(due)] > 0.0).any(axis=2).astype(float),
            weather.weights,
            policy.risk,
            self._known,
            weather.feed_of,
        )
        for first, last in wet_spells(wet, weather.starts, weather.ends):
            if weather.starts[first] - 1.0 <= first_due <= weather.ends[last] + 1.0:
                return first, last
        # It crosses by its wet-hours clock on a film with no rain, or in a member's own shower.
        step = min(int(np.searchsorted(weather.ends, first_due)), len(weather.ends) - 1)
        return step, step

    def _action(self, position: Position, fixtures: Sequence[Fixture], steps: int) -> Action:
        if position.access == "none":
            return "isolate"
        gust = gust_at_position(self._ahead.steps, position, self._rig.show.site)[:, :steps]
        weights, risk = self._ahead.steps.weather.weights, self._rig.show.policy.risk
        return "cover" if self._can_cover(fixtures, _risk_peak(gust, weights, risk)) else "bring-in"

    def _can_cover(self, fixtures: Sequence[Fixture], peak_gust: float) -> bool:
        """Every fixture has a cover in stock that the gusts to come stay below."""
        covers, wanted = self._rig.show.covers, dict[str, int]()
        for fixture in fixtures:
            cover = self._cover_of(fixture)
            if cover is None:
                return False
            if cover.gust_limit_mps is not None and peak_gust >= cover.gust_limit_mps:
                return False
            wanted[cover.id] = wanted.get(cover.id, 0) + fixture.count
        return all(
            covers[c].in_stock - self._covers_taken.get(c, 0) >= n for c, n in wanted.items()
        )

    def _cover_of(self, fixture: Fixture) -> Cover | None:
        return None if fixture.cover is None else self._rig.show.covers[fixture.cover]

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
        action = self._action(position, fixtures, len(weather.starts))
        if action == "cover":
            self._take(fixtures)
        return [
            Job(
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
                facts=plain_facts(self._rig.show, position, fixtures, used),
            )
        ]

    def _job(
        self,
        position: Position,
        action: Action,
        due: dict[int, float],
        closed: Sequence[Span],
        spell: tuple[int, int],
    ) -> Job:
        ahead, rows, used = self._ahead, self._rows, self._present.used
        fixtures = [f for g in due for f in rows[g]]
        count = sum(f.count for f in fixtures)
        each = position.cover_minutes_each if action == "cover" else position.bring_in_minutes_each
        minutes = position.setup_minutes + (0.0 if action == "isolate" else count * each)
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
        cover = self._cover_of(fixtures[0]) if action == "cover" else None
        part = ahead.weakest_part(worst)
        left_s = workable_s(closed, self._now_s, do_by)
        facts = replace(
            weather_facts(self._rig.show, position, ahead, worst, steps, fixtures),
            weakest=None if part == "fixture" else part,
            used=float(used[worst]),
            says_so=by_spell_end.crossed,
            by_feed=self._by_feed(due),
            can_wait=self._can_wait(due),
            access_closes_at=None if closes is None else to_moment(closes.start_s),
            cover_name=None if cover is None else cover.name,
            cover_gust_limit_mps=None if cover is None else cover.gust_limit_mps,
            late=left_s < minutes * SECONDS_PER_MINUTE - 1e-6,
        )
        return Job(
            position.id,
            "protect",
            action,
            tuple(f.id for f in fixtures),
            count,
            position.people_needed,
            minutes,
            latest_start_s(closed, do_by, minutes),
            do_by,
            by_spell_end.heard,
            shown_probability(by_spell_end.share, by_spell_end.heard),
            self._why(facts, do_by, float(used[worst])),
            late=facts.late,
            value=sum(f.value * f.count for f in fixtures),
            facts=facts,
        )

    def _by_feed(self, groups: Iterable[int]) -> tuple[FeedSays, ...]:
        """What each feed alone says of these groups: its first deadline, and its reach."""
        weather, risk = self._ahead.steps.weather, self._rig.show.policy.risk
        feed_of, said = np.asarray(weather.feed_of), []
        for number, name in enumerate(weather.feeds or (weather.source,)):
            mine = feed_of == number
            weights, reach = weather.weights[mine], self._reach.take(mine)
            crossings = self._ahead.next_spent_s[mine]
            due = [do_by_s(crossings[:, g], weights / weights.sum(), risk, reach) for g in groups]
            first, to = np.fmin.reduce(due), reach.until_s.max()
            said.append(
                FeedSays(
                    name,
                    None if np.isnan(first) else to_moment(first),
                    to_moment(to) if np.isfinite(to) else None,
                    len(weights),
                )
            )
        return tuple(said)

    def _can_wait(self, due: dict[int, float]) -> tuple[Wait, ...]:
        """What is due much later than the first, by its deadline in steps of ten minutes."""
        later: dict[float, list[str]] = {}
        for g, at in due.items():
            if at > min(due.values()) + _CAN_WAIT_S:
                later.setdefault(at // 600.0 * 600.0, []).extend(f.id for f in self._rows[g])
        return tuple(Wait(tuple(ids), to_moment(at)) for at, ids in sorted(later.items()))

    def _why(self, facts: Facts, do_by: float, used: float) -> str:
        at = to_moment(do_by).astimezone(self._rig.show.site.timezone)
        already = f", {used:.0%} used already" if used >= 0.01 else ""
        return (
            f"{facts.rain_mm:.1f} mm of rain in this spell spends the allowance of the first "
            f"fixture at {at:%a %H:%M}{already}"
        )


def wet_spells(wet: np.ndarray, starts: Floats, ends: Floats) -> list[tuple[int, int]]:
    """Wet spells as (first, last) step; dry gaps under six hours do not part them."""
    spells: list[tuple[int, int]] = []
    for step in np.flatnonzero(wet).tolist():
        if spells and starts[step] - ends[spells[-1][1]] < SAME_SPELL_S:
            spells[-1] = (spells[-1][0], step)
        else:
            spells.append((step, step))
    return spells


def _risk_peak(gust: Floats, weights: Floats, risk: float) -> float:
    """Greatest gust that the pooled share of members reaches at `risk` in any step."""
    peak = np.nan_to_num(gust, nan=0.0).max(axis=1, initial=0.0)
    order = np.argsort(-peak)
    share = np.cumsum(weights[order])
    return float(peak[order][int(np.searchsorted(share, risk - 1e-9))])
