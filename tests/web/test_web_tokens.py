"""Tokens: made, listed, withdrawn; found by their digest, and nowhere in clear."""

from __future__ import annotations

import base64
import hashlib
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.domain import BadInputError
from monitor.store.database import open_database
from monitor.store.tokens import PREFIX, holder_of, holders, make_token, note_use, withdraw_token

AT = datetime(2027, 7, 15, 12, tzinfo=UTC)


@pytest.fixture
def db(tmp_path):
    with closing(open_database(tmp_path / "dryspell.db")) as db:
        yield db


def token(folder, *arguments):
    done = CliRunner().invoke(dryspell, ["token", *arguments, "--show", str(folder)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


# ---------------------------------------------------------------- the store


def test_a_token_is_32_random_bytes_and_only_its_digest_is_kept(db):
    made = [make_token(db, f"t{n}", AT) for n in range(50)]
    assert len(set(made)) == 50
    for one in made:
        assert one.startswith(PREFIX)
        assert len(base64.urlsafe_b64decode(one.removeprefix(PREFIX) + "=")) == 32
    kept = [row["digest"] for row in db.query("SELECT * FROM tokens ORDER BY id")]
    assert kept == [hashlib.sha256(one.encode()).hexdigest() for one in made]


def test_a_token_names_its_holder_until_it_is_withdrawn(db):
    one, other = make_token(db, "mast", AT), make_token(db, "lawn", AT)
    assert holder_of(db, one).name == "mast"
    assert holder_of(db, other).name == "lawn"
    assert withdraw_token(db, "mast", AT + timedelta(hours=1))
    assert holder_of(db, one) is None
    assert holder_of(db, other).name == "lawn"
    assert not withdraw_token(db, "mast", AT + timedelta(hours=2))
    assert holders(db)[0].withdrawn_at == AT + timedelta(hours=1)


@pytest.mark.parametrize(
    "wrong", ["", "x", PREFIX, PREFIX + "A" * 43, PREFIX + "A" * 44, PREFIX + "é" * 43, "\x00"]
)
def test_what_is_no_token_of_ours_is_nobodys(db, wrong):
    make_token(db, "mast", AT)
    assert holder_of(db, wrong) is None


def test_a_digest_is_no_token(db):
    make_token(db, "mast", AT)
    digest = db.execute("SELECT digest FROM tokens").fetchone()[0]
    assert holder_of(db, digest) is None


def test_a_name_is_never_used_twice(db):
    make_token(db, "mast", AT)
    with pytest.raises(BadInputError) as taken:
        make_token(db, "mast", AT)
    assert "mast-2" in taken.value.problems[0].remedy
    withdraw_token(db, "mast", AT)
    make_token(db, "mast-2", AT)
    with pytest.raises(BadInputError) as gone:
        make_token(db, "mast", AT)
    assert "withdrawn" in gone.value.problems[0].says
    assert "mast-3" in gone.value.problems[0].remedy


@pytest.mark.parametrize("name", ["", " ", "-mast", "a b", "mäst", "a" * 41, "a\nb", "../x"])
def test_a_name_that_cannot_be_one(db, name):
    with pytest.raises(BadInputError, match="cannot be the name"):
        make_token(db, name, AT)
    assert holders(db) == ()


def test_the_last_use_is_noted_once_a_minute(db):
    one = make_token(db, "mast", AT)
    for seconds in (0, 59, 60, 61):
        note_use(db, holder_of(db, one), AT + timedelta(seconds=seconds))
    assert holders(db)[0].last_used_at == AT + timedelta(seconds=60)
    # a clock that was set back does not silence it
    note_use(db, holder_of(db, one), AT)
    assert holders(db)[0].last_used_at == AT


# ---------------------------------------------------------------- the command


def test_made_listed_and_withdrawn_by_command(folder):
    made = token(folder, "make", "mast")
    assert made.exit_code == 0
    # standard output is the token alone, so that a script can take it
    clear = made.stdout.strip()
    assert made.stdout == clear + "\n"
    assert clear.startswith(PREFIX)
    assert "cannot be shown again" in made.stderr
    assert clear not in made.stderr
    listed = token(folder, "list")
    assert "mast" in listed.stdout
    assert "never wrote" in listed.stdout
    assert clear not in listed.output
    ended = token(folder, "withdraw", "mast")
    assert (ended.exit_code, ended.stdout) == (0, "The token of mast is withdrawn.\n")
    assert "withdrawn" in token(folder, "list").stdout
    again = token(folder, "make", "mast")
    assert again.exit_code == 2
    assert "mast-2" in again.stderr
    for file in folder.iterdir():
        if file.is_file():
            assert clear.encode() not in file.read_bytes()


def test_before_the_first_token_nothing_is_made(folder):
    listed = token(folder, "list")
    assert (listed.exit_code, listed.stdout) == (0, "No token has been made.\n")
    assert not (folder / "dryspell.db").exists()


def test_an_unknown_name_is_told_with_those_in_use(folder):
    token(folder, "make", "mast")
    refused = token(folder, "withdraw", "lawn")
    assert refused.exit_code == 2
    assert "In use are: mast." in refused.stderr


def test_outside_a_show_folder_no_database_is_made(tmp_path):
    refused = token(tmp_path, "make", "mast")
    assert refused.exit_code == 2
    assert "show.toml" in refused.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_lost_token_is_withdrawn_though_the_show_has_a_fault(folder):
    token(folder, "make", "mast")
    (folder / "show.toml").write_text("format = 1\n[site", encoding="utf-8")
    assert token(folder, "withdraw", "mast").exit_code == 0
