"""The filled form to what the show folder holds, and back. The demo's figures are those of
config/demo/show.toml.
"""

from __future__ import annotations

import tomllib

import pytest

from monitor.builtin import builtin
from monitor.domain import Roof
from monitor.setup.form import described, described_roof, filled, identifier, roof_filled

ROOFS = {
    "stage": Roof("stage", 225.0, 16.0, 10.0, 9.0, frozenset({"back"})),
}
LEAST = {"name": "Delay tower A", "height": "9", "reached": "platform"}
TRUSS = {
    "name": " Downstage  truss ",
    "height": "7,5",
    "over": "roof:stage",
    "in_front": "1",
    "in_side": "middle",
    "reached": "lowered-truss",
    "gust_limit": "45 km/h",
    "people": "3",
    "setup_minutes": "10",
    "cover_minutes": "1.5",
    "tickets": "hoists",
}


def said(fields, name="place"):
    found = described(fields, ROOFS, name)
    assert found.problems == ()
    return {key: value for key, value in found.position.items() if value is not None}


def wrong(fields):
    return {problem.key for problem in described(fields, ROOFS, "place").problems}


def test_the_least_that_has_to_be_said():
    assert said(LEAST) == {"name": "Delay tower A", "height_m": 9.0, "access": "platform"}


def test_a_truss_under_a_roof():
    assert said(TRUSS) == {
        "name": "Downstage truss",
        "height_m": 7.5,
        "roof": "stage",
        "in_from_front_m": 1.0,
        "in_from_right_m": 8.0,  # the middle of 16
        "access": "lowered-truss",
        "access_limit_mps": 12.5,
        "people_needed": 3,
        "setup_minutes": 10.0,
        "cover_minutes_each": 1.5,
        "tickets": ["hoists"],
    }


def test_steps_and_the_left_edge():
    """Four steps are 3 m; 2 m in from the left of 16 is 14 from the right."""
    fields = {**TRUSS, "in_front": "4 steps", "in_side": "2", "side": "left"}
    found = said(fields)
    assert (found["in_from_front_m"], found["in_from_right_m"]) == (3.0, 14.0)


@pytest.mark.parametrize(
    ("word", "metres"), [("hand", 0.1), ("knee", 0.5), ("head", 1.8), ("ladder", 3.5), ("lift", 9)]
)
def test_about_how_high(word, metres):
    assert said({**LEAST, "height": "", "height_like": word})["height_m"] == metres


def test_a_tape_beats_a_word():
    assert said({**LEAST, "height_like": "knee"})["height_m"] == 9.0


def test_a_roof_of_its_own_is_made_with_it():
    fields = {
        **TRUSS,
        "over": "new",
        "roof_facing": "SW",
        "roof_width": "16",
        "roof_depth": "10",
        "roof_edge": "9",
        "open_front": "yes",
        "open_right": "yes",
        "open_left": "yes",
    }
    found = described(fields, ROOFS, "downstage-truss")
    assert found.problems == ()
    assert found.roof == (
        "downstage-truss-roof",
        {
            "facing_deg": 225.0,
            "width_m": 16.0,
            "depth_m": 10.0,
            "edge_height_m": 9.0,
            "closed": ["back"],
        },
    )
    assert found.position["roof"] == "downstage-truss-roof"
    assert found.position["in_from_right_m"] == 8.0


def test_indoors_is_a_roof_closed_all_round_made_once():
    found = described({**LEAST, "over": "indoors"}, ROOFS, "desk")
    assert found.roof is not None
    assert found.roof[0] == "indoors"
    assert found.roof[1]["closed"] == ["front", "right", "back", "left"]
    known = {**ROOFS, "indoors": Roof("indoors", 0.0, 10.0, 10.0, 150.0, frozenset())}
    assert described({**LEAST, "over": "indoors"}, known, "desk").roof is None


def test_open_sky_takes_the_roof_away():
    found = described(LEAST, ROOFS, "tower")
    assert found.position["roof"] is None
    assert found.position["in_from_front_m"] is None


