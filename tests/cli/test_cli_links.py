"""`dryspell link`: made, listed, withdrawn; its address, and what is to be known of it."""

from __future__ import annotations

import re
from contextlib import closing
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner
from service_site import write_show

from monitor.cli import dryspell
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.devices import device_of, link_of, sign_in

AT = datetime(2027, 7, 15, 12, tzinfo=UTC)


def folder_of(tmp_path, page=""):
    return write_show(tmp_path / "show", contacts=page)


def link(folder, *arguments):
    done = CliRunner().invoke(dryspell, ["link", *arguments, "--show", str(folder)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def made(folder, role="crew", name="Night crew"):
    done = link(folder, "make", role, "--name", name)
    assert done.exit_code == 0, done.output
    return done


@pytest.mark.parametrize(
    ("page", "address", "said"),
    [
        ("", "http://127.0.0.1:8036", "on this machine alone"),
        ('listen = "192.0.2.5:8036"', "http://192.0.2.5:8036", "in clear"),
        ('listen = "[2001:db8::5]:8036"', "http://[2001:db8::5]:8036", "in clear"),
        ('listen = "0.0.0.0:8036"', "http://0.0.0.0:8036", "is no address to be opened"),
        ('public_url = "http://duty.example.org/"', "http://duty.example.org", "in clear"),
        ('public_url = "https://duty.example.org"', "https://duty.example.org", None),
    ],
)
def test_the_address_alone_is_on_standard_output(tmp_path, page, address, said):
    folder = folder_of(tmp_path, f"[page]\n{page}\n" if page else "")
    done = made(folder)
    assert re.fullmatch(rf"{re.escape(address)}/in/[A-Za-z0-9_-]{{43}}\n", done.stdout)
    assert "cannot be shown again" in done.stderr
    assert (said or "cannot be shown again") in done.stderr
    if said is None:
        assert "in clear" not in done.stderr


def test_made_listed_and_withdrawn_by_command(tmp_path):
    folder = folder_of(tmp_path)
    secret = made(folder).stdout.strip().rpartition("/")[2]
    made(folder, "guest", "Client")
    with closing(open_database(folder / "dryspell.db")) as db:
        _, cookie = sign_in(db, link_of(db, secret), "Dario", AT)
    listed = link(folder, "list").stdout
    assert "Night crew  crew, made 20" in listed
    assert "Dario: in since 2027-07-15T12:00:00Z, said nothing yet" in listed
    assert secret not in listed
    assert cookie not in listed
    ended = link(folder, "withdraw", "night crew")
    assert ended.stdout == 'The link of "night crew" is withdrawn. Out from now on: Dario.\n'
    listed = link(folder, "list").stdout
    assert "withdrawn 20" in listed
    assert "Dario" not in listed
    assert "withdrawn before" in link(folder, "withdraw", "Night crew").stdout
    with closing(open_database(folder / "dryspell.db")) as db:
        assert device_of(db, cookie) is None
        assert link_of(db, secret) is None
        assert [row["what"] for row in db.query("SELECT what FROM access_changes ORDER BY id")] == [
            "link-made", "link-made", "came-in", "link-withdrawn", "went-out",
        ]  # fmt: skip
        assert verify(db).ok
    for file in folder.iterdir():
        if file.is_file():
            assert secret.encode() not in file.read_bytes()


def test_a_name_is_never_used_twice(tmp_path):
    folder = folder_of(tmp_path)
    made(folder)
    taken = link(folder, "make", "guest", "--name", "NIGHT  crew")
    assert taken.exit_code == 2
    assert '"Night crew 2"' in taken.stderr
    link(folder, "withdraw", "Night crew")
    gone = link(folder, "make", "crew", "--name", "Night crew")
    assert gone.exit_code == 2
    assert "withdrawn" in gone.stderr


@pytest.mark.parametrize("name", ["", "  ", "\u2026", "x" * 41, "a\u202eb"])
def test_a_name_that_cannot_be_one(tmp_path, name):
    folder = folder_of(tmp_path)
    refused = link(folder, "make", "crew", "--name", name)
    assert refused.exit_code == 2
    assert "NAME" in refused.stderr
    assert link(folder, "list").stdout == "No link has been made.\n"


def test_before_the_first_link_nothing_is_made(tmp_path):
    folder = folder_of(tmp_path)
    listed = link(folder, "list")
    assert (listed.exit_code, listed.stdout) == (0, "No link has been made.\n")
    assert not (folder / "dryspell.db").exists()


def test_an_unknown_name_is_told_with_those_in_use(tmp_path):
    folder = folder_of(tmp_path)
    made(folder)
    refused = link(folder, "withdraw", "Day crew")
    assert refused.exit_code == 2
    assert 'In use are: "Night crew".' in refused.stderr


def test_a_lost_phone_is_out_though_the_show_has_a_fault(tmp_path):
    folder = folder_of(tmp_path)
    made(folder)
    (folder / "show.toml").write_text("format = 1\n[site", encoding="utf-8")
    assert link(folder, "withdraw", "Night crew").exit_code == 0


def test_outside_a_show_folder_no_database_is_made(tmp_path):
    refused = link(tmp_path, "list")
    assert refused.exit_code == 2
    assert "show.toml" in refused.stderr
    assert list(tmp_path.iterdir()) == []
