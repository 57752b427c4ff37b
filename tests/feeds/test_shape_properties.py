"""Whatever a service answers: refused or read, never invented."""

from __future__ import annotations

import itertools
import json
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shape_sheets import COLUMNS, HEAD, INTERVALS, RAIN, ROWS, WIND, at, read, stamp

from monitor.feeds.decode import Rejected, decode
from monitor.feeds.samples import Samples
from monitor.feeds.sheet import builtin_ids, builtin_sheet, read_sheet
from monitor.feeds.steps import flags_over_steps, greatest_over_steps, mean_over_steps

scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.text(max_size=4),
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-(10**400), 10**400),
    st.sampled_from(
        [stamp(6), "2026-06-01T06:00Z/PT3H", "2026-06-01T06:00", "0001-01-01T00:00", 1780293600]
    ),
)
anything = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(["at", "rain", "wind", "hours", "values", "validTime", "value", "x"]),
            inner,
            max_size=4,
        ),
    ),
    max_leaves=12,
)
TOTAL = '[vars.precip]\npath = "rain"\ncover = "run_total"\nstat = "sum"\nunit = "m"\n'
RATE = '[vars.precip]\npath = "rain"\ncover = "instant"\nstat = "rate"\nunit = "kg m-2 s-1"\n'
PERIODS = (
    '[vars.precip]\nfirst_of = [ { path = "rain", period = "1h" }, { path = "x", period = "6h" } ]\n'
    'cover = "following"\nstat = "sum"\nunit = "in"\n'
)
VECTOR = '[vars.direction]\nvector = ["wind", "x"]\ncover = "instant"\nstat = "mean"\nunit = "kn"\n'
SPAN = '[vars.precip]\npath = "rain.values"\ncover = "interval"\nstat = "sum"\nunit = "mm"\n'
CODE = (
    '[vars.thunder]\npath = "x"\ncover = "instant"\nstat = "code"\nparse = "number"\n'
    'map = { ">=3" = "yes", "~a" = "unknown", "*" = "no" }\n'
)
SHEETS = [
    read_sheet(text, "own.toml")
    for text in (
        ROWS + RAIN + WIND + CODE,
        ROWS + PERIODS + VECTOR,
        ROWS.replace('"hours"', '"@"') + RATE,
        ROWS.replace('"hours"', '"hours"\neach = "values"') + RAIN,
        ROWS.replace('"at"', '"at"\nformat = "unix_ms"\nstart_path = "x"')
        + RAIN.replace("preceding", "interval"),
        ROWS.replace('"at"', '"at"\nformat = "strptime:%Y"') + RAIN,
        COLUMNS.replace("[time]", 'root = "[0]"\nrun_start = "x"\n[time]') + TOTAL + CODE,
        COLUMNS + TOTAL + VECTOR + WIND,
        INTERVALS + SPAN + WIND.replace("instant", "interval"),
        HEAD + '[shape]\nkind = "intervals"\ninterval = "at"\n[time]\nzone = "UTC"\n' + RAIN,
    )
]
BUILT_IN = [builtin_sheet(one) for one in builtin_ids()]


@given(st.sampled_from(SHEETS + BUILT_IN), anything)
def test_no_json_makes_any_sheet_fall_over(sheet, answer):
    body = json.dumps(answer).encode()
    try:
        weather = decode(
            body,
            sheet,
            fetched_at=datetime(2026, 6, 1, 6, tzinfo=UTC),
            latitude=50.0,
            longitude=8.0,
            elevation_m=100.0,
        )
    except Rejected:
        return
    assert (weather.starts < weather.ends).all()
    assert (weather.ends[:-1] <= weather.starts[1:]).all()
    assert not (weather.rain_mm < 0).any()
    assert np.isfinite(weather.rain_mm[:, -1]).any()


SAMPLES = Path(__file__).parent.parent / "sheets" / "samples"
ANSWERS = [
    (builtin_sheet(path.stem), json.loads(path.read_bytes()))
    for path in sorted(SAMPLES.glob("*.json"))
]


def places(answer, at=()):
    """Every place of an answer, as the keys that lead there."""
    yield at
    inner = answer.items() if isinstance(answer, dict) else ()
    inner = enumerate(answer) if isinstance(answer, list) else inner
    for key, value in inner:
        yield from places(value, (*at, key))


def changed(answer, at, value):
    if not at:
        return value
    copy = dict(answer) if isinstance(answer, dict) else list(answer)
    copy[at[0]] = changed(answer[at[0]], at[1:], value)
    return copy


@given(
    st.sampled_from(ANSWERS),
    st.randoms(use_true_random=False),
    st.lists(scalars, min_size=1, max_size=3),
)
def test_a_sound_answer_with_something_else_in_places(sound, chance, values):
    sheet, answer = sound
    for value in values:
        answer = changed(answer, chance.choice(list(places(answer))), value)
    try:
        weather = decode(json.dumps(answer).encode(), sheet, fetched_at=None)
    except Rejected:
        return
    assert (weather.starts < weather.ends).all()
    assert not (weather.rain_mm < 0).any()


near = st.one_of(
    scalars, st.lists(st.one_of(st.none(), st.floats(-1, 300), scalars), min_size=3, max_size=3)
)


@given(
    st.sampled_from(SHEETS[6:8]),
    st.fixed_dictionaries({"rain": near, "wind": near, "x": near, "run": near}),
)
def test_no_column_makes_it_fall_over(sheet, lists):
    answer = {"at": [stamp(6), stamp(7), stamp(9)], **lists}
    try:
        sent = [answer] if sheet.shape.root else answer
        weather = decode(json.dumps(sent).encode(), sheet, fetched_at=None)
    except Rejected:
        return
    assert not (weather.rain_mm < 0).any()


