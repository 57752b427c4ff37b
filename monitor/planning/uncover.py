"""Covers that have to come off: before a gust over their limit, for the show, or off what is lit.

One job a position. What leaks as well has its own job, which asks to bring it in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from monitor.domain import Facts, Fixture, LogEntry, Position, Wait
from monitor.exposure.results import Exposure
from monitor.exposure.rig import Rig
from monitor.exposure.wind import gust_10m, gust_at
from monitor.planning.chance import Chance, Reach, chance, do_by_s, shown_probability
from monitor.planning.covers_in_stock import counted, crew_name
from monitor.planning.doors import doors
from monitor.planning.facts import plain_facts
from monitor.planning.job import Job
from monitor.planning.job_cautions import may_run_covered
from monitor.planning.present import Present, RowOn
from monitor.planning.rain_there import RainThere
from monitor.planning.spells import SAME_SPELL_S
from monitor.planning.under_power import on_too_long
from monitor.planning.workable import Span, latest_start_s, workable_s
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch, to_moment

AFTER_DOORS_S = 3 * SECONDS_PER_HOUR
"""A cover comes off for the show where no rain is at risk so long after it begins (judgement)."""
_CAN_WAIT_S = SECONDS_PER_HOUR
_DECIDE = "or decide."


def is_to_decide(notice: str) -> bool:
    """Whether a notice leaves something to people; else it says what is not known."""
    return notice.endswith(_DECIDE)


@dataclass(frozen=True, slots=True)
class Off:
    """Why a row's cover has to come off, and when."""

    do_by_s: float
    why: str
    says: Chance | None = None
    """How many forecasts say so, where it rests on one"""


