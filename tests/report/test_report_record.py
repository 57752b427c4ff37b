"""report.json: held against its schema by another library, and page and tables against it."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace

import jsonschema
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
    read_csv,
    show,
    weather,
)

from monitor.domain import Answered, Cover, Declared, Message
from monitor.report import write_report
from monitor.report.bare import with_bare
from monitor.report.figures import depth, hours, share
from monitor.report.record import Record
from monitor.report.record_schema import schema, schema_of_record, written
from monitor.report.seal import seal_of
from monitor.store.outbox import Delivery, OutboxRow

SCHEMA = json.loads(schema())


def full(**more):
    """A material with something in every part of the record."""
    rig = show(
        fixture("a", "IP20", serial="S-1", owner="Field Light", truck="1", case="C1", cover="bag"),
        fixture("b", "IP44", count=3, fan_cooled=True),
        fixture("c", "IP66", serial="S-2", position="tent"),
        positions=(position(), position("tent", name="Tent")),
        covers=(Cover("bag", "Bag", sealed=True, in_stock=9),),
        contacts=[mail()],
        revision="0" * 64,
    )
    fell = weather([2.0, 0.3, np.nan, 4.0], wind=6.0, gust=9.0, wind_from=225.0)
    log = (
        entry(0.25, "covered", by="Ines"),
        entry(1.5, "uncovered", by="Dario"),
        entry(2.0, "inspected", fixture="a", result="dry", earth_ohm=0.08, insulation_mohm=250.0),
        entry(2.5, "covered", count=(1, 4)),
    )
    told = changes(
        alert("notice", at=0.0, do_by=3.5, fixtures=("a",)),
        alert("start", at=0.5, do_by=3.5, fixtures=("a", "b"), count=4),
        alert("stop", at=1.0, id="site-2", kind="stop", action=None, position=None, fixtures=()),
    )
    base = {
        "changes": told,
        "answered": (Answered(after(0.6), "pole-1", "cannot", because="no-lift", by="Suki"),),
        "declared": (Declared(after(3), "power", "Dario"),),
    }
    made = material(rig, fell, log, **{**base, **more})
    return with_bare(made, fell, NOON.timestamp())


def load(folder):
    return json.loads((folder / "report.json").read_text(encoding="utf-8"))


def test_the_schema_is_of_2020_12_and_what_is_written_keeps_to_it(tmp_path):
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    for name, made in {
        "full": full(),
        "none": material(show(), weather([])),
        "dry": material(show(fixture()), weather([0.0])),
    }.items():
        write_report(tmp_path / name, made)
        data = load(tmp_path / name)
        checker = jsonschema.Draft202012Validator.FORMAT_CHECKER
        jsonschema.validate(data, SCHEMA, jsonschema.Draft202012Validator, format_checker=checker)
        assert (tmp_path / name / "report.schema.json").read_bytes() == schema()


def test_the_schema_refuses_what_the_record_refuses(tmp_path):
    """Each top-level part left out, and a figure that is a text: both say no."""
    write_report(tmp_path, full())
    data = load(tmp_path)
    wrong = [{k: v for k, v in data.items() if k != key} for key in data]
    wrong.append({**data, "more": 1})
    wrong.append({**data, "units": [{**data["units"][0], "used": "0.5"}]})
    wrong.append({**data, "report_sha256": "xyz"})
    for one in wrong:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(one, SCHEMA, jsonschema.Draft202012Validator)
        with pytest.raises(ValueError, match="validation error"):
            Record.model_validate_json(json.dumps(one))


def test_the_schema_that_is_shipped_is_the_record_s():
    assert schema() == written(schema_of_record())


def test_every_cell_of_every_table_stands_in_the_record(tmp_path):
    write_report(tmp_path, full())
    data = load(tmp_path)
    tables = {
        "fixtures.csv": data["units"],
        "positions.csv": data["positions"],
        "drying.csv": data["drying"],
        "cleaning.csv": data["cleaning"],
        "alerts.csv": data["alerts"],
        "alert-scores.csv": data["alert_scores"]["rows"],
        "messages.csv": data["messages"],
        "weather.csv": data["weather"],
        "forecasts.csv": data["forecasts"],
        "scores.csv": data["forecast_scores"],
        "covers.csv": [{**owned(u), **c} for u in data["units"] for c in u["covers"]],
        "unit-log.csv": [{**owned(u), **c} for u in data["units"] for c in u["log"]],
        "earlier-shows.csv": [{**owned(u), **c} for u in data["units"] for c in u["carried"]],
    }
    assert sorted(tables) == sorted(p.name for p in tmp_path.glob("*.csv"))
    cells = 0
    for name, rows in tables.items():
        read = read_csv(tmp_path / name)
        assert len(read) == len(rows), name
        for found, said in zip(read, rows, strict=True):
            for column, cell in found.items():
                assert cell == text_of(said[column]), (name, column)
                cells += 1
    assert cells > 300
    assert len(tables["covers.csv"]) == 1  # b and c name no cover
    assert {r["id"] for r in tables["unit-log.csv"]} == {"a", "b"}


def owned(unit):
    return {key: unit[key] for key in ("id", "serial", "owner")}


def text_of(value):
    """A value of the record as a spreadsheet's cell has it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(value)
    return value if isinstance(value, str) else f"{value:.10g}"


