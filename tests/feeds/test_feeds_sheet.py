from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.builtin import builtin
from monitor.domain import BadInputError
from monitor.feeds.sheet import builtin_ids, builtin_sheet, find_sheet, read_sheet
from monitor.feeds.template import BLANKS, NUMBERS, filled, template_fault
from monitor.toml_places import line_of, toml_places

HEAD = 'extends = "open-meteo"\n'


def problems(text: str, name: str = "own.toml"):
    with pytest.raises(BadInputError) as caught:
        read_sheet(text, name)
    return caught.value.problems


def the_problem(text: str):
    (problem,) = problems(text)
    assert problem.file == "own.toml"
    return problem


def test_every_builtin_sheet_reads_and_goes_by_its_files_name():
    assert "open-meteo" in builtin_ids()
    for sheet_id in builtin_ids():
        assert builtin_sheet(sheet_id).id == sheet_id


def test_open_meteo_asks_for_what_it_reads():
    sheet = builtin_sheet("open-meteo")
    asked = set(str(sheet.request.params["hourly"]).split(","))
    read = {var.path.removeprefix("hourly.") for var in sheet.vars.values()}
    assert asked == read
    assert sheet.request.params["timezone"] == "GMT"
    assert sheet.feed.use == "non-commercial"
    assert "Open-Meteo.com (CC BY 4.0" in sheet.feed.credit
    assert sheet.run.max_age == 8 * 3600
    assert sheet.request.poll == 15 * 60


def test_an_own_sheet_changes_three_lines_and_keeps_the_rest():
    sheet = read_sheet(
        HEAD + '[request]\nurl = "https://weather.example/v1/forecast"\n', "ours.toml"
    )
    under = builtin_sheet("open-meteo")
    assert sheet.id == "ours"
    assert sheet.request.url == "https://weather.example/v1/forecast"
    assert sheet.request.params == under.request.params
    assert sheet.vars == under.vars
    # The terms of the free host stay those of the free host.
    assert sheet.feed.free_hosts == under.feed.free_hosts


@pytest.mark.parametrize(
    ("text", "code", "line", "word"),
    [
        ("[request]\nurrl = 1\n", "unknown-key", 3, "url"),
        ("[reqest]\n", "unknown-key", 2, "request"),
        ("[vars.gsut]\npath = 'a'\n", "unknown-key", 2, "gust"),
        ("[vars.gust.unit_check]\nat = 'a'\nis = 'm/s'\nsi = 1\n", "unknown-key", 5, "is"),
        ("[request]\npoll = 10\n", "bad-value", 3, "10m"),
        ("[request]\n\npoll = '10 parsecs'\n", "bad-value", 4, "10m"),
        ("[vars.wind]\ncover = 'sometimes'\n", "bad-value", 3, "preceding"),
        ("[shape]\nkind = 'rings'\n", "bad-value", 3, "columns"),
        ("[feed]\nid = '../x'\n", "bad-value", 3, "small letters"),
        (
            "[time]\nformat = 'unix'\n",
            "bad-value",
            3,
            "iso, unix_s, unix_ms, interval, or strptime",
        ),
        ("[feed]\nid = 'record'\n", "reserved-id", 3, "another"),
        ("[vars.wind]\nunit = 'furlong'\n", "unknown-unit", 3, "m/s"),
        ("[vars.wind]\nunit = 'mm'\n", "unknown-unit", 3, "m/s"),
        ("[vars.wind]\nunit = 'km/h'\n", "unit-mismatch", 3, "together"),
        ("[vars.precip]\nstat = 'rate'\n", "unknown-unit", 2, "mm/h"),
        ("[vars.precip]\nstat = 'max'\n", "bad-value", 3, "sum or rate"),
        ("[vars.precip]\ncover = 'instant'\n", "bad-value", 3, "preceding"),
        ("[vars.temp]\ncover = 'following'\n", "missing-key", 2, "period"),
        ("[vars.gust]\npath = 'hourly[].gust'\n", "projection", 3, "list itself"),
        ("[vars.gust]\npath = 'hourly[*].gust'\n", "projection", 3, "list itself"),
        ("[vars.gust]\npath = 'hourly[?a].gust'\n", "projection", 3, "list itself"),
        ("[vars.gust]\npath = 'hourly[1:]'\n", "projection", 3, "list itself"),
        ("[vars.gust]\npath = 'hourly.*'\n", "projection", 3, "list itself"),
        ("[time]\npath = 'hourly[].time'\n", "projection", 3, "list itself"),
        ("[vars.gust]\npath = 'hourly..gust'\n", "bad-path", 3, "hourly.time"),
        ("[errors]\nreason = 'a ||'\n", "bad-path", 3, "hourly.time"),
        ("[errors]\nreason = '" + "[" * 3000 + "'\n", "bad-path", 3, "hourly.time"),
        ("[time]\nzone = 'Mars/Olympus'\n", "unknown-zone", 3, "Europe/Vienna"),
        ("[request]\nurl = 'http://weather.example/x'\n", "bad-url", 3, "https"),
        ("[request]\nurl = 'weather.example'\n", "bad-url", 3, "https"),
        ("[request.params]\nlatitude = '{lat.real}'\n", "bad-blank", 3, "{lat"),
        ("[request.params]\nlatitude = '{lat[0]}'\n", "bad-blank", 3, "{lat"),
        ("[request.params]\nlatitude = '{latitude}'\n", "bad-blank", 3, "{lat"),
        ("[request.headers]\nX = '{app!r}'\n", "bad-blank", 3, "{lat"),
        ("[request.headers]\nX = '{lat:>99999}'\n", "bad-blank", 3, "{lat"),
        ("[request.headers]\nX = '{app:.4f}'\n", "bad-blank", 3, "{lat"),
        ("[request.headers]\nX = '{lat'\n", "bad-blank", 3, "{lat"),
        ("[request]\nsecrets = { 'query.apikey' = 'abc123' }\n", "bad-secret", 3, "env:NAME"),
        ("[request]\nsecrets = { apikey = 'key' }\n", "bad-secret", 3, "query.NAME"),
        ("[members]\nparent = 'hourly'\npattern = '(?P<var>[a-z]+'\n", "bad-value", 4, "(?P<m>"),
        (
            "[members]\nparent = 'daily'\npattern = '(?P<var>.+)(?P<m>)'\n[vars]\n",
            "bad-path",
            None,
            "daily",
        ),
    ],
)
def test_a_mistake_is_refused_on_its_line(text, code, line, word):
    first = problems(HEAD + text)[0]
    assert first.code == code
    if line is not None:
        assert first.line == line
    assert word in first.remedy
    assert first.file == "own.toml"


