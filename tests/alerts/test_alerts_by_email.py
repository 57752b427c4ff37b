from __future__ import annotations

import base64
import time
from dataclasses import replace
from email import message_from_bytes, policy

import pytest
from alert_samples import MAILBOX, NOW, STOP, note
from alert_servers import free_port, raw_server

from monitor.alerts import by_email, mail, wording


def send(contact, message=None, recipient="ines@crew.example", row="3f9a", secret=None):
    return by_email.send(message or note(), contact, recipient, row, secret=secret, now=NOW)


def read(envelope):
    return message_from_bytes(envelope.content, policy=policy.default)


def test_a_mail_arrives_whole(mail_server):
    mailbox, port = mail_server()
    outcome = send(replace(MAILBOX, port=port))
    assert outcome.sent
    (envelope,) = mailbox.mails
    assert envelope.mail_from == "watch@show.example"
    assert envelope.rcpt_tos == ["ines@crew.example"]
    arrived = read(envelope)
    assert arrived["Subject"] == "Start by 22:40: cover 8 fixtures"
    assert arrived["From"] == "Dryspell <watch@show.example>"
    assert arrived["To"] == "ines@crew.example"
    assert arrived["Date"].datetime == NOW
    assert arrived["Auto-Submitted"] == "auto-generated"
    assert arrived["In-Reply-To"] == arrived["References"]
    parts = [p.get_content_type() for p in arrived.iter_parts()]
    assert parts == ["text/plain", "text/html"]
    # a mail's lines end in CR LF on the wire
    assert arrived.get_body(("plain",)).get_content().splitlines() == note().text.splitlines()


def test_a_retry_is_the_same_mail_and_a_change_joins_the_thread(mail_server):
    mailbox, port = mail_server()
    contact = replace(MAILBOX, port=port)
    for row in ("a1", "a1", "b2"):
        assert send(contact, row=row).sent
    first, again, other = (read(e) for e in mailbox.mails)
    assert mailbox.mails[0].content == mailbox.mails[1].content
    assert first["Message-ID"] == again["Message-ID"] != other["Message-ID"]
    assert first["References"] == other["References"]
    assert first["Message-ID"].endswith("@show.example>")


def test_letters_of_any_script_arrive(mail_server):
    mailbox, port = mail_server()
    message = note(subject="Überdachung 東: 8", text="Nicht über 12,5 m/s\n\n東塔 & <b>Ж</b>\n")
    assert send(replace(MAILBOX, port=port), message).sent
    arrived = read(mailbox.mails[0])
    assert arrived["Subject"] == "Überdachung 東: 8"
    assert arrived.get_body(("plain",)).get_content().splitlines() == message.text.splitlines()
    page = arrived.get_body(("html",)).get_content()
    assert "東塔 &amp; &lt;b&gt;Ж&lt;/b&gt;" in page


def test_the_page_leads_with_the_action():
    page = mail.page(wording.message(STOP, NOW).text, "Stop")
    first = page.index("<p style=")
    assert page[first:].startswith(f'<p style="{mail._BIG}">Stop. Do not work at Delay towers')


@pytest.mark.parametrize(
    ("refusal", "lasting"),
    [
        ("450 4.2.1 mailbox busy", False),
        ("451 4.7.1 try again later", False),
        ("550 5.1.1 no such mailbox", True),
        ("552 5.2.2 mailbox full", True),
    ],
)
@pytest.mark.parametrize("step", ["rcpt", "data"])
def test_the_server_says_whether_a_refusal_lasts(mail_server, refusal, lasting, step):
    mailbox, port = mail_server()
    setattr(mailbox, step, refusal)
    outcome = send(replace(MAILBOX, port=port))
    assert not outcome.sent
    assert outcome.lasting is lasting
    assert outcome.detail == f"the mail server says: {refusal}"


def test_tls_with_a_trusted_certificate(mail_server, trusted):
    mailbox, port = mail_server(ssl_context=trusted.server)
    assert send(replace(MAILBOX, host="localhost", port=port, security="tls")).sent
    assert len(mailbox.mails) == 1


def test_starttls_with_a_trusted_certificate(mail_server, trusted):
    mailbox, port = mail_server(tls_context=trusted.server, require_starttls=True)
    assert send(replace(MAILBOX, host="localhost", port=port, security="starttls")).sent
    assert len(mailbox.mails) == 1


@pytest.mark.parametrize(
    ("security", "option"), [("tls", "ssl_context"), ("starttls", "tls_context")]
)
def test_an_untrusted_certificate_is_refused_and_nothing_sent(
    mail_server, authority, security, option
):
    mailbox, port = mail_server(**{option: authority.server})
    outcome = send(replace(MAILBOX, host="localhost", port=port, security=security))
    assert not outcome.sent
    assert not outcome.lasting
    assert "certificate of localhost is not trusted" in outcome.detail
    assert mailbox.mails == []


def test_a_certificate_for_another_name_is_refused(mail_server, trusted):
    # the certificate names localhost, not its number
    mailbox, port = mail_server(ssl_context=trusted.server)
    outcome = send(replace(MAILBOX, host="127.0.0.1", port=port, security="tls"))
    assert not outcome.sent
    assert "certificate of 127.0.0.1 is not trusted" in outcome.detail
    assert mailbox.mails == []


