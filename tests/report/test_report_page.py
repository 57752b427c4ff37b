from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from report_samples import (
    NOON,
    Page,
    after,
    alert,
    changes,
    entry,
    fixture,
    mail,
    material,
    position,
    show,
    svgs,
    weather,
)

from monitor.domain import Cover
from monitor.report.figures import depth, hours, share
from monitor.report.page import page
from monitor.store.chain import ChainReport

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; </style><b>",
    "{{ 7 * 7 }}",
    "]]></svg><svg onload=alert(1)>",
    "=HYPERLINK(1)",
    "Bühne Süd ☂ Łódź",
    "\x01\x02\N{RIGHT-TO-LEFT OVERRIDE}turned",
)


def read(made):
    html = page(made)
    return html, Page(html)


# ------------------------------------------------------------ figures worked by hand


def test_the_line_of_a_fixture_says_what_it_took():
    # 1 mm in a calm hour puts 1 mm on the top face. IP20 takes 0.5 mm before it runs off, so
    # used is 1 / 0.5 = 2; half is used after 0.25 mm, at 15 min, all after 0.5 mm, at 30 min.
    # 12:00Z is 13:00 on site.
    _, found = read(material(show(fixture()), weather([1.0, 0.0])))
    row, do = found.rows("fixtures")
    assert row[0] == "f1"
    assert row[1] == "IP20 hire; 0.5 mm"
    assert row[2:5] == ["pole", "1.0", "2.00"]
    assert row[5:7] == ["Thu 1 Jul 13:15", "Thu 1 Jul 13:30"]
    assert row[12] == "2.0"
    assert do[0].startswith("Dry and inspect (allowance spent)")


def test_a_forecast_step_is_charged_and_told_apart():
    # An hour of a forecast is charged 1.3 times on wetting and used, never on the rain.
    fell = weather([1.0])
    charged = replace(fell, forecast=np.ones(1, dtype=bool))
    _, found = read(material(show(fixture()), charged))
    assert found.rows("fixtures")[0][3:5] == ["1.3", "2.60"]
    assert "1.0 mm of rain on open ground (1.0 mm from forecasts)" in found.said
    _, found = read(material(show(fixture()), fell))
    assert "1.0 mm of rain on open ground (1.0 mm from a weather record)" in found.said
    _, found = read(material(show(fixture()), fell, measured=np.ones(1, dtype=bool)))
    assert "1.0 mm of rain on open ground (1.0 mm measured on site)" in found.said


def test_marks_on_steps_that_are_not_there_are_refused():
    with pytest.raises(ValueError, match="measured marks"):
        material(show(fixture()), weather([1.0]), measured=np.ones(3, dtype=bool))


def test_html_says_the_numbers_of_the_exposure():
    fell = weather([2.0, 0.3, 0.0, 4.0], wind=6.0, wind_from=225.0)
    rig = show(
        fixture("a", "IP20"),
        fixture("b", "IP44"),
        fixture("c", "IP65"),
        fixture("d", "IP23", position="tent"),
        positions=(position(), position("tent", height_m=2.0)),
    )
    made = material(rig, fell)
    _, found = read(made)
    rows = {row[0]: row for row in found.rows("fixtures") if len(row) > 1}
    for i, name in enumerate("abcd"):
        g, e = int(made.exposure.group_of[i]), made.exposure
        assert rows[name][3] == depth(e.wetting_mm[0, :, g].sum())
        assert rows[name][4] == share(e.used[0, -1, g])
        assert rows[name][7] == hours(e.wet_hours[0, g])
        assert rows[name][12] == hours(e.hours_out[g])
    used = [e.used[0, -1, int(e.group_of["abcd".index(n)])] for n in rows]
    assert used == sorted(used, reverse=True)


def test_the_first_screen_counts_fixtures_by_their_allowance():
    # 13 mm: IP20 26 times over; IP44 hire keeps 0.5 x 10 x 5 / 1 = 25 mm, so 0.52; IP44 new
    # 50 mm, so 0.26; IP66 has no limit from rain.
    rig = show(
        fixture("a", "IP20", count=4),
        fixture("b", "IP44", count=3),
        fixture("c", "IP44", condition="new", count=2),
        fixture("d", "IP66"),
    )
    _, found = read(material(rig, weather([13.0])))
    said = found.said
    assert "4 over their allowance at some time (worst 26.0 times the allowance)" in said
    assert "3 over half of it" in said
    assert "2 within half of it" in said
    assert "1 no limit from rain by their code" in said


def test_rain_worst_hour_and_wall():
    # 30-minute steps: the most in 60 minutes is 2 + 3. The hourly term of ISO 15927-3 for a
    # wall that faces the wind: 2/9 v r^(8/9) x hours, here v 9 and r 2, 4, 6 mm/h, half an hour
    # each: 2/9 x 9 x 0.5 x (2^(8/9) + 4^(8/9) + 6^(8/9)).
    index = 2 / 9 * 9 * 0.5 * (2 ** (8 / 9) + 4 ** (8 / 9) + 6 ** (8 / 9))
    fell = weather([1.0, 2.0, 3.0, 0.0], minutes=30, wind=9.0, wind_from=225.0, gust=17.04)
    _, found = read(material(show(fixture()), fell))
    assert "6.0 mm of rain" in found.said
    assert "Worst hour: 5.0 mm, Thu 1 Jul 13:30 to 14:30." in found.said
    assert f"worst wall: {index:.1f} L/m², facing south-west (225°)" in found.said
    assert "Strongest gust at 10 m over open country: 17.0 m/s, Thu 1 Jul 13:00." in found.said


