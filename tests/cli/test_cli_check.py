from __future__ import annotations

import json
import subprocess
import sys

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell

DRYSPELL = [sys.executable, "-c", "from monitor.cli import main; main()"]

WIDE = "id,code,position,mount,tilt_deg,facing_deg,condition,surface_m2,stated_mm,supply_code"


def checked(folder, *options):
    result = CliRunner().invoke(dryspell, ["check", "--show", str(folder), *options])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def as_json(folder):
    result = checked(folder, "--json", "-")
    return result.exit_code, json.loads(result.stdout)


def only(folder, row, *, headings="id,code,position", show=SHOW):
    """The check JSON of a show with one row."""
    _, data = as_json(write_show(folder, [row], headings=headings, show=show))
    (fixture,) = data["fixtures"]
    return fixture


# ---------------------------------------------------------------- values worked by hand

# Exposure model section 5, straight-down rain (angle 0 from the tested up), every digit counts:
#   digit 0: 0.5 floor; 1: 10; 2: 30; 3 and 4: 10 max(5, A) / max(A, 1); times k (1, 0.5, 0.2).
BY_HAND = [
    # row under WIDE, code, dust, water, unstated, standing, allowance, inferred
    # 0: the floor, which k = 0.5 never lowers
    ("a,IP20,open,upright,,,,,,", "IP20", 2, [0], [], "indoor", 0.5, False),
    # 1: 10 x 0.5
    ("a,IP21,open,upright,,,,,,", "IP21", 2, [1], [], "temporary", 5.0, False),
    # 2, new: the largest of 10 and 30, x 1
    ("a,IP22,open,upright,,,new,,,", "IP22", 2, [2], [], "temporary", 30.0, False),
    # 3, worn: A = 0.5, so 10 x 5 / 1 = 50, x 0.2
    ("a,IP23,open,upright,,,worn,,,", "IP23", 2, [3], [], "temporary", 10.0, False),
    # 4, hire: 50 x 0.5; dust X is not stated
    ("a,IPX4,open,any,,,,,,", "IPX4", None, [4], ["dust"], "temporary", 25.0, False),
    # 4, new, A = 4 m2: 10 x 5 / 4 = 12.5, yet the implied 2 gives 30 from straight above
    ("a,IP44,open,upright,,,new,4,,", "IP44", 4, [4], [], "temporary", 30.0, False),
    # 5 and 6: no limit; dust below 6 is extended
    ("a,IP55,open,any,,,,,,", "IP55", 5, [5], [], "extended", None, False),
    ("a,66/67,open,any,,,,,,", "IP66/IP67", 6, [6, 7], [], "permanent", None, False),
    # 5, worn: as 4, 50 x 0.2
    ("a,IP65,open,any,,,worn,,,", "IP65", 6, [5], [], "permanent", 10.0, False),
    # 7 alone: no limit, inferred
    ("a,IP67,open,any,,,,,,", "IP67", 6, [7], [], "permanent", None, True),
    # two parts of a product: the lowest
    ("a,IP65/IP20,open,upright,,,,,,", "IP65/IP20", 2, [0], [], "indoor", 0.5, False),
    # no code at all
    ("a,none,open,upright,,,,,,", "IPXX", None, [], ["dust", "water"], "indoor", 0.5, False),
    # the maker's word beats the code and k
    ("a,IP20,open,upright,,,worn,,40,", "IP20", 2, [0], [], "indoor", 40.0, False),
    # the chain stands as its weakest part; the allowance is the fixture's own
    ("a,IP65,open,any,,,,,,IP44", "IP65", 6, [5], [], "temporary", None, False),
]


