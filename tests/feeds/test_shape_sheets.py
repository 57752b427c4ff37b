"""What is refused of a sheet before it is ever used: shapes, covers, periods, places, blanks."""

from __future__ import annotations

from datetime import date

import pytest
from feed_samples import FEED, SITE
from shape_sheets import COLUMNS, INTERVALS, RAIN, ROWS, WIND

from monitor.domain import BadInputError
from monitor.feeds.request import Asker
from monitor.feeds.sheet import read_sheet
from monitor.feeds.sheet_parts import IssuedPart

SPAN = RAIN.replace("preceding", "interval")
FIRST_OF = (
    '[vars.precip]\nfirst_of = [ { path = "a", period = "1h" } ]\ncover = "following"\n'
    'stat = "sum"\nunit = "mm"\n'
)
CODE = '[vars.thunder]\npath = "c"\ncover = "instant"\nstat = "code"\n'
MEMBERS = (
    "[members]\nparent = 'hourly'\npattern = '(?P<var>[a-z]+?)(?:_(?:member|p)?(?P<m>\\d+))?'\n"
)
HOURLY = COLUMNS + RAIN.replace('"rain"', '"hourly.rain"')


def problems(text: str):
    with pytest.raises(BadInputError) as caught:
        read_sheet(text, "own.toml")
    return caught.value.problems


@pytest.mark.parametrize(
    ("text", "code", "key", "word"),
    [
        # shape and time
        (ROWS.replace('records = "hours"\n', "") + RAIN, "missing-key", "shape", "records"),
        (ROWS.replace('path = "at"\n', "") + RAIN, "missing-key", "time", "path"),
        (ROWS.replace('"hours"', '"hours["') + RAIN, "bad-path", "shape.records", "JMESPath"),
        (ROWS.replace('"at"', '"at[*]"') + RAIN, "projection", "time.path", "nulls"),
        (
            INTERVALS.replace("[time]", 'interval = "a[]"\n[time]') + SPAN,
            *("projection", "shape.interval", "nulls"),
        ),
        (INTERVALS.replace('zone = "UTC"\n', "") + SPAN, "missing-key", "time", "zone"),
        # covers
        (ROWS + SPAN, "bad-value", "vars.precip.cover", "moments"),
        (INTERVALS + RAIN, "bad-value", "vars.precip.cover", "intervals"),
        (
            ROWS + RAIN + WIND.replace("instant", "run_total"),
            *("bad-value", "vars.wind.cover", "add up"),
        ),
        (
            ROWS + RAIN.replace("preceding", "run_total").replace("sum", "rate"),
            *("bad-value", "vars.precip.cover", "add up"),
        ),
        (ROWS + RAIN.replace("preceding", "instant"), "bad-value", "vars.precip.cover", "amount"),
        # where a variable comes from
        (ROWS + RAIN.replace('path = "rain"\n', ""), "missing-key", "vars.precip", "no path"),
        (ROWS + FIRST_OF + 'path = "a"\n', "bad-value", "vars.precip", "path and first_of"),
        (ROWS + FIRST_OF + 'period = "1h"\n', "bad-value", "vars.precip.cover", "several periods"),
        (
            ROWS + FIRST_OF.replace("following", "instant").replace("sum", "rate"),
            *("bad-value", "vars.precip.cover", "several periods"),
        ),
        (
            ROWS + FIRST_OF.replace('"a"', '"a[]"'),
            *("projection", "vars.precip.first_of.0.path", "nulls"),
        ),
        (
            ROWS + RAIN + WIND.replace('path = "wind"', 'vector = ["u", "v[*]"]'),
            *("projection", "vars.wind.vector.1", "nulls"),
        ),
        (
            ROWS + RAIN.replace('path = "rain"', 'vector = ["u", "v"]'),
            *("bad-value", "vars.precip.vector", "components"),
        ),
        (
            INTERVALS + SPAN + WIND.replace('path = "wind"', 'vector = ["u", "v"]'),
            *("bad-value", "vars.wind.vector", "own stamps"),
        ),
        (
            ROWS + RAIN + WIND + 'fallback = { from = "wind", factor = 2 }\n',
            *("bad-value", "vars.wind.fallback", "wind"),
        ),
        (ROWS + RAIN + 'time_path = "b"\n', "bad-value", "vars.precip.time_path", "rows"),
        (ROWS + RAIN + 'value = "b"\n', "bad-value", "vars.precip.value", "intervals"),
        (
            ROWS + RAIN + CODE + 'map = { ">=ten" = "yes" }\n',
            *("bad-value", "vars.thunder.map.>=ten", "number"),
        ),
        (ROWS + RAIN + CODE, "missing-key", "vars.thunder", "map"),
        (
            ROWS + RAIN + 'unit_check = { at = "a..b", is = "mm" }\n',
            *("bad-path", "vars.precip.unit_check.at", "JMESPath"),
        ),
        # members, and what is none
        (ROWS + RAIN + MEMBERS, "bad-value", "members", "rows"),
        (HOURLY + MEMBERS, "percentiles", "members.pattern", "percentile"),
        (
            COLUMNS + FIRST_OF.replace('"a"', '"hourly.a"') + MEMBERS.replace("|p", ""),
            *("bad-value", "vars.precip.first_of", "own period"),
        ),
        (
            ROWS + RAIN.replace('"rain"', '"rain_p50"') + WIND.replace('"wind"', '"wind_p90"'),
            *("percentiles", "vars.wind", "driest wind"),
        ),
        # the request
        (
            ROWS.replace("[shape]", 'kind = "archive"\n[shape]') + RAIN,
            *("missing-key", "request.kind", "days"),
        ),
        (
            ROWS.replace("w.example/", "w.example/{grid_url}") + RAIN,
            *("bad-blank", "request.url", "no blank"),
        ),
        (
            ROWS.replace("https://w.example/", "https://[/") + RAIN,
            "bad-url",
            "request.url",
            "https",
        ),
    ],
)
def test_a_sheet_that_cannot_be_meant(text, code, key, word):
    found = problems(text)
    assert (code, key) in [(p.code, p.key) for p in found]
    assert any(word in p.says + p.remedy for p in found if p.key == key)
    assert all(p.line for p in found if p.key)


