"""Exposure from show to show, by serial: reports read back, added up, or refused."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import timedelta

import pytest
from report_samples import (
    NOON,
    Page,
    entry,
    fixture,
    material,
    position,
    read_csv,
    show,
    weather,
)

from monitor.domain import BadInputError, Event
from monitor.report import read_earlier, write_report
from monitor.report.earlier import overlapping
from monitor.report.seal import UNSEALED
from monitor.store.chain import ChainReport

HOLDS = ChainReport(ok=True, rows=7, head="a" * 64, first_bad=None, says="All 7 rows hold.")
BROKEN = ChainReport(ok=False, rows=7, head="a" * 64, first_bad=3, says="Row 3 was altered.")


def played(rain, *fixtures, days=0, site="Field", chain=HOLDS, **more):
    """A show that was watched, `days` after the first: calm rain, one step an hour."""
    start = NOON + timedelta(days=days)
    described = show(*fixtures, positions=(position(),))
    described = replace(described, event=Event(start), site=replace(described.site, name=site))
    base = {"rehearsed": False, "chain": chain, "made_at": start + timedelta(days=1)}
    return material(described, weather(rain, start=start), **{**base, **more})


def file_of(tmp_path, made, name="earlier"):
    write_report(tmp_path / name, made)
    return (tmp_path / name / "report.json").read_bytes()


def units(folder):
    data = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return {unit["id"]: unit for unit in data["units"]}


def resealed(content, **changes):
    """What somebody who knows how it is sealed can make of a file."""
    data = {**json.loads(content), "report_sha256": UNSEALED, **changes}
    text = json.dumps(data, indent=1, ensure_ascii=False)
    digest = hashlib.sha256(text.encode()).hexdigest()
    return text.replace(UNSEALED, digest, 1).encode()


# IP44 upright for hire: 25 mm. Calm rain falls on it as it is.
LAMP = {"code": "IP44", "mount": "upright"}


def test_what_a_serial_took_is_added_up(tmp_path):
    first = file_of(
        tmp_path, played([10.0], fixture("old-1", serial="S 1", **LAMP), fixture("x", **LAMP))
    )
    second = replace(
        played(
            [5.0],
            fixture("new-1", serial="s1", **LAMP),
            fixture("new-2", serial="S2", **LAMP),
            days=10,
        ),
        earlier=read_earlier({"a.json": first}),
    )
    write_report(tmp_path / "two", second)
    found = units(tmp_path / "two")
    # 10 / 25 = 0.4 there, 5 / 25 = 0.2 here: 0.6. How a serial is spaced or cased does not matter.
    mine = found["new-1"]
    assert mine["carried_used"] == pytest.approx(0.4)
    assert mine["used_total"] == pytest.approx(0.2)
    assert mine["used_all_shows"] == pytest.approx(0.6)
    assert mine["carried_shows"] == 1
    assert [(c["id"], c["wetting_mm"]) for c in mine["carried"]] == [("old-1", 10.0)]
    assert (found["new-2"]["carried_used"], found["new-2"]["used_all_shows"]) == (
        0.0,
        pytest.approx(0.2),
    )
    (row,) = read_csv(tmp_path / "two" / "earlier-shows.csv")
    assert (row["id"], row["id_there"], row["used_total"]) == ("new-1", "old-1", "0.4")
    page = Page((tmp_path / "two" / "report.html").read_text(encoding="utf-8"))
    by_serial = {row[0].split()[0]: row for row in page.rows("serials")}
    assert by_serial["s1"][5] == "0.40 0.60"
    assert "Field, Thu 1 Jul 2027 13:00 to Thu 1 Jul 2027 14:00" in page.said


def test_a_third_show_counts_each_of_two_once(tmp_path):
    lamp = fixture("l", serial="S1", **LAMP)
    first = file_of(tmp_path, played([10.0], lamp), "one")
    second = file_of(
        tmp_path,
        replace(played([5.0], lamp, days=10), earlier=read_earlier({"a": first})),
        "two",
    )
    # the second has the first in it: given alone, and given with the first, it is the same
    for given in ({"b": second}, {"a": first, "b": second}, {"b": second, "again": second}):
        third = replace(played([2.5], lamp, days=20), earlier=read_earlier(given))
        assert overlapping(third) == ()
        write_report(tmp_path / "three", third)
        unit = units(tmp_path / "three")["l"]
        # 0.4 + 0.2 before, 2.5 / 25 = 0.1 here
        assert unit["carried_used"] == pytest.approx(0.6)
        assert unit["used_all_shows"] == pytest.approx(0.7)
        assert unit["carried_shows"] == 2
    shows = json.loads((tmp_path / "three" / "report.json").read_text(encoding="utf-8"))["earlier"]
    assert [s["begins_at"][:10] for s in shows] == ["2027-07-01", "2027-07-11"]


def test_an_inspection_sets_nothing_back_that_was_carried(tmp_path):
    """Used since it was found dry is 0; what it took stays taken."""
    lamp = fixture("l", serial="S1", **LAMP)
    dry = entry(1.0, "inspected", result="dry")
    first = file_of(tmp_path, played([10.0, 0.0], lamp, log=(dry,)))
    assert json.loads(first)["units"][0]["used"] == 0.0
    second = replace(played([0.0], lamp, days=10), earlier=read_earlier({"a": first}))
    write_report(tmp_path / "two", second)
    assert units(tmp_path / "two")["l"]["used_all_shows"] == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("spoil", "code", "says"),
    [
        (lambda c: c.replace(b'"used_total": 0.4', b'"used_total": 0.1'), "report-altered", "altered"),
        (lambda c: c[:-400], "not-a-report", "breaks off"),
        (lambda _: b"id,code\n", "not-a-report", "no report.json"),
        (lambda _: b"\xff\xfe", "not-a-report", "UTF-8"),
        (lambda _: b"[]", "not-a-report", "dryspell.report/1"),
        (lambda _: b'{"format": "dryspell.ahead/1"}', "not-a-report", "dryspell.report/1"),
        (lambda c: resealed(c, extra=1), "report-form", "extra"),
        (lambda c: resealed(c, units=[{"id": "l"}]), "report-form", "units.0.name"),
        (lambda c: c.replace(b'"units"', b'"title": "x", "units"'), "not-a-report", "twice"),
        (lambda c: resealed(c, rehearsed=True), "report-rehearsed", "rehearsal"),
    ],
)  # fmt: skip
def test_a_file_that_does_not_hold_is_refused(tmp_path, spoil, code, says):
    content = spoil(file_of(tmp_path, played([10.0], fixture("l", serial="S1", **LAMP))))
    with pytest.raises(BadInputError) as told:
        read_earlier({"a.json": content})
    assert {p.code for p in told.value.problems} == {code}
    assert says in " ".join(p.says for p in told.value.problems)
    assert all(p.file == "a.json" for p in told.value.problems)


def test_a_history_that_did_not_hold_carries_nothing(tmp_path):
    lamp = fixture("l", serial="S1", **LAMP)
    for chain in (BROKEN, None):
        content = file_of(tmp_path, played([10.0], lamp, chain=chain))
        with pytest.raises(BadInputError) as told:
            read_earlier({"a.json": content})
        assert [p.code for p in told.value.problems] == ["report-unverified"]


def test_every_file_that_is_wrong_is_told_at_once(tmp_path):
    with pytest.raises(BadInputError) as told:
        read_earlier({"a.json": b"[]", "b.json": b"{"})
    assert [p.file for p in told.value.problems] == ["a.json", "b.json"]


def test_one_show_is_never_counted_twice(tmp_path):
    lamp = fixture("l", serial="S1", **LAMP)
    own = read_earlier({"a": file_of(tmp_path, played([10.0], lamp))})
    assert [p.code for p in overlapping(replace(played([10.0, 1.0], lamp), earlier=own))] == [
        "report-of-this-show"
    ]
    longer = file_of(tmp_path, played([10.0, 5.0], lamp), "longer")
    both = read_earlier({"a": file_of(tmp_path, played([10.0], lamp)), "b": longer})
    assert [p.code for p in overlapping(replace(played([1.0], lamp, days=9), earlier=both))] == [
        "report-twice"
    ]


def test_two_earlier_reports_of_one_show_within_others_give_the_longer(tmp_path):
    """The first show reported after an hour went into the second's report; its last report, of
    two hours, comes beside: 15 mm of it count, not 25."""
    lamp = fixture("l", serial="S1", **LAMP)
    short = file_of(tmp_path, played([10.0], lamp), "short")
    second = file_of(
        tmp_path, replace(played([5.0], lamp, days=10), earlier=read_earlier({"a": short})), "two"
    )
    longer = file_of(tmp_path, played([10.0, 5.0], lamp), "longer")
    third = replace(played([0.0], lamp, days=20), earlier=read_earlier({"b": second, "c": longer}))
    write_report(tmp_path / "three", third)
    # 15 / 25 + 5 / 25
    assert units(tmp_path / "three")["l"]["carried_used"] == pytest.approx(0.8)


def test_what_has_no_serial_is_not_carried(tmp_path):
    first = file_of(tmp_path, played([10.0], fixture("l", **LAMP)))
    second = replace(
        played([5.0], fixture("l", **LAMP), days=10), earlier=read_earlier({"a": first})
    )
    write_report(tmp_path / "two", second)
    assert units(tmp_path / "two")["l"]["carried"] == []
    said = Page((tmp_path / "two" / "report.html").read_text(encoding="utf-8")).said
    assert "No row of fixtures.csv gives a serial" in said
