"""Whatever is posted, the answer is one of ours: never a fault inside, never half kept."""

from __future__ import annotations

import json
from contextlib import closing
from http import HTTPStatus

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from web_site import bearer, now, show_folder

from monitor.service.watched import FolderWatch
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.tokens import make_token
from monitor.web.app import create_app
from monitor.web.limits import Allowance
from monitor.web.place import Place

KEYS = [
    *("id", "entry", "position", "fixture", "alert", "at", "count", "to", "result", "by", "note"),
    *("answer", "station", "time", "rain_total_mm", "rain_mm", "period_s", "wind_mps", "gust_mps"),
    *("temp_c", "dew_point_c", "humidity_pct", "battery_ok", "raining", "resets", "", "x"),
]
WORDS = [
    *("covered", "moved", "inspected", "wash", "WASH", "mast", "crew", "doing", "done", "dry"),
    *("2027-07-15T13:00", "2027-10-31T01:30", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-14:00"),
    *("3 of 6", "3 of 0", "abcdefgh", "never", "\x00", "\ud800", "\u202e", "é" * 40, "a" * 2000),
]
leaf = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**400), 10**400),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(WORDS),
    st.text(max_size=30),
)
thing = st.recursive(
    leaf,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.one_of(st.sampled_from(KEYS), st.text(max_size=8)), inner, max_size=8),
    ),
    max_leaves=20,
)
ours = {200, 201, 400, 409, 413, 415, 422}


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    """Posts to the application itself, without a socket; faster by far."""
    folder = show_folder(tmp_path_factory.mktemp("anything") / "show")
    with closing(open_database(folder / "dryspell.db")) as db:
        token = make_token(db, "any", now())
        free = Allowance(at_once=10**9, per_second=1e9)
        client = create_app(
            Place(FolderWatch(folder, {}), now, posts=free, failures=free)
        ).test_client()
        yield lambda path, **more: client.post(path, headers=bearer(token), **more), token
        assert verify(db).ok


PATHS = st.sampled_from(["/api/v1/log", "/api/v1/answers", "/api/v1/observations"])
usual = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@usual
@given(path=PATHS, body=thing)
def test_any_json(asked, path, body):
    post, _ = asked
    text = json.dumps(body)
    answer = post(path, data=text, content_type="application/json")
    assert answer.status_code in ours, (text, answer.text)
    kind = "json" if answer.status_code < 300 else "problem+json"
    assert answer.content_type == f"application/{kind}"
    assert json.loads(answer.data) is not None
    if answer.status_code >= 400:
        HTTPStatus(json.loads(answer.data)["status"])


@usual
@given(path=PATHS, body=st.binary(max_size=200))
def test_any_bytes(asked, path, body):
    post, _ = asked
    assert post(path, data=body, content_type="application/json").status_code in ours


@usual
@given(
    form=st.dictionaries(
        st.one_of(
            st.sampled_from(["dateutc", "tempf", "totalrainin", "rainin", "windspeedmph", "ID"]),
            st.text(max_size=8),
        ),
        st.one_of(
            st.sampled_from(["now", "59", "-9999", "1e999", "nan", "inf"]), st.text(max_size=20)
        ),
        max_size=8,
    ),
    station=st.one_of(st.none(), st.sampled_from(["mast", "lawn"]), st.text(max_size=8)),
)
def test_any_form(asked, form, station):
    post, token = asked
    query = {} if station is None else {"station": station}
    path = f"/api/v1/observations/gateway/{token}"
    answer = post(path, data=form, query_string=query)
    assert answer.status_code in ours, answer.text
