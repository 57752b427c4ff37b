"""The rig described on the duty page: a real server, and a real show folder that it changes."""

from __future__ import annotations

import csv

import pytest
from duty_site import Phone
from set_up_site import Chief, Form, changes, demo_show, files, position, show_of
from web_site import served

from monitor.builtin import builtin
from monitor.service.cycle import Cycle
from monitor.store.chain import verify
from monitor.store.history import revisions

PLACE, ROOF, GEAR = "/set-up/place", "/set-up/roof", "/set-up/gear"
TRUSS = f"{PLACE}?at=downstage-truss"


@pytest.fixture
def site(tmp_path):
    with served(demo_show(tmp_path / "show")) as found:
        yield found


@pytest.fixture
def chief(site):
    return Chief(site)


# ---------------------------------------------------------------- who may


@pytest.mark.parametrize("role", ["guest", "crew"])
def test_only_a_chief_sees_and_changes_it(site, chief, role):
    other, before = Chief(site, "Dario", role), files(site)
    fields = chief.form(TRUSS).fields
    for path in ("/set-up", TRUSS, f"{ROOF}?at=stage", f"{GEAR}?at=downstage-truss"):
        assert other.get(path).status_code == 403, path
    for path in (PLACE, ROOF, GEAR):
        sent = {**fields, "csrf": other.token(), "height": "3", "table": "A,IP65"}
        assert other.sends(path, sent).status_code == 403, path
    assert Phone(site).get("/set-up").status_code == 401
    assert (files(site), changes(site)) == (before, ())


@pytest.mark.parametrize("role", ["guest", "crew", "chief"])
def test_only_a_chief_is_shown_the_way_there(site, role):
    phone = Chief(site, "Somebody", role)
    shown = {path: "/set-up" in phone.get(path).text for path in ("/rig", "/you")}
    assert set(shown.values()) == {role == "chief"}


def test_only_this_device_s_own_form_from_our_own_page(site, chief):
    fields, before = {**chief.form(TRUSS).fields, "height": "3"}, files(site)
    no_token = {key: value for key, value in fields.items() if key != "csrf"}
    other = Chief(site, "Suki")
    assert chief.sends(PLACE, no_token).status_code == 403
    assert chief.sends(PLACE, {**fields, "csrf": other.token()}).status_code == 403
    elsewhere = {"Origin": "https://elsewhere.example"}
    assert chief.sends(PLACE, fields, headers=elsewhere).status_code == 403
    assert (files(site), changes(site)) == (before, ())
    assert chief.sends(PLACE, fields).status_code == 303


def test_looking_writes_nothing(site, chief):
    before, rows = files(site), site.contents()
    for path in ("/set-up", TRUSS, PLACE, f"{PLACE}?like=tower-a", f"{ROOF}?at=stage"):
        assert chief.get(path).status_code == 200, path
    assert (
        chief.sends(PLACE, {**chief.form(TRUSS).fields, "height": "3"}, "look").status_code == 200
    )
    assert (files(site), site.contents()) == (before, rows)


@pytest.mark.parametrize(
    "path", [f"{PLACE}?at=nowhere", f"{ROOF}?at=x", f"{GEAR}?at=x", GEAR, ROOF]
)
def test_what_is_not_there(chief, path):
    assert chief.get(path).status_code == 404


# ---------------------------------------------------------------- a position


def test_a_change_is_one_line_of_the_file_and_one_line_of_the_history(site, chief):
    before = files(site)["show.toml"].decode().splitlines()
    chief.keeps(TRUSS, setup_minutes="12", gust_limit="45 km/h")
    after = files(site)["show.toml"].decode().splitlines()
    gone = [line for line in before if line not in after]
    came = [line for line in after if line not in before]
    assert gone == ["setup_minutes = 10           # four hoists, 7.5 m down, deck clear"]
    assert [line.partition("#")[0].split() for line in came] == [["setup_minutes", "=", "12.0"]]
    assert came[0].endswith("# four hoists, 7.5 m down, deck clear")
    (change,) = changes(site)
    assert (change.by, change.position) == ("Ines", "downstage-truss")
    assert change.says == "setup_minutes 10 to 12"
    assert change.revision == site.place.watch.read().show.revision
    page = chief.get("/history").text
    assert "setup_minutes 10 to 12" in page
    assert "Downstage truss" in page
    with site.db() as db:
        assert verify(db).ok