def test_every_figure_of_the_page_s_fixtures_stands_in_the_record(tmp_path):
    write_report(tmp_path, full())
    units = {unit["id"]: unit for unit in load(tmp_path)["units"]}
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    rows = [row for row in page.rows("fixtures") if len(row) > 1]
    assert len(rows) == 3
    for row in rows:
        unit = units[row[0].split()[0]]
        assert row[3] == depth(unit["wetting_mm"])
        assert row[4].split()[0] == share(unit["used"])
        wanted = ("wet_hours", "damp_hours", "dusty_hours", "covered_hours", "unknown_hours")
        assert row[7:12] == [hours(unit[key]) for key in wanted]
        assert row[12] == hours(unit["hours_out"])
    (serial,) = [row for row in page.rows("serials") if row[0].startswith("S-1")]
    assert serial[2] == depth(units["a"]["wetting_mm"])
    assert serial[4].split()[0] == share(units["a"]["used"])
    assert "0.08 Ω, 250 MΩ" in serial[6]
    assert "Thu 1 Jul 13:15 to 14:30" in serial[5]
    assert load(tmp_path)["report_sha256"] in page.said


def test_what_one_unit_s_file_says_of_it(tmp_path):
    """Covered 13:15 to 14:30 by hand: 1.25 h, on by Ines and off by Dario, site time (UTC+1)."""
    write_report(tmp_path, full())
    unit = next(u for u in load(tmp_path)["units"] if u["id"] == "a")
    assert unit["covers"] == [
        {
            "cover": "bag",
            "on_at": "2027-07-01T13:15:00+01:00",
            "off_at": "2027-07-01T14:30:00+01:00",
            "on_by": "Ines",
            "off_by": "Dario",
            "counts_until": "2027-07-01T14:30:00+01:00",
        }
    ]
    assert unit["covered_hours"] == pytest.approx(1.25)
    assert [(e["entry"], e["done"], e["of"]) for e in unit["log"]] == [
        ("covered", None, None),
        ("uncovered", None, None),
        ("inspected", None, None),
        ("covered", 1, 4),
    ]
    assert unit["log"][2]["result"] == "dry"
    assert (unit["log"][2]["earth_ohm"], unit["log"][2]["insulation_mohm"]) == (0.08, 250.0)
    assert unit["stays"] == [
        {
            "position": "pole",
            "begins_at": "2027-07-01T13:00:00+01:00",
            "ends_at": "2027-07-01T17:00:00+01:00",
        }
    ]
    assert (unit["truck"], unit["case"]) == ("1", "C1")


def test_the_gap_and_the_policy_are_said(tmp_path):
    policy = {"risk": 0.125}
    made = full()
    made = replace(made, show=replace(made.show, policy=replace(made.show.policy, **policy)))
    write_report(tmp_path, made)
    data = load(tmp_path)
    # The third hour is not known: 14:00Z, 15:00 on site.
    assert data["gaps"] == [
        {"begins_at": "2027-07-01T15:00:00+01:00", "ends_at": "2027-07-01T16:00:00+01:00"}
    ]
    said = data["rests_on"]["policy"]
    assert said["settings"]["risk"] == 0.125
    assert list(said["changed"]) == ["risk"]
    plain = json.dumps(said["settings"], sort_keys=True, separators=(",", ":"))
    assert said["sha256"] == hashlib.sha256(plain.encode()).hexdigest()


def test_the_seal_is_one_that_anybody_can_check(tmp_path):
    write_report(tmp_path, full())
    content = (tmp_path / "report.json").read_bytes()
    said = json.loads(content)["report_sha256"]
    bare = content.replace(said.encode(), b"0" * 64, 1)
    assert hashlib.sha256(bare).hexdigest() == said
    assert seal_of(content) == (said, said)
    altered = content.replace(b'"used": ', b'"used": 9', 1)
    assert altered != content
    assert seal_of(altered) != (said, said)
    assert seal_of(b"{}") is None
    # and every other file by sha256sum -c
    sums = (tmp_path / "sha256sums.txt").read_text(encoding="utf-8").splitlines()
    assert len(sums) == len(list(tmp_path.iterdir())) - 1
    for line in sums:
        digest, name = line.split("  ")
        assert hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() == digest


def test_who_was_told_is_a_name_and_no_address(tmp_path):
    message = Message("pole-1", "work", "start", "Cover", "t", "r", {}, "x", after(0.5))
    row = OutboxRow("k", 1, message, "crew", "b@example.org", after(0.5), after(3), 2)
    refused = Delivery(
        row, "given-up", after(0.6), "550 <b@example.org> at https://hook.example.org/s3cret: no"
    )
    write_report(tmp_path, full(deliveries=(refused,), rehearsed=False))
    (said,) = load(tmp_path)["messages"]
    assert (said["contact"], said["state"], said["attempts"]) == ("crew", "given-up", 2)
    assert said["detail"] == "550 <(address)> at (address) no"
    for file in ("report.json", "messages.csv", "report.html"):
        text = (tmp_path / file).read_text(encoding="utf-8")
        assert "s3cret" not in text
        assert not re.search(r"[\w.]+@example", text)


def test_the_schema_says_what_is_an_estimate():
    unit = SCHEMA["$defs"]["Unit"]
    assert unit["properties"]["basis"]["const"] == "estimate"
    assert unit["additionalProperties"] is False
    assert SCHEMA["$id"] == "urn:dryspell:report:1"
