"""Values of a sheet that read well and can never be right are refused, on their line."""

from __future__ import annotations

import pytest
from shape_sheets import COLUMNS, RAIN, ROWS, WIND, read, stamp

from monitor.domain import BadInputError
from monitor.feeds.sheet import builtin_ids, builtin_sheet, read_sheet

ASKED = '[request]\nurl = "https://w.example/"\n'
MEMBERS = "[members]\nparent = 'h'\npattern = '(?P<var>[a-z]+)(?:_m(?P<m>\\d+))?'\n"


def problems(text):
    with pytest.raises(BadInputError) as caught:
        read_sheet(text, "own.toml")
    return caught.value.problems


def asked(line):
    return ROWS.replace(ASKED, f"{ASKED}{line}\n") + RAIN


@pytest.mark.parametrize(
    ("text", "code", "key", "word"),
    [
        # polled without a pause; a duration that no calendar holds
        (asked('poll = "0s"'), "bad-value", "request.poll", "too short"),
        (asked('deadline = "0s"'), "bad-value", "request.deadline", "too short"),
        (asked('jitter = "99999999d"'), "bad-value", "request.jitter", "cannot be read"),
        (ROWS + RAIN + '[run]\nmax_age = "0h"\n', "bad-value", "run.max_age", "too short"),
        # an hour of no length, and one of 60 days
        (ROWS + RAIN.replace('"1h"', '"0h"'), "bad-value", "vars.precip.period", "period"),
        (ROWS + RAIN.replace('"1h"', '"60d"'), "bad-value", "vars.precip.period", "period"),
        (ROWS + RAIN + WIND + 'period = "1h"\n', "bad-value", "vars.wind.period", "instant"),
        (ROWS + RAIN + "plausible = [250, 0]\n", "bad-value", "vars.precip.plausible", "between"),
        # what would turn not known into dry, or rain into something else
        (ROWS + RAIN.replace('"rain"', '"rain || `0`"'), "constant", "vars.precip.path", "dry"),
        (
            ROWS + RAIN.replace('"rain"', "\"not_null(rain, '0')\""),
            *("constant", "vars.precip.path", "dry"),
        ),
        (
            COLUMNS + RAIN.replace('"rain"', '"sort(rain)"'),
            *("projection", "vars.precip.path", "order"),
        ),
        (
            COLUMNS + RAIN.replace('"rain"', '"hourly.snowfall"'),
            *("not-rain", "vars.precip.path", "snow"),
        ),
        (
            COLUMNS + RAIN.replace('"rain"', '"hourly.precipitation_probability"'),
            *("not-rain", "vars.precip.path", "probability"),
        ),
        # a key in the file
        (asked('params = { apikey = "abc" }'), "open-secret", "request.params.apikey", "secrets"),
        (asked('params = { appid = "abc" }'), "open-secret", "request.params.appid", "secrets"),
        (
            asked('headers = { X-Api-Key = "abc" }'),
            *("open-secret", "request.headers.X-Api-Key", "secrets"),
        ),
        # twelve hours apart, no year, no such letter
        *(
            (
                (ROWS + RAIN).replace('path = "at"', f'path = "at"\nformat = "strptime:{form}"'),
                *("bad-value", "time.format", "strptime:%Y-%m-%d %H:%M"),
            )
            for form in ("%Y-%m-%d %I:%M", "%d.%m. %H:%M", "%Q")
        ),
        # compared in small letters; a good status is no failure
        (
            ROWS + RAIN + '[errors]\nlimits = { Daily = "day" }\n',
            *("bad-value", "errors.limits.Daily", "small letters"),
        ),
        (ROWS + RAIN + "[errors]\nretry = [200]\n", "bad-value", "errors", "no failure"),
        (
            COLUMNS + RAIN.replace('"rain"', '"h.rain"') + MEMBERS + "expect = 3\nat_least = 9\n",
            *("bad-value", "members.at_least", "9 members"),
        ),
    ],
)
def test_a_value_that_cannot_be_right_is_refused(text, code, key, word):
    found = [(p.code, p.key) for p in problems(text)]
    assert (code, key) in found
    (problem,) = [p for p in problems(text) if p.key == key]
    assert problem.line is not None
    assert word in f"{problem.says} {problem.remedy}"


@pytest.mark.parametrize(
    "text",
    [
        # the water of snow is rain; names in quotes may hold anything
        ROWS + RAIN.replace('"rain"', '"snow_water_equivalent"'),
        ROWS + RAIN.replace('"rain"', "'\"rain `mm`\"'"),
        asked('params = { monkey = "abc", keyword = "rain", q = "{lat:.4f}" }'),
        (ROWS + RAIN).replace('path = "at"', 'path = "at"\nformat = "strptime:%Y%m%d %I %p"'),
    ],
)
def test_what_only_looks_like_it_is_taken(text):
    assert read_sheet(text, "own.toml").id == "own"


@pytest.mark.parametrize("sheet_id", builtin_ids())
def test_every_built_in_sheet_passes(sheet_id):
    assert builtin_sheet(sheet_id).id == sheet_id


CHECKED = WIND + 'unit_check = { at = "units.wind", is = "m/s" }\n'


def test_the_unit_of_nothing_but_nulls_is_nobodys_mistake():
    # A service that does not have a variable here sends nulls and the unit "undefined".
    answer = {"at": [stamp(1), stamp(2)], "rain": [1.0, 2.0], "wind": [None, None]}
    weather = read(COLUMNS + RAIN + CHECKED, {**answer, "units": {"wind": "undefined"}})
    assert weather.rain_mm.tolist() == [[1.0, 2.0]]
    assert "nan" in str(weather.wind_mps)