def test_all_mistakes_at_once():
    found = problems(HEAD + "[request]\nurrl = 1\npoll = 3\n[vars.gsut]\npath = 'x'\n")
    assert [(p.code, p.line) for p in sorted(found, key=lambda p: p.line)] == [
        ("unknown-key", 3),
        ("bad-value", 4),
        ("unknown-key", 5),
    ]


def test_a_secret_written_into_the_sheet_is_not_repeated():
    problem = the_problem(HEAD + "[request]\nsecrets = { 'query.apikey' = 'hunter2' }\n")
    assert "hunter2" not in problem.says + problem.remedy
    problem = the_problem(HEAD + "[request]\nsecrets = { 'query.apikey' = ['hunter2'] }\n")
    assert "hunter2" not in problem.says + problem.remedy


def test_a_sheet_from_nothing_needs_its_tables_and_a_zone():
    codes = {p.key: p.code for p in problems("[feed]\nid = 'x'\ncredit = 'x'\n")}
    assert codes == dict.fromkeys(("request", "shape", "time", "vars"), "missing-key")
    whole = (
        "[feed]\nid = 'x'\ncredit = 'x'\n[request]\nurl = 'https://w.example/'\n"
        "[shape]\nkind = 'columns'\n[time]\npath = 't'\n"
    )
    rain = (
        "[vars.precip]\npath = 'r'\ncover = 'preceding'\nperiod = '1h'\nstat = 'sum'\nunit = 'mm'\n"
    )
    zoneless = the_problem(whole + rain)
    assert (zoneless.code, zoneless.line, zoneless.key) == ("missing-key", 8, "time")
    assert "zone" in zoneless.remedy
    dry = the_problem(whole + "zone = 'UTC'\n[vars]\n")
    assert dry.says == "There is no [vars.precip]."
    assert read_sheet(whole + "zone = 'UTC'\n" + rain, "own.toml").id == "x"
    for form in ("unix_s", "strptime:%Y %z"):
        assert read_sheet(whole + f"format = '{form}'\n" + rain, "own.toml")


def test_broken_toml_and_an_unknown_parent():
    problem = the_problem("[feed]\nid =\n")
    assert (problem.code, problem.line) == ("broken-toml", 2)
    problem = the_problem('extends = "open-meteor"\n')
    assert (problem.code, problem.line) == ("unknown-sheet", 1)
    assert "open-meteo" in problem.remedy


