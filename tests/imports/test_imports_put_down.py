"""Two files take their places together, or neither does."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.domain import UnableError
from monitor.imports.put_down import put_down

BEFORE = {"show.toml": b"old show", "fixtures.csv": b"old rows"}
AFTER = {"show.toml": b"new show", "fixtures.csv": b"new rows"}


@pytest.fixture
def folder(tmp_path):
    for name, data in BEFORE.items():
        (tmp_path / name).write_bytes(data)
    return tmp_path


def there(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_both_are_replaced_and_nothing_is_left_beside_them(folder):
    (folder / "fixtures.csv").chmod(0o640)
    put_down(folder, BEFORE, AFTER)
    assert there(folder) == AFTER
    assert (folder / "fixtures.csv").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("name", list(BEFORE))
def test_what_somebody_changed_meanwhile_is_not_written_over(folder, name):
    (folder / name).write_bytes(b"somebody's")
    with pytest.raises(UnableError, match=f"{name} was changed"):
        put_down(folder, BEFORE, AFTER)
    assert there(folder) == {**BEFORE, name: b"somebody's"}


def test_a_disk_that_takes_only_the_first_leaves_both_as_they_were(folder, monkeypatch):
    replace = Path.replace

    def failing(self, target):
        if Path(target).name == "fixtures.csv":
            raise OSError(28, "No space left on device")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises(UnableError, match="No space left"):
        put_down(folder, BEFORE, AFTER)
    assert there(folder) == BEFORE


def test_a_disk_that_takes_nothing(folder, monkeypatch):
    def full(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(UnableError, match="No space left"):
        put_down(folder, BEFORE, AFTER)
    assert there(folder) == BEFORE


def test_a_folder_that_is_gone(folder):
    (folder / "show.toml").unlink()
    with pytest.raises(UnableError):
        put_down(folder, BEFORE, AFTER)
    assert there(folder) == {"fixtures.csv": b"old rows"}
