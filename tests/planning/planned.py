"""A plan at a moment of a hand-made record: what is before it is past, the rest is ahead."""

from __future__ import annotations

from dataclasses import replace

from exposure.rigs import NOON, after

from monitor.domain import Cover
from monitor.evaluation import from_now, until_now
from monitor.exposure.assess import assess
from monitor.exposure.results import Carried
from monitor.exposure.rig import compile_rig
from monitor.exposure.tracks import groups_of
from monitor.planning.crew import plan


def planned(described, weather, at_h=0.0, log=(), *, asked=(), carried=None, answers=(), told=None):
    """The plan `at_h` hours after noon; `carried` changes what was taken until then."""
    rig, now_s, zero = compile_rig(described), after(at_h).timestamp(), NOON.timestamp()
    known = [entry for entry in log if entry.at <= after(at_h)]
    groups, _ = groups_of(rig, known, zero)
    so_far = Carried.nothing(len(groups))
    fell = until_now(weather, zero, now_s)
    if len(fell.starts):
        so_far = assess(rig, fell, known, out_from_s=zero).carried
    so_far = replace(so_far, **(carried or {}))
    ahead = assess(rig, from_now(weather, now_s), known, out_from_s=zero, carried=so_far)
    return plan(rig, ahead, so_far, now_s, asked, answers=answers, log=known, told_before=told)


def only(found, family="protect"):
    """The one job of a family."""
    (job,) = (job for job in found.jobs if job.family == family)
    return job


def families(found):
    return sorted(job.family for job in found.jobs)


def since_noon_h(moment_s):
    return (moment_s - NOON.timestamp()) / 3600.0


def bag(name="bag", **changes):
    """A cover that nothing gets under."""
    return replace(Cover(name, "bag", sealed=True, in_stock=10), **changes)


def hood(name="hood", **changes):
    """A cover so shallow that slanting rain gets in as if it were not there."""
    return replace(Cover(name, "hood", keeps_out_to_deg=0.001, in_stock=10), **changes)
