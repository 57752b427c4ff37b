"""Everything a report works out, once: what page, tables and record are all made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.report.alert_scores import alert_scores
from monitor.report.findings import Line, lines
from monitor.report.fixture_log import FixtureLog
from monitor.report.jobs import Job, jobs
from monitor.report.places import Place, places
from monitor.report.rainfall import Rainfall, rainfall
from monitor.report.site_times import SiteTimes

if TYPE_CHECKING:
    from monitor.report.material import Material
    from monitor.scores import AlertScores


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The findings of one material."""

    material: Material
    times: SiteTimes
    lines: tuple[Line, ...]
    rain: Rainfall
    jobs: tuple[Job, ...]
    places: tuple[Place, ...]
    log: FixtureLog
    alerts: AlertScores | None


def found_in(material: Material) -> Found:
    """Work it all out."""
    there, asked = lines(material), jobs(material)
    return Found(
        material=material,
        times=SiteTimes(material.show.site.timezone, material.begins_at),
        lines=there,
        rain=rainfall(material),
        jobs=asked,
        places=places(material, there),
        log=FixtureLog(material),
        alerts=alert_scores(material, asked),
    )
