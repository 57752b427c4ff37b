"""Weather records in CSV: one row per step, read whole or refused with every fault."""

from __future__ import annotations

import csv
import io
import math
from datetime import UTC, datetime, timedelta
from difflib import get_close_matches
from typing import NamedTuple

import numpy as np

from monitor.domain import WEATHER_VALUES, BadInputError, Weather, WindBasis
from monitor.feeds.dew_above_air import DewAboveAir
from monitor.feeds.row_faults import Faults
from monitor.feeds.table import Table, read_table
from monitor.units import SECONDS_PER_MINUTE, to_moment

COLUMNS = ("starts_at", "minutes", *WEATHER_VALUES)
REQUIRED = COLUMNS[:3]

# What cannot be, whatever the weather: (least, most) in the column's own unit.
POSSIBLE: dict[str, tuple[float, float]] = {
    "minutes": (0.0, 1440.0),
    "rain_mm": (0.0, 2000.0),  # the most ever measured in 24 h is 1,825 mm
    "wind_mps": (0.0, 120.0),
    "gust_mps": (0.0, 150.0),
    "wind_from_deg": (0.0, 360.0),
    "temp_c": (-60.0, 60.0),
    "dew_point_c": (-80.0, 60.0),
    "cloud_pct": (0.0, 100.0),
}
_MOST_RAIN_MM_IN_1_H = 500.0
_MINUTES_PER_HOUR = 60.0
_THUNDER = {"yes": 1.0, "no": 0.0, "": math.nan}
_OFFSETS = (timedelta(hours=-12), timedelta(hours=14))
"""No place on earth keeps a clock further from UTC than this."""
_YEARS = (1900, 2200)
_NAN = math.nan


def most_rain_mm(hours: float) -> float:
    """More rain than ever fell anywhere in so many hours [mm].

    Notes
    -----
    The world's records lie under 422 sqrt(hours) mm (Jennings 1950, from memory); a fifth is
    put on top.
    """
    return _MOST_RAIN_MM_IN_1_H * math.sqrt(hours)


class _Row(NamedTuple):
    line: int
    start: float
    end: float
    values: tuple[float, ...]


def read_record(
    data: bytes, name: str, *, wind_basis: WindBasis = "open", wind_height_m: float = 10.0
) -> Weather:
    """The record in `data`, sorted by time; `name` is how messages call the file.

    An empty cell is not known. Equal repeats are merged. What was merged, ignored or read
    in an unusual way is told in `dropped`. Raises BadInputError with every fault found.
    """
    table = read_table(data, name)
    faults = Faults(name)
    told = list(table.told)
    _check_headings(table, faults, told)
    rows = _in_order(_rows(table, faults, told), faults, told)
    if not rows and not faults.found:
        faults.add("empty-file", None, None, "There is no row under the headings.", "Add steps.")
    if faults.found:
        raise BadInputError(faults.problems())
    values = np.array([row.values for row in rows], dtype=np.float64).T
    by_name = {key: values[i][np.newaxis, :] for i, key in enumerate(WEATHER_VALUES)}
    return Weather(
        starts=np.array([row.start for row in rows]),
        ends=np.array([row.end for row in rows]),
        weights=np.ones(1),
        forecast=np.zeros(len(rows), dtype=np.bool_),
        wind_basis=wind_basis,
        wind_height_m=wind_height_m,
        source=name,
        dropped=tuple(told),
        **by_name,
    )


def write_record(weather: Weather) -> bytes:
    """One member's weather as a weather record, such that `read_record` gives it back."""
    if len(weather.members) != 1:
        raise ValueError("a weather record holds one member")
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    columns = [getattr(weather, key)[0].tolist() for key in WEATHER_VALUES]
    minutes = ((weather.ends - weather.starts) / SECONDS_PER_MINUTE).tolist()
    for start, length, *values in zip(weather.starts.tolist(), minutes, *columns, strict=True):
        *numbers, thunder = values
        flash = "" if math.isnan(thunder) else "yes" if thunder else "no"
        stamp = to_moment(start).replace(tzinfo=None).isoformat() + "Z"
        writer.writerow([stamp, _number_text(length), *map(_number_text, numbers), flash])
    return out.getvalue().encode()


def _number_text(value: float) -> str:
    if math.isnan(value):
        return ""
    return str(int(value)) if value == int(value) else repr(value)


def _check_headings(table: Table, faults: Faults, told: list[str]) -> None:
    missing = [c for c in REQUIRED if c not in table.headings]
    unknown = [h for h in table.headings if h and h not in COLUMNS]
    for heading in unknown:
        absent = [c for c in COLUMNS if c not in table.headings]
        near = get_close_matches(heading, absent, n=1, cutoff=0.6)
        if near:
            faults.add(
                "unknown-column",
                table.heading_line,
                heading,
                f"There is no column {heading}.",
                f"Perhaps {near[0]} is meant: rename it, and convert the values to that unit.",
            )
        else:
            told.append(f"column {heading} is not known and was ignored")
    for column in missing:
        others = f" Not known are: {', '.join(unknown)}." if unknown else ""
        faults.add(
            "missing-column",
            table.heading_line,
            column,
            f"The column {column} is missing.{others}",
            f"Give at least {', '.join(REQUIRED)} in the heading row.",
        )


