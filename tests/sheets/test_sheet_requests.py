"""What each built-in sheet asks, and on what terms its answers may be used."""

from __future__ import annotations

import json
import re
from datetime import date
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import pytest
from sheet_tables import SAMPLES

from monitor.domain import Feed, Site
from monitor.feeds.request import Asker, needs_consent
from monitor.feeds.sheet import builtin_ids, builtin_sheet
from monitor.feeds.sheet_parts import CANONICAL

SITE = Site("Meadow", 50.123456, -8.7, 112.4, ZoneInfo("Europe/Berlin"), "II")
DAYS = (date(2026, 6, 1), date(2026, 6, 11))
ALL = (
    "bright-sky",
    "geosphere",
    "geosphere-nowcast",
    "met-norway",
    "met-norway-nowcast",
    "nws-grid",
    "open-meteo",
    "open-meteo-15-minutes",
    "open-meteo-archive",
    "open-meteo-ensemble",
    "smhi",
)
SMHI = "https://opendata-download-metfcst.smhi.se/api/category/snow1g/version/1"
GRID = {"grid_url": "https://api.weather.gov/gridpoints/XYZ/10,20"}


def asked(sheet_id, key=None):
    sheet = builtin_sheet(sheet_id)
    feed = Feed(sheet_id, contact="crew@example.org", key=key)
    return Asker(sheet, SITE, feed, lambda _: "k-1", DAYS).forecast(GRID if sheet.resolve else {})


def test_these_are_the_sheets():
    assert builtin_ids() == ALL
    assert sorted(f.stem for f in SAMPLES.glob("*.json")) == list(ALL)


@pytest.mark.parametrize("sheet_id", ALL)
def test_who_asks_is_said_and_only_by_https(sheet_id):
    request = asked(sheet_id)
    assert re.fullmatch(r"\S+/\S+ crew@example\.org", request.headers["User-Agent"])
    assert urlsplit(request.url).scheme == "https"


@pytest.mark.parametrize(
    ("sheet_id", "url", "params"),
    [
        (
            "open-meteo",
            "https://api.open-meteo.com/v1/forecast",
            {"latitude": "50.1235", "longitude": "-8.7000", "timezone": "GMT"},
        ),
        (
            "open-meteo-15-minutes",
            "https://api.open-meteo.com/v1/forecast",
            {"timezone": "GMT", "wind_speed_unit": "ms", "hourly": "cloud_cover"},
        ),
        (
            "open-meteo-ensemble",
            "https://ensemble-api.open-meteo.com/v1/ensemble",
            {
                "models": "dwd_icon_seamless_eps",
                "temporal_resolution": "native",
                "timezone": "GMT",
            },
        ),
        (
            "open-meteo-archive",
            "https://archive-api.open-meteo.com/v1/archive",
            {"start_date": "2026-06-01", "end_date": "2026-06-11", "timezone": "GMT"},
        ),
        (
            "met-norway",
            "https://api.met.no/weatherapi/locationforecast/2.0/complete",
            {"lat": "50.1235", "lon": "-8.7000", "altitude": "112"},
        ),
        (
            "met-norway-nowcast",
            "https://api.met.no/weatherapi/nowcast/2.0/complete",
            {"lat": "50.1235", "lon": "-8.7000"},
        ),
        ("nws-grid", "https://api.weather.gov/gridpoints/XYZ/10,20", {}),
        (
            "bright-sky",
            "https://api.brightsky.dev/weather",
            {
                "lat": "50.1235",
                "lon": "-8.7000",
                "date": "2026-06-01",
                "last_date": "2026-06-11",
                "units": "dwd",
            },
        ),
        (
            "smhi",
            f"{SMHI}/geotype/point/lon/-8.700000/lat/50.123456/data.json",
            {},
        ),
        (
            "geosphere",
            "https://dataset.api.hub.geosphere.at/v1/timeseries/forecast/nwp-v1-1h-2500m",
            {"lat_lon": "50.1235,-8.7000", "output_format": "geojson"},
        ),
        (
            "geosphere-nowcast",
            "https://dataset.api.hub.geosphere.at/v1/timeseries/forecast/nowcast-v1-15min-1km",
            {"lat_lon": "50.1235,-8.7000", "output_format": "geojson"},
        ),
    ],
)
def test_address_and_query(sheet_id, url, params):
    request = asked(sheet_id)
    assert request.url == url
    assert params.items() <= dict(request.params).items()
    # These services refuse parameters they do not know.
    if sheet_id in ("met-norway", "met-norway-nowcast", "nws-grid", "smhi"):
        assert dict(request.params) == params


