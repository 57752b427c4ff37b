from __future__ import annotations

import base64
import json
import time
from dataclasses import replace
from datetime import timedelta

import pytest
import standardwebhooks.webhooks as library
from alert_samples import NOW, TOWERS, note
from alert_servers import free_port, raw_server
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from monitor.alerts import by_webhook, envelope, wording
from monitor.domain import Contact

SECRET = "whsec_" + base64.b64encode(bytes(range(32))).decode()


def hook(receiver_or_url) -> Contact:
    url = getattr(receiver_or_url, "url", receiver_or_url)
    return Contact(name="board", kind="webhook", url=url, secret="env:HOOK")


def send(contact, message=None, row="3f9a", secret=SECRET, now=NOW):
    return by_webhook.send(message or note(), contact, "board", row, secret=secret, now=now)


def test_the_reference_library_verifies_what_arrives(receiver, monkeypatch):
    message = wording.message(TOWERS, NOW)
    outcome = send(hook(receiver), message)
    assert outcome.sent
    ((path, headers, body),) = receiver.requests
    assert path == "/hook?key=sesame"
    found = signed_at(monkeypatch, headers, body)
    assert found == {
        "type": "dryspell.alert.start",
        "timestamp": "2027-07-15T21:00:00Z",
        "data": message.data,
    }
    assert headers["Content-Type"] == "application/json"


def signed_at(monkeypatch, headers, body, secret=SECRET, at=NOW):
    """What the reference library makes of a delivery, its own clock set to ours."""

    class Clock(library.datetime):
        @classmethod
        def now(cls, tz=None):
            return at.astimezone(tz)

    monkeypatch.setattr(library, "datetime", Clock)
    low = {name.lower(): value for name, value in headers.items()}
    return Webhook(secret).verify(body.decode(), low)


def test_another_secret_does_not_verify(receiver, monkeypatch):
    send(hook(receiver))
    ((_, headers, body),) = receiver.requests
    other = "whsec_" + base64.b64encode(bytes(32)).decode()
    with pytest.raises(WebhookVerificationError):
        signed_at(monkeypatch, headers, body, other)


def test_the_signature_is_the_librarys_own():
    body = envelope.body(note())
    ours = by_webhook.headers(body, "3f9a", SECRET, NOW)
    assert ours["webhook-signature"] == Webhook(SECRET).sign("3f9a", NOW, body.decode())


def test_a_retry_keeps_the_id_and_body_and_takes_its_own_time(receiver):
    send(hook(receiver))
    send(hook(receiver), now=NOW + timedelta(minutes=5))
    (_, first, body), (_, second, again) = receiver.requests
    assert first["webhook-id"] == second["webhook-id"] == "3f9a"
    assert int(second["webhook-timestamp"]) - int(first["webhook-timestamp"]) == 300
    assert int(first["webhook-timestamp"]) == int(NOW.timestamp())
    assert body == again


@pytest.mark.parametrize(
    ("kind", "stage", "expected"),
    [
        ("work", "stood-down", "dryspell.alert.stood-down"),
        ("weather", "start", "dryspell.alert.start"),
        ("watch", None, "dryspell.watch"),
        ("test", None, "dryspell.test"),
    ],
)
def test_types(kind, stage, expected):
    assert json.loads(envelope.body(note(kind=kind, stage=stage)))["type"] == expected


@pytest.mark.parametrize("status", [200, 202, 204])
def test_any_2xx_is_sent(receiver, status):
    receiver.status = status
    assert send(hook(receiver)).sent


@pytest.mark.parametrize("status", [400, 401, 403, 404, 405, 410, 413, 422])
def test_refusals_that_last(receiver, status):
    receiver.status = status
    outcome = send(hook(receiver))
    assert not outcome.sent
    assert outcome.lasting
    assert str(status) in outcome.detail


@pytest.mark.parametrize("status", [408, 409, 425, 429, 500, 502, 503, 504])
def test_refusals_that_pass(receiver, status):
    receiver.status = status
    outcome = send(hook(receiver))
    assert not outcome.sent
    assert not outcome.lasting