def test_every_change_is_a_revision_that_the_service_takes_up(site, chief):
    for height in ("7.4", "7.3"):
        chief.keeps(TRUSS, height=height)
        # a change is taken up at the second look: whoever writes has put the pen down
        site.place.watch.look()
        assert site.place.watch.look()
        with site.db() as db:
            Cycle(site.place.watch).run(db, site.place.clock())
    with site.db() as db:
        kept = [row.revision for row in revisions(db)]
    assert kept == [change.revision for change in changes(site)]
    assert site.place.show.positions["downstage-truss"].height_m == 7.3


def test_sent_as_it_stands_nothing_changes(site, chief):
    before = files(site)
    for name in show_of(site)["positions"]:
        chief.keeps(f"{PLACE}?at={name['id']}")
    for roof in show_of(site)["roofs"]:
        chief.keeps(f"{ROOF}?at={roof['id']}")
    assert (files(site), changes(site)) == (before, ())


def test_a_new_position_copied_from_a_neighbour(site, chief):
    chief.keeps(f"{PLACE}?like=tower-a", name="Delay tower C", isolate_at="")
    like = {key: value for key, value in position(site, "tower-a").items() if key != "isolate_at"}
    made = position(site, "delay-tower-c")
    assert made == {**like, "id": "delay-tower-c", "name": "Delay tower C", "people_needed": 2}
    assert site.place.watch.read().show.positions["delay-tower-c"].access_limit_mps == 12.5
    assert changes(site)[0].position == "delay-tower-c"


def test_two_positions_of_one_name_have_ids_of_their_own(site, chief):
    for _ in range(2):
        chief.keeps(f"{PLACE}?like=tower-a", name="Delay tower C")
    ids = [found["id"] for found in show_of(site)["positions"]]
    assert ids[-2:] == ["delay-tower-c", "delay-tower-c-2"]


def test_a_roof_of_its_own_in_steps_from_the_left(site, chief):
    """Six steps are 4.5 m; one from the left of 6 m is 5 from the right."""
    chief.keeps(
        PLACE,
        name="Bar tent",
        height="head",
        over="new",
        in_front="middle",
        in_side="1",
        side="left",
        roof_facing="south-west",
        roof_width="6",
        roof_depth="6 steps",
        roof_edge="10 ft",
        open_front="yes",
        reached="ground",
    )
    assert show_of(site)["roofs"][-1] == {
        "id": "bar-tent-roof",
        "facing_deg": 225.0,
        "width_m": 6.0,
        "depth_m": 4.5,
        "edge_height_m": 3.048,
        "closed": ["right", "back", "left"],
    }
    assert position(site, "bar-tent") == {
        "id": "bar-tent",
        "name": "Bar tent",
        "height_m": 1.8,
        "roof": "bar-tent-roof",
        "in_from_front_m": 2.25,
        "in_from_right_m": 5.0,
        "access": "ground",
    }
    # one change made both
    (change,) = changes(site)
    assert "roof made" in change.says


def test_said_of_all_that_hangs_there(site, chief):
    chief.keeps(TRUSS, hung="tilted", hung_towards="SW", tails="capped")
    rows = [row for row in fixtures(site) if row["position"] == "downstage-truss"]
    assert len(rows) == 15
    said = {(r["mount"], r["tilt_deg"], r["facing_deg"], r["connector_state"]) for r in rows}
    assert said == {("tilted", "90", "225", "capped")}
    others = [row for row in fixtures(site) if row["position"] != "downstage-truss"]
    demo = builtin("demo").joinpath("fixtures.csv").read_text(encoding="utf-8").splitlines()
    assert others == [row for row in csv.DictReader(demo) if row["position"] != "downstage-truss"]
    assert "all that hangs here" in changes(site)[0].says


