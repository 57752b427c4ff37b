from __future__ import annotations

import os

import pytest

from monitor.builtin import builtin
from monitor.check import check
from monitor.codes import credited_digits
from monitor.domain import BadInputError, UnableError
from monitor.show import STARTERS, read_show, write_starter


@pytest.mark.parametrize("kind", STARTERS)
def test_a_starter_reads_without_a_fault_or_a_note(tmp_path, kind):
    folder = tmp_path / "shows" / kind
    written = write_starter(kind, folder)
    assert sorted(p.name for p in written) == ["fixtures.csv", "show.toml"]
    read = read_show(folder, {})
    assert read.notes == ()
    show = read.show
    assert len(show.positions) >= 3
    assert {f.position for f in show.fixtures} <= set(show.positions)
    assert all(p.isolate_at for p in show.positions.values())
    assert [c.kind for c in show.contacts] == ["folder"]


@pytest.mark.parametrize("kind", STARTERS)
def test_what_is_out_in_a_starter_suits_its_position(tmp_path, kind):
    write_starter(kind, tmp_path)
    show = read_show(tmp_path, {}).show
    for fixture in show.fixtures:
        position = show.positions[fixture.position]
        digits = credited_digits(fixture.code)
        # exposure model section 5: washdown low needs 5, water up to 1 m needs 7
        assert position.washdown != "low" or 5 in digits
        assert position.may_flood_m is None or {7, 8} & set(digits)
        # weaker gear has a cover in stock, or can be brought in
        if max(digits) < 5:
            can_come_in = position.bring_in_minutes_each > 0
            assert fixture.cover in show.covers or can_come_in
    stock = dict.fromkeys(show.covers, 0)
    for fixture in show.fixtures:
        if fixture.cover:
            stock[fixture.cover] += fixture.count
    assert all(show.covers[cover].in_stock >= wanted for cover, wanted in stock.items())


@pytest.mark.parametrize("kind", STARTERS)
def test_check_passes_a_starter(tmp_path, kind):
    write_starter(kind, tmp_path)
    checked = check(read_show(tmp_path, {}).show)
    assert [(one.fixture.id, one.unsuited) for one in checked if one.unsuited] == []


def test_a_folder_with_a_show_is_left_as_it_is(tmp_path):
    (tmp_path / "fixtures.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(BadInputError) as fault:
        write_starter("stage", tmp_path)
    assert fault.value.problems[0].code == "folder-taken"
    assert os.listdir(tmp_path) == ["fixtures.csv"]
    assert (tmp_path / "fixtures.csv").read_text(encoding="utf-8") == "mine"


def test_an_empty_folder_is_taken(tmp_path):
    write_starter("tent", tmp_path)
    assert (tmp_path / "show.toml").read_bytes() == builtin(
        "starters", "tent", "show.toml"
    ).read_bytes()


def test_nothing_is_left_where_it_cannot_be_written(tmp_path):
    # A file stands where the folder should be made: mkdir fails for every account.
    (tmp_path / "taken").write_text("", encoding="utf-8")
    with pytest.raises(UnableError):
        write_starter("stage", tmp_path / "taken" / "show")
    # A dangling link stands where show.toml should be: opening it anew fails half-way.
    half = tmp_path / "half"
    half.mkdir()
    (half / "show.toml").symlink_to(tmp_path / "nowhere" / "show.toml")
    with pytest.raises(UnableError):
        write_starter("stage", half)
    assert os.listdir(half) == ["show.toml"]
