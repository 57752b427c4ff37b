from __future__ import annotations

import pytest
from feed_samples import own_sheet

from monitor.domain import Feed
from monitor.feeds.request import needs_consent
from monitor.feeds.sheet import builtin_sheet

OPEN_METEO = builtin_sheet("open-meteo")


@pytest.mark.parametrize(
    "base_url",
    [None, "https://api.open-meteo.com", "https://API.open-meteo.com./v1/forecast"],
)
def test_the_free_host_asks(base_url):
    says = needs_consent(OPEN_METEO, Feed("open-meteo", base_url=base_url))
    assert says is not None
    assert "api.open-meteo.com" in says
    assert "non-commercial" in says


@pytest.mark.parametrize(
    "base_url",
    [
        "https://customer-api.open-meteo.com",
        "http://127.0.0.1:8080",
        "https://w.example",
        "no address",
    ],
)
def test_another_host_does_not_ask(base_url):
    assert needs_consent(OPEN_METEO, Feed("open-meteo", base_url=base_url)) is None


def test_a_key_alone_does_not_lift_it():
    assert needs_consent(OPEN_METEO, Feed("open-meteo", key="env:K")) is not None


def test_an_own_sheet_takes_the_terms_along():
    assert needs_consent(own_sheet(), Feed("own")) is not None
    moved = own_sheet('[request]\nurl = "https://w.example/v1/forecast"\n')
    assert needs_consent(moved, Feed("own")) is None
    other = own_sheet('[feed]\nfree_hosts = []\n[request]\nurl = "https://w.example/v1/forecast"\n')
    assert needs_consent(other, Feed("own")) is not None
    assert needs_consent(own_sheet('[feed]\nuse = "any"\n'), Feed("own")) is None