def fixtures(site):
    text = (site.folder / "fixtures.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_it_is_drawn_as_it_is_understood_before_it_is_kept(site, chief):
    fields = {**chief.form(TRUSS).fields, "in_front": "7", "height": "7"}
    page = chief.sends(PLACE, fields, "look").text
    # seven in and two below: atan(7 / 2) is 74, and a drop of 6.5 m/s gets there in 22.75 m/s
    assert "slants more than 74°" in page
    assert "22.8 m/s" in page
    assert "No rain gets in by any wind up to a gale" in page
    assert position(site, "downstage-truss")["in_from_front_m"] == 1.0


# ---------------------------------------------------------------- what is wrong


def test_all_that_is_wrong_is_said_beside_its_field_and_nothing_is_written(site, chief):
    before = files(site)
    typed = {
        "height": "high up",
        "in_front": "a bit",
        "people": "some",
        "gust_limit": "breezy",
        "washdown": "low",
        "washdown_times": "at night",
    }
    answer = chief.sends(PLACE, {**chief.form(TRUSS).fields, **typed})
    form = Form(answer.text, PLACE)
    assert answer.status_code == 422
    assert set(form.wrong) == {"height", "in_front", "people", "gust_limit"}
    assert "Nothing was kept: 4 things are wrong." in answer.text
    # what was typed still stands there
    assert {name: form.fields[name] for name in typed} == typed
    assert (files(site), changes(site)) == (before, ())


def test_what_the_folder_refuses_stands_beside_its_field_too(site, chief):
    before = files(site)
    typed = {"height": "200", "people": "0", "spray_height": "3", "spray_distance": "900"}
    typed |= {"spray_towards": "W"}
    typed |= {"spray_litres": "1", "over": "", "gust_limit": ""}
    answer = chief.sends(PLACE, {**chief.form(TRUSS).fields, **typed})
    form = Form(answer.text, PLACE)
    assert set(form.wrong) == {"height", "people", "spray_distance"}
    assert files(site) == before
    typed = {"gust_limit": "", "washdown": "low", "washdown_times": "at night"}
    answer = chief.sends(PLACE, {**chief.form(TRUSS).fields, **typed})
    assert set(Form(answer.text, PLACE).wrong) == {"gust_limit", "washdown_times"}
    assert files(site) == before


def test_a_place_that_does_not_fit_under_its_roof(site, chief):
    answer = chief.sends(PLACE, {**chief.form(TRUSS).fields, "height": "9", "in_front": "11"})
    form = Form(answer.text, PLACE)
    assert set(form.wrong) == {"height", "in_front"}
    assert form.on_top == ["Nothing was kept: 2 things are wrong."]


def test_what_concerns_other_positions_stands_on_top(site, chief):
    """A roof lowered to 7.2 m: the downstage truss at 7.5 m is above its edge."""
    before = files(site)
    answer = chief.sends(ROOF, {**chief.form(f"{ROOF}?at=stage").fields, "roof_edge": "7.2"})
    form = Form(answer.text, ROOF)
    assert answer.status_code == 422
    assert form.wrong == {}
    assert any("position downstage-truss is at 7.5 m" in said for said in form.on_top)
    assert (files(site), changes(site)) == (before, ())
    answer = chief.sends(ROOF, {**chief.form(f"{ROOF}?at=stage").fields, "roof_edge": "0"})
    assert set(Form(answer.text, ROOF).wrong) == {"roof_edge"}


def test_fixtures_that_do_not_fit_there_any_more_stand_on_top(site, chief):
    """Rows of the tent say for themselves how far in they are: not into a smaller tent."""
    before = files(site)
    answer = chief.sends(ROOF, {**chief.form(f"{ROOF}?at=foh-tent").fields, "roof_width": "1"})
    form = Form(answer.text, ROOF)
    assert answer.status_code == 422
    assert form.wrong == {}
    assert len(form.on_top) > 1
    assert files(site) == before


def test_a_file_that_holds_its_items_another_way_is_left_alone(site, chief):
    text = (site.folder / "show.toml").read_text(encoding="utf-8")
    start, end = text.index("[[roofs]]"), text.index("# ------", text.index("[[roofs]]"))
    inline = (
        'roofs = [{ id = "stage", facing_deg = 225, width_m = 16, depth_m = 10, '
        'edge_height_m = 9.0, closed = ["back"] }]\n'
    )
    rest = text[:start] + text[end:]
    only = rest.replace('roof = "wing-right"', 'roof = "stage"').replace(
        'roof = "wing-left"', 'roof = "stage"'
    )
    only = only.replace('roof = "foh-tent"', 'roof = "stage"').replace(
        'bar-canopy"\nin', 'stage"\nin'
    )
    (site.folder / "show.toml").write_text(only.replace("format = 1\n", f"format = 1\n{inline}"))
    before = files(site)
    answer = chief.sends(ROOF, {**chief.form(f"{ROOF}?at=stage").fields, "roof_width": "18"})
    assert "in a way that this page cannot change" in Form(answer.text, ROOF).on_top[-1]
    assert files(site) == before


# ---------------------------------------------------------------- two at once


def test_two_chiefs_at_once_and_neither_s_change_is_lost(site, chief):
    suki = Chief(site, "Suki")
    mine, hers = chief.form(TRUSS).fields, suki.form(f"{PLACE}?at=tower-a").fields
    assert suki.sends(PLACE, {**hers, "setup_minutes": "15"}).status_code == 303
    after_hers = files(site)
    # mine was opened before hers was kept, and has a slip as well: nothing of it may go in
    slip = chief.sends(PLACE, {**mine, "height": "high"})
    assert slip.status_code == 422
    mine = {**Form(slip.text, PLACE).fields, "height": "7.4"}
    refused = chief.sends(PLACE, mine)
    form = Form(refused.text, PLACE)
    assert refused.status_code == 422
    assert "Suki at " in form.on_top[-1]
    assert "Delay tower A, setup_minutes 12 to 15" in form.on_top[-1]
    assert files(site) == after_hers
    # what was typed still stands, and now goes in beside hers
    assert form.fields["height"] == "7.4"
    assert chief.sends(PLACE, form.fields).status_code == 303
    assert position(site, "tower-a")["setup_minutes"] == 15.0
    assert position(site, "downstage-truss")["height_m"] == 7.4
    assert [change.by for change in changes(site)] == ["Suki", "Ines"]


def test_looking_does_not_take_a_stale_form_for_a_fresh_one(site, chief):
    mine = chief.form(TRUSS).fields
    Chief(site, "Suki").keeps(TRUSS, cover_minutes="2")
    drawn = chief.sends(PLACE, {**mine, "height": "7.4"}, "look")
    form = Form(drawn.text, PLACE)
    assert chief.sends(PLACE, form.fields).status_code == 422
    assert position(site, "downstage-truss")["cover_minutes_each"] == 2.0


def test_a_folder_that_was_broken_by_hand_meanwhile_is_said_and_left(site, chief):
    fields = chief.form(TRUSS).fields
    path = site.folder / "show.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n[site\n", encoding="utf-8")
    before = files(site)
    assert chief.sends(PLACE, {**fields, "height": "3"}).status_code == 422
    assert chief.get(TRUSS).status_code == 422
    assert files(site) == before


