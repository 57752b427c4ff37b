"""The record of a report: all of its figures in one place."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import TYPE_CHECKING

from monitor import __version__
from monitor.alerts.words import one_line
from monitor.report import recorded_events as events
from monitor.report import recorded_units as rows
from monitor.report.cautions import CAUTIONS
from monitor.report.earlier import carried_by_id, earlier_shows
from monitor.report.official import warned
from monitor.report.record import (
    FORMAT,
    ChainSaid,
    Gap,
    Period,
    PolicySaid,
    RainSaid,
    Record,
    RestsOn,
    RevisionSaid,
    SiteSaid,
)
from monitor.report.record_events import WarningRow
from monitor.report.record_parts import figure, known
from monitor.report.seal import UNSEALED
from monitor.show import default_policy
from monitor.units import to_moment

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.domain import Policy
    from monitor.report.found import Found
    from monitor.report.material import Material


def record(found: Found) -> Record:
    """Everything that was found, as it is written."""
    material, times = found.material, found.times
    show = material.show
    return Record(
        format=FORMAT,
        report_sha256=UNSEALED,
        title=title(material),
        made_at=times.local(material.made_at),
        rehearsed=material.rehearsed,
        site=SiteSaid(
            name=show.site.name,
            latitude=known(show.site.latitude),
            longitude=known(show.site.longitude),
            elevation_m=known(show.site.elevation_m),
            timezone=str(show.site.timezone),
            load_in_at=times.local(show.event.load_in_at),
            load_out_at=times.maybe(show.event.load_out_at),
        ),
        period=Period(
            begins_at=times.local(material.begins_at),
            ends_at=times.local(material.ends_at),
            used_since=times.local(_used_since(material)),
        ),
        chain=_chain(material),
        rests_on=_rests_on(found),
        rain=_rain(found),
        gaps=tuple(
            Gap(begins_at=times.local(to_moment(a)), ends_at=times.local(to_moment(b)))
            for a, b in found.rain.unknown_spans
        ),
        units=rows.units(found, carried_by_id(material)),
        positions=tuple(rows.position_row(found, place) for place in found.places),
        drying=rows.care_rows(found, rows.DRYING),
        cleaning=rows.care_rows(found, rows.CLEANING),
        alerts=events.alert_changes(found),
        alert_scores=events.alert_score(found),
        messages=events.messages(found),
        answers=events.answers(found),
        declared=events.declared(found),
        log=events.log(found),
        forecasts=events.forecasts(found),
        forecast_scores=events.forecast_scores(found),
        warnings=tuple(
            WarningRow(
                title=said.title,
                received_at=times.local(row.received_at),
                when=said.when,
                quotes=said.quotes,
                place=said.place,
                doubt=said.doubt,
                ended=said.ended,
            )
            for row, said in zip(material.warnings, warned(material, times), strict=True)
        ),
        weather=events.weather(found),
        earlier=earlier_shows(material),
        cautions=CAUTIONS,
    )


def title(material: Material) -> str:
    """What the report is called."""
    return one_line(material.title) or f"Exposure report: {one_line(material.show.site.name)}"


def _used_since(material: Material) -> datetime:
    """When the first of them went out; the begin of the period where none was out before."""
    out = [s.start_s for g in material.exposure.groups for s in g.track.segments[:1]]
    return to_moment(min([material.period[0], *out]))


def _chain(material: Material) -> ChainSaid:
    chain = material.chain
    if chain is None:
        return ChainSaid(
            verified=None,
            rows=None,
            head=None,
            breaks_at_row=None,
            says="Not verified: nothing was kept that a chain of hashes could be made of.",
        )
    return ChainSaid(
        verified=chain.ok,
        rows=chain.rows,
        head=chain.head,
        breaks_at_row=chain.first_bad,
        says=chain.says,
    )


def _rests_on(found: Found) -> RestsOn:
    material, times = found.material, found.times
    return RestsOn(
        program=f"Dryspell {__version__}",
        revision=material.show.revision,
        revisions=tuple(
            RevisionSaid(
                sha256=one.revision,
                in_force_from=times.local(one.from_time),
                recorded_at=times.local(one.recorded_at),
            )
            for one in material.revisions
        ),
        policy=_policy(material.show.policy),
        weather=material.exposure.steps.weather.source,
        credits=material.credits,
        notes=material.notes,
        told_nobody=material.told_nobody,
    )


def _policy(policy: Policy) -> PolicySaid:
    settings, usual = _numbers(policy), _numbers(default_policy())
    text = json.dumps(settings, sort_keys=True, separators=(",", ":"))
    return PolicySaid(
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        settings=settings,
        changed={name: usual[name] for name, value in settings.items() if value != usual[name]},
    )


def _numbers(policy: Policy) -> dict[str, float | bool | None]:
    """Every setting; numbers as numbers with a point, so that 3 and 3.0 have one hash."""
    return {
        name: float(value) if isinstance(value, int) and not isinstance(value, bool) else value
        for name, value in asdict(policy).items()
    }


def _rain(found: Found) -> RainSaid:
    rain, at = found.rain, found.times.maybe
    worst = to_moment(rain.worst_hour_s) if rain.worst_hour_mm > 0.0 else None
    gust = None if figure(rain.gust_s) is None else to_moment(rain.gust_s)
    return RainSaid(
        rain_mm=known(rain.rain_mm),
        measured_mm=known(rain.by_kind_mm["measured"]),
        record_mm=known(rain.by_kind_mm["record"]),
        forecast_mm=known(rain.by_kind_mm["forecast"]),
        measured_hours=known(rain.hours_by_kind["measured"]),
        record_hours=known(rain.hours_by_kind["record"]),
        forecast_hours=known(rain.hours_by_kind["forecast"]),
        unknown_hours=known(rain.unknown_h),
        worst_hour_mm=known(rain.worst_hour_mm),
        worst_hour_at=at(worst),
        driving_rain_l_m2=known(rain.driving_rain),
        driving_rain_wall_deg=known(rain.wall_deg),
        strongest_gust_mps=figure(rain.gust_mps),
        strongest_gust_at=at(gust),
    )