@pytest.mark.parametrize(
    ("row", "code", "dust", "water", "unstated", "standing", "allowance", "inferred"), BY_HAND
)
def test_what_a_code_is_worth(
    tmp_path, row, code, dust, water, unstated, standing, allowance, inferred
):
    found = only(tmp_path, row, headings=WIDE)
    assert found["label"] == row.split(",")[1]
    assert found["code"] == code
    assert found["dust"] == dust
    assert found["water"] == water
    assert found["unstated"] == unstated
    assert found["standing"] == standing
    assert found["allowance_mm"] == (allowance if allowance is None else pytest.approx(allowance))
    assert found["inferred"] is inferred


def test_the_json_has_the_settled_names(tmp_path):
    code, data = as_json(write_show(tmp_path, ["a,ip 6k9K,open"]))
    assert code == 0
    assert data["schema"] == "dryspell.check/1"
    (fixture,) = data["fixtures"]
    settled = (
        "id label code dust water unstated dust_k water_k letters standing allowance_mm inferred "
        "repairs unsuited"
    )
    assert set(settled.split()) <= set(fixture)
    assert (fixture["dust_k"], fixture["water_k"]) == (True, True)
    assert fixture["repairs"]
    for problem in data["problems"]:
        assert {"code", "file", "line", "key", "says", "remedy"} <= set(problem)


# ---------------------------------------------------------------- whether it suits


def position(**keys):
    """The show with more keys on its one position."""
    more = "".join(f"{key} = {value}\n" for key, value in keys.items())
    return SHOW.replace('access = "ground"\n', f'access = "ground"\n{more}')


ROOF = SHOW.replace(
    'access = "ground"\n',
    'access = "ground"\nroof = "lid"\nin_from_front_m = 2\nin_from_right_m = 2\n',
).replace(
    "[[covers]]",
    '[[roofs]]\nid = "lid"\nfacing_deg = 180\nwidth_m = 8\ndepth_m = 8\nedge_height_m = 6\n\n'
    "[[covers]]",
)
LOW, HIGH = position(washdown='"low"'), position(washdown='"high"')
SHALLOW, DEEP = position(may_flood_m=0.3), position(may_flood_m=1.5)
JETS = "{ height_m = 4, distance_m = 3, bearing_deg = 90, lost_litres_per_minute = 1%s }"
SPRAY, SALT = position(spray=JETS % ""), position(spray=JETS % ", salt = true")

UNSUITED = [
    # headings beyond id,code,position; row; show; what must be said
    ("", "a,IP20,open", SHOW, "nothing over it"),
    ("supply_code", "a,IP65,open,IP20", SHOW, "its supply (IP20)"),
    ("", "a,none,open", ROOF, "No code is marked"),
    ("mount", "a,IP20,open,inverted", ROOF, "its openings face up"),
    # 2 hung any way: 30 x 0.5 = 15 mm from above, 0.5 mm from below
    ("", "a,IP42,open", SHOW, "0.5 mm of rain instead of 15 mm"),
    ("mount", "a,IP43,open,inverted", SHOW, "0.5 mm of rain instead of 25 mm"),
    # 3, leaning 90: 30 past its 60, a whole taper, so the floor
    ("mount,tilt_deg,facing_deg", "a,IP43,open,tilted,90,0", SHOW, "0.5 mm of rain instead"),
    # 3, leaning 75: half a taper, 25 (0.5 / 25)^(1/2) = sqrt(12.5) = 3.54
    ("mount,tilt_deg,facing_deg", "a,IP43,open,tilted,75,0", SHOW, "3.5 mm of rain instead"),
    ("", "a,IP44,open", LOW, "water digit of 5 or 6: its IP44 has none"),
    ("", "a,IP65,open", HIGH, "water digit of 6: its IP65 has none"),
    ("", "a,IP67,open", HIGH, "7, 8 or 9 alone"),
    ("connector_code", "a,IP66,open,IP67", LOW, "its connector (IP67) has none"),
    ("", "a,IP65,open", SHALLOW, "0.3 m of water, which asks for a water digit of 7"),
    ("", "a,IP67,open", DEEP, "1.5 m of water, which asks for a water digit of 8"),
    ("", "a,IP67,open", SPRAY, "not with spray or jets"),
    ("", "a,IP66,open", SALT, "Salt water"),
    ("connector_state,connector_open_code", "a,IP65,open,open,", SHOW, "unprotected until"),
    ("connector_state,connector_open_code", "a,IP65,open,open,IP20", SHOW, "counts as IP20"),
]