def test_typed_text_is_never_taken_for_markup(chief):
    name = '<script>alert(1)</script>"'
    answer = chief.sends(PLACE, {**chief.form(TRUSS).fields, "name": name, "height": name})
    assert "<script>alert" not in answer.text
    assert Form(answer.text, PLACE).fields["name"] == name


# ---------------------------------------------------------------- what hangs


def test_pasted_rows_are_read_back_then_kept(site, chief):
    page = f"{GEAR}?at=tower-a"
    table = "Unit\tInstrument\tIP rating\tQty\nTA-90\tWash\tip65\t2\nDTA-01\tBeam\tIP20\t1"
    fields, before = {**chief.form(page).fields, "table": table}, files(site)
    looked = chief.sends(GEAR, fields, "look")
    assert looked.status_code == 200
    assert "IP65 (" in looked.text
    assert "2 rows, read back" in looked.text
    assert files(site) == before
    assert chief.sends(GEAR, Form(looked.text, GEAR).fields).status_code == 303
    rows = {row["id"]: row for row in fixtures(site)}
    assert (rows["TA-90"]["code"], rows["TA-90"]["count"]) == ("ip65", "2")
    assert (rows["DTA-01"]["code"], rows["DTA-01"]["position"]) == ("IP20", "tower-a")
    assert changes(site)[0].says == "put in TA-90; changed DTA-01"
    (place,) = {n for n, row in enumerate(fixtures(site)) if row["id"] == "TA-90"}
    assert fixtures(site)[place - 1]["position"] == "tower-a"


def test_what_does_not_suit_the_place_is_said_before_it_is_kept(chief):
    """The avenue is sprinkled: digit 5 at least."""
    fields = {**chief.form(f"{GEAR}?at=avenue").fields, "table": "id,code\nA,IP44\nB,IP67/IP66"}
    text = chief.sends(GEAR, fields, "look").text
    first, second = text.index("<bdi>A</bdi>"), text.index("<bdi>B</bdi>")
    assert "▲" in text[first:second]
    assert "▲" not in text[second:]