def test_hours_not_known_are_said_and_never_dry():
    fell = weather([0.0, np.nan, 0.0])
    later = np.array([0, 0, 7200])
    gap = replace(fell, starts=fell.starts + later, ends=fell.ends + later)
    _, found = read(material(show(fixture()), gap))
    # 12 to 13 known, 13 to 14 without rain data, 14 to 16 no step at all, 16 to 17 known.
    assert "5.0 h in all: 2.0 h from a weather record." in found.said
    assert "3.0 h are not known" in found.said
    row, do = found.rows("fixtures")
    assert row[11] == "3.0"
    assert "Look inside: not all is known (3.0 h not known)" in do[0]
    assert "No rain fell in the hours that are known." in found.said
    assert "No rain fell." not in found.said
    assert "as far as known" in found.said


def test_rain_with_an_hour_missing_is_a_least():
    _, found = read(material(show(fixture()), weather([2.0, np.nan])))
    assert "At least 2.0 mm of rain" in found.said


# ------------------------------------------------------------ what to do now


def test_what_was_found_dry_needs_nothing_and_what_was_found_wet_stays_off():
    rig = show(fixture("dry"), fixture("wet"), fixture("late"))
    log = (
        entry(1.5, "inspected", fixture="dry", result="dry"),
        entry(1.5, "inspected", fixture="wet", result="water-inside"),
    )
    _, found = read(material(rig, weather([1.0, 0.0, 0.0]), log))
    rows = found.rows("fixtures")
    do = {row[0]: rows[i + 1][0] for i, row in enumerate(rows) if len(row) > 1}
    assert do["dry"].startswith("Nothing (spent once, and found dry since)")
    assert do["wet"].startswith("Keep isolated and out of service (water was found inside")
    assert do["late"].startswith("Dry and inspect (allowance spent)")
    assert "3 over their allowance at some time (worst 2.00 times the allowance; 1 of them" in (
        found.said
    )
    dry = next(row for row in rows if row[0] == "dry")
    assert dry[4] == "– 2.00 in all"


def test_dust_asks_for_cleaning():
    # 8 m/s on bare ground that no rain ever wetted: every hour is a dusty one.
    site = replace(show().site, ground="bare")
    _, found = read(material(show(fixture(), site=site), weather([0.0, 0.0], wind=8.0)))
    assert found.rows("fixtures")[1][0] == "Clean (2 dusty hours since cleaned)."
    assert "Clean: 1 fixture" in found.said


def test_a_cover_that_blew_off_is_said():
    hood = Cover("hood", "hood", sealed=True, gust_limit_mps=10.0, in_stock=9)
    rig = show(fixture(cover="hood"), covers=(hood,))
    log = (entry(0.0, "covered"),)
    _, found = read(material(rig, weather([0.0, 0.0, 0.1], gust=[5.0, 12.0, 5.0]), log))
    assert "The cover counts as off from Thu 1 Jul 14:00: gust over its limit." in found.said
    assert found.rows("fixtures")[0][10] == "1.0"


# ------------------------------------------------------------ alerts and chain


def test_alerts_are_told_with_their_outcome():
    told = changes(
        alert("notice", at=0.0, do_by=3.0, start_by=2.5),
        alert("start", at=1.0, do_by=3.0, start_by=2.5),
        alert("stood-down", at=2.0, reason="logged covered"),
    )
    log = (entry(2.0, "covered"),)
    hood = Cover("hood", "hood", sealed=True, in_stock=9)
    rig = show(fixture(cover="hood"), covers=(hood,))
    _, found = read(material(rig, weather([0.0] * 4), log, changes=told))
    (row,) = found.rows("alerts")
    assert row[0] == "Cover 1 pole-1"
    assert row[2] == (
        "notice Thu 1 Jul 13:00 start Thu 1 Jul 14:00 stood down Thu 1 Jul 15:00 rain is coming"
    )
    # Start by 14:30Z, do by 15:00Z; told to begin at 13:00Z, so two hours ahead.
    assert row[3:6] == ["Thu 1 Jul 15:30", "Thu 1 Jul 16:00", "2 h"]
    assert row[6] == "done in time, Thu 1 Jul 15:00"
    assert "1 job asked for. With a deadline: 1 done in time, 0 done late, 0 missed." in found.said


def test_nobody_was_told_is_said():
    made = material(
        show(fixture()), weather([0.0]), rehearsed=False, told_nobody=True, changes=changes(alert())
    )
    _, found = read(made)
    assert "No person was told: messages went to a folder only." in found.said
    _, found = read(replace(made, told_nobody=False, show=show(fixture(), contacts=[mail()])))
    assert "No person was told" not in found.said


