from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Mailbox
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.cli.entry import COMMANDS

DRYSPELL = [sys.executable, "-c", "from monitor.cli import main; main()"]


def spawn(*arguments, **more):
    return subprocess.run(
        [*DRYSPELL, *map(str, arguments)], capture_output=True, text=True, check=False, **more
    )


def run(*arguments):
    result = CliRunner().invoke(dryspell, [*map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


# ---------------------------------------------------------------- the list of commands


def test_help_names_every_command_and_loads_none():
    code = (
        "import sys; from click.testing import CliRunner; from monitor.cli import dryspell;"
        "out = CliRunner().invoke(dryspell, ['--help']).output;"
        "heavy = {'numpy', 'requests', 'pydantic', 'sqlite_utils', 'apscheduler'} & set(sys.modules);"
        "print(sorted(heavy)); print(out)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    first, *out = done.stdout.splitlines()
    assert first == "[]"
    for name in COMMANDS:
        assert any(line.split()[:1] == [name] for line in out)


@pytest.mark.parametrize("name", ["new", "check", "log", "answer", "feed", "send-test"])
def test_every_command_explains_itself(name):
    done = run(name, "--help")
    assert done.exit_code == 0
    assert max(map(len, done.stdout.splitlines())) <= 80
    if name != "new":
        assert "DRYSPELL_SHOW" in done.stdout


def test_a_mistyped_command_and_option():
    done = run("chek")
    assert done.exit_code == 2
    assert "Perhaps check is meant" in done.stderr
    assert run("check", "--jsn", "x").exit_code == 2
    assert run().exit_code == 2


# ---------------------------------------------------------------- where the show is


def test_show_folder_by_option_variable_or_current(tmp_path):
    here = write_show(tmp_path / "here", ["here,IP65,open"])
    named = write_show(tmp_path / "named", ["named,IP65,open"])
    asked = write_show(tmp_path / "asked", ["asked,IP65,open"])
    plain = {k: v for k, v in os.environ.items() if not k.startswith("DRYSPELL")}
    variable = {**plain, "DRYSPELL_SHOW": str(named)}
    assert "here" in spawn("check", cwd=here, env=plain).stdout
    assert "named" in spawn("check", cwd=here, env=variable).stdout
    assert "asked" in spawn("check", "--show", asked, cwd=here, env=variable).stdout


# ---------------------------------------------------------------- how a command ends


def test_an_output_that_nobody_reads_ends_quietly(tmp_path):
    folder = write_show(tmp_path / "show", [f"a{i},IP65,open" for i in range(3000)])
    with subprocess.Popen(
        [*DRYSPELL, "check", "--show", str(folder), "--json", "-"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        running.stdout.readline()
        running.stdout.close()
        assert running.stderr.read() == b""


def test_a_full_disk_is_said(tmp_path):
    folder = write_show(tmp_path / "show", ["a,IP65,open"])
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = subprocess.run(
            [*DRYSPELL, "check", "--show", str(folder)],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 3
    assert "Traceback" not in done.stderr
    assert "o space left" in done.stderr


def test_ctrl_c_ends_cleanly(tmp_path):
    # A named pipe that nobody writes to: the record is waited for.
    os.mkfifo(tmp_path / "w.csv")
    with subprocess.Popen(
        [*DRYSPELL, "feed", "--sheet", "record", "--sample", str(tmp_path / "w.csv")],
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        text=True,
        # A run in the background hands down an ignored Ctrl-C; at a terminal it is not.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    ) as running:
        # Opening the other end waits until the program has its end open.
        with open(tmp_path / "w.csv", "w", encoding="utf-8"):
            time.sleep(0.05)
            running.send_signal(signal.SIGINT)
            assert running.wait(10) == 130
        assert running.stderr.read().strip() == "Stopped."


def test_a_fault_of_the_program_is_one_line(monkeypatch, tmp_path):
    def broken(show):
        raise RuntimeError("a fault\nover two lines")

    monkeypatch.setattr("monitor.check.check", broken)
    done = run("check", "--show", write_show(tmp_path / "show", ["a,IP65,open"]))
    assert done.exit_code == 3
    (line,) = done.stderr.splitlines()
    assert "RuntimeError, a fault over two lines at monitor/cli/checking.py:" in line


# ---------------------------------------------------------------- new, send-test


@pytest.mark.parametrize("kind", ["stage", "tower", "ground", "tent"])
def test_a_new_show_passes_check(tmp_path, kind):
    done = run("new", tmp_path / "show", "--from", kind)
    assert done.exit_code == 0
    assert "dryspell check --show" in done.stdout
    checked = run("check", "--show", tmp_path / "show")
    assert checked.exit_code == 0, checked.output
    again = run("new", tmp_path / "show", "--from", kind)
    assert again.exit_code == 2
    assert "nothing there was changed" in again.stderr


def test_send_test_with_only_a_folder_says_that_nobody_is_told(tmp_path):
    folder = write_show(tmp_path / "show", ["a,IP65,open"])
    done = run("send-test", "--show", folder)
    assert done.exit_code == 0
    assert "No person is being told" in done.stdout
    assert sorted(p.suffix for p in (folder / "messages").iterdir()) == [".eml", ".json"]


def test_send_test_says_who_was_reached_and_who_was_not(tmp_path):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    controller = Controller(Mailbox(tmp_path / "box"), hostname="127.0.0.1", port=port)
    controller.start()
    try:
        contacts = (
            '\n[[contacts]]\nname = "chief"\nkind = "email"\nhost = "127.0.0.1"\n'
            f'port = {port}\nsecurity = "none"\nfrom = "m@example.org"\n'
            'to = ["chief@example.org", "deputy@example.org"]\n'
            # nothing listens on the port of a mail server that is not there
            '\n[[contacts]]\nname = "board"\nkind = "webhook"\nsecret = "env:DRYSPELL_TEST_SECRET"\n'
            'url = "http://127.0.0.1:9/hook"\n'
        )
        folder = write_show(tmp_path / "show", ["a,IP65,open"], show=SHOW + contacts)
        secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
        done = CliRunner().invoke(
            dryspell,
            ["send-test", "--show", str(folder)],
            env={"DRYSPELL_TEST_SECRET": secret},
        )
    finally:
        controller.stop()
    assert done.exit_code == 1, done.output
    assert "chief, chief@example.org (email): sent" in done.stdout
    assert "chief, deputy@example.org (email): sent" in done.stdout
    assert "board (webhook): NOT SENT" in done.stdout
    assert "1 not reached" in done.stderr
    assert secret not in done.output
    assert len(list((tmp_path / "box" / "new").iterdir())) == 2
