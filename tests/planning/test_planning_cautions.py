"""What is told beside a job's order: heat and damp under covers, open tails, what it feeds."""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from zoneinfo import ZoneInfo

import pytest
from exposure.rigs import NOON, SITE, after, entry, fixture, hours, one_fixture, position, show
from planning.planned import bag, hood, only, planned

from monitor.domain import Event, Hours


def rain(*depths, wind=0.0, **more):
    return hours(depths, wind, **more)


def extra(described, weather, at_h=0.0, log=(), family="protect"):
    return only(planned(described, weather, at_h, log), family).facts.extra


# ---------------------------------------------------------------- heat


def with_cover(cover, *, count=1, **more):
    return one_fixture("IP20", covers=[cover], cover=cover.id, count=count, **more)


@pytest.mark.parametrize(
    ("count", "says"),
    [(1, "Fan-cooled: off before it is covered."), (4, "Fan-cooled: off before they are covered.")],
)
def test_a_fan_is_off_before_its_fixture_is_covered(count, says):
    described = with_cover(bag(), count=count, fan_cooled=True)
    assert extra(described, rain(0, 0, 1)) == (says,)


def test_some_of_them_are_fan_cooled():
    described = show(
        [fixture("IP20", "f1", cover="bag", fan_cooled=True), fixture("IP20", "f2", cover="bag")],
        covers=[bag()],
    )
    assert extra(described, rain(0, 0, 1)) == ("1 is fan-cooled: off before it is covered.",)


def test_what_may_run_under_its_cover_may_stay_on():
    dome = bag(may_run=True)
    described = with_cover(dome, fan_cooled=True, may_run_covered=True)
    assert extra(described, rain(0, 0, 1)) == ()


def test_what_is_brought_in_is_no_matter_of_covers():
    described = with_cover(bag(in_stock=0), fan_cooled=True)
    assert extra(described, rain(0, 0, 1, dew=19.5)) == ()


# ---------------------------------------------------------------- half used, with a show to light


def test_what_is_half_used_is_covered_after_the_show_it_is_bared_for():
    # 0.3 of 0.5 mm fell; the show is on from 16:00
    described = replace(with_cover(bag()), event=Event(NOON, None, Hours(time(16), time(23))))
    assert extra(described, rain(0.3, *[0] * 11), 1.0) == (
        "Not lit under covers: for the show at 16:00 they stay bare, and are covered after it.",
    )
    lit = replace(described, fixtures=(replace(described.fixtures[0], may_run_covered=True),))
    lit = replace(lit, covers={"bag": bag(may_run=True)})
    assert extra(lit, rain(0.3, *[0] * 11), 1.0) == ()
    # what is due is covered, show or no show
    assert extra(described, rain(0.3, 0, 0, 0, 0, 1), 1.0) == ()


# ---------------------------------------------------------------- damp


def air(*, depths, near):
    """20 C; the dew point is 19.5 in the hours named, and 10 in the others."""
    dew = [19.5 if step in near else 10.0 for step in range(len(depths))]
    return rain(*depths, temp=20.0, dew=dew)


# rain from 20:00 to 22:00, due 20:30; noon is step 0, so step 8 is 20:00
NIGHT = [0] * 8 + [1, 1] + [0] * 16


def test_sealed_covers_are_opened_when_the_damp_of_the_night_is_over():
    # nearly saturated from 02:00 to 08:00 (steps 14 to 19)
    said = extra(with_cover(bag()), air(depths=NIGHT, near=range(14, 20)))
    assert said == ("Under sealed covers damp builds up: open them by Fri 08:00.",)


def test_by_the_clock_of_the_site():
    site = replace(SITE, timezone=ZoneInfo("Africa/Maputo"))  # UTC+2 all year
    described = with_cover(bag(), site=site)
    said = extra(described, air(depths=NIGHT, near=range(14, 20)))
    assert said == ("Under sealed covers damp builds up: open them by Fri 10:00.",)