def test_bad_rows_are_all_said_and_none_is_written(site, chief):
    before = files(site)
    table = "id,code\nA,IP99\nB,\nC,IP65"
    answer = chief.sends(GEAR, {**chief.form(f"{GEAR}?at=tower-a").fields, "table": table})
    assert answer.status_code == 422
    for said in ("Line 2, A", "Line 3, B: no code."):
        assert said in answer.text
    assert "Keep these" not in answer.text
    assert Form(answer.text, GEAR).fields["table"] == table
    assert (files(site), changes(site)) == (before, ())


def test_a_column_that_was_not_known_is_said(site, chief):
    table = "lamp,thing\nWash,IP65"
    fields = {**chief.form(f"{GEAR}?at=tower-a").fields, "table": table}
    looked = Form(chief.sends(GEAR, fields, "look").text, GEAR)
    assert looked.fields["column.1"] == "-"
    kept = chief.sends(GEAR, {**looked.fields, "column.1": "code"})
    assert kept.status_code == 303
    made = next(row for row in fixtures(site) if row["id"] == "tower-a-01")
    assert (made["name"], made["code"]) == ("Wash", "IP65")


def test_what_was_said_of_one_paste_is_not_taken_for_another(chief):
    fields = {**chief.form(f"{GEAR}?at=tower-a").fields, "table": "name,code\nWash,IP65"}
    looked = Form(chief.sends(GEAR, fields, "look").text, GEAR).fields
    other = Form(chief.sends(GEAR, {**looked, "table": "code,name\nIP65,Wash"}, "look").text, GEAR)
    assert other.wrong == {}
    assert (other.fields["column.0"], other.fields["column.1"]) == ("code", "name")


def test_what_the_folder_refuses_of_rows_is_said(site, chief):
    before = files(site)
    table = "id,code,fed by,count\nA,IP65,NOWHERE,0"
    answer = chief.sends(GEAR, {**chief.form(f"{GEAR}?at=tower-a").fields, "table": table})
    assert answer.status_code == 422
    said = Form(answer.text, GEAR).on_top
    assert len(said) >= 2
    # with the short name: a row of the file is no row of the paste
    assert any(one.startswith("A: ") for one in said)
    assert files(site) == before


def test_a_row_that_stood_elsewhere_moves_here(site, chief):
    table = "id,code\nDTB-01,IP54"
    looked = chief.sends(GEAR, {**chief.form(f"{GEAR}?at=tower-a").fields, "table": table}, "look")
    assert "moves here" in looked.text
    assert chief.sends(GEAR, Form(looked.text, GEAR).fields).status_code == 303
    assert changes(site)[0].says == "moved here DTB-01"


def test_rows_taken_out_and_what_they_fed(site, chief):
    fed = [row["id"] for row in fixtures(site) if row["fed_by"] == "DIST-AVE"]
    assert fed
    page = f"{GEAR}?at=avenue"
    form = chief.form(page).fields
    fields = {"take": "yes", **{key: form[key] for key in ("csrf", "at", "base")}}
    assert "Nothing is ticked." in chief.sends(GEAR, fields).text
    count = len(fixtures(site))
    # one of another position is not taken out from here
    answer = chief.sends(GEAR, {**fields, "take.DIST-AVE": "yes", "take.DS-01": "yes"})
    assert answer.status_code == 303
    rows = {row["id"]: row for row in fixtures(site)}
    assert len(rows) == count - 1
    assert "DIST-AVE" not in rows
    assert {rows[name]["fed_by"] for name in fed} == {""}
    assert changes(site)[0].says == "taken out of the file: DIST-AVE"


def test_a_table_of_two_thousand_rows_goes_in_at_once(site, chief):
    """60 kB; each other form of the page may be much smaller."""
    table = "\n".join(f"N-{n},IP65,Festoon lamp holder" for n in range(2000))
    fields = {**chief.form(f"{GEAR}?at=avenue").fields, "table": table}
    assert chief.sends(GEAR, fields).status_code == 303
    assert len(fixtures(site)) == 121 + 2000
    too_much = {**chief.form(f"{GEAR}?at=avenue").fields, "table": "x" * 210_000}
    assert chief.sends(GEAR, too_much).status_code == 413