def _rows(table: Table, faults: Faults, told: list[str]) -> list[_Row]:
    place = {key: i for i, key in enumerate(table.headings)}
    wanted = [(key, place.get(key)) for key in WEATHER_VALUES]
    width = len(table.headings)
    dew = DewAboveAir()
    rows = []
    for line, cells in table.rows:
        if len(cells) != width:
            faults.add(
                "row-length",
                line,
                None,
                f"The row has {len(cells)} cells under {width} headings.",
                "Give one cell for each heading (empty where not known); decimal commas need "
                "semicolons between the cells.",
            )
            continue
        start, minutes = None, _NAN
        if "starts_at" in place:
            start = _stamp(cells[place["starts_at"]], line, faults)
        if "minutes" in place:
            minutes = _number("minutes", cells[place["minutes"]], line, table.semicolons, faults)
        values = tuple(
            _NAN
            if i is None
            else _thunder(cells[i], line, faults)
            if key == "thunder"
            else _number(key, cells[i], line, table.semicolons, faults)
            for key, i in wanted
        )
        _check_together(minutes, values, line, faults)
        values = dew.believed(values, line)
        if start is not None and not math.isnan(minutes):
            rows.append(_Row(line, start, start + minutes * SECONDS_PER_MINUTE, values))
    told.extend(dew.told())
    return rows


def _stamp(cell: str, line: int, faults: Faults) -> float | None:
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        faults.add(
            "bad-stamp",
            line,
            "starts_at",
            f"{cell!r} is not a moment in ISO 8601.",
            "Write it like 2027-07-15T12:00Z or 2027-07-15T14:00+02:00.",
        )
        return None
    offset = moment.utcoffset()
    if offset is None:
        faults.add(
            "stamp-without-offset",
            line,
            "starts_at",
            f"{cell} does not say which clock it is on.",
            "Add Z for UTC or the offset, as in 2027-07-15T14:00+02:00.",
        )
        return None
    if not _OFFSETS[0] <= offset <= _OFFSETS[1] or not _YEARS[0] <= moment.year < _YEARS[1]:
        faults.add(
            "impossible-value",
            line,
            "starts_at",
            f"{cell} is on no clock in use.",
            "Offsets run from -12:00 to +14:00; years from 1900 to 2199.",
        )
        return None
    return moment.timestamp()


def _number(key: str, cell: str, line: int, semicolons: bool, faults: Faults) -> float:
    if not cell and key != "minutes":
        return _NAN
    text = cell.replace(",", ".") if semicolons else cell
    try:
        value = _NAN if "_" in text else float(text)
    except ValueError:
        value = _NAN
    if not math.isfinite(value):
        faults.add(
            "not-a-number",
            line,
            key,
            f"{cell!r} under {key} is not a number.",
            "Give how long the step is in minutes."
            if key == "minutes"
            else f"Give the bare number in the unit of {key}, or leave the cell empty.",
        )
        return _NAN
    least, most = POSSIBLE[key]
    if not least <= value <= most or (key == "minutes" and value == 0):
        faults.add(
            "impossible-value",
            line,
            key,
            f"{cell} under {key} cannot be.",
            f"{key} lies between {least:g} and {most:g}; check the unit, or leave the cell empty."
            if key != "minutes"
            else "A step is longer than 0 and at most 1440 minutes.",
        )
        return _NAN
    return value


def _thunder(cell: str, line: int, faults: Faults) -> float:
    value = _THUNDER.get(cell.lower())
    if value is None:
        faults.add(
            "impossible-value",
            line,
            "thunder",
            f"{cell!r} under thunder is not known.",
            "Write yes or no, or leave the cell empty where it is not known.",
        )
        return _NAN
    return value


def _check_together(minutes: float, values: tuple[float, ...], line: int, faults: Faults) -> None:
    rain, wind, gust = values[:3]
    if rain > most_rain_mm(minutes / _MINUTES_PER_HOUR):
        faults.add(
            "impossible-value",
            line,
            "rain_mm",
            f"{rain:g} mm in {minutes:g} minutes is more rain than ever fell anywhere.",
            "Check the unit: rain_mm is the depth over the step, in millimetres.",
        )
    if gust < wind:
        faults.add(
            "impossible-value",
            line,
            "gust_mps",
            f"The gust, {gust:g} m/s, is lower than the mean wind, {wind:g} m/s.",
            "The greatest gust of a step is at least its mean; check the columns and units.",
        )


def _in_order(rows: list[_Row], faults: Faults, told: list[str]) -> list[_Row]:
    """Sorted, equal repeats merged, overlaps refused with both lines."""
    kept: list[_Row] = []
    merged = 0
    for row in sorted(rows, key=lambda r: (r.start, r.line)):
        last = kept[-1] if kept else None
        if last is None or row.start >= last.end - 1e-6:
            kept.append(row)
        elif row.start == last.start and _same(row, last):
            merged += 1
        elif row.start == last.start and row.end == last.end:
            faults.add(
                "repeat",
                row.line,
                "starts_at",
                f"The step at {_z(row.start)} stands on line {last.line} too, with other values.",
                "Keep one of the two; where the clocks go back, give each its own offset.",
            )
        else:
            faults.add(
                "overlap",
                row.line,
                "starts_at",
                f"The step at {_z(row.start)} begins before the one on line {last.line} ends, "
                f"at {_z(last.end)}.",
                "Check minutes and offsets; steps may have gaps between them, not overlaps.",
            )
            if row.end > last.end:
                # Later rows are held against the longer of the two.
                kept[-1] = row
    if merged:
        told.append(f"{merged} repeated rows with equal values were merged")
    return kept


def _same(one: _Row, other: _Row) -> bool:
    return one.end == other.end and all(
        a == b or (math.isnan(a) and math.isnan(b))
        for a, b in zip(one.values, other.values, strict=True)
    )


def _z(epoch_s: float) -> str:
    return datetime.fromtimestamp(epoch_s, UTC).strftime("%Y-%m-%dT%H:%MZ")
