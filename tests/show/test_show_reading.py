"""What is read and told: encodings, delimiters, columns, codes, mounts, variables, defaults."""

from __future__ import annotations

import dataclasses
import hashlib
from datetime import UTC, datetime, time

import pytest
from show_samples import ENVIRON, change, changed, notes, problems, small

from monitor.check import needs_attention
from monitor.domain import BadInputError, Hours
from monitor.show import default_policy, read_log, read_show

ROWS = "id,code,position,name\nÉ-1,IP65,tower,Flutlicht grün\n"


def with_rows(folder, data):
    show = small(folder)
    (show / "log.csv").unlink()
    (show / "fixtures.csv").write_bytes(data)
    return show


# -------------------------------------------------------------- encodings and delimiters


@pytest.mark.parametrize(
    ("encoding", "told"),
    [
        ("utf-8", None),
        ("utf-8-sig", None),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("cp1252", "Windows-1252"),
    ],
)
def test_encodings_are_read_and_told(tmp_path, encoding, told):
    read = read_show(with_rows(tmp_path, ROWS.encode(encoding)), ENVIRON)
    assert [(f.id, f.name) for f in read.show.fixtures] == [("É-1", "Flutlicht grün")]
    said = [n.says for n in read.notes if n.code == "encoding"]
    assert len(said) == (told is not None)
    assert told is None or told in said[0]


@pytest.mark.parametrize(
    ("data", "code", "line"),
    [
        (b"id,code,position\nA,IP65,tower\nB\x81,IP65,tower\n", "encoding", 3),
        (b"\xff\xfei\x00d\x00,", "encoding", 1),
        (b"id,code\x00,position\nA,IP65,tower\n", "encoding", None),
        (b"", "empty-file", None),
        (b" \n\n", "empty-file", None),
        (b"id\tcode\tposition\nA\tIP65\ttower\n", "delimiter", None),
        (b'id,code,position\n"A,IP65,tower\n', "broken-row", 2),
        (b"id,code,position,id\nA,IP65,tower,B\n", "repeated-column", 1),
        (b"id,position\nA,tower\n", "missing-column", 1),
        (b"id,code,position\nA,IP65\n", "ragged-row", 2),
        (b"id,code,position,surface_m2\nA,IP65,tower,1,5\n", "ragged-row", 2),
        (b"id,code,position\n,IP65,tower\n", "missing-value", 2),
    ],
)
def test_tables_that_cannot_be_read(tmp_path, data, code, line):
    found = problems(with_rows(tmp_path, data))
    assert [(p.code, p.file, p.line) for p in found] == [(code, "fixtures.csv", line)]
    assert found[0].remedy


def test_settings_in_windows_and_utf_16_are_read_and_told(tmp_path):
    show = changed(tmp_path, "show.toml", "Sample meadow", "Prés salés")
    text = (show / "show.toml").read_text(encoding="utf-8")
    for encoding in ("cp1252", "utf-16"):
        (show / "show.toml").write_bytes(text.replace("\n", "\r\n").encode(encoding))
        read = read_show(show, ENVIRON)
        assert read.show.site.name == "Prés salés"
        assert next(n.code for n in read.notes if n.file == "show.toml") == "encoding"


def test_semicolons_with_decimal_commas(tmp_path):
    data = (
        b"id;code;position;surface_m2;height_m\n\nA;IP65;tower;0,75;8\n;;;;\nB;IP65;tower;1.5;8,5\n"
    )
    read = read_show(with_rows(tmp_path, data), ENVIRON)
    assert [(f.surface_m2, f.height_m) for f in read.show.fixtures] == [(0.75, 8.0), (1.5, 8.5)]
    assert {"delimiter", "decimal-comma"} <= {n.code for n in read.notes}


@pytest.mark.parametrize(
    "data",
    [
        b'id,code,position,surface_m2\nA,IP65,tower,"0,75"\n',
        b"id;code;position;surface_m2\nA;IP65;tower;1.000,5\n",
        b"id;code;position;surface_m2\nA;IP65;tower;7. May\n",
    ],
)
def test_numbers_that_could_be_two_things_are_refused(tmp_path, data):
    found = problems(with_rows(tmp_path, data))
    assert [(p.code, p.line, p.key) for p in found] == [("bad-number", 2, "surface_m2")]


# ------------------------------------------------------------------------ columns, cells


def test_unknown_columns_are_ignored_and_told(tmp_path):
    data = b"id,code,position,mode,power_w,channel,position_name\nA,IP65,tower,8,400,1,x\n"
    told = [n for n in notes(with_rows(tmp_path, data)) if n.code == "column-ignored"]
    assert len(told) == 1
    assert "mode, power_w, channel, position_name" in told[0].says
    assert not told[0].refused


