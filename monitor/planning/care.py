"""Inspect and clean: no deadline, one job a position and action."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from monitor.domain import Fixture, Policy, Position
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Rig
from monitor.planning.facts import plain_facts
from monitor.planning.job import Job
from monitor.planning.present import Present
from monitor.planning.weathered import weathered


def care_jobs(
    rig: Rig,
    position: Position,
    groups: Sequence[int],
    ahead: Exposure,
    so_far: Carried,
    present: Present,
    rows: dict[int, list[Fixture]],
) -> list[Job]:
    """What wants an inspection or cleaning at a position, and why."""
    if position.access == "none":
        return []  # nobody works there: what it took is in the report
    policy = rig.show.policy
    found: dict[Literal["inspect", "clean"], dict[int, str]] = {"inspect": {}, "clean": {}}
    for g in groups:
        if g not in rows:
            continue
        inspect = _inspect_because(g, ahead, so_far, present, policy)
        if inspect is not None:
            found["inspect"][g] = inspect
        clean = _clean_because(g, ahead, so_far, present, policy)
        if clean is not None:
            found["clean"][g] = clean
    jobs = []
    for action, reasons in found.items():
        if not reasons:
            continue
        fixtures = [f for g in reasons for f in rows[g]]
        why = "; ".join(dict.fromkeys(reasons.values()))
        if action == "clean":  # the dustiest tells for all
            why = reasons[max(reasons, key=lambda g: float(so_far.dusty_since_clean[g]))]
        jobs.append(
            Job(
                position.id,
                action,
                action,
                tuple(f.id for f in fixtures),
                sum(f.count for f in fixtures),
                position.people_needed,
                None,
                None,
                None,
                len(ahead.steps.weather.weights),
                None,
                why,
                facts=plain_facts(
                    rig.show, position, fixtures, float(max(present.used[g] for g in reasons))
                ),
            )
        )
    return jobs


def _inspect_because(
    g: int, ahead: Exposure, so_far: Carried, present: Present, policy: Policy
) -> str | None:
    if g in present.inspected:
        return None
    if present.used[g] >= 1.0:
        if (ahead.wetting_mm[:, :, g] > 0.0).any():
            return "their allowance is spent and more water reaches them"
        return "their allowance is spent"
    return "; ".join(weathered(so_far, g, ahead.groups[g].chain_at(present.now_s), policy)) or None


def _clean_because(
    g: int, ahead: Exposure, so_far: Carried, present: Present, policy: Policy
) -> str | None:
    chain = ahead.groups[g].chain_at(present.now_s)
    dust, dusty = chain.dust, so_far.dusty_since_clean[g]
    # Where dust gets in at all every dusty hour counts; first digit 5 lets in a little.
    mark = policy.clean_after_hours if dust == 5 else 1.0
    if g in present.cleaned or dust == 6 or dusty < mark:
        return None
    return f"{dusty:.0f} dusty hour{'s' if dusty >= 1.5 else ''} since cleaned"
