"""The bundled festival: its totals, its roofs and its weather.

Expected values are those of the festival's own description, worked by hand before any of this
program existed; where one is worked here, the working stands beside it. The geometry is a
plain ray of this file's own, not the program's.
"""

from __future__ import annotations

import csv
import math
import tomllib
from collections import Counter
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from monitor.builtin import builtin
from monitor.codes import read_code
from monitor.feeds.record import read_record
from monitor.show import default_policy, read_show

DEMO = builtin("demo")
DROP_MPS = 6.5
"""Fall speed of the one drop the hand-worked reach rule knows."""

FIXTURE_HEADER = (
    "id,code,position,name,type,serial,owner,count,supply_code,connector_code,"
    "connector_open_code,connector_state,mount,tilt_deg,facing_deg,condition,surface_m2,"
    "height_m,in_from_front_m,in_from_right_m,fed_by,cover,fan_cooled,may_run_covered,"
    "stated_mm,stated_hours_in_rain,value,truck,case"
)
CHAIN = ("DIST-", "PSU-", "DIM-", "SPL-", "NODE-", "HOIST-", "CAB-")


def rows(name):
    return list(csv.DictReader(DEMO.joinpath(name).read_text(encoding="utf-8").splitlines()))


@pytest.fixture(scope="module")
def fixtures():
    return rows("fixtures.csv")


@pytest.fixture(scope="module")
def lamps(fixtures):
    return [row for row in fixtures if not row["id"].startswith(CHAIN)]