@pytest.mark.parametrize(
    ("heading", "meant"),
    [("Qty", "count"), ("tilt", "tilt_deg"), ("stated_mn", "stated_mm"), ("fan cooled?", None)],
)
def test_columns_under_another_name(tmp_path, heading, meant):
    data = f"id,code,position,{heading}\nA,IP65,tower,1\n".encode()
    found = problems(with_rows(tmp_path, data))
    if meant is None:
        assert not found
    else:
        assert [(p.code, p.key) for p in found] == [("unknown-column", heading.lower())]
        assert meant in found[0].remedy


def test_headings_in_crew_spelling(tmp_path):
    data = b"ID,Code,Position,Supply code,Height (m),In from front [m]\nA,IP65,truss,IP67,6,0.5\n"
    read = read_show(with_rows(tmp_path, data), ENVIRON).show.fixtures[0]
    assert (read.supply_code.canonical, read.height_m, read.in_from_front_m) == ("IP67", 6.0, 0.5)


def test_several_words_with_spaces_are_read(tmp_path):
    show = small(tmp_path)
    change(show, "show.toml", '"lowered-truss"', '"Lowered truss"')
    change(show, "show.toml", 'id = "tower"', 'id = "tower one"')
    (show / "log.csv").unlink()
    (show / "fixtures.csv").write_text("id,code,position\nA,IP65,tower one\nB,IP65,tower-one\n")
    read = read_show(show, ENVIRON).show
    assert read.positions["truss"].access == "lowered-truss"
    assert {f.position for f in read.fixtures} == {"tower-one"}


def test_repaired_codes_are_told_once_with_their_rows(tmp_path):
    data = b"id,code,position\nA,65,tower\nB,IP65,tower\nC,65,tower\n"
    read = read_show(with_rows(tmp_path, data), ENVIRON)
    assert [f.code.canonical for f in read.show.fixtures] == ["IP65"] * 3
    told = [n for n in read.notes if n.code == "code-repaired"]
    assert [n.line for n in told] == [2]
    assert told[0].says.startswith('Rows 2, 4: code "65" is read as IP65')


def test_tilted_without_a_way_counts_as_any_and_is_told(tmp_path):
    read = read_show(changed(tmp_path, "fixtures.csv", "tilted,90,135", "tilted,90,"), ENVIRON)
    assert read.show.fixture("T-2").mount == "any"
    assert [n.line for n in read.notes if n.code == "tilt-any-way"] == [3]


def test_fixture_as_described(tmp_path):
    show = read_show(small(tmp_path), ENVIRON).show
    flood, rack = show.fixture("T-2"), show.fixture("D-1")
    assert (flood.mount, flood.tilt_deg, flood.facing_deg) == ("tilted", 90.0, 135.0)
    assert (flood.height_m, flood.in_from_front_m, flood.in_from_right_m) == (7.0, 2.0, None)
    assert (rack.count, rack.condition, rack.surface_m2, rack.value) == (1, "hire", 0.5, 1.0)
    assert (show.fixture("T-1").count, show.fixture("T-1").mount) == (6, "any")


# -------------------------------------------------------------------- defaults, variables


# practice.md section 2 and exposure model section 9: people, set-up, cover, bring in, limit
USUAL = {
    "ground": (1, 2, 1.5, 3, None),
    "ladder": (2, 4, 3, 5, 10),
    "platform": (2, 12, 4, 9, 12.5),
    "climb": (2, 10, 5, 9, 12.5),
    "lowered-truss": (3, 10, 1.5, 4, 12.5),
}


@pytest.mark.parametrize("access", USUAL)
def test_what_a_position_takes_follows_from_its_access(tmp_path, access):
    limit = "\naccess_limit_mps = 12.5" if access == "lowered-truss" else ""
    show = changed(tmp_path, "show.toml", 'access = "platform"', f'access = "{access}"{limit}')
    tower = read_show(show, ENVIRON).show.positions["tower"]
    assert (
        tower.people_needed,
        tower.setup_minutes,
        tower.cover_minutes_each,
        tower.bring_in_minutes_each,
        tower.access_limit_mps,
    ) == USUAL[access]


@pytest.mark.parametrize(
    ("word", "kind"),
    [("water", "I"), ("field", "II"), ("suburb", "III"), ("town", "IV"), ("iii", "III")],
)
def test_terrain_in_words_or_numbers(tmp_path, word, kind):
    show = changed(tmp_path, "show.toml", 'terrain = "field"', f'terrain = "{word}"')
    assert read_show(show, ENVIRON).show.site.terrain == kind


