"""From a show's history to the material of its report."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from monitor.domain import BadInputError, Bools, Problem, Weather
from monitor.evaluation import nothing_known
from monitor.exposure.assess import assess
from monitor.feeds.past import as_it_was
from monitor.report.bare import with_bare
from monitor.report.earlier import overlapping, serial_key
from monitor.report.material import Material
from monitor.report.received import received
from monitor.scores import Scores, score
from monitor.service.places import place_at, site_digest, spans
from monitor.service.sky import Sky
from monitor.service.warned import warning_rows
from monitor.show import rig_through_time
from monitor.store import chain, history, outbox
from monitor.store.answers import answers, turns
from monitor.store.declared import declared
from monitor.store.runs import StoredRun, received_runs
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlite_utils import Database

    from monitor.domain import Bools, Show
    from monitor.exposure.steps import Steps
    from monitor.report.record import Record
    from monitor.show import ShowFolder


def material_from(
    db: Database,
    folder: ShowFolder,
    now: datetime,
    from_: datetime | None = None,
    to: datetime | None = None,
    environ: Mapping[str, str] | None = None,
    earlier: Sequence[Record] = (),
    noted: Sequence[str] = (),
) -> Material:
    """The material of a report on what happened between two moments.

    Parameters
    ----------
    db : the show's history
    folder : the show as its files stand
    now : when the report is made
    environ : variables, to read the revisions of the folder that were kept
    from_, to : the period; None: from load-in (or the first put-out before it), to load-out
        or now. Never past now: what has not happened yet is no history.
    earlier : reports of earlier shows, whose exposure is carried on by serial
    noted : heads of the chain that were noted elsewhere; each must be a link of it

    Notes
    -----
    Used is counted from load-in whatever the period; depths and hours are the period's.
    """
    show = folder.show
    everything = history.log_entries(db)
    out_from = to_epoch(show.event.load_in_at)
    first = min([out_from, *(to_epoch(e.at) for e in everything if e.entry == "put-out")])
    start, end = _period(show, first, now, from_, to)
    log = tuple(e for e in everything if to_epoch(e.at) <= end)
    stored = _runs_of_site(db, show)
    runs = [run.weather for run in stored]
    sky = Sky()
    sky.catch_up(db, show, now)
    gauges = sky.gauges.measured(show)
    rig = rig_through_time(db, folder, environ or {}, now)
    before = None
    if start > first:
        until = _past(sky, show, first, start)
        before = assess(rig, until, log, out_from_s=out_from).carried
    weather = _past(sky, show, start, end)
    exposure = assess(rig, weather, log, out_from_s=out_from, carried=before)
    changes = tuple((c.alert, c.reason, c.at) for c in history.alert_changes(db))
    found = Material(
        show=show,
        rig=rig,
        exposure=exposure,
        log=log,
        changes=tuple(c for c in changes if start <= to_epoch(c[2]) <= end),
        made_at=now,
        deliveries=tuple(
            d for d in outbox.deliveries(db) if start <= to_epoch(d.row.queued_at) <= end
        ),
        chain=chain.verify(db, noted),
        credits=tuple(dict.fromkeys(run.credit for run in runs if run.credit)),
        told_nobody=not any(c.kind != "folder" for c in show.contacts),
        from_=to_moment(start),
        to=to_moment(end),
        before=before,
        measured=_by_gauge(exposure.steps, gauges),
        warnings=tuple(warning_rows(db, show, to_moment(start), to_moment(end))),
        scores=_scores(runs, gauges, show, start, end),
        notes=(*_notes(db, show, start, first), *_of_serials(show)),
        answered=tuple(a for a in answers(db) if start <= to_epoch(a.at) <= end),
        turns=tuple(t for t in turns(db) if start <= to_epoch(t.at) <= end),
        declared=tuple(d for d in declared(db) if start <= to_epoch(d.at) <= end),
        received=received(stored, start, end),
        earlier=tuple(earlier),
        revisions=tuple(r for r in history.revisions(db) if to_epoch(r.from_time) <= end),
    )
    twice = overlapping(found)
    if twice:
        raise BadInputError(twice)
    return with_bare(found, weather, out_from)


def _period(
    show: Show, first: float, now: datetime, from_: datetime | None, to: datetime | None
) -> tuple[float, float]:
    start = first if from_ is None else max(first, to_epoch(from_))
    last = to_epoch(now)
    if to is not None:
        end = min(last, to_epoch(to))
    elif show.event.load_out_at is not None:
        end = min(last, to_epoch(show.event.load_out_at))
    else:
        end = last
    if end > start:
        return start, end
    if from_ is not None or to is not None:
        raise BadInputError(
            [
                Problem(
                    "empty-period",
                    "Nothing had happened yet in the period asked for.",
                    "Ask for a time between load-in and now, the end after the begin.",
                    key="--from" if from_ is not None else "--to",
                )
            ]
        )
    return start, start


def _past(sky: Sky, show: Show, start: float, end: float) -> Weather:
    return nothing_known() if end <= start else sky.between(show, start, end)


def _runs_of_site(db: Database, show: Show) -> list[StoredRun]:
    """Every run as it came, without those that were asked for another place."""
    found = received_runs(db)
    noted = {source: spans(db, source) for source in {run.weather.source for run in found}}
    here = site_digest(show.site)
    return [
        run
        for run in found
        if (place := place_at(noted[run.weather.source], run.id)) is None or place.site == here
    ]


def _by_gauge(steps: Steps, gauges: Sequence[Weather]) -> Bools | None:
    """(step,) True where a gauge of the site knows the rain; None where there was no gauge."""
    if not gauges:
        return None
    marked = np.zeros(len(steps.hours), dtype=np.bool_)
    middle = (steps.weather.starts + steps.weather.ends) / 2
    for gauge in gauges:
        known = gauge.take(np.flatnonzero(np.isfinite(gauge.rain_mm[0])))
        if len(known.starts):
            last = np.searchsorted(known.starts, middle, side="right") - 1
            marked |= (last >= 0) & (middle < known.ends[last])
    return marked


def _scores(
    runs: Sequence[Weather], gauges: Sequence[Weather], show: Show, start: float, end: float
) -> Scores:
    """Every feed against the gauges, or against what a record feed said of hours that were over."""
    measured = [*map(_over_when_read, runs), *map(_over_when_read, gauges)]
    measured = [one for one in measured if len(one.starts)]
    return score(
        runs,
        as_it_was(
            measured,
            start,
            end,
            terrain=show.site.terrain,
            prefer=[gauge.station for gauge in show.gauges],
        )
        if measured and end > start
        else None,
        terrain=show.site.terrain,
        risk=show.policy.risk,
        start_s=start,
        end_s=end,
    )


def _over_when_read(weather: Weather) -> Weather:
    """The measured steps of a weather that were over when it came: the rest is what is to come."""
    known_at = np.inf if weather.fetched_at is None else to_epoch(weather.fetched_at)
    return weather.take(np.flatnonzero(~weather.forecast & (weather.ends <= known_at)))


def _notes(db: Database, show: Show, start: float, first: float) -> tuple[str, ...]:
    notes = []
    kept = [r.revision for r in history.revisions(db)]
    if kept and kept[-1] != show.revision:
        notes.append(
            "The show's files were changed since they were last watched; what came before goes "
            "by the files that were in force then."
        )
    elif len(set(kept)) > 1:
        notes.append(
            f"The show's files changed while it was watched ({len(set(kept))} versions are kept); "
            "each span goes by the files that were in force then, policy and site by those of now."
        )
    if start > first:
        notes.append("Used is counted from load-in; depths and hours are those of the period.")
    return tuple(notes)


def _of_serials(show: Show) -> tuple[str, ...]:
    """What is wrong with the serials, on which exposure is carried from show to show."""
    rows = Counter(key for f in show.fixtures if (key := serial_key(f.serial)) is not None)
    twice = sorted(key for key, count in rows.items() if count > 1)
    if not twice:
        return ()
    named = ", ".join(twice[:5]) + (f" and {len(twice) - 5} more" if len(twice) > 5 else "")
    return (f"Serials that stand in more than one row, each counted by itself: {named}.",)