@pytest.fixture(scope="module")
def settings():
    return tomllib.loads(DEMO.joinpath("show.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def weather():
    numbers = []
    for row in rows("weather.csv"):
        kept = {"at": datetime.fromisoformat(row["starts_at"]), "thunder": row["thunder"]}
        kept |= {k: float(v) for k, v in row.items() if k not in {"starts_at", "thunder"}}
        numbers.append(kept)
    return numbers


def by_id(entries):
    return {entry["id"]: entry for entry in entries}


# -------------------------------------------------------------------- as the program reads it


@pytest.fixture(scope="module")
def folder():
    return read_show(Path(str(DEMO)), {})


def test_the_folder_reads_with_one_thing_told(folder, fixtures, settings):
    told = [(note.code, note.key) for note in folder.notes]
    assert told == [("code-repaired", "code")]  # the splitter with no mark
    show = folder.show
    assert [f.id for f in show.fixtures] == [row["id"] for row in fixtures]
    assert list(show.positions) == [p["id"] for p in settings["positions"]]
    assert show.policy == default_policy()
    assert (show.crew.parties, show.crew.call_out_minutes) == (2, 25)
    assert [contact.kind for contact in show.contacts] == ["folder"]
    assert show.positions["ladder-left"].access_limit_mps == 10
    assert show.positions["tower-a"].access_limit_mps == 12.5
    assert show.positions["stage-lip"].access_limit_mps is None


def test_the_event_is_read_in_site_time(folder, weather):
    event = folder.show.event
    assert event.load_in_at == weather[0]["at"]  # 13:00 at UTC+1
    assert event.load_out_at == datetime(2027, 7, 19, 10, tzinfo=UTC)


def test_the_weather_reads_with_nothing_told():
    record = read_record(DEMO.joinpath("weather.csv").read_bytes(), "weather.csv")
    assert record.dropped == ()
    assert record.rain_mm.shape == (1, 96)
    assert record.rain_mm.sum() == pytest.approx(63.8)
    assert record.thunder.sum() == 4
    assert set(record.hours) == {1.0}


# ------------------------------------------------------------------------------ fixtures


def test_121_rows_of_which_102_are_lamps(fixtures, lamps):
    assert ",".join(fixtures[0]) == FIXTURE_HEADER
    assert len({row["id"] for row in fixtures}) == len(fixtures) == 121
    assert len(lamps) == 102
    assert {row["count"] for row in fixtures} == {"1"}


def test_codes_of_the_lamps(lamps):
    assert Counter(row["code"] for row in lamps) == {
        "IP20": 24,
        "IP24": 12,
        "IP43": 2,
        "IP44": 4,
        "IP54": 14,
        "IP55": 4,
        "IP65": 26,
        "IP66": 2,
        "IP66/IP67": 2,
        "IP67": 10,
        "IP68": 2,
    }


def test_supplies_and_the_unmarked_splitter(fixtures):
    supplies = Counter(row["code"] for row in fixtures if row["id"].startswith("PSU-"))
    assert supplies == {"IP67": 2, "IP65": 1}
    unmarked = [row["id"] for row in fixtures if read_code(row["code"]).unstated]
    assert unmarked == ["SPL-DS"]


def test_value_in_indoor_and_splash_only_lamps(lamps):
    assert sum(int(row["value"]) for row in lamps if row["code"] in {"IP20", "IP24"}) == 1822


def test_rows_at_each_place(fixtures):
    counts = Counter(row["position"] for row in fixtures)
    places = {
        "downstage-truss": 15,
        "upstage-truss": 10,
        "ladder": 12,
        "tower": 17,
        "foh-tent": 6,
        "stage-lip": 17,
        "mere": 16,
        "avenue": 17,
        "bar": 11,
    }
    assert {
        place: sum(n for position, n in counts.items() if position.startswith(place))
        for place in places
    } == places


def test_every_reference_leads_somewhere(fixtures, settings):
    positions, covers = by_id(settings["positions"]), by_id(settings["covers"])
    roofs, ids = by_id(settings["roofs"]), by_id(fixtures)
    for row in fixtures:
        assert row["position"] in positions
        assert not row["cover"] or row["cover"] in covers
        seen, at = set(), row["id"]
        while ids[at]["fed_by"]:
            assert at not in seen
            seen.add(at)
            at = ids[at]["fed_by"]
        assert at.startswith("DIST-")  # every part hangs on a distribution
    assert {row["position"] for row in fixtures} == set(positions)
    assert {p["roof"] for p in positions.values() if "roof" in p} == set(roofs)


def test_each_position_is_isolated_at_the_distribution_that_feeds_it(fixtures, settings):
    ids = by_id(fixtures)
    isolate_at = {p["id"]: p["isolate_at"] for p in settings["positions"]}
    for row in fixtures:
        if row["position"] in {"tower-a-foot", "tower-b-foot", "bar-floor"}:
            continue  # where only the distribution itself needs cutting, at its supply
        top = row["id"]
        while ids[top]["fed_by"]:
            top = ids[top]["fed_by"]
        assert isolate_at[row["position"]].startswith(top)
    assert all("supply compound" in isolate_at[p] for p in ("tower-a-foot", "bar-floor"))


def test_enough_covers_but_for_the_blocks(fixtures, settings):
    wanted = Counter(row["cover"] for row in fixtures if row["cover"])
    short = {
        cover["id"]: (cover["in_stock"], wanted[cover["id"]])
        for cover in settings["covers"]
        if cover["in_stock"] < wanted[cover["id"]]
    }
    # Ten uplights could be raised; blocks are there for the six in the dip.
    assert short == {"block": (6, 10)}


def test_planted_traps_are_there(fixtures, settings):
    ids, positions = by_id(fixtures), by_id(settings["positions"])
    assert {row["id"] for row in fixtures if row["connector_state"] == "open"} == {
        "DTB-04",
        "DTB-05",
        "DTB-06",
        "SPL-DTB",
    }
    assert ids["DTB-06"]["connector_open_code"] == "IP20"
    assert (ids["SL-05"]["code"], ids["SL-05"]["mount"], ids["SL-05"]["tilt_deg"]) == (
        "IP43",
        "tilted",
        "90",
    )
    assert ids["MER-01"]["code"] == "IP67"
    assert positions[ids["MER-01"]["position"]]["washdown"] == "low"
    assert ids["LIP-11"]["fed_by"] == "DIM-STG"
    assert ids["DIM-STG"]["code"] == ids["HOIST-CTL"]["code"] == "IP20"
    dome = by_id(settings["covers"])["clear-dome"]
    # On the towers it must stand the Friday front (21.4) and not the Saturday squall (25.5).
    assert 21.4 < dome["gust_limit_mps"] < 25.5


def test_every_wind_that_reaches_the_side_hung_floods_comes_from_behind_their_up(fixtures):
    lean = float(by_id(fixtures)["SL-05"]["facing_deg"])
    # A flat "up" is more than 90 degrees from rain whose azimuth is more than 90 from it.
    assert all(math.cos(math.radians(wind - lean)) < 0 for wind in range(60, 211))


@pytest.mark.parametrize(
    ("position", "minutes"),
    [
        ("downstage-truss", 32.5),  # 10 + 15 x 1.5
        ("upstage-truss", 23.0),  # 10 + 6 x 1.5 + 4 x 1.0
        ("ladder-right", 22.0),  # 4 + 6 x 3
        ("ladder-left", 22.0),
        ("tower-a", 24.0),  # 12 + 3 x 4
        ("foh-tent", 7.0),  # 2 + 5 x 1
        ("mere-quay", 6.0),  # 5 + 1
        ("avenue", 12.0),  # 5 + 6 for the joints + 1
        ("bar-canopy", 15.0),  # 3 + 6 x 2
    ],
)
def test_minutes_to_cover_what_rain_can_spend(fixtures, settings, position, minutes):
    here = by_id(settings["positions"])[position]
    exposed = [
        row
        for row in fixtures
        if row["position"] == position
        and row["cover"]
        and max(read_code(row["code"]).water, default=0) < 5
    ]
    worked = here["setup_minutes"] + len(exposed) * here["cover_minutes_each"]
    assert worked == pytest.approx(minutes)


# --------------------------------------------------------------------------------- roofs


def edge(position, roof, toward_deg, row=None):
    """The edge a level ray meets first, and after how many metres."""
    row = row or {}
    front = float(row.get("in_from_front_m") or position["in_from_front_m"])
    right = float(row.get("in_from_right_m") or position["in_from_right_m"])
    reach = {
        "front": front,
        "right": right,
        "back": roof["depth_m"] - front,
        "left": roof["width_m"] - right,
    }
    square = {"front": 0, "right": 90, "back": 180, "left": 270}
    met = []
    for side, metres in reach.items():
        lean = math.cos(math.radians(toward_deg - roof["facing_deg"] - square[side]))
        if lean > 1e-9:
            met.append((metres / lean, side))
    metres, side = min(met)
    return side, metres


def under(settings, position):
    here = by_id(settings["positions"])[position]
    return here, by_id(settings["roofs"])[here["roof"]]


@pytest.mark.parametrize(
    ("position", "first", "last", "in_m", "above_m"),
    [
        ("downstage-truss", 150, 300, 1.0, 1.5),
        ("upstage-truss", 150, 300, 7.0, 2.0),
        ("ladder-right", 240, 390, 0.6, 4.5),
        ("ladder-left", 60, 210, 0.6, 4.5),
        ("foh-tent", 0, 90, 1.5, 0.6),
    ],
)
def test_open_sector_and_place_under_the_roof(settings, position, first, last, in_m, above_m):
    here, roof = under(settings, position)
    square_on = (first + last) / 2
    side, metres = edge(here, roof, square_on)
    assert (side, metres) == ("front", pytest.approx(in_m))
    assert roof["edge_height_m"] - here["height_m"] == pytest.approx(above_m)
    met = {edge(here, roof, d)[0] for d in range(first + 1, last)}
    # Deep under a roof 16 m wide the outer rays leave by the sides, which are open as well.
    assert met == ({"front", "right", "left"} if position == "upstage-truss" else {"front"})
    assert not met & set(roof["closed"])


@pytest.mark.parametrize(
    ("position", "first", "last"),
    [("ladder-right", 240, 390), ("ladder-left", 60, 210), ("foh-tent", 0, 90)],
)
def test_outside_its_sector_the_roof_is_closed(settings, position, first, last):
    here, roof = under(settings, position)
    shut = {edge(here, roof, d)[0] for d in range(last + 1, first + 360)}
    assert shut <= set(roof["closed"])


def test_stage_is_shut_only_behind_and_its_sides_are_out_of_reach_of_the_downstage_truss(settings):
    here, roof = under(settings, "downstage-truss")
    assert roof["closed"] == ["back"]
    side, metres = edge(here, roof, 315)  # stage right of a stage that faces 225
    assert side == "right"
    # 8 m for 1.5 m of fall: even the squall's mean 11 m/s carries a 6.5 m/s drop 2.5 m only.
    assert metres > 11.0 / DROP_MPS * 1.5


def test_tent_eave_is_open_from_north_to_about_120(settings, fixtures):
    here, roof = under(settings, "foh-tent")
    row = by_id(fixtures)["FOH-03"]
    assert edge(here, roof, 45, row) == ("front", pytest.approx(0.3))
    assert {edge(here, roof, d, row)[0] for d in range(1, 121)} == {"front"}


def test_nothing_hangs_at_or_above_its_roofs_edge(settings, fixtures):
    for row in fixtures:
        here = by_id(settings["positions"])[row["position"]]
        if "roof" not in here:
            continue
        _, roof = under(settings, row["position"])
        assert float(row["height_m"] or here["height_m"]) < roof["edge_height_m"]


def reached(weather, settings, position, face_deg):
    """Hours, rain in them, and driving rain on a wall, by the one-drop reach rule."""
    here, roof = under(settings, position)
    rise = roof["edge_height_m"] - here["height_m"]
    hours, rain, driven = 0, 0.0, 0.0
    for step in weather:
        side, metres = edge(here, roof, step["wind_from_deg"])
        carried = step["wind_mps"] / DROP_MPS * rise
        if step["rain_mm"] == 0 or side in roof["closed"] or carried < metres:
            continue
        hours += 1
        rain += step["rain_mm"]
        facing = max(0.0, math.cos(math.radians(step["wind_from_deg"] - face_deg)))
        driven += 2 / 9 * step["wind_mps"] * step["rain_mm"] ** (8 / 9) * facing
    return hours, rain, driven


@pytest.mark.parametrize(
    ("position", "face_deg", "hours", "rain", "driven"),
    [
        ("downstage-truss", 225, 23, 33.9, 63.6),
        ("upstage-truss", 225, 0, 0.0, 0.0),
        ("ladder-right", 315, 9, 37.3, 53.9),
        ("ladder-left", 135, 15, 25.7, 22.6),
        ("foh-tent", 45, 0, 0.0, 0.0),
    ],
)
def test_hand_worked_reach_of_rain(weather, settings, position, face_deg, hours, rain, driven):
    got = reached(weather, settings, position, face_deg)
    assert got[0] == hours
    assert got[1] == pytest.approx(rain, abs=0.05)
    assert got[2] == pytest.approx(driven, abs=0.1)


def test_hand_worked_reach_of_rain_at_the_bar(weather, settings):
    # By hand, 0.8 m whichever way it blows: 6 hours, 45.0 mm (every wet hour of 10.4 m/s or
    # more). At a corner the Friday 06Z wind (255, 45 degrees off both edges) has
    # 0.8 / cos 45 = 1.13 m to cross and carries 10.5 / 6.5 x 0.5 = 0.81 m; its 4.4 mm stay out.
    hours, rain, _ = reached(weather, settings, "bar-canopy", 210)
    assert (hours, rain) == (6 - 1, pytest.approx(45.0 - 4.4))


# -------------------------------------------------------------------------------- weather


def test_96_hours_end_to_end(weather):
    assert len(weather) == 96
    assert weather[0]["at"] == datetime(2027, 7, 15, 12, tzinfo=UTC)
    assert all((b["at"] - a["at"]).total_seconds() == 3600 for a, b in pairwise(weather))
    assert {step["minutes"] for step in weather} == {60}


@pytest.mark.parametrize(
    ("day", "hour", "total"),
    [
        (16, 0, 4.1),
        (16, 4, 13.1),
        (16, 6, 25.9),
        (16, 10, 33.3),
        (17, 17, 35.0),
        (17, 18, 56.6),
        (19, 12, 63.8),
    ],
)
def test_rain_so_far(weather, day, hour, total):
    until = datetime(2027, 7, day, hour, tzinfo=UTC)
    assert sum(s["rain_mm"] for s in weather if s["at"] < until) == pytest.approx(total)


def test_front_squall_and_wet_hours(weather):
    at = {step["at"]: step for step in weather}
    assert sum(step["rain_mm"] > 0 for step in weather) == 28
    assert at[datetime(2027, 7, 16, 5, tzinfo=UTC)]["rain_mm"] == 7.2
    assert at[datetime(2027, 7, 16, 4, tzinfo=UTC)]["gust_mps"] == 21.4
    squall = at[datetime(2027, 7, 17, 17, tzinfo=UTC)]
    assert (squall["rain_mm"], squall["gust_mps"], squall["wind_from_deg"]) == (21.6, 25.5, 300)


def test_gusts_over_the_platform_limit(weather):
    over = Counter(step["at"].day for step in weather if step["gust_mps"] > 12.5)
    assert (over[15] + over[16], over[17], over[18], over.total()) == (12, 2, 5, 19)
    first = min(step["at"] for step in weather if step["gust_mps"] > 12.5)
    assert first == datetime(2027, 7, 15, 23, tzinfo=UTC)


def test_thunder_is_heard_from_16_to_20_on_saturday(weather):
    # First 16:10Z, last 19:40Z: the hours that hold them and those between.
    heard = [step["at"] for step in weather if step["thunder"] == "yes"]
    assert heard == [datetime(2027, 7, 17, hour, tzinfo=UTC) for hour in (16, 17, 18, 19)]
    assert {step["thunder"] for step in weather} == {"yes", "no"}


def test_eight_dusty_hours_on_sunday_with_the_ground_left_out(weather, settings):
    assert "ground" not in settings["site"]
    dry_day = datetime(2027, 7, 18, tzinfo=UTC).date()
    dusty = [
        step["at"].hour
        for step in weather
        if step["at"].date() == dry_day and (step["wind_mps"] >= 7 or step["gust_mps"] >= 11)
    ]
    assert dusty == list(range(10, 18))


# ------------------------------------------------------------------------- what it says


def test_nothing_but_ascii_and_no_words_the_radios_keep():
    for name in ("show.toml", "fixtures.csv", "weather.csv"):
        text = DEMO.joinpath(name).read_text(encoding="utf-8")
        assert text.isascii()
        words = text.lower()
        assert not any(said in words for said in (" go ", "stand by", "all clear"))
