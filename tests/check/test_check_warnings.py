"""What a check warns of: covers that run short, speeds in other units, positions nobody reaches.

All is counted by hand; a km/h is 1/3.6 m/s and a mile an hour 0.44704 m/s, by definition.
"""

from __future__ import annotations

import json

import pytest
from cli.cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell

HEADINGS = "id,code,position,count,cover"
TOWER = """
[[positions]]
id = "tower"
name = "Delay tower"
height_m = 9.0
access = "platform"
"""


def checked(folder, rows, *, show=SHOW, headings=HEADINGS):
    folder = write_show(folder / "show", rows, headings=headings, show=show)
    result = CliRunner().invoke(dryspell, ["check", "--show", str(folder), "--json", "-"])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, json.loads(result.stdout)


def warned(data, code):
    return [p for p in data["problems"] if p["code"] == code]


def line_of(show, start):
    return next(n for n, line in enumerate(show.splitlines(), 1) if line.startswith(start))


# ---------------------------------------------------------------- covers


def test_covers_that_run_short_are_told_with_who_wants_them(tmp_path):
    # 9 in stock; 7 and 4 are wanted: 11 - 9 = 2 missing
    show = SHOW + TOWER
    rows = ["a,IP44,open,4,bag", "b,IP44,tower,7,bag", "c,IP65,open,5,"]
    code, data = checked(tmp_path, rows, show=show)
    assert code == 1
    (short,) = warned(data, "covers-short")
    assert short["says"] == (
        "11 of cover bag are wanted and 9 are in stock: 2 missing (7 at Delay tower, 4 at Open "
        "field)."
    )
    assert (short["file"], short["line"]) == ("show.toml", line_of(show, "in_stock"))
    assert short["key"] == "covers[1].in_stock"
    assert short["refused"] is False


def test_covers_that_are_just_enough_are_not_told(tmp_path):
    code, data = checked(tmp_path, ["a,IP44,open,4,bag", "b,IP44,open,5,bag"])
    assert (code, warned(data, "covers-short")) == (0, [])


def test_a_cover_nobody_wants_may_be_out_of_stock(tmp_path):
    show = SHOW.replace("in_stock = 9", "in_stock = 0")
    code, data = checked(tmp_path, ["a,IP44,open,4,"], show=show)
    assert (code, warned(data, "covers-short")) == (0, [])


def test_on_the_screen_it_stands_with_its_line(tmp_path):
    folder = write_show(tmp_path / "show", ["a,IP44,open,12,bag"], headings=HEADINGS)
    out = CliRunner().invoke(dryspell, ["check", "--show", str(folder)]).stdout
    at = f"show.toml:{line_of(SHOW, 'in_stock')}: "
    assert any(line.startswith(f"{at}12 of cover bag are wanted") for line in out.splitlines())
    assert max(len(line) for line in out.splitlines()) <= 80


# ---------------------------------------------------------------- speeds


def with_limits(access, cover):
    show = SHOW.replace('access = "ground"\n', f'access = "ladder"\naccess_limit_mps = {access}\n')
    return show + f"gust_limit_mps = {cover}\n"


def test_a_limit_that_is_likely_in_other_units_is_told_as_what_it_would_be(tmp_path):
    # 45 / 3.6 = 12.5; 45 x 0.44704 = 20.1; 65 / 3.6 = 18.06; 65 x 0.44704 = 29.06
    code, data = checked(tmp_path, ["a,IP44,open,1,bag"], show=with_limits(45, 65))
    assert code == 1
    access, cover = warned(data, "unlikely-speed")
    assert access["key"] == "positions[1].access_limit_mps"
    assert access["line"] == line_of(with_limits(45, 65), "access_limit_mps")
    assert "km/h it would be 12.5 m/s, were it mph 20.1 m/s" in access["remedy"]
    assert cover["key"] == "covers[1].gust_limit_mps"
    assert "km/h it would be 18.1 m/s, were it mph 29.1 m/s" in cover["remedy"]


