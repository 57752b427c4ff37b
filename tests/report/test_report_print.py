"""The report on A4, in a real browser: nothing cut at the right, heads again on every page."""

from __future__ import annotations

import re
from dataclasses import replace
from math import nan

import pytest
from page.browser_site import open_browser
from report_samples import (
    NOON,
    after,
    alert,
    changes,
    entry,
    fixture,
    mail,
    material,
    position,
    show,
    weather,
)

from monitor.domain import Cover
from monitor.report import read_earlier, write_report
from monitor.report.bare import with_bare
from monitor.store.chain import ChainReport

WIDTH = int(186 / 25.4 * 96)
"""A4 less its margins of 12 mm on each side, in CSS pixels."""
LONG = "Wide-angle-asymmetric-flood-with-a-name-that-nothing-breaks-" * 2
HOLDS = ChainReport(ok=True, rows=7, head="a" * 64, first_bad=None, says="All 7 rows hold.")


def season():
    """Sixty units with long names in every column, covered and tested several times."""
    rig = show(
        *(
            fixture(
                f"UNIT-{i:03d}", "IP44" if i % 2 else "IP20", serial=f"SERIAL-{i:05d}-{LONG[:30]}",
                name=LONG, owner=LONG, truck=f"Truck {i % 3}", case=f"Case {i % 7}, {LONG[:40]}",
                cover="bag", position="pole" if i % 5 else "edge",
            )
            for i in range(60)
        ),
        positions=(position(name=LONG), position("edge", name="Edge")),
        covers=(Cover("bag", LONG, sealed=True, in_stock=99),),
        contacts=[mail()],
        revision="0" * 64,
    )  # fmt: skip
    log = tuple(
        one
        for day in range(4)
        for one in (
            entry(24 * day + 1, "covered", by=LONG),
            entry(24 * day + 9, "uncovered", by="Ines"),
            entry(24 * day + 10, "inspected", result="dry", earth_ohm=0.08, insulation_mohm=250.0),
        )
    )
    told = changes(
        *(
            alert(
                "start", id=f"pole-{i}", at=4.0 * i, do_by=4.0 * i + 2,
                fixtures=tuple(f.id for f in rig.fixtures), count=60, reason=LONG,
            )
            for i in range(20)
        )
    )  # fmt: skip
    fell = weather([0.0, 3.0, 1.0, 0.0, 0.0, 0.0, nan, 0.0] * 12, wind=7.0, gust=14.0)
    made = material(rig, fell, log, changes=told, chain=HOLDS, rehearsed=False, made_at=after(100))
    return with_bare(made, fell, NOON.timestamp())


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """The pages as a printer has them: (what a script finds, the PDF)."""
    folder = tmp_path_factory.mktemp("report")
    made = season()
    write_report(folder / "first", made)
    before = read_earlier({"a": (folder / "first" / "report.json").read_bytes()})
    site = replace(made.show.site, latitude=50.0)
    later = replace(made, show=replace(made.show, site=site), earlier=before)
    write_report(folder / "second", later)
    with open_browser() as browser:
        page = browser.new_page(viewport={"width": WIDTH, "height": 1000})
        page.goto((folder / "second" / "report.html").as_uri())
        page.emulate_media(media="print")
        found = page.evaluate(
            """() => ({
                page: document.documentElement.scrollWidth,
                out: [...document.querySelectorAll("td, th, p, h2, h3, li, svg")]
                    .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
                    .map(e => e.outerHTML.slice(0, 120)),
                over: [...document.querySelectorAll("td, th")]
                    .filter(e => e.scrollWidth > e.clientWidth + 1)
                    .map(e => e.closest("table").id + ": " + e.innerText.slice(0, 80)),
                heads: [...document.querySelectorAll("thead")]
                    .filter(e => getComputedStyle(e).display !== "table-header-group").length,
                rows: [...document.querySelectorAll("tbody tr")]
                    .filter(e => getComputedStyle(e).breakInside !== "avoid").length,
            })"""
        )
        pdf = page.pdf(format="A4", prefer_css_page_size=True, print_background=True)
        page.close()
    return found, pdf


def test_nothing_is_cut_at_the_right(printed):
    found, _ = printed
    assert found["page"] <= WIDTH
    assert found["out"] == []
    assert found["over"] == []


def test_heads_come_again_and_rows_stay_whole(printed):
    found, _ = printed
    assert found["heads"] == 0
    assert found["rows"] == 0


def test_it_is_a4_and_of_as_many_pages_as_it_says(printed):
    _, pdf = printed
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert boxes
    # A4 is 210 by 297 mm: 595.3 by 841.9 points, and no page lies on its side
    assert {(round(float(w)), round(float(h))) for w, h in boxes} <= {(595, 842), (595, 841)}
