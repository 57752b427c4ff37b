from __future__ import annotations

import pytest
from web_site import served, show_folder


@pytest.fixture
def folder(tmp_path):
    return show_folder(tmp_path / "show")


@pytest.fixture
def site(folder):
    with served(folder) as found:
        yield found