def test_times_are_site_time_and_kept_in_utc(tmp_path):
    event = read_show(small(tmp_path), ENVIRON).show.event
    # July in London is one hour ahead of UTC
    assert event.load_in_at == datetime(2027, 7, 15, 12, tzinfo=UTC)
    assert event.load_in_at.tzinfo is UTC


@pytest.mark.parametrize(
    "written",
    [
        "2027-07-15T13:00:00",
        '"2027-07-15 13:00"',
        '"2027-07-15T12:00Z"',
        "2027-07-15T14:00:00+02:00",
    ],
)
def test_one_moment_written_in_several_ways(tmp_path, written):
    show = changed(tmp_path, "show.toml", '"2027-07-15T13:00"', written)
    at = read_show(show, ENVIRON).show.event.load_in_at
    assert at == datetime(2027, 7, 15, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("offset", "hour"), [("+01:00", 0), ("+00:00", 1)], ids=["first", "second"]
)
def test_a_doubled_hour_with_its_offset_is_read(tmp_path, offset, hour):
    show = changed(tmp_path, "show.toml", "2027-07-19T11:00", f"2027-10-31T01:30{offset}")
    end = read_show(show, ENVIRON).show.event.load_out_at
    assert end == datetime(2027, 10, 31, hour, 30, tzinfo=UTC)


def test_hours_of_a_spray(tmp_path):
    spray = read_show(small(tmp_path), ENVIRON).show.positions["tower"].spray
    assert spray.on == (Hours(time(10), time(23)),)
    assert spray.salt is False


def test_policy_is_the_built_in_one_where_the_show_says_nothing(tmp_path):
    show = changed(tmp_path, "show.toml", "[crew]", "[policy]\nrisk = 0.4\n\n[crew]")
    policy = read_show(show, ENVIRON).show.policy
    assert policy == dataclasses.replace(default_policy(), risk=0.4)


def test_a_variable_overrides_a_plain_key_and_is_told(tmp_path):
    environ = {**ENVIRON, "DRYSPELL_POLICY__RISK": "0.5", "DRYSPELL_SITE__NAME": "Elsewhere"}
    read = read_show(small(tmp_path), {**environ, "DRYSPELL_SHOW": "/shows", "HOME": "/"})
    assert (read.show.policy.risk, read.show.site.name) == (0.5, "Elsewhere")
    assert {n.key for n in read.notes if n.code == "overridden"} == {
        "DRYSPELL_POLICY__RISK",
        "DRYSPELL_SITE__NAME",
    }


@pytest.mark.parametrize(
    ("variable", "value", "code", "remedy"),
    [
        ("DRYSPELL_POLICY__RISQ", "0.5", "unknown-variable", "DRYSPELL_POLICY__RISK"),
        ("DRYSPELL_SHWO", "x", "unknown-variable", "DRYSPELL_SHOW"),
        ("DRYSPELL_POSITIONS__0__HEIGHT_M", "9", "unknown-variable", "positions is a list"),
        ("DRYSPELL_TOKEN", "hunter2", "unknown-variable", "DRYSPELL_SECTION__KEY"),
        ("DRYSPELL_POLICY__RISK", "much", "bad-number", "Write the number alone"),
        ("DRYSPELL_POLICY__RISK", "7", "out-of-range", "above 0, at most 1"),
        ("DRYSPELL_EVENT__LOAD_IN_AT", "2027-03-28T01:30", "skipped-hour", "+01:00"),
    ],
)
def test_variables_that_cannot_be_used(tmp_path, variable, value, code, remedy):
    found = problems(small(tmp_path), {**ENVIRON, variable: value})
    assert [(p.code, p.file, p.key) for p in found] == [(code, "environment", variable)]
    assert remedy in found[0].remedy
    assert "hunter2" not in str(found)


def test_a_secret_may_have_a_variable_of_our_prefix(tmp_path):
    show = changed(tmp_path, "show.toml", "env:MAIL_PASSWORD", "env:DRYSPELL_MAIL_PASSWORD")
    assert problems(show, {"DRYSPELL_MAIL_PASSWORD": "x"}) == ()


def test_without_contacts_there_is_the_messages_folder(tmp_path):
    show = small(tmp_path)
    text = (show / "show.toml").read_text(encoding="utf-8")
    (show / "show.toml").write_text(text.partition("[[contacts]]")[0], encoding="utf-8")
    (contact,) = read_show(show, {}).show.contacts
    assert (contact.kind, contact.path) == ("folder", str(show / "messages"))