def test_a_server_without_starttls_gets_nothing(mail_server):
    mailbox, port = mail_server()
    contact = replace(MAILBOX, port=port, security="starttls", user="watch")
    outcome = send(contact, secret="sesame")
    assert not outcome.sent
    assert not outcome.lasting
    assert "STARTTLS" in outcome.detail
    assert mailbox.mails == []


@pytest.mark.parametrize("host", ["mail.show.example", "192.0.2.7", "2001:db8::1", "0.0.0.0"])
def test_plain_text_never_leaves_this_machine(host):
    outcome = send(replace(MAILBOX, host=host, port=25))
    assert outcome.lasting
    assert "only for this machine" in outcome.detail


@pytest.mark.parametrize(
    "host", ["localhost", "LOCALHOST.", "127.0.0.1", "127.3.2.1", "::1", "[::1]"]
)
def test_this_machine_by_any_name(host):
    assert by_email.is_loopback(host)


def test_nobody_listens():
    outcome = send(replace(MAILBOX, port=free_port()))
    assert not outcome.sent
    assert not outcome.lasting
    assert outcome.detail.startswith("no connection to 127.0.0.1")


def test_a_server_that_hangs_up(mail_server):
    def hang_up(connection) -> None:
        connection.sendall(b"220 hello\r\n")

    with raw_server(hang_up) as port:
        outcome = send(replace(MAILBOX, port=port))
    assert not outcome.sent
    assert not outcome.lasting


def test_a_silent_server_is_left(monkeypatch):
    monkeypatch.setattr(by_email, "TIMEOUT_S", 0.1)

    def say_nothing(connection) -> None:
        connection.settimeout(3)
        connection.recv(1)

    with raw_server(say_nothing) as port:
        outcome = send(replace(MAILBOX, port=port))
    assert not outcome.sent
    assert not outcome.lasting


def test_a_server_that_drips_is_hung_up_on(monkeypatch):
    monkeypatch.setattr(by_email, "DEADLINE_S", 0.3)

    def drip(connection) -> None:
        try:
            for _ in range(100):
                connection.sendall(b"2")
                time.sleep(0.03)
        except OSError:
            return

    started = time.monotonic()
    with raw_server(drip) as port:
        outcome = send(replace(MAILBOX, port=port))
        assert time.monotonic() - started < 1.5
    assert not outcome.sent
    assert not outcome.lasting


def test_a_mail_accepted_before_a_rude_goodbye_is_sent():
    def rude(connection) -> None:
        lines = connection.makefile("rb")
        connection.sendall(b"220 hello\r\n")
        for line in lines:
            if line.upper().startswith(b"DATA"):
                connection.sendall(b"354 send it\r\n")
                for part in lines:
                    if part == b".\r\n":
                        break
                connection.sendall(b"250 kept\r\n")
            elif line.upper().startswith(b"QUIT"):
                connection.sendall(b"500 no goodbye\r\n")
                return
            else:
                connection.sendall(b"250 fine\r\n")

    with raw_server(rude) as port:
        assert send(replace(MAILBOX, port=port)).sent


def login_server(answer: bytes):
    """A server that offers a log-in and gives `answer` to it."""

    def talk(connection) -> None:
        lines = connection.makefile("rb")
        connection.sendall(b"220 hello\r\n")
        for line in lines:
            if line.upper().startswith(b"EHLO"):
                connection.sendall(b"250-here\r\n250 AUTH PLAIN\r\n")
            elif line.startswith(b"AUTH"):
                connection.sendall(answer)
            else:
                connection.sendall(b"221 bye\r\n")
                return

    return raw_server(talk)


@pytest.mark.parametrize(
    ("answer", "lasting"),
    [(b"535 5.7.8 sesame is wrong\r\n", True), (b"454 4.7.0 later\r\n", False)],
)
def test_a_refused_log_in_never_shows_the_password(answer, lasting):
    with login_server(answer) as port:
        outcome = send(replace(MAILBOX, port=port, user="watch"), secret="sesame")
    assert not outcome.sent
    assert outcome.lasting is lasting
    assert "sesame" not in outcome.detail


def test_a_user_without_password_is_told():
    outcome = send(replace(MAILBOX, user="watch"))
    assert outcome.lasting
    assert "no password" in outcome.detail


@pytest.mark.parametrize(
    "recipient",
    [
        "ines@crew.example\r\nBcc: all@crew.example",
        "ines@crew.example, all@crew.example",
        "ines",
        "",
        "@crew.example",
        "ines@",
        "crew: a@crew.example, b@crew.example;",
        "ines varga@crew.example",
    ],
)
def test_an_address_is_one_address(mail_server, recipient):
    mailbox, port = mail_server()
    outcome = send(replace(MAILBOX, port=port), recipient=recipient)
    assert outcome.lasting
    assert mailbox.mails == []


def test_a_domain_in_another_script_is_looked_up_in_ascii():
    # RFC 3492 and the IDNA registry give bücher as xn--bcher-kva
    assert mail.address("ines@bücher.example").addr_spec == "ines@xn--bcher-kva.example"


def test_a_log_in_that_a_server_repeats_is_not_kept():
    secret = "correct horse battery"
    line = base64.b64encode(f"\0user\0{secret}".encode()).decode()
    said = by_email._plain(f"504 Unrecognized: AUTH PLAIN {line}", secret)
    assert said == "504 Unrecognized: AUTH PLAIN ***"
    assert by_email._plain("535 wrong: correct horse battery", secret) == "535 wrong: ***"
