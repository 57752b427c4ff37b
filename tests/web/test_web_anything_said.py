"""Whatever a browser sends to the duty page's forms, the answer is one of ours and leads home."""

from __future__ import annotations

import json
from contextlib import closing
from urllib.parse import urlencode, urljoin, urlsplit

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from web_site import now, show_folder

from monitor.service.watched import FolderWatch
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.devices import device_of, link_of, make_link, sign_in
from monitor.web.app import create_app
from monitor.web.limits import Allowance
from monitor.web.own_forms import form_token, way_back
from monitor.web.place import Place

KEYS = [
    *("id", "entry", "position", "fixture", "alert", "at", "count", "to", "result", "by", "note"),
    *("answer", "because", "until", "what", "earth_ohm", "insulation_mohm", "back", "name", ""),
]
WORDS = [
    *("covered", "moved", "inspected", "wash", "WASH", "doing", "done", "dry", "height", "power"),
    *("2027-07-15T13:00", "2027-10-31T01:30", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-14:00"),
    *("3", "3 of 6", "999999", "abcdefgh", "\x00", "\u202e", "é" * 40, "a" * 2000, "{x}", "%s"),
    *("//elsewhere.example", "/\\elsewhere.example", "/a\r\nb: c", "/rig/wash#x", "/%2f%2fx"),
]
word = st.one_of(st.sampled_from(WORDS), st.text(max_size=40))
fields = st.dictionaries(st.one_of(st.sampled_from(KEYS), st.text(max_size=8)), word, max_size=10)
usual = settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
OURS = {200, 201, 303, 400, 401, 403, 404, 409, 413, 415, 422}
SELF = {"Origin": "http://localhost", "Accept": "text/html"}


@pytest.fixture(scope="module")
def posted(tmp_path_factory):
    """Posts to the application itself, without a socket; faster by far."""
    folder = show_folder(tmp_path_factory.mktemp("said") / "show")
    free = Allowance(at_once=10**9, per_second=1e9)
    with closing(open_database(folder / "dryspell.db")) as db:
        link = make_link(db, "crew", "Crew", now())
        _, secret = sign_in(db, link_of(db, link), "Dario", now())
        place = Place(FolderWatch(folder, {}), now, posts=free, failures=free, arrivals=free)
        client = create_app(place).test_client(use_cookies=False)

        def post(path, body, cookie=f"duty={secret}", **headers):
            return client.post(
                path,
                data=body,
                headers={**SELF, "Cookie": cookie, **headers},
                content_type="application/x-www-form-urlencoded",
            )

        yield post, form_token(secret), link
        assert verify(db).ok
        assert device_of(db, secret) is not None


@usual
@given(
    kind=st.sampled_from(("log", "answer", "declare")),
    fields=fields,
    accept=st.sampled_from(("text/html", "application/json", "*/*", "é")),
)
def test_any_fields(posted, kind, fields, accept):
    post, token, _ = posted
    answer = post(f"/say/{kind}", urlencode({**fields, "csrf": token}), Accept=accept)
    assert answer.status_code in OURS, (fields, answer.text)
    if accept == "application/json":
        told = json.loads(answer.data)
        assert told["kept"] is (answer.status_code < 300)
        assert told["kept"] or told["then"] in ("never", "again", "reload", "sign-in")
    if answer.status_code == 303:
        assert urlsplit(
            urljoin("http://here.example/say/log", answer.headers["Location"])
        ).netloc == ("here.example")


@usual
@given(path=st.sampled_from(("/say/log", "/out")), body=st.binary(max_size=200))
def test_any_bytes(posted, path, body):
    post, _, _ = posted
    assert post(path, body).status_code in OURS - {200, 201, 303}


@usual
@given(cookie=st.text(st.characters(codec="latin-1", exclude_characters="\r\n"), max_size=80))
def test_any_cookie(posted, cookie):
    post, token, _ = posted
    for value in (cookie, f"duty={cookie}", f"kept={cookie}"):
        assert post("/say/log", urlencode({"csrf": token}), value).status_code == 401


@usual
@given(origin=st.text(st.characters(codec="latin-1", exclude_characters="\r\n"), max_size=60))
def test_any_origin(posted, origin):
    post, token, link = posted
    said = urlencode({"csrf": token, "name": "Ines"})
    if origin not in ("http://localhost", "http://localhost:80"):
        assert post("/say/log", said, Origin=origin).status_code == 403
        assert post(f"/in/{link}", said, Origin=origin).status_code == 403


@usual
@given(name=word)
def test_any_name(posted, name):
    post, _, link = posted
    assert post(f"/in/{link}", urlencode({"name": name}), cookie="").status_code in (303, 422, 400)


@usual
@given(asked=st.one_of(word, st.text("/\\.%25#?abc\r\n\t@:", max_size=30)))
def test_any_way_back(asked):
    found = way_back(asked)
    assert found.isascii()
    assert found.isprintable()
    # as a browser reads it: from the form's own address, and with \ for /
    there = urlsplit(urljoin("http://here.example/say/log", found.replace("\\", "/")))
    assert there.netloc == "here.example"
    assert ".." not in there.path.split("/")