@pytest.mark.parametrize("sheet_id", ALL)
def test_everything_read_is_asked_for(sheet_id):
    # Where the query names the variables, it names those that the paths end on.
    sheet = builtin_sheet(sheet_id)
    lists = [sheet.request.params.get(k) for k in ("hourly", "minutely_15", "parameters")]
    named = {name for one in lists if one for name in str(one).split(",")}
    if not named:
        return
    read = {
        path.removesuffix(".data").rsplit(".", 1)[-1]
        for part in sheet.vars.values()
        for path in part.sources
    }
    assert read == named


@pytest.mark.parametrize("sheet_id", [s for s in ALL if s.startswith("open-meteo")])
def test_free_hosts_want_consent_and_a_key_goes_into_the_query(sheet_id):
    sheet = builtin_sheet(sheet_id)
    assert "non-commercial" in needs_consent(sheet, Feed(sheet_id))
    paid = Feed(sheet_id, base_url="https://customer-api.open-meteo.com")
    assert needs_consent(sheet, paid) is None
    assert dict(asked(sheet_id, "env:KEY").params)["apikey"] == "k-1"
    assert "apikey" not in dict(asked(sheet_id).params)


@pytest.mark.parametrize("sheet_id", [s for s in ALL if not s.startswith("open-meteo")])
def test_the_others_may_be_used_for_any_purpose(sheet_id):
    sheet = builtin_sheet(sheet_id)
    assert sheet.feed.use == "any"
    assert needs_consent(sheet, Feed(sheet_id)) is None
    assert sheet.request.secrets == {}


@pytest.mark.parametrize(
    ("sheet_id", "named"),
    [
        ("bright-sky", "Quelle: Deutscher Wetterdienst"),
        ("geosphere", "GeoSphere Austria (CC BY 4.0"),
        ("geosphere-nowcast", "GeoSphere Austria (CC BY 4.0"),
        ("met-norway", "MET Norway (CC BY 4.0"),
        ("met-norway-nowcast", "MET Norway (CC BY 4.0"),
        ("nws-grid", "US National Weather Service"),
        ("open-meteo", "Open-Meteo.com (CC BY 4.0, https://open-meteo.com/)"),
        ("open-meteo-15-minutes", "Open-Meteo.com (CC BY 4.0, https://open-meteo.com/)"),
        ("open-meteo-archive", "Copernicus Climate Change Service"),
        ("open-meteo-ensemble", "Open-Meteo.com (CC BY 4.0, https://open-meteo.com/)"),
        ("smhi", "SMHI (CC BY 4.0"),
    ],
)
def test_credit_names_the_source_its_licence_and_the_changes(sheet_id, named):
    feed = builtin_sheet(sheet_id).feed
    assert named in feed.credit
    assert re.search(r"changed: |verändert: ", feed.credit)
    assert feed.licence
    # MET Norway's terms forbid the name of its public site.
    assert not re.search(r"\bYr\b", feed.credit)


@pytest.mark.parametrize("sheet_id", ALL)
def test_waits_and_limits(sheet_id):
    sheet = builtin_sheet(sheet_id)
    request, errors = sheet.request, sheet.errors
    assert 300 <= request.poll <= 86400
    assert 0 < request.jitter <= request.poll / 5
    assert 10 <= request.deadline <= 60
    assert request.max_bytes <= 10_000_000
    assert sheet.run.max_age >= 1800
    assert {500, 503} <= set(errors.retry)
    assert {400, 401, 403, 404} <= set(errors.config_fault)
    assert not {429} & {*errors.retry, *errors.config_fault}
    for name, part in sheet.vars.items():
        least, most = part.plausible or CANONICAL[name][1:]
        assert least < most
    # Every sheet says how to tell which place an answer is for.
    assert sheet.place.lat
    assert sheet.place.lon


@pytest.mark.parametrize("sheet_id", ["met-norway", "met-norway-nowcast"])
def test_met_norway_is_asked_as_its_terms_want(sheet_id):
    sheet = builtin_sheet(sheet_id)
    assert sheet.request.conditional == "last-modified"
    assert sheet.request.honour_expires
    assert 203 in sheet.errors.warn
    for name in ("lat", "lon"):
        assert re.fullmatch(r"-?\d+\.\d{1,4}", dict(asked(sheet_id).params)[name])


def test_nws_wants_geojson():
    assert asked("nws-grid").headers["Accept"] == "application/geo+json"


@pytest.mark.parametrize("sheet_id", ALL)
def test_samples_are_small_and_invented(sheet_id):
    text = (SAMPLES / f"{sheet_id}.json").read_text(encoding="utf-8")
    assert len(text) < 20_000
    json.loads(text)
