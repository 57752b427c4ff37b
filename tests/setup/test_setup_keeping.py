"""Files of the show folder put in place of the old: all or none, and by name."""

from __future__ import annotations

import stat
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from service_site import write_show

from monitor.domain import BadInputError, SetUp, UnableError
from monitor.service.watched import FolderWatch
from monitor.setup.keeping import CHANGED, difference, keep
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.set_up import changes_between, set_up_changes

AT = datetime(2027, 7, 15, 12, 3, tzinfo=UTC)


class Desk:
    """A show folder and somebody who changes it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.watch = write_show(folder), FolderWatch(folder, {})

    def db(self):
        return closing(open_database(self.folder / "dryspell.db"))

    @property
    def revision(self):
        return self.watch.read().show.revision

    def text(self):
        return (self.folder / "show.toml").read_text(encoding="utf-8")

    def higher(self, height, base=None, by="Ines", **files):
        base = base or self.revision
        text = self.text().replace("height_m = 0.5", f"height_m = {height}")
        with self.db() as db:
            return keep(
                db,
                self.watch.read,
                self.watch.as_if,
                {"show.toml": text.encode(), **files},
                base,
                lambda revision: SetUp(AT, by, f"height_m {height}", revision, base, "wash"),
            )

    def changes(self):
        with self.db() as db:
            assert verify(db).ok
            return set_up_changes(db)


@pytest.fixture
def desk(tmp_path):
    return Desk(tmp_path / "show")


def test_it_is_kept_with_who_and_what_and_the_revision_it_made(desk):
    base = desk.revision
    after = desk.higher(0.6)
    assert desk.revision == after.show.revision != base
    assert desk.watch.read().show.positions["wash"].height_m == 0.6
    assert desk.changes() == (SetUp(AT, "Ines", "height_m 0.6", after.show.revision, base, "wash"),)


def test_the_same_again_is_no_change(desk):
    desk.higher(0.5)
    assert desk.changes() == ()


def test_who_has_the_old_files_in_hand_is_told_what_was_changed(desk):
    base = desk.revision
    desk.higher(0.6, by="Suki")
    before = desk.text()
    with pytest.raises(BadInputError) as refused:
        desk.higher(0.7, base=base)
    (problem,) = refused.value.problems
    assert problem.code == CHANGED
    # 12:03 UTC is 13:03 in London in July
    assert "Suki at 13:03: Lawn wash, height_m 0.6" in problem.says
    assert desk.text() == before
    assert len(desk.changes()) == 1


def test_a_change_by_hand_is_said_to_be_one(desk):
    base = desk.revision
    path = desk.folder / "show.toml"
    path.write_text(desk.text() + "\n# looked at\n", encoding="utf-8")
    with pytest.raises(BadInputError, match="by hand in its files"):
        desk.higher(0.7, base=base)


def test_every_step_between_two_revisions(desk):
    """And none that came before, nor one made on what somebody wrote by hand."""
    desk.higher(0.5001)
    base = desk.revision
    path = desk.folder / "show.toml"
    path.write_text(desk.text().replace("0.5001", "0.5"), encoding="utf-8")
    by_hand = desk.revision
    path.write_text(desk.text(), encoding="utf-8")
    one = desk.higher(0.6).show.revision
    path.write_text(desk.text().replace("0.6", "0.5"), encoding="utf-8")
    two = desk.higher(0.7).show.revision
    with desk.db() as db:
        assert [c.says for c in changes_between(db, by_hand, one)] == ["height_m 0.6"]
        assert [c.says for c in changes_between(db, base, two)] == ["height_m 0.7"]
        assert changes_between(db, two, two) == ()


def test_a_folder_that_would_not_be_sound_stays_as_it_was(desk):
    before = desk.text()
    with pytest.raises(BadInputError):
        desk.higher(900)
    assert (desk.text(), desk.changes()) == (before, ())
    assert not list(desk.folder.glob(".*.new"))


def test_a_file_that_cannot_be_written_changes_nothing(desk):
    """A folder stands where the second file would be written first."""
    before = desk.text()
    (desk.folder / ".fixtures.csv.new").mkdir()
    with pytest.raises(UnableError, match=r"fixtures\.csv could not be written"):
        desk.higher(0.6, **{"fixtures.csv": b"id,code,position\nWASH,IP65,wash\n"})
    assert (desk.text(), desk.changes()) == (before, ())
    assert not (desk.folder / ".show.toml.new").exists()


def test_what_is_in_its_place_already_is_put_back(desk, monkeypatch):
    """The second of two files cannot be put in its place: the disk says so at that moment."""
    before, replace = desk.text(), Path.replace

    def refuse_rows(self, target):
        if target.name == "fixtures.csv":
            raise OSError(5, "Input/output error")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refuse_rows)
    with pytest.raises(UnableError, match=r"fixtures\.csv could not be written"):
        desk.higher(0.6, **{"fixtures.csv": b"id,code,position\nWASH,IP65,wash\n"})
    assert (desk.text(), desk.changes()) == (before, ())
    assert not list(desk.folder.glob(".*.new"))


def test_rights_and_links_of_the_file_stay(desk):
    path = desk.folder / "show.toml"
    elsewhere = desk.folder.parent / "kept-elsewhere.toml"
    path.rename(elsewhere)
    path.symlink_to(elsewhere)
    elsewhere.chmod(0o640)
    desk.higher(0.6)
    assert path.is_symlink()
    assert "height_m = 0.6" in elsewhere.read_text(encoding="utf-8")
    assert stat.S_IMODE(elsewhere.stat().st_mode) == 0o640


def test_what_changed_in_words():
    before = {"height_m": 7.5, "roof": "stage", "tickets": ["hoists"]}
    after = {"height_m": 8.0, "roof": None, "tickets": ["hoists"], "spray": {"salt": True}}
    assert difference(before, after) == "height_m 7.5 to 8; spray salt True; roof taken out"
    assert difference(None, {"height_m": 8.0, "roof": None}) == "height_m 8"
    assert difference(before, before) == ""
