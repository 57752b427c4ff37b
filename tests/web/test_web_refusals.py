"""Whatever is asked wrongly is answered as a problem, with what would be right, and no more."""

from __future__ import annotations

import json
import socket
from contextlib import closing
from urllib.parse import urlsplit

import pytest
import requests
from web_site import bearer, now, raise_alert, served, show_folder

from monitor.domain import UnableError
from monitor.store.tokens import withdraw_token

POSTS = ["/api/v1/observations", "/api/v1/log", "/api/v1/answers"]
JSON = {"Content-Type": "application/json"}


def check_problem(answer, status):
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    body = answer.json()
    # RFC 9457, 3.1: these members and these types
    assert body["status"] == status
    assert isinstance(body["title"], str)
    assert isinstance(body["detail"], str)
    assert body["type"] == "about:blank"
    assert "Traceback" not in answer.text
    assert ".py" not in answer.text
    return body


def raw(site, request):
    """The bytes that come back for bytes that no client would send."""
    parts = urlsplit(site.url)
    with closing(socket.create_connection((parts.hostname, parts.port), timeout=10)) as line:
        line.sendall(request)
        line.shutdown(socket.SHUT_WR)
        answer = b""
        while block := line.recv(65536):
            answer += block
    return answer


# ---------------------------------------------------------------- what there is


@pytest.mark.parametrize(
    "path", ["/nothing", "/api/v1", "/api/v1/log/", "/health//", "/health/x", "/%00"]
)
def test_an_address_with_nothing_at_it(site, path):
    body = check_problem(site.get(path), 404)
    assert path not in json.dumps(body)


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("POST", "/health", {"GET", "HEAD"}),
        ("DELETE", "/metrics", {"GET", "HEAD"}),
        ("PUT", "/api/v1/state", {"GET", "HEAD"}),
        ("GET", "/api/v1/log", {"POST"}),
        ("OPTIONS", "/api/v1/log", {"POST"}),
        ("PATCH", "/api/v1/observations", {"POST"}),
        ("GET", "/api/v1/observations/gateway/x", {"POST"}),
        ("BREW", "/api/v1/log", {"POST"}),
    ],
)
def test_a_method_that_an_address_does_not_take(site, method, path, allowed):
    answer = requests.request(method, site.url + path, headers=site.headers, timeout=10)
    check_problem(answer, 405)
    assert {part.strip() for part in answer.headers["Allow"].split(",")} == allowed


# ---------------------------------------------------------------- who asks


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize(
    "header",
    [None, "", "Bearer", "Bearer ", "Bearer x", "Basic {token}", "{token}", "Bearer {token}x"],
)
def test_without_a_right_token(site, path, header):
    headers = {} if header is None else {"Authorization": header.format(token=site.token)}
    answer = site.post(path, {}, token=False, headers=headers)
    check_problem(answer, 401)
    assert answer.headers["WWW-Authenticate"].startswith('Bearer realm="dryspell"')


def test_a_token_is_asked_for_before_anything_is_looked_at(site):
    answer = site.post("/api/v1/log", token=False, data=b"{", headers=JSON)
    check_problem(answer, 401)


def test_the_scheme_is_read_in_any_case(site):
    answer = site.get(
        "/api/v1/state", token=False, headers={"Authorization": f"bEaReR {site.token}"}
    )
    assert answer.status_code == 200


def test_a_withdrawn_token_opens_nothing_from_that_moment(site):
    assert site.get("/api/v1/state").status_code == 200
    with site.db() as db:
        withdraw_token(db, site.rows("tokens")[0]["name"], now())
    assert site.get("/api/v1/state").status_code == 401