@pytest.mark.parametrize(
    ("chain", "said"),
    [
        (ChainReport(True, 7, "ab" * 32, None, "All 7 rows are as they were written."), "Verified"),
        (ChainReport(False, 7, "ab" * 32, 3, "The chain does not hold at row 3."), "It does not"),
        (None, "Not verified"),
    ],
)
def test_the_chain_is_said(chain, said):
    _, found = read(material(show(fixture()), weather([0.0]), chain=chain))
    assert said in found.said
    assert chain is None or chain.says in found.said


# ------------------------------------------------------------ edges


def test_nothing_at_all_makes_a_page():
    _, found = read(material(show(), weather([])))
    assert "The show has no fixtures." in found.said
    assert "No weather is known for this period" in found.said
    assert "No alert was raised." in found.said
    assert "Nothing was logged." in found.said
    assert found.rows("fixtures") == []


def test_no_fixture_was_out():
    log = (entry(5.0, "put-out"),)
    _, found = read(material(show(fixture()), weather([3.0]), log))
    assert "1 never out" in found.said
    assert "0 over their allowance at some time" in found.said


def test_no_weather_with_fixtures_out():
    made = material(show(fixture()), weather([]), from_=NOON, to=after(6))
    html, found = read(made)
    assert "6.0 h are not known" in found.said
    assert "no weather" in found.said
    assert "not known" in svgs(html)[0]


def test_two_thousand_fixtures_collapse_to_their_exposures():
    fixtures = [fixture(f"A-{i:04d}", "IP20") for i in range(1, 1001)]
    fixtures += [fixture(f"B-{i:04d}", "IP44") for i in range(1, 1001)]
    html, found = read(material(show(*fixtures), weather([1.0])))
    rows = [row for row in found.rows("fixtures") if len(row) > 1]
    assert [row[0] for row in rows] == ["A-0001 to A-1000 (1000)", "B-0001 to B-1000 (1000)"]
    assert "Dry and inspect: 1 000 fixtures" in found.said
    assert len(html) < 60_000


def test_hostile_names_stay_text():
    fixtures = [
        fixture(f"{name} {i}", position=f"p{i}", name=name) for i, name in enumerate(HOSTILE)
    ]
    places = tuple(position(f"p{i}", name=name) for i, name in enumerate(HOSTILE))
    log = tuple(
        entry(0.5, "wet", fixture=f.id, by=f.name, note=f.name, position=None) for f in fixtures
    )
    told = changes(
        *(
            alert(id=name, reason=name, position=f"p{i}", fixtures=(fixtures[i].id,))
            for i, name in enumerate(HOSTILE)
        )
    )
    rig = show(*fixtures, positions=places)
    rig = replace(rig, site=replace(rig.site, name=HOSTILE[0]))
    made = material(
        rig, weather([1.0]), log, changes=told, credits=HOSTILE, notes=HOSTILE, title=HOSTILE[1]
    )
    html, found = read(made)
    assert {tag for tag, _ in found.elements}.isdisjoint({"script", "img", "iframe", "link"})
    assert not [a for _, at in found.elements for a in at if a.lower().startswith("on")]
    for name in (*HOSTILE[:4], HOSTILE[6]):
        assert name in found.said
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\N{RIGHT-TO-LEFT OVERRIDE}]", html)


def test_the_page_needs_nothing_beside_it():
    html, found = read(material(show(fixture()), weather([1.0])))
    assert html.startswith("<!DOCTYPE html>")
    for tag, attributes in found.elements:
        assert tag not in ("script", "link", "img", "iframe", "object")
        assert not {"src", "href", "srcset"} & attributes.keys()
    assert "@import" not in html
    assert set(re.findall(r"url\(([^)]*)\)", html)) <= set(re.findall(r"url\((#[\w-]+)\)", html))
    ids = [a["id"] for _, a in found.elements if "id" in a]
    assert len(ids) == len(set(ids))
    assert {u[1:] for u in re.findall(r"url\((#[\w-]+)\)", html)} <= set(ids)


def test_cue_calls_are_not_borrowed_and_cautions_stand():
    log = (entry(0.5, "covered"),)
    _, found = read(material(show(fixture()), weather([1.0]), log, changes=changes(alert())))
    assert not re.search(r"\b(go|stand by|all clear)\b", found.said, re.IGNORECASE)
    assert "does not detect lightning" in found.said
    assert "none of it was measured on a fixture" in found.said


def test_every_column_has_a_unit_or_needs_none():
    _, found = read(material(show(fixture()), weather([1.0])))
    head = [re.sub(r"\s+", " ", cell).strip() for cell in found.tables["fixtures"][0]]
    assert head[3:] == [
        "Driven watermm, est.",
        "Usedshare, est.",
        "Half usedat, est.",
        "All usedat, est.",
        "Weth, est.",
        "Damph, est.",
        "Dustyh, est.",
        "Coveredh, log",
        "Not knownh",
        "Outh, log",
    ]
