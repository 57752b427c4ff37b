"""The answer of a weather service and its sheet to Weather, or the reason why not. Pure."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.domain import Weather, WindBasis
from monitor.feeds.columns import columns, found
from monitor.feeds.samples import Rejected, Samples, settle_dropped
from monitor.feeds.stamps import check_first, moment_of
from monitor.feeds.steps import direction_over_steps, flags_over_steps, over_steps
from monitor.feeds.strict_json import parse_json

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from monitor.domain import Floats
    from monitor.feeds.sheet_parts import Sheet, Variable

__all__ = ["Rejected", "decode"]

_CLOCKS_DIFFER = timedelta(minutes=5)
_ROUNDING_MPS = 0.1
"""Mean and gust are rounded each for itself; less than this is no contradiction [m/s]."""


def decode(
    body: bytes,
    sheet: Sheet,
    *,
    fetched_at: datetime | None,
    wind_basis: WindBasis = "open",
    wind_height_m: float = 10.0,
    headers: Mapping[str, str] | None = None,
) -> Weather:
    """Canonical weather of one answer; raises Rejected where it must not be used.

    Steps are those of the rain; every other variable is laid onto them (see steps.py).
    Missing stays NaN, and the steps behind the last known rain are no part of the forecast.
    `fetched_at` None: a sample file, whose age says nothing. What was left out, and why, is
    told in `dropped`.
    """
    try:
        answer = parse_json(body)
    except ValueError as fault:
        raise Rejected("not-json", f"the answer cannot be read: {fault}") from None
    if not isinstance(answer, dict):
        raise Rejected("shape", "the answer is not an object of one place")
    if sheet.errors.flag and found(answer, sheet.errors.flag):
        raise Rejected("error-answer", error_reason(answer, sheet) or "the service says error")
    told: list[str] = []
    members, series = columns(answer, sheet, told)
    members, series = _whole_members(members, series, sheet, told)
    rain = series["precip"]
    known = np.flatnonzero(np.isfinite(rain.values).any(axis=0))
    last = int(known[-1]) + 1
    if last < len(rain.ends):
        told.append(f"steps left out at the end, without rain data: {len(rain.ends) - last}")
    starts, ends = rain.starts[:last], rain.ends[:last]
    if fetched_at is not None:
        # The first stamp, not the start of what it covers, is what the service wrote.
        stamp = ends if sheet.vars["precip"].cover == "preceding" else starts
        check_first(float(stamp[0]), fetched_at, sheet.time)
    return Weather(
        starts=starts,
        ends=ends,
        weights=np.full(len(members), 1 / len(members)),
        forecast=np.ones(last, dtype=np.bool_),
        wind_basis=wind_basis,
        wind_height_m=wind_height_m,
        source=sheet.id,
        credit=sheet.feed.credit,
        issued_at=_believed(_issued(answer, headers or {}, sheet), fetched_at),
        fetched_at=fetched_at,
        members=members,
        feed_of=(0,) * len(members),
        **_fields(series, starts, ends, told),
        dropped=tuple(told),
    )


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


def _fields(
    series: dict[Variable, Samples], starts: Floats, ends: Floats, told: list[str]
) -> dict[str, Floats]:
    unknown = np.full((series["precip"].values.shape[0], len(starts)), np.nan)

    def laid(name: Variable) -> Floats:
        if name not in series:
            return unknown
        values = over_steps(series[name], starts, ends)
        if not np.isfinite(values).any() and np.isfinite(series[name].values).any():
            told.append(f"{name}: what it covers fits none of the steps of the rain")
        return values

    wind = laid("wind")
    return {
        "rain_mm": laid("precip"),
        "wind_mps": wind,
        "gust_mps": _gusts(laid("gust"), wind, told),
        "wind_from_deg": direction_over_steps(series["direction"], series.get("wind"), starts, ends)
        if "direction" in series
        else unknown,
        "temp_c": laid("temp"),
        "dew_point_c": laid("dew_point"),
        "cloud_pct": laid("cloud"),
        "thunder": flags_over_steps(series["thunder"], starts, ends)
        if "thunder" in series
        else unknown,
    }


def _gusts(gust: Floats, wind: Floats, told: list[str]) -> Floats:
    """A greatest gust below the mean wind cannot be: it is not known."""
    below = gust < wind - _ROUNDING_MPS
    dropped = Counter({"below the mean wind": int(below.sum())})
    settle_dropped("gust", dropped, int(np.isfinite(gust).sum()), told)
    return np.where(below, np.nan, gust)


def _believed(issued: datetime | None, fetched_at: datetime | None) -> datetime | None:
    """No run is issued after it is read: such a stamp would make every later run look old."""
    if issued is not None and fetched_at is not None and issued - fetched_at > _CLOCKS_DIFFER:
        return None
    return issued


def _issued(answer: Any, headers: Mapping[str, str], sheet: Sheet) -> datetime | None:
    where = sheet.run.issued
    if where is None:
        return None
    if where.startswith("header:"):
        wanted = where.removeprefix("header:").lower()
        stated: Any = next((v for k, v in headers.items() if k.lower() == wanted), None)
    else:
        stated = found(answer, where)
    return moment_of(stated)