@pytest.mark.parametrize(("more", "row", "show", "says"), UNSUITED)
def test_what_does_not_suit_is_said(tmp_path, more, row, show, says):
    headings = ",".join(h for h in ("id,code,position", more) if h)
    found = only(tmp_path, row, headings=headings, show=show)
    assert any(says in sentence for sentence in found["unsuited"]), found["unsuited"]


SUITED = [
    ("", "a,IP20,open", ROOF),
    ("cover", "a,IP20,open,bag", SHOW),
    ("", "a,IP44,open", SHOW),
    ("stated_mm", "a,IP20,open,12", SHOW),
    ("mount", "a,IP43,open,upright", SHOW),
    # to 60 degrees a 3 holds in full
    ("mount,tilt_deg,facing_deg", "a,IP43,open,tilted,60,0", SHOW),
    ("", "a,IP65,open", LOW),
    ("", "a,IP66,open", HIGH),
    ("", "a,IP66/IP67,open", position(washdown='"high"', may_flood_m=1.0)),
    ("", "a,IP67,open", SHALLOW),
    ("", "a,IP68,open", DEEP),
    ("height_m", "a,IP65,open,0.5", SHALLOW),
    ("", "a,IP54,open", SPRAY),
    ("", "a,IP65/IP67,open", SPRAY),
    ("connector_state,connector_open_code", "a,IP44,open,open,IP54", SHOW),
    ("connector_state", "a,IP65,open,capped", SHOW),
]


@pytest.mark.parametrize(("more", "row", "show"), SUITED)
def test_what_suits_is_left_alone(tmp_path, more, row, show):
    headings = ",".join(h for h in ("id,code,position", more) if h)
    assert only(tmp_path, row, headings=headings, show=show)["unsuited"] == []


def test_at_load_in_open_connectors_count(tmp_path):
    shown = SHOW.replace("[event]\n", '[event]\nload_in_ends_at = "2027-07-16T20:00"\n')
    rows = ["a,IP65,open,IP65,IP20,", "b,IP65,open,IP65,IP20,capped", "c,IP65,open,,,"]
    headings = "id,code,position,connector_code,connector_open_code,connector_state"
    _, data = as_json(write_show(tmp_path, rows, headings=headings, show=shown))
    notes = {f["id"]: " ".join(f["notes"]) for f in data["fixtures"]}
    assert "Load-in to 2027-07-16 20:00: its connector counts as open, IP20," in notes["a"]
    assert "indoor" in notes["a"]
    assert "Load-in" not in notes["b"] + notes["c"]


def test_what_is_dark_without_a_part(tmp_path):
    # DIM feeds a and N, N feeds b: without DIM three rows of 1 + 1 + 2 pieces, without N two
    rows = ["DIM,IP20,open,1,", "N,IP65,open,1,DIM", "a,IP65,open,1,DIM", "b,IP65,open,2,N"]
    folder = write_show(tmp_path, rows, headings="id,code,position,count,fed_by")
    _, data = as_json(folder)
    lost = {f["id"]: f["dark_without_it"] for f in data["fixtures"]}
    assert {key: set(ids) for key, ids in lost.items()} == {
        "DIM": {"N", "a", "b"},
        "N": {"b"},
        "a": set(),
        "b": set(),
    }
    told = CliRunner().invoke(dryspell, ["check", "--show", str(folder)]).stdout.splitlines()
    at = told.index("What is dark if a part fails")
    assert told[at + 1].startswith("  DIM (IP20, indoor, ")
    assert "4 fixtures" in told[at + 1]
    assert told[at + 2].startswith("  N (IP65, permanent, ")
    assert "2 fixtures" in told[at + 2]


