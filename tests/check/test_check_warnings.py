"""What a check warns of: covers that run short, speeds in other units, positions nobody reaches,
people nothing reaches, a site off its clock.

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


def crewed(people, *, needed=2, tickets='["platform"]', access="platform", more=""):
    """Gear is out from 09:00 to 22:00 of one day."""
    position = TOWER + f"people_needed = {needed}\ntickets = {tickets}\n"
    position = position.replace('access = "platform"', f'access = "{access}"')
    show = SHOW.replace('T08:00"', 'T09:00"\nload_out_at = "2027-06-10T22:00"')
    return show + position + "".join(f"\n[[people]]\n{person}\n" for person in people) + more


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


# ---------------------------------------------------------------- tickets


def test_a_ticket_that_nobody_asks_for_and_that_is_nearly_one(tmp_path):
    people = [A, B.replace("B", "C") + '\ntickets = ["Plattform"]']
    code, data = checked(tmp_path, ROWS, show=crewed(people))
    (problem,) = warned(data, "ticket-not-asked")
    assert code == 1
    assert problem["says"] == "C holds the ticket Plattform, which no position asks for."
    assert problem["remedy"] == "Did you mean platform?"
    assert problem["key"] == "people[2].tickets"


def test_other_tickets_are_theirs(tmp_path):
    people = [A, B + '\ntickets = ["power", "harness"]']
    assert checked(tmp_path, ROWS, show=crewed(people))[0] == 0


# ---------------------------------------------------------------- alone at height


@pytest.mark.parametrize(
    ("access", "needed", "told"),
    [
        ("platform", 1, True),
        ("climb", 1, True),
        ("lowered-truss", 1, True),
        ("platform", 2, False),
        ("ladder", 1, False),
        ("ground", 1, False),
    ],
)
def test_one_person_at_height_is_unusual(tmp_path, access, needed, told):
    show = crewed([], needed=needed, access=access)
    if access == "lowered-truss":
        show = show.replace("people_needed", "access_limit_mps = 12\npeople_needed")
    code, data = checked(tmp_path, ROWS, show=show)
    assert (len(warned(data, "one-at-height")), code) == ((1, 1) if told else (0, 0))


# ---------------------------------------------------------------- hours with nobody there


def test_hours_in_which_nobody_is_there_or_comes(tmp_path):
    # from load-in at 09:00 on, of one day: 09:00 to 12:00, and 20:00 until load-out at 22:00
    late = A.replace("09:00-23:00", "12:00-20:00")
    code, data = checked(tmp_path, ROWS, show=crewed([late, late.replace('"A"', '"C"')]))
    (problem,) = warned(data, "nobody-on-site")
    assert code == 1
    assert "from 09:00 to 12:00, 20:00 to 22:00:" in problem["says"]
    assert problem["line"] is not None


def test_who_can_be_called_is_somebody(tmp_path):
    late = A.replace("09:00-23:00", "12:00-20:00") + "\ncall_out_minutes = 20"
    _, data = checked(tmp_path, ROWS, show=crewed([late, ON_CALL]))
    assert warned(data, "nobody-on-site") == []


# ---------------------------------------------------------------- who is reached

MAIL = """
[[contacts]]
name = "{name}"
kind = "email"
host = "127.0.0.1"
security = "none"
from = "a@example.org"
to = ["b@example.org"]
turn = {turn}
"""


def test_who_is_to_be_called_needs_a_contact(tmp_path):
    more = MAIL.format(name="Post", turn=1)
    code, data = checked(tmp_path, ROWS, show=crewed([A, ON_CALL], more=more))
    (problem,) = warned(data, "nothing-reaches-them")
    assert code == 1
    assert problem["says"] == "N can be called off shift, and no contact reaches them."
    reached = crewed([A, ON_CALL + '\ncontact = "Post"'], more=more)
    assert checked(tmp_path, ROWS, show=reached)[0] == 0


def test_no_contact_at_all_is_told_at_every_start_and_not_here(tmp_path):
    assert checked(tmp_path, ROWS, show=crewed([A, ON_CALL]))[0] == 0


def test_contacts_of_which_none_comes_first(tmp_path):
    more = MAIL.format(name="Post", turn=3) + MAIL.format(name="Desk", turn=2)
    code, data = checked(tmp_path, ROWS, show=crewed([A, B], more=more))
    (problem,) = warned(data, "no-first-turn")
    assert (code, problem["key"]) == (1, "contacts[2].turn")
    assert problem["says"] == "no contact has turn 1: those of turn 2 are told first."
    more += MAIL.format(name="Ines", turn=1)
    assert checked(tmp_path, ROWS, show=crewed([A, B], more=more))[0] == 0


# ---------------------------------------------------------------- the site


def sited(latitude, longitude, zone):
    show = SHOW.replace("latitude = 52.0", f"latitude = {latitude}")
    show = show.replace("longitude = -2.0", f"longitude = {longitude}")
    return show.replace("Europe/London", zone)


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (52.0, -2.0, "Europe/London"),
        (42.2, -8.7, "Europe/Madrid"),  # 0.6 h west of Greenwich, standard time +1: 1.6 h
        (39.5, 76.0, "Asia/Shanghai"),  # 5.07 h, standard +8: 2.93 h
        (1.9, -157.4, "Pacific/Kiritimati"),  # -10.5 h, +14: 24.5 h, half an hour round the globe
        (-41.3, 174.8, "Pacific/Auckland"),  # 11.65 h, +12
    ],
)
def test_places_that_keep_their_own_time(tmp_path, latitude, longitude, zone):
    code, data = checked(tmp_path, ["a,IP44,open,1,bag"], show=sited(latitude, longitude, zone))
    assert (code, warned(data, "far-off-its-timezone")) == (0, [])


def test_latitude_and_longitude_swapped(tmp_path):
    # 52 / 15 = 3.47 h, standard 0; the other way round -2 / 15 = 0.13 h
    code, data = checked(tmp_path, ["a,IP44,open,1,bag"], show=sited(-2.0, 52.0, "Europe/London"))
    (problem,) = warned(data, "far-off-its-timezone")
    assert (code, problem["key"]) == (1, "site.longitude")
    assert problem["says"] == (
        "longitude 52 is 3.5 h by the sun from the standard time of Europe/London."
    )
    assert problem["remedy"].startswith("Were latitude and longitude swapped?")


def test_a_sign_that_is_missing_is_no_swap(tmp_path):
    # New York is at -74 / 15 = -4.93 h, standard -5; at +74 it is 9.93 h off
    code, data = checked(
        tmp_path, ["a,IP44,open,1,bag"], show=sited(40.7, 74.0, "America/New_York")
    )
    (problem,) = warned(data, "far-off-its-timezone")
    assert (code, "swapped" in problem["remedy"]) == (1, False)
    assert "9.9 h by the sun" in problem["says"]


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
