"""The answer of a weather service and its sheet to Weather, or the reason why not. Pure."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.domain import Weather, WindBasis
from monitor.feeds.columns import columns
from monitor.feeds.covers import samples_of
from monitor.feeds.fields import fields
from monitor.feeds.intervals import intervals
from monitor.feeds.issued import issued
from monitor.feeds.paths import found
from monitor.feeds.place import misplaced
from monitor.feeds.rows import rows
from monitor.feeds.samples import Rejected, Samples
from monitor.feeds.stamps import check_first, check_offset, moment_of
from monitor.feeds.strict_json import parse_json

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from monitor.feeds.samples import Stated
    from monitor.feeds.sheet_parts import Sheet, Variable

__all__ = ["Rejected", "decode"]

_OWN_LIST = re.compile(r"@|\[")
"""Paths of records that begin at an answer which is itself a list."""


def decode(
    body: bytes,
    sheet: Sheet,
    *,
    fetched_at: datetime | None,
    wind_basis: WindBasis = "open",
    wind_height_m: float = 10.0,
    headers: Mapping[str, str] | None = None,
    issued_at: datetime | None = None,
    latitude: float | None = None,
    longitude: float | None = None,
    elevation_m: float | None = None,
) -> Weather:
    """Canonical weather of one answer; raises Rejected where it must not be used.

    Steps are those of the rain; every other variable is laid onto them (see steps.py).
    Missing stays NaN, and the steps behind the last known rain are no part of the forecast.
    `fetched_at` None: a sample file, whose age says nothing. What was left out, and why, is
    told in `dropped`.

    Parameters
    ----------
    issued_at : what another answer says of the issue time, where this one does not
    latitude, longitude, elevation_m : of the site, against which the answer's own are held
    """
    try:
        answer = parse_json(body)
    except ValueError as fault:
        raise Rejected("not-json", f"the answer cannot be read: {fault}") from None
    if sheet.errors.flag and found(answer, sheet.errors.flag):
        raise Rejected("error-answer", error_reason(answer, sheet) or "the service says error")
    answer = _one_place(answer, sheet)
    told: list[str] = []
    # What overflows is past everything plausible, and dropped as that.
    with np.errstate(over="ignore", invalid="ignore"):
        members, stated = _stated(answer, sheet, told)
        _check_clock(answer, stated, sheet, fetched_at)
        series = _series(answer, stated, sheet, told)
        members, series = _whole_members(members, series, sheet, told)
        rain = series["precip"]
        known = np.flatnonzero(np.isfinite(rain.values).any(axis=0))
        last = int(known[-1]) + 1
        if last < len(rain.ends):
            told.append(f"steps left out at the end, without rain data: {len(rain.ends) - last}")
        starts, ends = rain.starts[:last], rain.ends[:last]
        columns_on_steps = fields(series, sheet, starts, ends, told)
    when_issued = issued(answer, headers or {}, sheet, fetched_at, issued_at, told)
    told.extend(misplaced(answer, sheet.place, latitude, longitude, elevation_m))
    return Weather(
        starts=starts,
        ends=ends,
        weights=np.full(len(members), 1 / len(members)),
        forecast=np.full(last, sheet.request.kind == "forecast"),
        wind_basis=wind_basis,
        wind_height_m=wind_height_m,
        source=sheet.id,
        credit=sheet.feed.credit,
        issued_at=when_issued,
        fetched_at=fetched_at,
        members=members,
        feed_of=(0,) * len(members),
        **columns_on_steps,
        dropped=tuple(told),
    )


def _one_place(answer: Any, sheet: Sheet) -> Any:
    """The part of the answer that all paths begin at: of one place, not of several."""
    shape = sheet.shape
    if shape.root is not None:
        if isinstance(answer, list) and len(answer) != 1:
            raise Rejected("shape", f"the answer is a list of {len(answer)}, not of one place")
        answer = found(answer, shape.root)
    bare_rows = (
        shape.kind == "rows" and isinstance(answer, list) and _OWN_LIST.match(shape.records or "@")
    )
    if not isinstance(answer, dict) and not bare_rows:
        raise Rejected("shape", "the answer is not an object of one place")
    return answer


def _stated(
    answer: Any, sheet: Sheet, told: list[str]
) -> tuple[tuple[str, ...], dict[Variable, Stated]]:
    match sheet.shape.kind:
        case "columns":
            return columns(answer, sheet, told)
        case "rows":
            return ("0",), rows(answer, sheet, told)
        case "intervals":
            return ("0",), intervals(answer, sheet, told)


def _check_clock(
    answer: Any, stated: dict[Variable, Stated], sheet: Sheet, fetched_at: datetime | None
) -> None:
    """The stamps are on the clock the sheet says, and begin near the moment of the fetch."""
    if "precip" not in stated:
        return
    first = stated["precip"].first
    if math.isnan(first):
        raise Rejected("time", "no stamp can be placed in time")
    if sheet.time.offset_path:
        check_offset(found(answer, sheet.time.offset_path), first, sheet.time)
    if fetched_at is not None and sheet.request.kind == "forecast":
        check_first(first, fetched_at, sheet.time)


def _series(
    answer: Any, stated: dict[Variable, Stated], sheet: Sheet, told: list[str]
) -> dict[Variable, Samples]:
    run_start = found(answer, sheet.shape.run_start) if sheet.shape.run_start else None
    start = moment_of(run_start, sheet.time.zone)
    began = None if start is None else start.timestamp()
    series: dict[Variable, Samples] = {}
    for name, values in stated.items():
        samples = samples_of(values, name, sheet.vars[name], began, told)
        if len(samples.starts):
            series[name] = samples
        else:
            told.append(f"{name}: none of its values covers any time")
    return series


def error_reason(answer: Any, sheet: Sheet) -> str | None:
    """What the service says is wrong, on one line and not too long."""
    reason = found(answer, sheet.errors.reason) if sheet.errors.reason else None
    return " ".join(str(reason).split())[:300] if reason else None


def _whole_members(
    members: tuple[str, ...], series: dict[Variable, Samples], sheet: Sheet, told: list[str]
) -> tuple[tuple[str, ...], dict[Variable, Samples]]:
    """Members run whole: one that lacks a required variable altogether is left out."""
    has = np.ones(len(members), dtype=np.bool_)
    for name, part in sheet.vars.items():
        if part.required or name == "precip":
            if name not in series:
                raise Rejected("missing-variable", f"{name}: not in the answer")
            has &= np.isfinite(series[name].values).any(axis=1)
            if not has.any():
                raise Rejected("missing-variable", f"{name}: no value is known")
    kept = tuple(m for m, whole in zip(members, has.tolist(), strict=True) if whole)
    if len(kept) < len(members):
        lost = ", ".join(m for m in members if m not in kept)
        told.append(f"members left out for want of a required variable: {lost}")
    if sheet.members and len(kept) < sheet.members.at_least:
        raise Rejected(
            "too-few-members", f"{len(kept)} members, at least {sheet.members.at_least} are needed"
        )
    if sheet.members and len(kept) < sheet.members.expect:
        told.append(f"{len(kept)} members, {sheet.members.expect} are usual")
    return kept, {n: Samples(s.starts, s.ends, s.values[has]) for n, s in series.items()}
