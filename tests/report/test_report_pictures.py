from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from report_samples import (
    LONDON,
    NOON,
    after,
    entry,
    fixture,
    material,
    position,
    show,
    svgs,
    weather,
)

from monitor.domain import Cover
from monitor.drawing import round_up
from monitor.drawing.time_axis import ticks
from monitor.exposure.results import Carried
from monitor.report.covers import cover_spans
from monitor.report.page import page
from monitor.report.site_times import SiteTimes

NAME = "{http://www.w3.org/2000/svg}"
FLOOR, TALL = 193.0, 60.0
"""Foot and height of the panel of used, whose axis ends at 1.5"""
LEFT, WIDE = 62.0, 684.0


def pictures(made):
    return [ET.fromstring(svg) for svg in svgs(page(made))]


def texts(svg):
    return [t.text for t in svg.iter(f"{NAME}text")]


def curve(svg):
    """The used curve as (hours after noon per hour of the axis, used)."""
    (drawn,) = [p for p in svg.iter(f"{NAME}path") if p.get("stroke-linejoin")]
    points = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", drawn.get("d"))
    return [((float(x) - LEFT) / WIDE, (FLOOR - float(y)) / TALL * 1.5) for x, y in points]


def bars(svg, fill):
    return [p for p in svg.iter(f"{NAME}path") if p.get("fill") == fill]


def test_used_is_drawn_where_it_was():
    # IP44 hire keeps 25 mm: 10 mm in the first hour use 0.4, 5 mm in the fourth 0.2 more.
    (svg,) = pictures(material(show(fixture(code="IP44")), weather([10.0, 0.0, 0.0, 5.0])))
    points = dict(curve(svg))
    assert points[0.0] == pytest.approx(0.0)
    assert points[0.25] == pytest.approx(0.4, abs=0.01)
    assert points[0.75] == pytest.approx(0.4, abs=0.01)
    assert points[1.0] == pytest.approx(0.6, abs=0.01)
    assert "beyond the picture" not in " ".join(texts(svg))


def test_a_dry_inspection_sets_it_back_and_what_is_beyond_is_said():
    made = material(
        show(fixture(code="IP44")),
        weather([10.0, 0.0, 5.0, 0.0]),
        (entry(1.5, "inspected", result="dry"),),
    )
    (svg,) = pictures(made)
    at = [used for x, used in curve(svg) if x == pytest.approx(1.5 / 4, abs=1e-3)]
    assert max(at) == pytest.approx(0.4, abs=0.01)
    assert min(at) == pytest.approx(0.0, abs=0.01)
    assert curve(svg)[-1][1] == pytest.approx(0.2, abs=0.01)
    (svg,) = pictures(material(show(fixture()), weather([1.0])))
    assert "beyond the picture: reaches 2.00" in texts(svg)


def test_what_was_used_before_the_period_begins_the_curve():
    before = replace(Carried.nothing(1), used=np.array([[0.5], [0.0], [0.0]]))
    made = material(show(fixture(code="IP44")), weather([5.0]), before=before, rehearsed=False)
    (svg,) = pictures(made)
    assert curve(svg)[0] == pytest.approx((0.0, 0.5), abs=0.01)


def test_forecast_record_and_measurement_look_different_without_colour():
    fell = weather([1.0, 1.0, 1.0])
    fell = replace(fell, forecast=np.array([False, True, False]))
    made = material(show(fixture()), fell, measured=np.array([False, False, True]))
    (svg,) = pictures(made)
    assert len(bars(svg, "#8298b0")) == 2  # rain and driven water, each
    assert len(bars(svg, "#111111")) == 2
    assert len(bars(svg, "url(#p0-forecast)")) == 2
    assert [p.get("id") for p in svg.iter(f"{NAME}pattern")] == [
        "p0-forecast",
        "p0-unknown",
        "p0-covered",
    ]


def test_what_is_not_known_is_hatched_where_it_is():
    (svg,) = pictures(material(show(fixture()), weather([0.0, np.nan, np.nan, 0.0])))
    (hatched,) = bars(svg, "url(#p0-unknown)")
    x, width = re.match(r"M([\d.]+) [\d.]+h([\d.]+)v", hatched.get("d")).groups()
    assert (float(x) - LEFT) / WIDE == pytest.approx(0.25, abs=1e-3)
    assert float(width) / WIDE == pytest.approx(0.5, abs=1e-3)
    assert "not known" in texts(svg)
    assert "none that is known" in texts(svg)


