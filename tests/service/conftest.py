"""Makes stages for single cycles."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from service_site import ENVIRON, write_show
from service_stage import START, Stage

from monitor.service.cycle import Cycle
from monitor.service.watched import FolderWatch
from monitor.store.database import open_database


@pytest.fixture
def stage(tmp_path):
    """Makes a stage; everything is closed at the end."""
    opened = []

    def make(**show: Any) -> Stage:
        folder = write_show(
            tmp_path / "show", **{"load_in": START - timedelta(hours=3), "poll": "10m", **show}
        )
        db = open_database(folder / "dryspell.db")
        opened.append(db)
        watch = FolderWatch(folder, ENVIRON)
        return Stage(folder, db, watch, Cycle(watch))

    yield make
    for db in opened:
        db.conn.close()