def test_exit_code_says_whether_all_suit(tmp_path):
    assert checked(write_show(tmp_path / "a", ["a,IP65,open"])).exit_code == 0
    bad = checked(write_show(tmp_path / "b", ["a,IP65,open", "b,IP20,open"]))
    assert bad.exit_code == 1
    assert "1 row of 2 does not suit" in bad.stdout


def test_the_screen_fits_eighty_columns(tmp_path):
    rows = [
        f"very-long-name-of-a-lamp-{i},IP66/IP67,open,moving beam of a long name" for i in range(9)
    ]
    rows += ["b,IP20,open,", "c,none,open,x"]
    out = checked(write_show(tmp_path, rows, headings="id,code,position,name")).stdout
    assert max(len(line) for line in out.splitlines()) <= 80
    # every code once in words, and what is true of all of them once
    assert out.count("keeps out a finger") == 1
    assert out.count("It says nothing about age") == 1
    assert "(9 rows)" not in out  # they suit, so no ids are named
    assert "   9  moving beam of a long" in out


# ---------------------------------------------------------------- refused


def three_mistakes(folder):
    """A misspelt key, an unknown position, and a label that is none: lines 15, 3 and 4."""
    show = SHOW.replace('access = "ground"', 'acces = "ground"')
    return write_show(folder, ["a,IP65,open", "b,IP65,opne", "c,IP2O5,open"], show=show)


def test_three_mistakes_are_told_with_line_and_remedy(tmp_path):
    folder = three_mistakes(tmp_path / "show")
    line = (folder / "show.toml").read_text(encoding="utf-8").splitlines().index('acces = "ground"')
    json_file = tmp_path / "out.json"
    done = subprocess.run(
        [*DRYSPELL, "check", "--show", str(folder), "--json", str(json_file)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    one, two, three = done.stderr.splitlines()
    assert one.startswith(f"show.toml:{line + 1}: ")
    assert "access" in one
    assert two.startswith("fixtures.csv:3: ")
    assert "Perhaps open is meant" in two
    assert three.startswith("fixtures.csv:4: ")
    data = json.loads(json_file.read_text(encoding="utf-8"))
    assert data["fixtures"] == []
    assert [(p["file"], p["line"]) for p in data["problems"]] == [
        ("show.toml", line + 1),
        ("fixtures.csv", 3),
        ("fixtures.csv", 4),
    ]
    assert all(p["remedy"] for p in data["problems"])
    assert sorted(p.name for p in folder.iterdir()) == ["fixtures.csv", "show.toml"]


def test_a_folder_that_is_none(tmp_path):
    result = checked(tmp_path / "nowhere")
    assert result.exit_code == 2
    assert "dryspell new" in result.stderr


def test_json_that_cannot_be_written_is_a_fault_of_the_machine(tmp_path):
    folder = write_show(tmp_path / "show", ["a,IP65,open"])
    result = checked(folder, "--json", str(tmp_path / "no" / "out.json"))
    assert result.exit_code == 3
    assert "cannot be written" in result.stderr
    # what is wrong with the show is told all the same
    bad = checked(three_mistakes(tmp_path / "bad"), "--json", str(tmp_path / "no" / "out.json"))
    assert bad.exit_code == 3
    assert "fixtures.csv:3: " in bad.stderr


def test_json_replaces_a_file_whole(tmp_path):
    folder = write_show(tmp_path / "show", ["a,IP65,open"])
    target = tmp_path / "out.json"
    target.write_text("x" * 100_000, encoding="utf-8")
    assert checked(folder, "--json", str(target)).exit_code == 0
    assert json.loads(target.read_text(encoding="utf-8"))["fixtures"][0]["id"] == "a"
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []
