from __future__ import annotations

import pytest
from page_site import Stage, demo_folder


@pytest.fixture
def stage(tmp_path):
    """The festival before its first evaluation: clock at Thursday 20:40Z, 21:40 on site."""
    return Stage(demo_folder(tmp_path / "show"))