# ---------------------------------------------------------------- what is sent


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[1,",
        b"nothing",
        b'{"temp_c": NaN}',
        b'{"temp_c": -Infinity}',
        b'{"temp_c": 1e999}',
        b'{"id": "abcdefgh", "id": "abcdefgh"}',
        b"\xff\xfe{}",
        b'{"a": "\xff"}',
        b"[" * 30000,
        b'{"n": ' + b"9" * 6000 + b"}",
        b"{} {}",
    ],
    ids=lambda body: body[:12].decode("latin-1"),
)
def test_what_is_no_sound_json(site, path, body):
    check_problem(site.post(path, data=body, headers=JSON), 400)


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/x-www-form-urlencoded", "application/jsonp", "x"]
)
def test_another_type_than_json(site, path, kind):
    headers = {} if kind is None else {"Content-Type": kind}
    check_problem(site.post(path, data=b"{}", headers=headers), 415)


def test_the_answer_to_a_body_full_of_faults_stays_small(site):
    body = {f"k{i}": 1 for i in range(5000)}
    answer = site.post("/api/v1/log", body)
    refused = check_problem(answer, 422)
    # the body itself has 59 kB
    assert len(answer.content) < 64 * 1024
    assert refused["detail"] == "Nothing was kept: 5003 things are wrong."
    assert 1 < len(refused["problems"]) <= 100


def test_a_type_with_its_charset_is_that_type(site):
    headers = {"Content-Type": "Application/JSON; charset=utf-8"}
    assert site.post("/api/v1/log", data=b"{}", headers=headers).status_code == 422


def test_a_packed_body(site):
    headers = {**JSON, "Content-Encoding": "gzip"}
    check_problem(site.post("/api/v1/log", data=b"{}", headers=headers), 415)


def test_a_body_of_64_kb_is_read_and_a_larger_one_refused(site):
    def body(size):
        return b'{"x": "' + b"a" * (size - 9) + b'"}'

    assert len(body(65536)) == 65536
    assert site.post("/api/v1/log", data=body(65536), headers=JSON).status_code == 422
    for size in (65537, 200_000):
        answer = site.post("/api/v1/log", data=body(size), headers=JSON)
        assert "64 kB" in check_problem(answer, 413)["detail"]


def test_a_body_in_pieces_is_held_to_the_same(site):
    def pieces(count):
        for _ in range(count):
            yield b"a" * 8192

    answer = site.post("/api/v1/log", data=pieces(9), headers=JSON)
    check_problem(answer, 413)


def test_a_body_that_says_it_is_huge_is_not_waited_for(site):
    head = (
        f"POST /api/v1/log HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {site.token}\r\n"
        "Content-Type: application/json\r\nContent-Length: 99999999999\r\n\r\n"
    )
    answer = raw(site, head.encode())
    assert answer.startswith(b"HTTP/1.1 413 ")
    assert b"application/problem+json" in answer


@pytest.mark.parametrize(
    ("request_bytes", "status"),
    [
        (b"nonsense\r\n\r\n", b"400"),
        (b"GET /health HTTP/1.1\r\nHost: localhost\r\nX: " + b"a" * 20000 + b"\r\n\r\n", b"431"),
        (b"GET /health HTTP/1.1\r\nHost: localhost\r\nbad header\r\n\r\n", b"400"),
        (b"POST /api/v1/log HTTP/1.1\r\nHost: localhost\r\nContent-Length: -1\r\n\r\n", b"400"),
        (
            b"POST /api/v1/log HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: gzip\r\n\r\n",
            b"501",
        ),
    ],
    ids=["nonsense", "long header", "bad header", "length", "encoding"],
)
def test_what_the_application_never_sees_is_answered_in_the_same_form(site, request_bytes, status):
    answer = raw(site, request_bytes)
    assert answer.split(b" ", 2)[1] == status, answer
    head, _, body = answer.partition(b"\r\n\r\n")
    assert b"application/problem+json" in head
    assert json.loads(body)["status"] == int(status)
    assert b"waitress" not in answer.lower()


# ---------------------------------------------------------------- by which name


@pytest.mark.parametrize(
    "host",
    ["localhost", "LOCALHOST:80", "127.0.0.1", "[::1]:8036", "192.0.2.7:8036", "duty.localhost"],
)
def test_names_that_are_this_machine(site, host):
    assert site.get("/metrics", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:80",
        "127.0.0.1.evil.example",
        "a b",
        "[",
        "localhost.evil.example",
    ],
)
def test_a_name_that_only_points_here(site, host):
    body = check_problem(site.get("/metrics", headers={"Host": host}), 421)
    assert "public_url" in body["detail"]