def test_log_entries_are_marked_and_covers_drawn():
    hood = Cover("hood", "hood", sealed=True, in_stock=9)
    rig = show(fixture(cover="hood"), fixture("f2", cover="hood"), covers=(hood,))
    log = (
        entry(1.0, "covered", fixture="f1"),
        entry(1.0, "covered", fixture="f2"),
        entry(3.0, "uncovered"),
        entry(3.0, "inspected", result="dry"),
        entry(3.5, "brought-in"),
    )
    (svg,) = pictures(material(rig, weather([0.0] * 4), log))
    letters = [t for t in texts(svg) if t in "CUIB"]
    assert sorted(letters) == ["B", "C", "I", "U"]
    assert "×2" in texts(svg)
    (box,) = bars(svg, "url(#p0-covered)")
    x, width = re.match(r"M([\d.]+) [\d.]+h([\d.]+)v", box.get("d")).groups()
    assert (float(x) - LEFT) / WIDE == pytest.approx(0.25, abs=1e-3)
    assert float(width) / WIDE == pytest.approx(0.5, abs=1e-3)
    rings = [(float(c.get("cx")), float(c.get("cy"))) for c in svg.iter(f"{NAME}circle")]
    for i, (x, y) in enumerate(rings):
        assert all(abs(x - u) > 12 or abs(y - v) > 12 for u, v in rings[:i]), "no ring on another"


def test_a_cover_is_drawn_while_it_counts():
    # The gust of 12 passes the cover's 10: off from the third hour on, though logged on until
    # the fifth. Put on again in the sixth it holds.
    hood = Cover("hood", "hood", sealed=True, gust_limit_mps=10.0, in_stock=9)
    log = (entry(0.5, "covered"), entry(4.0, "uncovered"), entry(5.0, "covered"))
    made = material(
        show(fixture(cover="hood"), covers=(hood,)),
        weather([0.1] * 7, gust=[5.0, 5.0, 12.0, 5.0, 12.0, 5.0, 5.0]),
        log,
    )
    hours = [(a - NOON.timestamp(), b - NOON.timestamp()) for a, b in cover_spans(made, 0)]
    assert hours == [(0.5 * 3600, 2 * 3600), (5 * 3600, 7 * 3600)]
    assert made.exposure.covered_hours[0, 0] == pytest.approx(1.5 + 2.0)
    (svg,) = pictures(made)
    (drawn,) = bars(svg, "url(#p0-covered)")
    assert drawn.get("d").count("M") == 2


def test_a_cover_blown_off_before_the_period_stays_off_until_it_is_put_on_again():
    hood = Cover("hood", "hood", sealed=True, gust_limit_mps=10.0, in_stock=9)
    log = (
        entry(-2.0, "put-out"),
        entry(-1.0, "covered"),
        entry(1.0, "uncovered"),
        entry(2.0, "covered"),
    )
    blown = replace(Carried.nothing(1), blown=np.array([True]))
    described = show(fixture(cover="hood"), covers=(hood,))
    made = material(described, weather([0.1] * 4, gust=5.0), log, before=blown)
    hours = [(a - NOON.timestamp(), b - NOON.timestamp()) for a, b in cover_spans(made, 0)]
    assert hours == [(2 * 3600, 4 * 3600)]


def test_more_entries_than_there_is_room_for_are_counted():
    log = tuple(entry(1.0 + i / 600, "inspected", result="damp") for i in range(20))
    (svg,) = pictures(material(show(fixture()), weather([0.0] * 48), log))
    drawn = len(list(svg.iter(f"{NAME}circle")))
    assert drawn < 20
    assert f"and {20 - drawn} more, in the log below" in texts(svg)


def test_every_position_has_a_picture_with_patterns_of_its_own():
    rig = show(
        fixture("a"), fixture("b", position="tent"), positions=(position(), position("tent"))
    )
    drawn = pictures(material(rig, weather([1.0])))
    assert len(drawn) == 2
    ids = [p.get("id") for svg in drawn for p in svg.iter(f"{NAME}pattern")]
    assert len(set(ids)) == len(ids)


def test_a_year_of_hours_stays_small():
    rain = np.zeros(8760)
    rain[4000], rain[4001] = 7.0, 9.0
    html = page(material(show(fixture(code="IP66")), weather(rain)))
    assert len(html) < 80_000
    svg = ET.fromstring(svgs(html)[0])
    assert len([t for t in texts(svg) if re.fullmatch(r"\w{3} \d+ \w{3}", t or "")]) <= 13


# ------------------------------------------------------------ axes