# ------------------------------------------------------------------------ revisions, log


def test_revision_follows_from_the_bytes_of_the_files(tmp_path):
    show = small(tmp_path)
    first = read_show(show, ENVIRON)
    assert sorted(first.files) == ["fixtures.csv", "log.csv", "show.toml"]
    assert read_show(show, ENVIRON).show.revision == first.show.revision
    hashed = hashlib.sha256()
    for name in ("fixtures.csv", "log.csv", "show.toml"):
        data = (show / name).read_bytes()
        hashed.update(f"{name}\n{len(data)}\n".encode() + data)
    assert first.show.revision == hashed.hexdigest()
    change(show, "fixtures.csv", "T-1,IP20", "T-1,IP21")
    assert read_show(show, ENVIRON).show.revision != first.show.revision


def test_log_as_written(tmp_path):
    show = small(tmp_path)
    put_out, covered, inspected, moved = read_log(show / "log.csv", read_show(show, ENVIRON).show)
    assert put_out.at == datetime(2027, 7, 15, 12, 30, tzinfo=UTC)
    assert (covered.entry, covered.position, covered.count) == ("covered", "truss", (3, 7))
    assert covered.note == "two bags short"
    assert inspected.at == datetime(2027, 7, 16, 9, tzinfo=UTC)
    assert (inspected.fixture, inspected.result, inspected.by) == ("T-2", "dry", "Tomas")
    assert (moved.fixture, moved.to) == ("B-1", "truss")


def test_log_from_elsewhere_is_refused_with_its_rows(tmp_path):
    show = read_show(small(tmp_path), ENVIRON).show
    data = b"at,entry,position,fixture\n2027-07-15T13:30,put-out,,X-1\n2027-07-15,covered,truss,\n"
    with pytest.raises(BadInputError) as fault:
        read_log(data, show)
    assert [(p.code, p.line) for p in fault.value.problems] == [
        ("unknown-fixture", 2),
        ("bad-time", 3),
    ]
    with pytest.raises(BadInputError) as fault:
        read_log(tmp_path / "nowhere.csv", show)
    assert fault.value.problems[0].code == "missing-file"


def test_a_row_refused_for_its_code_is_still_known_to_the_log(tmp_path):
    found = problems(changed(tmp_path, "fixtures.csv", "T-2,IP43", "T-2,IP4"))
    assert [(p.file, p.code) for p in found] == [("fixtures.csv", "code-unreadable")]


def test_an_archive_is_not_watched(tmp_path):
    show = small(tmp_path)
    before = read_show(show, ENVIRON).show.feeds
    with (show / "show.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[feeds]]\nsheet = "open-meteo-archive"\n')
    read = read_show(show, ENVIRON).show
    assert read.feeds == before
    assert [feed.sheet for feed in read.archives] == ["open-meteo-archive"]


def test_people_their_tickets_and_shifts(tmp_path):
    show = small(tmp_path)
    text = (show / "show.toml").read_text(encoding="utf-8")
    change(show, "show.toml", "[[positions]]", '[[positions]]\ntickets = ["platform", "harness"]')
    with (show / "show.toml").open("a", encoding="utf-8") as file:
        file.write(
            '\n[[people]]\nname = "Suki"\ntickets = ["platform"]\nshifts = ["09:00-23:00"]\n'
            "call_out_minutes = 25\n"
        )
    read = read_show(show, ENVIRON)
    (person,) = read.show.crew.people
    assert (person.name, person.tickets, person.call_out_minutes) == ("Suki", ("platform",), 25.0)
    assert person.shifts == (Hours(time(9), time(23)),)
    assert "harness, which nobody holds" in " ".join(n.says for n in read.notes)
    assert "platform, which nobody" not in " ".join(n.says for n in read.notes)
    assert text.count("[[people]]") == 0


def test_a_person_is_reached_by_a_contact_that_is_there(tmp_path):
    show = small(tmp_path)
    with (show / "show.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[people]]\nname = "Suki"\ncontact = "nobody at all"\n')
    assert [p.code for p in problems(show)] == ["unknown-contact"]


def test_a_show_that_is_still_to_be_described_is_read_and_told_of(tmp_path):
    """Positions and fixtures may be put in on the duty page."""
    folder = with_rows(tmp_path, b"id,code,position\n")
    path = folder / "show.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[[positions]]")], encoding="utf-8")
    read = read_show(folder, {})
    assert (dict(read.show.positions), read.show.fixtures) == ({}, ())
    assert {note.code for note in read.notes} >= {"no-positions", "empty-file"}
    assert needs_attention(read.notes)