def test_the_name_in_public_url_is_ours(tmp_path):
    outside = '[page]\nlisten = "127.0.0.1:0"\npublic_url = "https://Duty.example.org/x"\n'
    with served(show_folder(tmp_path / "show", outside=outside)) as site:
        for host in ("duty.example.org", "DUTY.example.org:443", "duty.example.org."):
            assert site.get("/metrics", headers={"Host": host}).status_code == 200
        assert site.get("/metrics", headers={"Host": "example.org"}).status_code == 421


def test_a_device_that_sends_no_name_is_let_through(site):
    assert raw(site, b"GET /metrics HTTP/1.0\r\n\r\n").startswith(b"HTTP/1.0 200 ")


# ---------------------------------------------------------------- what every answer has


@pytest.mark.parametrize("path", ["/health", "/metrics", "/api/v1/state", "/nothing"])
def test_headers_of_every_answer(site, path):
    raise_alert(site)
    headers = site.get(path).headers
    assert headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"] == "no-store"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "Server" not in headers
    assert "Via" not in headers
    assert "Set-Cookie" not in headers
    assert "Access-Control-Allow-Origin" not in headers


# ---------------------------------------------------------------- what fails inside


def test_a_fault_inside_is_a_reference_here_and_a_line_in_the_log(site, monkeypatch, caplog):
    def broken(self):
        raise RuntimeError(f"the token is {site.token}")

    monkeypatch.setattr(type(site.place), "opened", broken)
    for answer in (
        site.get("/api/v1/state"),
        site.post(f"/api/v1/observations/gateway/{site.token}", token=False, data={"tempf": "59"}),
    ):
        body = check_problem(answer, 500)
        assert body["reference"] in caplog.text
        assert "RuntimeError" in caplog.text
        assert site.token not in answer.text
    assert site.token not in caplog.text
    assert "test_web_refusals.py" in caplog.text  # where it was


def test_a_database_that_cannot_be_used_is_no_fault_of_the_sender(site, monkeypatch, caplog):
    def broken(self):
        raise UnableError("/srv/show/dryspell.db: The disk is full.", "Free some.")

    monkeypatch.setattr(type(site.place), "opened", broken)
    answer = site.post("/api/v1/log", {})
    body = check_problem(answer, 503)
    assert answer.headers["Retry-After"] == "5"
    assert "/srv" not in answer.text
    assert body["reference"] in caplog.text
    assert "The disk is full" in caplog.text


# ---------------------------------------------------------------- too often


def test_a_token_used_too_often_has_to_wait_and_the_others_not(folder):
    with served(folder, posts={"at_once": 3, "per_second": 0.01}) as site:
        answers = [site.get("/api/v1/state") for _ in range(5)]
        assert [answer.status_code for answer in answers] == [200, 200, 200, 429, 429]
        check_problem(answers[-1], 429)
        # a hundred seconds for each: the last of the three was taken just now
        assert 90 <= int(answers[-1].headers["Retry-After"]) <= 100
        with served(folder) as other:
            # the same folder, another token
            assert site.get("/api/v1/state", headers=bearer(other.token)).status_code == 200


def test_an_address_that_fails_too_often_has_to_wait_and_a_right_token_from_it_not(folder):
    with served(folder, failures={"at_once": 4, "per_second": 0.01}) as site:
        wrong = [site.get("/api/v1/state", headers=bearer(f"x{n}")) for n in range(7)]
        assert [answer.status_code for answer in wrong] == [401] * 4 + [429] * 3
        check_problem(wrong[-1], 429)
        assert int(wrong[-1].headers["Retry-After"]) >= 90
        assert site.get("/api/v1/state").status_code == 200
        assert site.get("/health").status_code == 503  # open, and looked at: nothing is watched
