"""The same figures as tables for a spreadsheet: one row a fixture, position, change and step."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from datetime import datetime

import numpy as np

from monitor.domain import Answered, Fixture
from monitor.report.findings import BANDS, ORDERS, Line
from monitor.report.jobs import SAYS, Job
from monitor.report.material import Material
from monitor.report.places import Place
from monitor.report.site_times import SiteTimes
from monitor.scores import FeedScores, Row, Scores
from monitor.units import to_moment

Cell = str | float | int | datetime | None

_FORMULA = "=+-@＝＋－＠"
"""A spreadsheet takes a cell that begins so, full-width forms included, for a formula."""


def neutral(text: str) -> str:
    """Text that no spreadsheet runs: an apostrophe before what would begin a formula."""
    if text.lstrip()[:1] in _FORMULA and text.strip():
        return f"'{text}"
    return f"'{text}" if text[:1] in "\t\r\n" and text else text


def fixtures_csv(material: Material, lines: Sequence[Line], times: SiteTimes) -> bytes:
    """Every row of fixtures.csv, worst first."""
    header = (
        "id", "name", "type", "serial", "owner", "count", "code", "part", "part_code", "standing",
        "condition", "mount", "fed_by", "position", "position_name", "positions_in_order", "basis",
        "allowance_mm", "wetting_mm", "used", "used_total", "half_used_at", "spent_at",
        "wet_hours", "damp_hours", "dusty_hours", "covered_hours", "unknown_hours", "hours_out",
        "cover_counts_off_from", "state", "to_do", "why", "notes",
    )  # fmt: skip
    rows = (_fixture(material, line, f) for line in lines for f in line.fixtures)
    return _csv(header, rows, times)


def _fixture(material: Material, line: Line, fixture: Fixture) -> tuple[Cell, ...]:
    last = line.positions[-1]
    return (
        fixture.id, fixture.name, fixture.type, fixture.serial, fixture.owner, fixture.count,
        fixture.code.canonical, line.part, line.part_code, line.standing, fixture.condition,
        fixture.mount, fixture.fed_by, last, material.show.positions[last].name,
        " > ".join(line.positions), "estimate", line.allowance_mm, line.wetting_mm, line.used,
        line.used_total, line.half_at, line.spent_at, line.wet_h, line.damp_h, line.dusty_h,
        line.covered_h, line.unknown_h, line.out_h, line.cover_off_at, line.band,
        "; ".join(ORDERS[care.do] for care in line.cares),
        "; ".join(care.why for care in line.cares if care.why),
        "; ".join(line.notes),
    )  # fmt: skip


def positions_csv(places: Sequence[Place], times: SiteTimes) -> bytes:
    """One row a position, worst first."""
    header = (
        "position", "name", "height_m", "fixtures", "basis", "over", "half", "within", "no_limit",
        "not_out", "worst_fixture", "worst_used", "worst_used_total", "first_half_used_at",
        "first_spent_at", "most_wetting_mm", "most_wet_hours", "most_damp_hours",
        "most_dusty_hours", "most_unknown_hours", "strongest_gust_mps", "strongest_gust_at",
        "log_entries",
    )  # fmt: skip

    def row(place: Place) -> tuple[Cell, ...]:
        bands, there = place.bands(), place.lines
        return (
            place.position.id, place.position.name, place.position.height_m, place.count,
            "estimate", *(bands.get(b, 0) for b in BANDS),
            place.worst.first.id, place.worst.used, place.worst.used_total,
            min((x.half_at for x in there if x.half_at), default=None),
            min((x.spent_at for x in there if x.spent_at), default=None),
            max(x.wetting_mm for x in there), max(x.wet_h for x in there),
            max(x.damp_h for x in there), max(x.dusty_h for x in there),
            max(x.unknown_h for x in there), place.gust_mps, place.gust_at, len(place.entries),
        )  # fmt: skip

    return _csv(header, (row(place) for place in places), times)


def alerts_csv(jobs: Sequence[Job], times: SiteTimes) -> bytes:
    """One row each change of each alert, in the order they were made."""
    header = (
        "at", "alert", "kind", "stage", "action", "position", "count", "people", "minutes",
        "start_by", "do_by", "members", "probability", "reason", "told_at", "told", "done_at",
        "outcome", "lead_minutes", "fixtures", "spent_at", "isolated_at", "took", "answers",
    )  # fmt: skip
    rows = sorted(((told, job) for job in jobs for told in job.told), key=lambda pair: pair[0].at)
    return _csv(
        header,
        (
            (
                t.at, t.alert.id, t.alert.kind, t.alert.stage, t.alert.action, t.alert.position,
                t.alert.count, t.alert.people, t.alert.minutes, t.alert.start_by, t.alert.do_by,
                t.alert.members, t.alert.probability, t.reason, t.told_at, t.state, job.done_at,
                None if job.came is None else SAYS[job.came], job.lead_min,
                " ".join(t.alert.fixtures), job.spent_at, job.isolated_at,
                None if job.came is None else job.took,
                "; ".join(_answer(said, times) for said in job.answered),
            )
            for t, job in rows
        ),
        times,
    )  # fmt: skip


def _answer(said: Answered, times: SiteTimes) -> str:
    what = said.answer if said.because is None else f"{said.answer} ({said.because})"
    to = "" if said.action is None else f" to {said.action}"
    return f"{what}{to} {times.iso(said.at)}" + (f" {said.by}" if said.by else "")


def weather_csv(material: Material, times: SiteTimes) -> bytes:
    """One row a step as it was counted, cut where the log changed something; gaps are no rows."""
    header = (
        "starts_at", "minutes", "kind", "known", "rain_mm", "wind_mps", "gust_mps",
        "wind_from_deg", "temp_c", "dew_point_c", "cloud_pct", "thunder",
    )  # fmt: skip
    steps = material.exposure.steps
    w = steps.weather
    columns = np.stack(
        [
            w.rain_mm[0], w.wind_mps[0], w.gust_mps[0], w.wind_from_deg[0], w.temp_c[0],
            w.dew_point_c[0], w.cloud_pct[0],
        ]
    )  # fmt: skip
    thunder = {0.0: "no", 1.0: "yes"}
    rows = (
        (
            to_moment(float(w.starts[i])), float(w.ends[i] - w.starts[i]) / 60.0, kind,
            "no" if steps.unknown[0, i] else "yes", *columns[:, i].tolist(),
            thunder.get(float(w.thunder[0, i])),
        )
        for i, kind in enumerate(material.kinds())
    )  # fmt: skip
    return _csv(header, rows, times)


def scores_csv(material: Material, times: SiteTimes) -> bytes:
    """One row a feed and lead; empty where there were too few hours to say, counts always."""
    header = (
        "feed", "members", "runs", "lead_from_h", "lead_to_h", "wet_mm", "risk", "hours", "hits",
        "misses", "false_alarms", "correct_negatives", "hit_rate_pod", "false_alarm_ratio_far",
        "false_alarm_rate_pofd", "frequency_bias", "brier", "crps_mm", "crps_fair_mm",
        "wind_hours", "wind_bias_mps", "gust_hours", "gust_bias_mps",
    )  # fmt: skip
    scores = material.scores
    rows = (
        [] if scores is None else [_score(scores, f, row) for f in scores.feeds for row in f.rows]
    )
    return _csv(header, rows, times)


def _score(scores: Scores, feed: FeedScores, row: Row) -> tuple[Cell, ...]:
    table = row.table
    return (
        feed.source, feed.members, feed.runs, row.lead.from_h, row.lead.to_h, scores.wet_mm,
        scores.risk, table.hours, table.hits, table.misses, table.false_alarms,
        table.correct_negatives, row.hit_rate, row.false_alarm_ratio, row.false_alarm_rate,
        row.frequency_bias, row.brier, row.crps_mm, row.crps_fair_mm, row.wind_hours,
        row.wind_bias_mps, row.gust_hours, row.gust_bias_mps,
    )  # fmt: skip


def _csv(header: Sequence[str], rows: Iterable[Sequence[Cell]], times: SiteTimes) -> bytes:
    """UTF-8 with its mark, for spreadsheets guess otherwise; times in site time with offset."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    for row in rows:
        writer.writerow([_cell(value, times) for value in row])
    return out.getvalue().encode("utf-8-sig", "replace")


def _cell(value: Cell, times: SiteTimes) -> str | int:
    """Numbers in full, a cell left empty for what is not known or never came."""
    if value is None:
        return ""
    if isinstance(value, str):
        return neutral(value)
    if isinstance(value, datetime):
        return times.iso(value)
    if isinstance(value, int):
        return value
    return f"{value:.10g}" if math.isfinite(value) else ""