class CoversOff:
    """What is on at each position, and what of it has to come off."""

    def __init__(
        self,
        rig: Rig,
        ahead: Exposure,
        present: Present,
        rows: Mapping[int, Sequence[Fixture]],
        now_s: float,
        log: Sequence[LogEntry] = (),
    ) -> None:
        self._rig, self._ahead, self._present = rig, ahead, present
        self._rows, self._now_s, self._log = rows, now_s, log
        self._rain = RainThere(rig.show, ahead)
        self._doors = doors(rig.show, now_s)
        self._loose: dict[int, Off | None] = {}

    def at(
        self,
        position: Position,
        groups: Sequence[int],
        closed: Sequence[Span],
        others: Sequence[Job] = (),
    ) -> tuple[list[Job], tuple[str, ...]]:
        """What the covers of a position ask for.

        Parameters
        ----------
        position : where
        groups : there
        closed : when nobody may work there
        others : jobs there; what one of them brings in needs no uncovering

        Returns
        -------
        jobs : at most one
        notices : what to know that orders nothing
        """
        leaking = {f for job in others if job.family == "covered" for f in job.fixtures}
        on = [
            one
            for one in self._present.rows_on(groups, self._rows)
            if one.fixture.id not in leaking
        ]
        if not on or position.access == "none":
            return [], ()
        off: dict[str, tuple[RowOn, Off]] = {}
        for_show, notices = self._for_show(position, on)
        for one, found in (*self._before_gusts(on), *for_show):
            before = off.get(one.fixture.id)
            if before is None or found.do_by_s < before[1].do_by_s:
                off[one.fixture.id] = (one, found)
        # What comes off anyway is not told for how long it may stay.
        staying = [one for one in on if one.fixture.id not in off]
        zone = self._rig.show.site.timezone
        too_long, not_known = on_too_long(staying, self._log, self._now_s, zone)
        notices += not_known
        if off:
            said = (*notices, *dict.fromkeys(why for _, why in too_long))
            return [self._job(position, list(off.values()), closed, said)], notices
        if too_long:
            return [self._at_leisure(position, too_long, notices)], notices
        return [], notices

    def beside_rain(self, jobs: Sequence[Job]) -> list[Job]:
        """Jobs for rain as they are left by covers that come loose."""
        kept = [self._beside(job) if job.family == "covered" else job for job in jobs]
        return [job for job in kept if job is not None]

    def _beside(self, job: Job) -> Job | None:
        """A job to bring in what leaks, with a word where its covers come loose before that.

        None where all of them come loose a spell before the rain: then the covers come off, and
        go on again after the gusts.
        """
        ids, facts = {*job.fixtures}, job.facts
        on = [
            one
            for one in self._present.rows_on(self._present.covered, self._rows)
            if one.fixture.id in ids
        ]
        loose = self._before_gusts(on)
        if not loose or job.do_by_s is None:
            return job
        first = min(found.do_by_s for _, found in loose)
        wet_s = job.do_by_s if facts.wet_from is None else to_epoch(facts.wet_from)
        if len(loose) == len(ids) and max(o.do_by_s for _, o in loose) + SAME_SPELL_S < wet_s:
            return None
        if first >= job.do_by_s:
            return job
        why = loose[0][1].why
        said = f"{why[:1].upper()}{why[1:]}: better in before that, for a loose cover flies."
        return replace(job, facts=replace(facts, extra=(*facts.extra, said)))

    # ---- before a gust over its limit

    def _before_gusts(self, on: Sequence[RowOn]) -> list[tuple[RowOn, Off]]:
        found = []
        for one in on:
            if one.group not in self._loose:
                self._loose[one.group] = self._comes_loose(one)
            off = self._loose[one.group]
            if off is not None:
                found.append((one, off))
        return found

    def _comes_loose(self, one: RowOn) -> Off | None:
        weather, risk = self._ahead.steps.weather, self._rig.show.policy.risk
        limit, blown = one.cover.gust_limit_mps, self._ahead.blown_s[:, one.group]
        do_by = do_by_s(blown, weather.weights, risk, self._gust_reach)
        if limit is None or np.isnan(do_by):
            return None
        why = (
            f"gusts pass what the {crew_name(one.cover)} stands, {limit:g} m/s, "
            f"from {self._site_time(do_by)}"
        )
        return Off(do_by, why, chance(blown, weather.weights, do_by, self._gust_reach))

    @cached_property
    def _gust_10m(self) -> np.ndarray:
        weather = self._ahead.steps.weather
        return gust_10m(
            weather.gust_mps,
            weather.wind_mps,
            weather.wind_basis,
            weather.wind_height_m,
            self._rig.show.site.terrain,
        )

    @cached_property
    def _gust_reach(self) -> Reach:
        weather = self._ahead.steps.weather
        return Reach.of(weather.starts, weather.ends, ~np.isnan(self._gust_10m), weather.feed_of)

    # ---- for the show

    def _for_show(
        self, position: Position, on: Sequence[RowOn]
    ) -> tuple[list[tuple[RowOn, Off]], tuple[str, ...]]:
        """What is not lit under its cover is bared before the show, unless rain reaches it then.

        Once it runs nothing comes off for it any more: that is told, and people decide.
        """
        show = self._doors
        if show is None:
            return [], ()
        dark = [
            one
            for one in on
            if one.since_s < show.begins_s and not may_run_covered(one.fixture, one.cover)
        ]
        count = sum(one.fixture.count for one in dark)
        minutes = position.setup_minutes + count * position.cover_minutes_each
        from_s = max(self._now_s, show.begins_s - minutes * SECONDS_PER_MINUTE)
        until_s = min(max(self._now_s, show.begins_s) + AFTER_DOORS_S, show.ends_s)
        at = f"{show.begins_at(self._rig.show):%H:%M}"
        runs = show.begins_s <= self._now_s
        off: list[RowOn] = []
        held: dict[str, int] = {}
        for one in dark:
            rain = self._rain.over(one.place, from_s, until_s)
            if rain is None and not runs:
                off.append(one)
            else:
                against = "" if rain is None else f", {rain}"
                held[against] = held.get(against, 0) + one.fixture.count
        why = f"the show begins at {at}, and they are not lit under their covers"
        why += self._again(off, until_s, show.ends_s)
        doors_at = f"{'still covered since' if runs else 'covered at'} doors ({at})"
        return [(one, Off(show.begins_s, why)) for one in off], tuple(
            f"{number} {doors_at}{against}: park {'it' if number == 1 else 'them'} {_DECIDE}"
            for against, number in held.items()
        )

    def _again(self, off: Sequence[RowOn], from_s: float, until_s: float) -> str:
        """That rain comes while the show still runs, for which they have to be covered again."""
        rain = [self._rain.begins_s(place, from_s, until_s) for place in {o.place for o in off}]
        first = min((at for at in rain if at is not None), default=None)
        if first is None:
            return ""
        return f"; rain from {self._site_time(first)}, so covers on again by then"

    # ---- on too long with power

    def _at_leisure(
        self, position: Position, too_long: Sequence[tuple[RowOn, str]], extra: tuple[str, ...]
    ) -> Job:
        """A word with no deadline: where rain reaches it, power goes off instead of the cover."""
        until_s = self._now_s + AFTER_DOORS_S
        places = {one.place for one, _ in too_long}
        rain = any(self._rain.over(place, self._now_s, until_s) for place in places)
        fixtures = [one.fixture for one, _ in too_long]
        return Job(
            position.id,
            "uncover",
            "isolate" if rain else "uncover",
            tuple(f.id for f in fixtures),
            sum(f.count for f in fixtures),
            position.people_needed,
            None,
            None,
            None,
            len(self._ahead.steps.weather.weights),
            None,
            "; ".join(dict.fromkeys(why for _, why in too_long)),
            facts=replace(self._plain(position, [one for one, _ in too_long]), extra=extra),
        )

    # ---- the job

    def _job(
        self,
        position: Position,
        off: Sequence[tuple[RowOn, Off]],
        closed: Sequence[Span],
        extra: tuple[str, ...],
    ) -> Job:
        fixtures = [one.fixture for one, _ in off]
        count = sum(f.count for f in fixtures)
        first = min((found for _, found in off), key=lambda found: found.do_by_s)
        minutes = position.setup_minutes + count * position.cover_minutes_each
        closes = next((s for s in closed if s.start_s > self._now_s), None)
        left_s = workable_s(closed, self._now_s, first.do_by_s)
        facts = replace(
            self._plain(position, [one for one, _ in off]),
            access_closes_at=None if closes is None else to_moment(closes.start_s),
            can_wait=_can_wait(off, first.do_by_s + _CAN_WAIT_S),
            covers=self._covers(fixtures),
            late=left_s < minutes * SECONDS_PER_MINUTE - 1e-6,
            says_so=None if first.says is None else first.says.crossed,
            extra=extra,
        )
        blown = [one for one, found in off if found.says is not None]
        if blown:
            facts = self._with_gust(facts, blown[0])
        said = first.says
        return Job(
            position.id,
            "uncover",
            "uncover",
            tuple(f.id for f in fixtures),
            count,
            position.people_needed,
            minutes,
            latest_start_s(closed, first.do_by_s, minutes),
            first.do_by_s,
            len(self._ahead.steps.weather.weights) if said is None else said.heard,
            None if said is None else shown_probability(said.share, said.heard),
            "; ".join(dict.fromkeys(found.why for _, found in off)),
            late=facts.late,
            # A cover that stays on for the show costs light and no gear.
            value=sum(one.fixture.value * one.fixture.count for one in blown),
            facts=facts,
        )

    def _plain(self, position: Position, on: Sequence[RowOn]) -> Facts:
        used = float(max(self._present.used[one.group] for one in on))
        facts = plain_facts(self._rig.show, position, [one.fixture for one in on], used)
        return replace(facts, cover_name=on[0].cover.name)

    def _with_gust(self, facts: Facts, one: RowOn) -> Facts:
        """The greatest gust of the first step that any forecast has over the cover's limit."""
        weather, limit = self._ahead.steps.weather, one.cover.gust_limit_mps
        gust = gust_at(self._gust_10m, one.place.height_m, one.place.terrain)
        peak = np.nan_to_num(gust, nan=-1.0).max(axis=0)
        over = np.flatnonzero(peak > (limit or np.inf))
        if not len(over):
            return replace(facts, cover_gust_limit_mps=limit)
        return replace(
            facts,
            cover_name=one.cover.name,
            cover_gust_limit_mps=limit,
            gust_mps=float(peak[over[0]]),
            gust_at=to_moment(float(weather.starts[over[0]])),
        )

    def _covers(self, fixtures: Sequence[Fixture]) -> tuple[tuple[str, int], ...]:
        most = sorted(counted(fixtures).items(), key=lambda one: -one[1])
        return tuple((self._rig.show.covers[c].name, number) for c, number in most)

    def _site_time(self, moment_s: float) -> str:
        return f"{to_moment(moment_s).astimezone(self._rig.show.site.timezone):%a %H:%M}"


def _can_wait(off: Sequence[tuple[RowOn, Off]], after_s: float) -> tuple[Wait, ...]:
    """What is due well after the first, by its own deadline."""
    later: dict[float, list[str]] = {}
    for one, found in off:
        if found.do_by_s > after_s:
            later.setdefault(found.do_by_s, []).append(one.fixture.id)
    return tuple(Wait(tuple(ids), to_moment(at)) for at, ids in sorted(later.items()))