@pytest.mark.parametrize("status", [301, 302, 307, 308])
def test_no_redirect_is_followed(receiver, status):
    receiver.status = status
    receiver.headers = {"Location": receiver.url.replace("/hook", "/elsewhere")}
    outcome = send(hook(receiver))
    assert outcome.lasting
    assert [path for path, _, _ in receiver.requests] == ["/hook?key=sesame"]


@pytest.mark.parametrize(
    ("asked", "seconds"),
    [
        ("120", 120.0),
        # 21:02 is two minutes after the attempt; RFC 9110 gives this form of date
        ("Thu, 15 Jul 2027 21:02:00 GMT", 120.0),
        ("Thu, 15 Jul 2027 20:00:00 GMT", 0.0),
        ("86400", by_webhook.LONGEST_WAIT_S),
        ("soon", None),
        ("", None),
    ],
)
def test_the_receiver_may_ask_for_time(receiver, asked, seconds):
    receiver.status = 429
    receiver.headers = {"Retry-After": asked}
    assert send(hook(receiver)).retry_after_s == seconds


def test_a_refusal_is_told_in_one_short_line(receiver):
    receiver.status = 400
    receiver.body = b"no such\r\nboard" + b"!" * 100_000
    outcome = send(hook(receiver))
    assert outcome.detail.startswith("127.0.0.1 answered 400: no such board!!")
    assert len(outcome.detail) < 200


def test_the_key_in_an_address_is_never_told(receiver):
    for contact in (
        hook(receiver),
        hook(f"http://127.0.0.1:{free_port()}/hook?key=sesame"),
        hook("http://[sesame/hook"),
        hook("gopher://127.0.0.1/sesame"),
    ):
        receiver.status = 500
        assert "sesame" not in send(contact).detail


@pytest.mark.parametrize("url", ["http://[x/hook", "gopher://127.0.0.1/", "hook", "http://"])
def test_an_address_that_cannot_be_called_is_lasting(url):
    assert send(hook(url)).lasting


def test_nobody_listens():
    outcome = send(hook(f"http://127.0.0.1:{free_port()}/"))
    assert not outcome.sent
    assert not outcome.lasting


def test_a_silent_receiver_is_left(monkeypatch):
    monkeypatch.setattr(by_webhook, "TIMEOUT_S", (1.0, 0.1))
    started = time.monotonic()

    def say_nothing(connection) -> None:
        connection.settimeout(3)
        while connection.recv(65536):
            pass

    with raw_server(say_nothing) as port:
        outcome = send(hook(f"http://127.0.0.1:{port}/"))
    assert not outcome.sent
    assert not outcome.lasting
    assert time.monotonic() - started < 2


@pytest.mark.parametrize(
    "secret",
    [
        None,
        "",
        "sesame",
        "whsec_!!!",
        "whsec_" + base64.b64encode(bytes(23)).decode(),
        "whsec_" + base64.b64encode(bytes(65)).decode(),
    ],
)
def test_nothing_is_sent_unsigned(receiver, secret):
    outcome = send(hook(receiver), secret=secret)
    assert outcome.lasting
    assert receiver.requests == []


@pytest.mark.parametrize("row", ["a.b", "a\nb", "é"])
def test_an_id_that_could_be_read_two_ways_is_refused(row):
    with pytest.raises(ValueError, match="not an id"):
        by_webhook.headers(b"{}", row, SECRET, NOW)


def test_a_contact_without_address():
    assert send(replace(hook("http://127.0.0.1/"), url=None)).lasting


def test_an_untrusted_certificate_is_refused(authority):
    def refuse(connection) -> None:
        try:
            with authority.server.wrap_socket(connection, server_side=True) as wrapped:
                wrapped.recv(1)
        except OSError:
            return

    with raw_server(refuse) as port:
        outcome = send(hook(f"https://localhost:{port}/"))
    assert not outcome.sent
    assert not outcome.lasting
    assert "certificate of localhost" in outcome.detail
