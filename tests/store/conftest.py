from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.store.database import open_database

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "dryspell.db"


@pytest.fixture
def db(path: Path):
    with open_database(path) as opened:
        yield opened