def test_high_limits_that_may_be_meant_are_left_alone(tmp_path):
    code, data = checked(tmp_path, ["a,IP44,open,1,bag"], show=with_limits(25, 35))
    assert (code, warned(data, "unlikely-speed")) == (0, [])


# ---------------------------------------------------------------- people


def crewed(people, *, needed=2, tickets='["platform"]'):
    position = TOWER + f"people_needed = {needed}\ntickets = {tickets}\n"
    return SHOW + position + "".join(f"\n[[people]]\n{person}\n" for person in people)


A = 'name = "A"\ntickets = ["platform"]\nshifts = ["09:00-23:00"]'
B = 'name = "B"\nshifts = ["09:00-23:00"]'
NIGHT = 'name = "N"\nshifts = ["23:00-09:00"]'
ON_CALL = NIGHT + "\ncall_out_minutes = 25"
ROWS = ["a,IP44,tower,1,bag"]


@pytest.mark.parametrize(
    ("people", "needed", "says"),
    [
        # A and N are never there together
        ([A, NIGHT], 2, "no more than 1 of those named"),
        ([A, B], 3, "no more than 2 of those named"),
        # three by day would do, but the ticket is there by night alone
        ([B, B.replace("B", "C"), NIGHT + '\ntickets = ["platform"]'], 2, "shifts never meet"),
    ],
)
def test_a_position_nobody_can_be_sent_to(tmp_path, people, needed, says):
    code, data = checked(tmp_path, ROWS, show=crewed(people, needed=needed))
    assert code == 1
    (problem,) = warned(data, "never-enough-people")
    assert says in problem["says"]
    assert problem["line"] is not None


@pytest.mark.parametrize("people", [[A, B], [A, ON_CALL], [A + "\ncall_out_minutes = 10", ON_CALL]])
def test_enough_people_are_not_told(tmp_path, people):
    code, data = checked(tmp_path, ROWS, show=crewed(people))
    assert (code, warned(data, "never-enough-people")) == (0, [])


def test_two_tickets_of_two_people_are_no_party_of_one(tmp_path):
    hoists = B + '\ntickets = ["hoists"]'
    alone = crewed([A, hoists], needed=1, tickets='["platform", "hoists"]')
    code, data = checked(tmp_path, ROWS, show=alone)
    assert (code, len(warned(data, "never-enough-people"))) == (1, 1)
    pair = crewed([A, hoists], needed=2, tickets='["platform", "hoists"]')
    assert checked(tmp_path, ROWS, show=pair)[0] == 0


def test_a_ticket_nobody_holds_is_told_once(tmp_path):
    code, data = checked(tmp_path, ROWS, show=crewed([B, B.replace("B", "C")]))
    assert code == 1
    assert len(warned(data, "ticket-not-held")) == 1
    assert warned(data, "never-enough-people") == []


def test_nobody_named_is_nobody_missing(tmp_path):
    assert checked(tmp_path, ROWS, show=crewed([], needed=9))[0] == 0


def test_what_nothing_hangs_at_needs_nobody(tmp_path):
    assert checked(tmp_path, ["a,IP44,open,1,bag"], show=crewed([A], needed=9))[0] == 0


# ---------------------------------------------------------------- under open sky


@pytest.mark.parametrize(
    ("row", "stock", "suits"),
    [
        ("a,IP20,open,any,bag", 9, True),
        # a cover that is not there is none
        ("a,IP20,open,any,bag", 0, False),
        # 1 holds to 5 degrees and 2 to 15: at 45, 30 and more past it, nothing is left of them
        ("a,IP21,open,upright,", 9, False),
        ("a,IP22,open,upright,", 9, False),
        ("a,IP21,open,upright,bag", 9, True),
        # 3 holds to 60
        ("a,IP23,open,upright,", 9, True),
    ],
)
def test_under_open_sky(tmp_path, row, stock, suits):
    show = SHOW.replace("in_stock = 9", f"in_stock = {stock}")
    _, data = checked(tmp_path, [row], show=show, headings="id,code,position,mount,cover")
    (fixture,) = data["fixtures"]
    assert (fixture["unsuited"] == []) is suits, fixture["unsuited"]