def test_the_shows_own_sheets_come_first(tmp_path):
    assert find_sheet("open-meteo", tmp_path).feed.credit.startswith("Weather data by")
    folder = tmp_path / "sheets"
    folder.mkdir()
    (folder / "a.toml").write_text(HEAD + '[feed]\nid = "open-meteo"\ncredit = "Ours"\n')
    (folder / "ours.toml").write_text(HEAD)
    (folder / "broken.toml").write_text("[[[")
    (folder / "latin.toml").write_bytes(b'extends = "open-meteo"\n# \xfc\n')
    assert find_sheet("open-meteo", tmp_path).feed.credit == "Ours"
    assert find_sheet("ours", tmp_path).id == "ours"
    with pytest.raises(BadInputError) as caught:
        find_sheet("broken", tmp_path)
    assert caught.value.problems[0].file == "sheets/broken.toml"
    with pytest.raises(BadInputError) as caught:
        find_sheet("latin", tmp_path)
    assert caught.value.problems[0].code == "encoding"


@pytest.mark.parametrize("sheet_id", ["open-meteor", "../policy", "", "record"])
def test_an_unknown_sheet_is_refused(sheet_id, tmp_path):
    with pytest.raises(BadInputError) as caught:
        find_sheet(sheet_id, tmp_path)
    assert caught.value.problems[0].code == "unknown-sheet"


# ---------------------------------------------------------------- blanks


def test_blanks_are_filled_in():
    values = {
        "lat": 50.12346,
        "lon": -8.7,
        "elev": 112.4,
        "app": "a",
        "version": "1",
        "contact": "",
    }
    assert filled("{lat:.4f},{lon:.1f},{elev:.0f} {{x}}", values) == "50.1235,-8.7,112 {x}"
    assert filled("{app}/{version} {contact}", values) == "a/1"


@given(st.text(alphabet="{}latonxyz.[]!:0123456789f_ ", max_size=20))
def test_no_template_reaches_further_than_the_blanks(template):
    values = {name: 1.5 if name in NUMBERS else "text" for name in BLANKS}
    if template_fault(template) is None:
        assert isinstance(filled(template, values), str)
    else:
        with pytest.raises(ValueError):
            filled(template, values)


# ---------------------------------------------------------------- lines

PLACES = '''# first
top = "a # b = ["
[one]   # two = 1
list = [
  "]",  # ]
  1, ]
text = """
no = 1
[neither]
"""
raw = '{'
inline = { x = 1,
  y = 2 }
"quoted.key" = 1
dotted.key = 1
[[many]]
a = 1
[[many]]
a = 2
[many.under]
b = 1
'''


def test_lines_of_keys():
    places = toml_places(PLACES)
    assert places == {
        ("top",): 2,
        ("one",): 3,
        ("one", "list"): 4,
        ("one", "list", 0): 5,
        ("one", "list", 1): 6,
        ("one", "text"): 7,
        ("one", "raw"): 11,
        ("one", "inline"): 12,
        ("one", "inline", "x"): 12,
        ("one", "inline", "y"): 13,
        ("one", "quoted.key"): 14,
        ("one", "dotted"): 15,
        ("one", "dotted", "key"): 15,
        ("many",): 16,
        ("many", 0): 16,
        ("many", 0, "a"): 17,
        ("many", 1): 18,
        ("many", 1, "a"): 19,
        ("many", 1, "under"): 20,
        ("many", 1, "under", "b"): 21,
    }
    assert line_of(places, ("one", "inline", "z")) == 12
    assert line_of(places, ("nowhere",)) is None


def test_every_key_of_the_builtin_sheet_has_its_line():
    text = builtin("sheets", "open-meteo.toml").read_text(encoding="utf-8")
    places, lines = toml_places(text), text.splitlines()
    for section, table in tomllib.loads(text).items():
        for key in table:
            assert key in lines[places[section, key] - 1]


def remedies(text):
    return [p.remedy for p in problems(text)]


def test_faults_name_what_is_allowed():
    (one,) = remedies(HEAD + "[vars.thunder]\nstat = 'mean'\nunit = 'C'\n")[:1]
    assert one == "It is read as code."
    # a code has no unit: where the statistic is wrong nothing is said of one
    assert len(remedies(HEAD + "[vars.thunder]\nstat = 'mean'\n")) == 1
    bare = "[feed]\nid = 'x'\ncredit = 'c'\n[request]\nurl = 'https://w.example/'\n[shape]\n"
    missing = {p.key: p.remedy for p in problems(bare)}
    assert missing["shape.kind"] == "Give kind, one of columns, rows, intervals."


def test_extends_takes_a_built_in_sheet_alone():
    (said,) = problems("extends = 'our-own'\n")
    assert said.remedy.startswith("extends takes a built-in sheet and none of the show's own.")


def test_a_variable_without_its_unit_is_told_which_there_are():
    text = HEAD + "[vars.humidity]\npath = 'hourly.rh'\ncover = 'instant'\nstat = 'mean'\n"
    (said,) = [p for p in problems(text) if p.key == "vars.humidity"]
    assert said.remedy.startswith("Give unit, one of %")