def test_rain_that_lasts_longer_keeps_them_shut():
    wet = [0] * 8 + [1] * 14 + [0] * 4
    said = extra(with_cover(bag()), air(depths=wet, near=range(14, 20)))
    assert said == ("Under sealed covers damp builds up: open them as soon as the rain is over.",)


@pytest.mark.parametrize(
    "near",
    [
        range(14, 16),  # two hours are fewer than the three in a night that ask for a check
        range(8),  # before they are covered
        range(24, 26),  # after noon
    ],
)
def test_other_hours_are_no_matter(near):
    assert extra(with_cover(bag()), air(depths=NIGHT, near=near)) == ()


def test_an_open_hood_breathes():
    described = with_cover(hood(keeps_out_to_deg=60.0))
    assert extra(described, air(depths=NIGHT, near=range(14, 20))) == ()


# ---------------------------------------------------------------- open tails


def tail(name="f1", **own):
    return fixture("IP65", name, connector_state="open", connector_open_code="IP20", **own)


def test_capping_is_named_where_an_open_tail_is_what_holds_it_back():
    assert extra(show([tail(), fixture("IP44", "f2")]), rain(0, 0, 1)) == (
        "An open connector is the weakest part: capping the tail of f1 may be enough.",
    )


def test_several_tails():
    described = show([tail(f"f{n}", value=float(n)) for n in range(1, 7)])
    (said,) = extra(described, rain(0, 0, 1))
    assert "capping the tails of f1, f2, f3 and 3 more may be enough" in said


def test_a_lamp_as_weak_as_its_tail_is_not_helped_by_a_cap():
    described = one_fixture("IP20", connector_state="open", connector_open_code="IP20")
    assert extra(described, rain(0, 0, 1)) == ()


def test_at_load_in_mated_ones_count_as_open_and_the_job_says_so():
    lamp = fixture("IP65", connector_code="IP65", connector_open_code="IP20")
    described = show([lamp])
    described = replace(described, event=replace(described.event, load_in_ends_at=after(6)))
    # 1 mm from 14:00 spends the half millimetre of the open connector by 14:30
    (said,) = extra(described, rain(0, 0, 1, 0, 0, 0, 0, 1))
    assert said.startswith("Load-in to Thu 18:00: open connectors count, and one is the weakest")
    assert said.endswith("Mate or cap the tail of f1, and log it capped.")
    # after it there is no limit from rain: nothing is due
    assert planned(described, rain(0, 0, 0, 0, 0, 0, 0, 1)).jobs == ()
    assert after(6).timestamp() in planned(described, rain(0, 0, 1)).changes_s


def test_capped_it_is_over():
    assert planned(show([tail()]), rain(0, 0, 1), 1.0, [entry(0.5, "capped")]).jobs == ()


# ---------------------------------------------------------------- what it feeds


def test_what_is_dark_without_it_is_counted_through_what_stands_between():
    # the dimmer feeds 4 lamps and a node, which feeds 3: 8 fixtures
    described = show(
        [
            fixture("IP20", "DIM"),
            fixture("IP65", "lamps", count=4, fed_by="DIM"),
            fixture("IP65", "NODE", fed_by="DIM"),
            fixture("IP65", "tape", count=3, fed_by="NODE"),
            fixture("IP65", "apart"),
        ]
    )
    assert extra(described, rain(0, 0, 1)) == ("8 fixtures at pole are dark without DIM.",)


def test_what_is_in_the_job_itself_is_not_counted():
    described = show([fixture("IP20", "DIM"), fixture("IP20", "lamp", fed_by="DIM")])
    assert extra(described, rain(0, 0, 1)) == ()
    described = show([fixture("IP20", "DIM"), fixture("IP65", "lamp", fed_by="DIM")])
    assert extra(described, rain(0, 0, 1)) == ("1 fixture at pole is dark without DIM.",)


def test_a_ring_has_an_end():
    described = show(
        [fixture("IP20", "A", fed_by="B"), fixture("IP65", "B", fed_by="A", position="tower")],
        positions=[position(), position("tower")],
    )
    assert extra(described, rain(0, 0, 1)) == ("1 fixture at tower is dark without A.",)