def test_all_that_is_wrong_is_said_at_once():
    assert wrong(
        {
            "name": "",
            "height": "high",
            "over": "roof:gone",
            "reached": "helicopter",
            "people": "1.5",
            "setup_minutes": "soon",
            "gust_limit": "breezy",
            "puddle": "deep",
        }
    ) == {
        "name",
        "height",
        "over",
        "reached",
        "people",
        "setup_minutes",
        "gust_limit",
        "puddle",
    }


def test_a_roof_without_how_far_in():
    assert wrong({**TRUSS, "in_front": "", "in_side": ""}) == {"in_front", "in_side"}


def test_a_new_roof_that_is_half_said():
    fields = {**TRUSS, "over": "new", "roof_facing": "up", "roof_width": "16"}
    assert wrong(fields) == {"roof_facing", "roof_depth", "roof_edge"}


def test_a_fountain_is_said_whole_or_not_at_all():
    assert wrong({**LEAST, "spray_height": "5"}) == {
        "spray_distance",
        "spray_towards",
        "spray_litres",
    }
    fountain = {
        "spray_height": "5",
        "spray_distance": "4 steps",
        "spray_towards": "W",
        "spray_litres": "0,5",
        "spray_times": "10:00-23:00",
        "spray_salt": "yes",
    }
    assert said({**LEAST, **fountain})["spray"] == {
        "height_m": 5.0,
        "distance_m": 3.0,
        "bearing_deg": 270.0,
        "lost_litres_per_minute": 0.5,
        "salt": True,
        "on": ["10:00-23:00"],
    }


def test_hosed_and_flooded():
    found = said({**LEAST, "washdown": "low", "washdown_times": "04:30-05:00", "puddle": "6 cm"})
    assert found["washdown"] == "low"
    assert found["washdown_times"] == ["04:30-05:00"]
    assert found["may_flood_m"] == 0.06


def test_times_of_no_hosing_go_with_it():
    assert "washdown_times" not in said({**LEAST, "washdown_times": "04:30-05:00"})


def test_what_is_said_of_all_that_hangs():
    found = described({**LEAST, "hung": "inverted", "tails": "capped"}, ROOFS, "a")
    assert found.hung.columns == {
        "mount": "inverted",
        "tilt_deg": "",
        "facing_deg": "",
        "connector_state": "capped",
    }
    tilted = described({**LEAST, "hung": "tilted", "hung_towards": "SW"}, ROOFS, "a")
    assert tilted.hung.columns == {"mount": "tilted", "tilt_deg": "90", "facing_deg": "225"}
    assert described(LEAST, ROOFS, "a").hung.columns == {}
    assert wrong({**LEAST, "hung": "tilted"}) == {"hung_towards"}


def test_every_position_of_the_demo_there_and_back():
    """What the form shows of it, read again, is what the file has."""
    show = tomllib.loads(builtin("demo").joinpath("show.toml").read_text(encoding="utf-8"))
    roofs = {
        roof["id"]: Roof(
            roof["id"],
            roof["facing_deg"],
            roof["width_m"],
            roof["depth_m"],
            roof["edge_height_m"],
            frozenset(roof["closed"]),
        )
        for roof in show["roofs"]
    }
    for position in show["positions"]:
        found = described(filled(position), roofs, position["id"])
        assert found.problems == ()
        values = {key: value for key, value in found.position.items() if value is not None}
        values.get("spray", {}).setdefault("salt", False)
        assert {"id": position["id"], **values} == position
    for roof in show["roofs"]:
        values, problems = described_roof(roof_filled(roof))
        assert (problems, {"id": roof["id"], **values}) == ((), roof)


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("Delay tower A", "delay-tower-a"),
        ("Bühne: links!", "buhne-links"),
        ("舞台", "place"),
        ("Stage", "stage-2"),
        ("  ", "place"),
    ],
)
def test_a_short_name_of_its_own(name, made):
    assert identifier(name, ["stage", "stage-1"]) == made


def test_a_long_name_is_cut():
    assert identifier("x" * 60, []) == "x" * 40
