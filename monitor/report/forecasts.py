"""How good the forecasts were, in words and cells for a technician."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from monitor.alerts.words import duration
from monitor.report.figures import NOTHING, counted
from monitor.report.forecast_picture import forecast_picture
from monitor.report.material import Material
from monitor.scores import FEWEST_CASES, FEWEST_HOURS, FeedScores, Row, Scores
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE

TOO_FEW = "too few"
_UNMEASURED = (
    "Nothing was measured on the site in this period, so no forecast can be judged. A rain gauge, "
    "or a record as a feed, would say."
)
_LEAST_MIN = 1.0
"""Less than this is a matter of rounding [min]."""
_TOLD_AT_H = 6.0
"""The lead told first: what the plan of a night or a day is made on [h]."""


@dataclass(frozen=True, slots=True)
class FeedTold:
    """One feed: its sentences, its picture, its lines of cells."""

    name: str
    sentences: tuple[str, ...]
    picture: Markup | None
    lines: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ForecastsTold:
    """The whole section; `feeds` is empty where nothing could be compared."""

    sentences: tuple[str, ...]
    feeds: tuple[FeedTold, ...]
    notes: tuple[str, ...]


def forecasts(material: Material) -> ForecastsTold | None:
    """The section, or None where there were no forecasts to judge (a rehearsal)."""
    scores = material.scores
    if scores is None:
        return None
    parts = _parts_min(material, scores)
    if not scores.measured_hours:
        return ForecastsTold((_too_short(parts) if parts else _UNMEASURED,), (), ())
    measured = _measured(scores, parts, frozenset(material.kinds()))
    if not scores.feeds:
        return ForecastsTold((measured, "No forecast was received."), (), ())
    feeds = tuple(_feed(feed, n) for n, feed in enumerate(scores.feeds))
    return ForecastsTold((measured,), feeds, _notes(scores))


def _parts_min(material: Material, scores: Scores) -> float:
    """Minutes in which a gauge measured the rain, beyond the whole hours of it."""
    steps = material.exposure.steps
    known = np.isfinite(steps.weather.rain_mm[0])
    measured = np.array([kind == "measured" for kind in material.kinds()], dtype=np.bool_)
    left_h = float(steps.hours[known & measured].sum()) - scores.measured_hours
    minutes = left_h * SECONDS_PER_HOUR / SECONDS_PER_MINUTE
    return minutes if minutes >= _LEAST_MIN else 0.0


def _too_short(minutes: float) -> str:
    return (
        f"Rain was measured on the site for {duration(minutes)}, but in no hour from beginning "
        "to end (hours of UTC): no forecast can be judged by parts of hours."
    )


def _measured(scores: Scores, parts_min: float, kinds: frozenset[str]) -> str:
    """What the forecasts are held against: a record that was given is no gauge on the site."""
    whence = "From a weather record"
    if "measured" in kinds:
        whence = "Measured on site" + (" or from a weather record" if "record" in kinds else "")
    head = f"{whence} ({scores.measured_by})" if scores.measured_by else whence
    parts = ""
    if parts_min:
        parts = (
            f" Beside them {duration(parts_min)} that make no whole hour, and are not judged by."
        )
    return (
        f"{head}: {counted(scores.measured_hours, 'hour')}, "
        f"{scores.wet_hours} of them wet ({scores.wet_mm:g} mm or more).{parts}"
    )


def _notes(scores: Scores) -> tuple[str, ...]:
    return (
        (
            f"Rain counts as forecast where at least {100 * scores.risk:g} % of a feed's members "
            f"have {scores.wet_mm:g} mm in the hour: the share at which this show acts. A single "
            "forecast counts as it is."
        ),
        (
            "For each hour and lead the run issued last counts. An hour that had begun when the "
            "run came is not judged, nor is one that was not measured whole."
        ),
        (
            "Hit rate: share of the wet hours that was forecast. False alarm ratio: share of the "
            "wet hours forecast that stayed dry. False alarm rate: share of the dry hours for "
            "which rain was forecast. Over 1 wet hour forecast for each one measured is too often."
        ),
        (
            "Chance error (Brier): 0 is right and sure, 1 wrong and sure. Amount error (CRPS): how "
            "far the members' amounts were off, in mm an hour; of a single forecast the mean "
            "error. Small ensembles look a little worse than they are; scores.csv has the figure "
            "that makes up for it."
        ),
        (
            "Wind and gust: forecast less measured, so plus is forecast too strong. Mean wind is "
            "brought to 10 m over the site's own terrain on both sides; gusts are as given, raised "
            "to 10 m where they were measured lower."
        ),
        (
            f"A share of fewer than {FEWEST_CASES} hours and a mean of fewer than {FEWEST_HOURS} "
            "are too few to say. Hours of one storm are not independent: one event proves little."
        ),
    )


def _feed(feed: FeedScores, n: int) -> FeedTold:
    told = [_headline(feed)]
    if feed.coarse_steps:
        told.append("Steps longer than an hour were left out: what fell when in them is not known.")
    judged = any(row.table.hours for row in feed.rows)
    return FeedTold(
        name=_name(feed),
        sentences=tuple(told),
        picture=forecast_picture(feed, f"f{n}") if judged else None,
        lines=tuple(_cells(row) for row in feed.rows),
    )


def _name(feed: FeedScores) -> str:
    members = f", {feed.members} members" if feed.members > 1 else ""
    return f"{feed.source}{members}, {counted(feed.runs, 'run')}"


def _headline(feed: FeedScores) -> str:
    rows = [row for row in feed.rows if row.table.hours]
    if not rows:
        return "None of its hours could be compared: none was measured after a run had come."
    row = min(rows, key=lambda r: (abs(r.lead.from_h - _TOLD_AT_H), r.lead.from_h))
    return said(row)


def said(row: Row) -> str:
    """`Of 14 wet hours, 11 were seen 6 to 12 h before; 5 of the 16 forecast stayed dry.`"""
    table = row.table
    if table.wet:
        first = (
            f"Of {counted(table.wet, 'wet hour')}, {table.hits} "
            f"{'was' if table.hits == 1 else 'were'} seen {row.lead.says}"
        )
    else:
        first = f"Of {counted(table.hours, 'hour')} compared {row.lead.says}, none was wet"
    if table.forecast:
        second = (
            f"{table.false_alarms} of {counted(table.forecast, 'wet hour')} forecast stayed dry"
        )
    else:
        second = "no wet hour was forecast"
    few = [] if table.wet >= FEWEST_CASES else ["the wet hours"]
    few += [] if table.forecast >= FEWEST_CASES else ["those forecast"]
    more = f" Too few to say: {' and '.join(few)}." if few else ""
    return f"{first}; {second}.{more}"


def _cells(row: Row) -> tuple[str, ...]:
    table = row.table
    return (
        row.lead.says,
        str(table.hours),
        f"{table.hits} of {table.wet}",
        f"{table.false_alarms} of {table.forecast}",
        _number(row.hit_rate, 2),
        _number(row.false_alarm_ratio, 2),
        _number(row.false_alarm_rate, 2),
        _number(row.frequency_bias, 2),
        _number(row.brier, 2),
        _number(row.crps_mm, 2),
        _number(row.wind_bias_mps, 1, sign=True) if row.wind_hours else NOTHING,
        _number(row.gust_bias_mps, 1, sign=True) if row.gust_hours else NOTHING,
    )


def _number(value: float | None, places: int, *, sign: bool = False) -> str:
    if value is None:
        return TOO_FEW
    rounded = round(value, places) + 0.0  # no minus before a zero
    return f"{rounded:{'+' if sign and rounded else ''}.{places}f}"