@pytest.mark.parametrize(
    ("value", "end"),
    [(0.0, 1.0), (0.07, 0.08), (1.0, 1.0), (2.1, 3.0), (21.6, 30.0), (94.0, 100.0)],
)
def test_an_axis_ends_on_a_round_number(value, end):
    assert round_up(value) == pytest.approx(end)


def test_ticks_are_site_hours_over_a_change_of_the_clocks():
    # On 28 March 2027 the clocks of London jump at 01:00Z from 01:00 to 02:00: 06:00 on site is
    # 06:00Z on the day before and 05:00Z on the day itself.
    start = NOON.replace(month=3, day=27, hour=0).timestamp()
    found = {t.at_s: t for t in ticks(start, start + 2 * 86400, LONDON, 600.0)}
    assert found[start + 6 * 3600].label == "06"
    assert found[start + 24 * 3600].day == "Sun 28 Mar"
    assert found[start + 29 * 3600].label == "06"
    assert start + 30 * 3600 not in found


def test_times_say_their_offset_only_after_a_change_of_the_clocks():
    first = NOON.replace(month=3, day=27)
    times = SiteTimes(LONDON, first)
    assert times.at(first) == "Sat 27 Mar 12:00"
    assert times.at(first.replace(day=28)) == "Sun 28 Mar 13:00 UTC+1"
    assert times.iso(after(0)) == "2027-07-01T13:00:00+01:00"
    assert SiteTimes(LONDON, NOON).span(after(0), after(1)) == "Thu 1 Jul 13:00 to 14:00"
    assert SiteTimes(LONDON, NOON).name == "BST (UTC+1)"


# ---------------------------------------------------------------- nothing is cut or struck through


def extent(text):
    """How far a line of text reaches across, at 6.5 units a letter, wider than Helvetica's mean."""
    wide = 6.5 * len(text.text or "")
    x = float(text.get("x"))
    return {"start": (x, x + wide), "middle": (x - wide / 2, x + wide / 2), "end": (x - wide, x)}[
        text.get("text-anchor")
    ]


@pytest.mark.parametrize("spent_in", [0, 12, 23])
def test_a_label_past_the_end_of_the_axis_stays_in_the_picture(spent_in):
    # an IP20 takes 0.5 mm: 100 mm are 200 allowances, far beyond 1.5
    rain = [0.0] * 24
    rain[spent_in] = 100.0
    (svg,) = pictures(material(show(fixture()), weather(rain)))
    (label,) = [t for t in svg.iter(f"{NAME}text") if (t.text or "").startswith("beyond the")]
    assert label.text == "beyond the picture: reaches 200"
    assert extent(label)[1] <= LEFT + WIDE


def grounds(svg):
    """(x, y, width, height) of the plain grounds, in the order they are drawn."""
    found = [p.get("d") for p in bars(svg, "#ffffff")]
    numbers = [re.fullmatch(r"M([-\d.]+) ([-\d.]+)h([-\d.]+)v([-\d.]+)h[-\d.]+z", d) for d in found]
    return [tuple(float(n) for n in match.groups()) for match in numbers if match]


def test_titles_have_a_plain_ground_where_hours_are_not_known():
    rain = [0.0] * 24
    rain[6:18] = [np.nan] * 12
    (svg,) = pictures(material(show(fixture()), weather(rain)))
    titles = [
        t
        for t in svg.iter(f"{NAME}text")
        if (t.text or "").startswith(("Rain on", "Driven", "Allowance used"))
    ]
    assert len(titles) == 3
    for title in titles:
        x, y = float(title.get("x")), float(title.get("y"))
        wide = 5.5 * len(title.text)
        assert any(
            gx <= x and gx + gw >= x + wide and gy <= y - 9 and gy + gh >= y + 2
            for gx, gy, gw, gh in grounds(svg)
        ), title.text


def test_an_hour_of_a_month_that_is_not_known_is_seen():
    rain = [0.0] * 720
    rain[360] = np.nan
    (svg,) = pictures(material(show(fixture()), weather(rain)))
    (hatched,) = bars(svg, "url(#p0-unknown)")
    width = float(re.search(r"h([\d.]+)v", hatched.get("d")).group(1))
    # an hour of 720 is 684 / 720, less than one unit: drawn at four
    assert width == pytest.approx(4.0)


def test_a_short_span_that_is_not_known_is_marked():
    rain = [0.0] * 24
    rain[12] = np.nan
    (svg,) = pictures(material(show(fixture()), weather(rain)))
    # 684 / 24 = 28.5 units: too narrow for words
    assert "?" in texts(svg)