amounts = st.lists(st.one_of(st.none(), st.floats(0, 200)), min_size=1, max_size=30)


@given(amounts, st.randoms(use_true_random=False))
def test_order_of_records_does_not_matter(rain, chance):
    records = [{"at": stamp(i), "rain": r, "x": r, "wind": i % 7} for i, r in enumerate(rain)]
    mixed = list(records)
    chance.shuffle(mixed)
    for text in (ROWS + RAIN + WIND, ROWS + PERIODS.replace('"x"', '"six"') + WIND):
        try:
            first = read(text, {"hours": records})
        except Rejected:
            with pytest.raises(Rejected):
                read(text, {"hours": mixed})
            continue
        second = read(text, {"hours": mixed})
        assert np.array_equal(first.starts, second.starts)
        assert np.array_equal(first.rain_mm, second.rain_mm, equal_nan=True)
        assert np.array_equal(first.wind_mps, second.wind_mps, equal_nan=True)
        assert first.dropped == second.dropped


@given(amounts)
def test_rain_of_records_is_neither_lost_nor_made_and_a_null_is_no_number(rain):
    answer = {"hours": [{"at": stamp(i), "rain": r} for i, r in enumerate(rain)]}
    if all(r is None for r in rain):
        with pytest.raises(Rejected):
            read(ROWS + RAIN, answer)
        return
    weather = read(ROWS + RAIN, answer)
    shown = [None if math.isnan(r) else r for r in weather.rain_mm[0].tolist()]
    ended = len(rain) - next(i for i, r in enumerate(reversed(rain)) if r is not None)
    assert shown == rain[:ended]


@given(
    st.lists(
        st.tuples(st.one_of(st.none(), st.floats(0, 100)), st.one_of(st.none(), st.floats(0, 100))),
        min_size=1,
        max_size=24,
    )
)
def test_periods_never_add_up_to_more_than_was_stated(pairs):
    records = [{"at": stamp(i), "rain": one, "x": six} for i, (one, six) in enumerate(pairs)]
    text = ROWS + PERIODS.replace('"in"', '"mm"')
    try:
        weather = read(text, {"hours": records})
    except Rejected:
        return
    assert (weather.ends[:-1] <= weather.starts[1:]).all()
    hours = {at(i): one for i, (one, _) in enumerate(pairs)}
    sixes = {at(i): six for i, (_, six) in enumerate(pairs)}
    for start, end, rain in zip(
        weather.starts.tolist(), weather.ends.tolist(), weather.rain_mm[0].tolist(), strict=True
    ):
        stated = hours[start] if end - start == 3600 else sixes[start]
        assert math.isnan(rain) or rain == stated
    # Every hour that is stated by itself is there.
    assert {at(i) for i, (one, _) in enumerate(pairs) if one is not None} <= set(
        weather.starts[weather.ends - weather.starts == 3600].tolist()
    )


@given(st.lists(st.floats(0, 20), min_size=2, max_size=40), st.booleans())
def test_a_rising_total_comes_apart_into_what_it_rose_by(added, stated):
    total = np.cumsum(added).tolist()
    answer = {"at": [stamp(i + 1) for i in range(len(total))], "rain": total}
    text = COLUMNS.replace("[time]", 'run_start = "run"\n[time]') + TOTAL.replace('"m"', '"mm"')
    weather = read(text, {**answer, **({"run": stamp(0)} if stated else {})})
    right = added if stated else added[1:]
    assert weather.rain_mm[0].tolist() == pytest.approx(right, abs=1e-9)
    assert weather.rain_mm.sum() <= total[-1] + 1e-9


@given(
    st.lists(
        st.tuples(st.integers(1, 9), st.one_of(st.none(), st.integers(0, 60))),
        min_size=1,
        max_size=12,
    ),
    st.lists(st.integers(1, 9), min_size=1, max_size=8),
    st.integers(-6, 6),
)
def test_spans_laid_on_steps_against_every_quarter_hour(spans, lengths, offset):
    """The same by brute force: every quarter of an hour by itself, then together."""
    edges = np.cumsum([0, *(n for n, _ in spans)])
    values = np.array([[math.nan if v is None else float(v) for _, v in spans]])
    step_edges = offset + np.cumsum([0, *lengths])
    starts, ends = step_edges[:-1] * 900.0, step_edges[1:] * 900.0
    samples = Samples(edges[:-1] * 900.0, edges[1:] * 900.0, values)
    mean = mean_over_steps(samples, starts, ends)[0]
    greatest = greatest_over_steps(samples, starts, ends)[0]
    flags = flags_over_steps(
        Samples(samples.starts, samples.ends, np.where(np.isnan(values), values, values > 30)),
        starts,
        ends,
    )[0]
    quarters = {q: values[0, i] for i in range(len(spans)) for q in range(edges[i], edges[i + 1])}
    for i, (a, b) in enumerate(itertools.pairwise(step_edges)):
        inside = [quarters[q] for q in range(a, b) if q in quarters]
        if not inside:
            assert math.isnan(mean[i])
            assert math.isnan(greatest[i])
            assert math.isnan(flags[i])
            continue
        unknown = any(math.isnan(v) for v in inside)
        assert mean[i] == pytest.approx(
            math.nan if unknown else sum(inside) / len(inside), nan_ok=True
        )
        assert greatest[i] == pytest.approx(math.nan if unknown else max(inside), nan_ok=True)
        thundery = any(v > 30 for v in inside)
        expected = 1.0 if thundery else math.nan if unknown else 0.0
        assert flags[i] == pytest.approx(expected, nan_ok=True)