@pytest.mark.parametrize(
    ("text", "key", "word"),
    [
        (ROWS + RAIN.replace('"rain"', '["p10", "p90"]'), "vars.precip.path", "percentiles"),
        (ROWS + FIRST_OF.replace("period", "perod"), "vars.precip.first_of.0.perod", "period"),
        (
            ROWS + RAIN + '[vars.gust]\ncover = "instant"\nstat = "max"\nunit = "m/s"\n'
            'fallback = { from = "wind", factr = 2 }\n',
            *("vars.gust.fallback.factr", "factor"),
        ),
        (
            ROWS + RAIN + '[run]\nissued = { url = "https://w.example/", pth = "a" }\n',
            "run.issued.pth",
            "path",
        ),
        (ROWS + RAIN + "[run]\nissued = 3\n", "run.issued", "string"),
        (ROWS + RAIN + '[place]\nlt = "a"\n', "place.lt", "lat"),
        (
            ROWS + RAIN + '[[resolve]]\nurl = "https://w.example/"\ntkae = {}\n',
            "resolve.0.tkae",
            "take",
        ),
        (
            ROWS + RAIN + '[[resolve]]\nurl = "https://w.example/"\ntake = {}\n',
            *("resolve.0.take", "at least 1"),
        ),
    ],
)
def test_a_key_that_does_not_read(text, key, word):
    found = [p for p in problems(text) if p.key == key]
    assert found
    assert word in found[0].remedy
    assert found[0].line


@pytest.mark.parametrize("name", ["snow", "snowfall", "ptype"])
def test_snow_is_no_part_of_the_rain(name):
    # A depth of snow is another quantity: no sheet can have it read, let alone added.
    found = problems(ROWS + RAIN + RAIN.replace("precip", name).replace('"rain"', '"snow"'))
    assert [(p.code, p.key) for p in found] == [("unknown-key", f"vars.{name}")]


def test_a_name_that_only_looks_like_a_percentile():
    text = ROWS + RAIN.replace('"rain"', '"rain_p1h"') + WIND.replace('"wind"', '"wind_p1h"')
    assert read_sheet(text, "own.toml").vars["wind"].path == "wind_p1h"


RESOLVE = """\
[[resolve]]
url = "https://w.example/{lat:.2f}"
take = { grid_url = "properties.url" }
[[resolve]]
url = "{grid_url}/stations"
take = { station = "list[0].id" }
"""


def test_blanks_that_an_earlier_answer_fills():
    text = ROWS.replace("https://w.example/", "{grid_url}/at/{station}") + RAIN + RESOLVE
    sheet = read_sheet(text, "own.toml")
    assert [dict(part.take) for part in sheet.resolve] == [
        {"grid_url": "properties.url"},
        {"station": "list[0].id"},
    ]
    assert [part.keep for part in sheet.resolve] == [7 * 86400] * 2
    asker = Asker(sheet, SITE, FEED, str, (date(2026, 6, 1), date(2026, 6, 11)))
    taken = {"grid_url": "https://grid.example/7", "station": "k2"}
    assert asker.forecast(taken).url == "https://grid.example/7/at/k2"


@pytest.mark.parametrize(
    ("change", "key"),
    [
        # A blank of a later step, one that is taken already, one of the sheet's own.
        (("{grid_url}/stations", "{station}/stations"), "resolve.1.url"),
        (("station =", "grid_url ="), "resolve.1.take.grid_url"),
        (("station =", "lat ="), "resolve.1.take.lat"),
        (("station =", "Station ="), "resolve.1.take.Station"),
        (("https://w.example/{lat:.2f}", "http://w.example/"), "resolve.0.url"),
        (("list[0].id", "list["), "resolve.1.take.station"),
    ],
)
def test_steps_that_do_not_lead_to_each_other(change, key):
    assert key in [p.key for p in problems(ROWS + RAIN + RESOLVE.replace(*change))]


def test_an_issue_time_of_another_address():
    text = ROWS + RAIN + '[run]\nissued = {{ url = "{}", path = "last" }}\n'
    issued = read_sheet(text.format("https://w.example/meta.json"), "own.toml").run.issued
    assert issued == IssuedPart(url="https://w.example/meta.json", path="last")
    assert [p.key for p in problems(text.format("ftp://w.example"))] == ["run.issued.url"]


def test_a_feed_of_the_past_names_its_days():
    params = 'kind = "archive"\nparams = { start = "{from_date}", end = "{to_date}" }\n[shape]'
    sheet = read_sheet(ROWS.replace("[shape]", params) + RAIN, "own.toml")
    asker = Asker(sheet, SITE, FEED, str, (date(2024, 2, 28), date(2024, 3, 1)))
    assert asker.forecast({}).params == (("start", "2024-02-28"), ("end", "2024-03-01"))
