"""The page: whole in itself, on one sheet of paper, and a picture whose places are worked by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import time
from functools import partial
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from briefing_samples import (
    HOOD,
    NOON,
    SITE,
    WET,
    after,
    entry,
    fixture,
    hours,
    known,
    person,
    position,
    show,
    standing,
    weather,
)

from monitor.briefing.daily import daily_sheet
from monitor.briefing.handover import handover_sheet
from monitor.briefing.known import Told
from monitor.briefing.picture import (
    GUST_TALL,
    GUST_TOP,
    LEFT,
    PLOT,
    RAIN_TALL,
    RAIN_TOP,
    limits,
    picture,
)
from monitor.briefing.room import PAGE_MM, fitted, height_mm
from monitor.briefing.written import as_page
from monitor.domain import Hours
from monitor.drawing.time_axis import ticks

NS = "{http://www.w3.org/2000/svg}"
BOTH = pytest.mark.parametrize("make", [handover_sheet, daily_sheet])


def crowded():
    """More of everything than a page holds, under long names."""
    places = [
        position(
            f"p{i:02}",
            name=f"Position number {i} with a rather long name beside the water",
            access="platform" if i % 3 == 0 else "ladder" if i % 3 == 1 else "ground",
            access_limit_mps=None if i % 3 == 2 else 8.0 + i / 10,
            height_m=3.0 + i,
        )
        for i in range(40)
    ]
    lamps = [fixture(f"LAMP-{i:02}", f"p{i:02}", count=3) for i in range(40)]
    people = [
        person(f"Person Number {i} With Names", "09:00-23:00", tickets=("hoists", "platform"))
        for i in range(12)
    ]
    made = show(*lamps, positions=places, people=people)
    alerts = tuple(
        standing(f"a{i}", "start" if i % 2 else "notice", where=f"p{i:02}") for i in range(30)
    )
    log = [
        *(entry(-2 + i / 60, "covered", f"p{i:02}", by=f"Person Number {i}") for i in range(15)),
        *(entry(-1 + i / 60, "isolated", f"p{i:02}") for i in range(20)),
        *(entry(-0.5 + i / 100, "wet", f"p{i:02}") for i in range(20, 40)),
    ]
    told = tuple(Told(a.alert.id, "production manager", "sent", after(-0.5)) for a in alerts)
    return known(
        made,
        past=(3.0, 0.0, 0.0),
        gust=hours({6: 14.0, 9: 15.0, 12: 14.0}, otherwise=6.0),
        alerts=alerts,
        told=told,
        log=log,
        lost=tuple(f"Gauge number {i} on the far side has not been heard of" for i in range(9)),
    )


@BOTH
def test_a_crowded_show_is_cut_to_one_page(make):
    seen = crowded()
    whole, page = make(seen), fitted(partial(make, seen))
    assert height_mm(whole) > PAGE_MM
    assert height_mm(page) <= PAGE_MM
    # what is left off is said
    said = " ".join(line for section in page.sections for line in section.said())
    assert len(re.findall(r"And \d+ more", said)) >= 3


@BOTH
def test_the_widest_names_are_cut_to_one_page(make):
    places = [position(f"p{i:02}", name="WM" * 36, height_m=3.0 + i) for i in range(40)]
    lamps = [fixture(f"{i:02}{'W' * 40}", f"p{i:02}", count=3) for i in range(40)]
    crew = [person(f"{'W' * 50}{i}", "09:00-23:00") for i in range(20)]
    log = [
        *(entry(-2 + i / 60, "covered", f"p{i:02}") for i in range(40)),
        *(entry(-1 + i / 60, "isolated", f"p{i:02}") for i in range(40)),
    ]
    lost = tuple(f"Lost: feed {'W' * 200}" for _ in range(8))
    seen = known(
        show(*lamps, positions=places, people=crew), past=(3.0, 0.0, 0.0), log=log, lost=lost
    )
    assert height_mm(fitted(partial(make, seen))) <= PAGE_MM


@BOTH
def test_covers_to_decide_on_at_every_place_take_one_page(make):
    places = [position(f"p{i:02}", name=f"Position number {i} by the water") for i in range(40)]
    lamps = [fixture(f"L{i:02}", f"p{i:02}", count=3) for i in range(40)]
    hoods = (replace(HOOD, in_stock=200),)
    made = show(*lamps, positions=places, covers=hoods)
    made = replace(made, event=replace(made.event, show_hours=Hours(time(15), time(22))))
    log = [entry(-2 + i / 60, "covered", f"p{i:02}") for i in range(40)]
    seen = known(made, rain=hours(dict.fromkeys((1, 2, 3), 0.1)), log=log)
    page = fitted(partial(make, seen))
    assert height_mm(page) <= PAGE_MM
    said = " ".join(line for section in page.sections for line in section.said())
    assert re.search(r"And \d+ more (to decide on|on the handover sheet)", said)


@BOTH
def test_a_small_show_is_not_cut(make):
    seen = known()
    assert fitted(partial(make, seen)).sections == make(seen).sections


def test_a_page_holds_what_is_reckoned():
    # 277 mm are 297 less 10 above and below, as the template sets them
    text = as_page(handover_sheet(known()))
    assert "@page { size: A4; margin: 10mm 11mm; }" in text
    assert PAGE_MM == 297 - 2 * 10


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.attributes = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]


@BOTH
def test_the_page_needs_nothing_beside_it(make):
    made = show(fixture("f1", count=2), positions=(position("lawn", name="<script>x()</script>"),))
    text = as_page(make(known(made)))
    found = _Tags()
    found.feed(text)
    assert not {"script", "link", "img", "iframe", "object", "base", "form"} & set(found.tags)
    addresses = [v for _, n, v in found.attributes if n in ("href", "src", "action")]
    assert addresses == []
    assert "url(http" not in text
    assert "&lt;script&gt;" in text
    assert found.tags.count("h1") == 1


def test_two_boxes_to_tick_on_the_handover_and_none_on_the_daily():
    assert as_page(handover_sheet(known())).count('class="sign"') == 2
    assert 'class="sign"' not in as_page(daily_sheet(known()))


# ---------------------------------------------------------------- the picture


def drawn(**more):
    return ET.fromstring(str(picture(known(**more))))


def paths(svg):
    return [element.get("d") for element in svg.iter(f"{NS}path")]


def texts(svg):
    return [element.text for element in svg.iter(f"{NS}text")]


def test_rain_stands_at_its_hours():
    # 24 hours over 576: 24 an hour. 17:00 UTC is 5 h on: 92 + 120 = 212. The axis ends at 3,
    # the round number after 2 x 1.15 = 2.3, so a bar of 2 is two thirds of 64 tall.
    assert (LEFT, PLOT, RAIN_TOP, RAIN_TALL) == (92.0, 576.0, 20.0, 64.0)
    tall = 64.0 * 2 / 3
    first = f"M212 {84 - tall:.2f}h23.2v{tall:.2f}h-23.2z"
    assert any(d.startswith(first) and d.count("M") == 3 for d in paths(drawn()))


def test_the_gust_passes_the_limit_where_the_access_closes():
    # highest is 14 x 1.08 = 15.12: the axis ends at 20. 84 tall from 106: 12.5 lies at
    # 190 - 84 x 12.5 / 20 = 137.5, and 14 at 131.2.
    svg = drawn()
    assert (GUST_TOP, GUST_TALL) == (106.0, 84.0)
    dashed = [e for e in svg.iter(f"{NS}line") if e.get("stroke-dasharray")]
    assert [e.get("y1") for e in dashed] == ["137.5"]
    line = next(d for d in paths(svg) if d.startswith("M92 ") and "L" in d)
    # 18:00 UTC to 20:00 UTC are 6 to 8 hours on: 236 to 284
    assert "236 131.2 L260 131.2 L260 131.2 L284 131.2" in line
    # and the bar below is closed for the same two hours
    assert any(d.startswith("M236 202h48v10") for d in paths(svg))
    assert "Platform 12.5" in texts(svg)


def test_a_limit_aloft_is_drawn_at_the_gust_at_10_m_that_reaches_it():
    # terrain II, z0 0.05 m: ln(20 / 0.05) / ln(10 / 0.05) = 5.9915 / 5.2983 = 1.13083
    high = position("mast", height_m=20.0, access="climb", access_limit_mps=12.5)
    made = show(fixture("m1", "mast"), positions=(high,))
    (one,) = limits(known(made))
    assert one.at_10m_mps == pytest.approx(12.5 / 1.13083, abs=1e-3)
    assert one.plate_mps == 12.5


def test_hours_are_site_time_and_now_is_marked():
    said = texts(drawn())
    assert "now 13:00" in said
    # 24 ticks, the first at 13 on site; the day is named at midnight
    assert {"14", "00", "Fri 2 Jul"} <= set(said)


def test_every_hour_of_a_night_with_a_change_of_the_clocks_is_named_as_the_site_has_it():
    # London, 28 March 2027: after 00:59 UTC+0 comes 02:00 UTC+1, which is 01:00 UTC
    start = NOON.replace(month=3, day=28, hour=0).timestamp()
    labels = {t.at_s: t.label for t in ticks(start, start + 6 * 3600, SITE.timezone, 200.0)}
    assert [labels[start + h * 3600] for h in range(4)] == ["00", "02", "03", "04"]
    # 31 October: 02:00 UTC+1 is 01:00 again; 02:00 UTC+0 is the fourth hour from midnight
    start = NOON.replace(month=10, day=30, hour=23).timestamp()
    labels = {t.at_s: t.label for t in ticks(start, start + 6 * 3600, SITE.timezone, 200.0)}
    assert (labels[start], labels[start + 3600], labels[start + 3 * 3600]) == ("00", "01", "02")


def test_what_is_not_known_is_said_and_not_drawn_as_dry():
    svg = drawn(ahead=weather(hours({5: 2.0}, of=10)))
    assert "not known" in texts(svg)
    # from 22:00 UTC, ten hours on, to the end: 92 + 240 = 332, 336 wide
    assert any(d.startswith("M332 20h336v64") for d in paths(svg))
    nothing = drawn(ahead=None)
    assert texts(nothing).count("not known") == 2
    assert "none" not in texts(nothing)
    assert "none" in texts(drawn(rain=hours({})))


def test_thunder_has_a_mark():
    with_it = len(paths(drawn(thunder=hours({5: 1.0}))))
    assert with_it > len(paths(drawn()))
    assert any("l-8 13h5" in d for d in paths(drawn(thunder=hours({5: 1.0}))))


def test_a_hole_breaks_the_line_of_the_gust():
    gust = np.array(hours({}, otherwise=6.0))
    gust[4] = np.nan
    coming = weather(WET, gust=gust, wind=np.where(np.isnan(gust), np.nan, 0.0))
    lines = [d for d in paths(ET.fromstring(str(picture(known(ahead=coming))))) if " L" in d]
    assert len([d for d in lines if d.startswith(("M92 ", "M212 "))]) == 2


def test_the_page_is_the_same_every_time():
    assert as_page(daily_sheet(known())) == as_page(daily_sheet(known()))
    assert NOON.tzinfo is not None
