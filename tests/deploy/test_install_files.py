"""What the set-up scripts, the locks and the wheel hold, and how the scripts refuse."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
DEPLOY = CHECKOUT / "deploy"
SCRIPTS = sorted(DEPLOY.glob("*.sh"))
LOCKS = sorted(DEPLOY.glob("*.lock"))
PINNED = re.compile(r"^([a-z0-9-]+)==([^\s;]+)", re.MULTILINE)


def distribution(requirement: str) -> str:
    """A requirement's name as the package index normalises it."""
    name = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert name is not None
    return re.sub(r"[-_.]+", "-", name[0]).lower()


def pins(lock: str) -> dict[str, str]:
    return dict(PINNED.findall((DEPLOY / lock).read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def project() -> dict:
    return tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))


# --- the scripts ---------------------------------------------------------------------------


def test_the_set_up_is_whole():
    assert {path.name for path in SCRIPTS} == {
        "check.sh",
        "install.sh",
        "lock.sh",
        "python.sh",
        "test.sh",
    }
    assert {path.name for path in LOCKS} == {
        "build.lock",
        "dev.lock",
        "requirements.lock",
        "test.lock",
    }


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_scripts_parse_in_the_plainest_shell(script):
    shell = shutil.which("dash") or "sh"
    subprocess.run([shell, "-n", script], check=True)


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_scripts_use_no_word_of_one_shell_only(script):
    text = script.read_text(encoding="utf-8")
    code = "\n".join(line.split("#", 1)[0] for line in text.splitlines())
    assert not re.search(r"\[\[|\bsource\b|\blocal\b|\bfunction\b|<<<|\$'|pipefail|&>", code)
    if script.name != "python.sh":
        assert text.startswith("#!/bin/sh\n")
        assert "\nset -eu\n" in text


def test_the_submission_run_parses():
    subprocess.run(["bash", "-n", CHECKOUT / ".ci" / "run"], check=True)


# --- the scripts on a poor machine: real shell, Pythons that are not up to it ------------------


def poor_machine(folder: Path, *, user: int = 1000, **programs: str) -> tuple[Path, dict[str, str]]:
    """A checkout and a search path holding only `programs` and what the scripts lean on."""
    checkout = folder / "a checkout"
    shutil.copytree(DEPLOY, checkout / "deploy")
    path = folder / "bin"
    path.mkdir()
    for name in ("sh", "cat", "dirname"):
        (path / name).symlink_to(shutil.which(name))
    programs = {"id": f"echo {user}", **programs}
    for name, body in programs.items():
        program = path / name
        program.write_text(f"#!{shutil.which('sh')}\n{body}\n", encoding="utf-8")
        program.chmod(0o755)
    return checkout, {"PATH": str(path), "HOME": str(folder)}


def install(checkout: Path, surroundings: dict[str, str]) -> subprocess.CompletedProcess:
    return subprocess.run(
        ["sh", "a checkout/deploy/install.sh"],
        cwd=checkout.parent,
        env=surroundings,
        check=False,
        capture_output=True,
        text=True,
    )


# Answers as Python 3.9 would: the version test fails, the version itself is printed.
OLD = "case $2 in *version_info*) exit 1 ;; *platform*) echo 3.9.2 ;; esac"
# A Python 3.11 that can make no environment: no ensurepip, no pip of its own.
BARE = """case "$1 $2" in
*version_info\\ \\<*) exit 0 ;;
*%d.%d*) echo 3.11 ;;
--version*) echo Python 3.11.2 ;;
*) exit 1 ;;
esac"""


def test_a_python_too_old_is_told_in_one_sentence(tmp_path):
    done = install(*poor_machine(tmp_path, python3=OLD))
    assert done.returncode == 3
    assert done.stdout == ""
    assert done.stderr == (
        "Python is too old: this needs Python 3.11 or later, and python3 here is 3.9.2.\n"
    )


def test_a_machine_without_python_is_told_what_to_install(tmp_path):
    done = install(*poor_machine(tmp_path))
    assert done.returncode == 3
    assert done.stderr == (
        "Python is missing: install Python 3.11 or later (on Debian and Ubuntu: "
        "apt-get install python3 python3-venv) and run this again.\n"
    )


def test_a_python_that_makes_no_environment_is_told_what_to_install(tmp_path):
    checkout, surroundings = poor_machine(tmp_path, python3=BARE)
    done = install(checkout, surroundings)
    assert done.returncode == 3
    assert done.stdout == "Making .venv with Python 3.11.2\n"
    assert done.stderr == (
        "Python's venv is incomplete: install python3-venv or python3-pip "
        "(on Debian and Ubuntu: apt-get install python3-venv) and run this again.\n"
    )


def test_only_root_adds_packages(tmp_path):
    tried = tmp_path / "tried"
    apt = f'echo "$@" >> "{tried}"; exit 1'
    as_user = tmp_path / "user"
    as_user.mkdir()
    assert install(*poor_machine(as_user, **{"apt-get": apt})).returncode == 3
    assert not tried.exists()
    as_root = tmp_path / "root"
    as_root.mkdir()
    assert install(*poor_machine(as_root, user=0, **{"apt-get": apt})).returncode == 3
    assert "python3 python3-venv" in tried.read_text(encoding="utf-8")


def in_shell(checkout: Path, commands: str) -> str:
    """What `commands` print after deploy/python.sh is read, with this test's own Python."""
    done = subprocess.run(
        ["sh", "-euc", f". deploy/python.sh\n{commands}"],
        cwd=checkout,
        env={
            **os.environ,
            "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        },
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


@pytest.fixture
def checkout(tmp_path) -> Path:
    shutil.copytree(DEPLOY, tmp_path / "deploy")
    return tmp_path


def test_a_half_made_environment_is_made_again_and_a_whole_one_is_kept(checkout):
    # What a Debian without ensurepip leaves behind: a Python, no pip.
    half = 'python3 -m venv --without-pip env; stamp env project old; stamp env place "$(pwd -P)"'
    made = in_shell(checkout, f"{half}; make_environment env")
    assert made.startswith("Making env with Python 3.")
    in_shell(checkout, "has_pip env")
    assert not (checkout / "env" / ".set-up-project").exists()
    assert in_shell(checkout, "make_environment env") == ""


def test_an_environment_that_was_moved_is_not_whole(checkout):
    # Its commands name the old place in their first line.
    here = 'mkdir -p env/bin; ln -sf "$(command -v python3)" env/bin/python'
    asked = "stamped env place \"$(pwd -P)\" && echo kept || echo 'made again'"
    assert in_shell(checkout, f'{here}; stamp env place "$(pwd -P)"; {asked}') == "kept\n"
    assert in_shell(checkout, f"{here}; stamp env place /elsewhere; {asked}") == "made again\n"


def test_only_locks_that_changed_are_installed(checkout):
    # A stand-in takes pip's place and writes down what it is asked; all else is real.
    (checkout / "env" / "bin").mkdir(parents=True)
    python = checkout / "env" / "bin" / "python"
    python.write_text(
        f'#!/bin/sh\n[ "$1" != -m ] || {{ echo "$@"; exit; }}\nexec "{sys.executable}" "$@"\n',
        encoding="utf-8",
    )
    python.chmod(0o755)
    pip = "-m pip install -q --require-hashes"
    both = "install_locks env deploy/build.lock deploy/test.lock"
    assert in_shell(checkout, both).splitlines() == [
        "Installing the locked libraries into env",
        f"{pip} -r deploy/build.lock -r deploy/test.lock",
    ]
    assert in_shell(checkout, both) == "Libraries in env are as locked\n"
    with (checkout / "deploy" / "test.lock").open("a", encoding="utf-8") as lock:
        lock.write("one-more==1\n")
    assert f"{pip} -r deploy/test.lock\n" in in_shell(checkout, both)
    assert in_shell(checkout, both) == "Libraries in env are as locked\n"
    # A lock cut short is installed again.
    python.write_text(python.read_text(encoding="utf-8").replace("exit;", "exit 1;"))
    (checkout / "deploy" / "build.lock").write_text("one==1\n", encoding="utf-8")
    refused = f"({both}) 2>&1 || echo exit $?"
    assert in_shell(checkout, refused).endswith("run this again.\nexit 3\n")
    assert in_shell(checkout, refused).endswith("run this again.\nexit 3\n")


def test_a_step_cut_short_is_taken_again_though_its_cause_is_undone(checkout):
    # pip takes the old copy out before it puts the new one in: a failure may leave neither.
    (checkout / "env" / "bin").mkdir(parents=True)
    python = checkout / "env" / "bin" / "python"
    works = f'#!/bin/sh\n[ "$1" != -m ] || exit 0\nexec "{sys.executable}" "$@"\n'
    python.write_text(works, encoding="utf-8")
    python.chmod(0o755)
    shutil.copytree(CHECKOUT / "config", checkout / "config")
    (checkout / "monitor").mkdir()
    source = checkout / "monitor" / "one.py"
    for file in (source, checkout / "pyproject.toml", checkout / "README.md"):
        file.write_text("", encoding="utf-8")
    lock = checkout / "deploy" / "build.lock"
    locked = lock.read_text(encoding="utf-8")
    libraries, project = "install_locks env deploy/build.lock", "install_project env wheel"
    in_shell(checkout, f"{libraries}; {project}")
    assert "as locked" in in_shell(checkout, libraries)
    assert "as in this checkout" in in_shell(checkout, project)

    python.write_text(works.replace("exit 0", "exit 1"), encoding="utf-8")
    lock.write_text("one==1\n", encoding="utf-8")
    source.write_text("one = 1\n", encoding="utf-8")
    for step in (libraries, project):
        assert in_shell(checkout, f"({step}) 2>&1 || echo exit $?").endswith("exit 3\n")

    python.write_text(works, encoding="utf-8")
    lock.write_text(locked, encoding="utf-8")
    source.write_text("", encoding="utf-8")
    assert in_shell(checkout, libraries) == "Installing the locked libraries into env\n"
    assert in_shell(checkout, project) == "Installing Dryspell into env\n"


def test_a_change_of_any_source_shows_in_the_fingerprint(checkout):
    (checkout / "env" / "bin").mkdir(parents=True)
    (checkout / "env" / "bin" / "python").symlink_to(sys.executable)
    package = checkout / "monitor"
    (package / "__pycache__").mkdir(parents=True)
    source = package / "one.py"
    source.write_text("one = 1\n", encoding="utf-8")

    def fingerprint() -> str:
        return in_shell(checkout, "fingerprint env monitor")

    first = fingerprint()
    assert re.fullmatch(r"[0-9a-f]{64}\n", first)
    (package / "__pycache__" / "one.pyc").write_bytes(b"compiled")
    assert fingerprint() == first
    source.write_text("one = 2\n", encoding="utf-8")
    changed = fingerprint()
    assert changed != first
    source.rename(package / "two.py")
    assert fingerprint() not in {first, changed}


# --- the locks -----------------------------------------------------------------------------


def test_the_runtime_lock_covers_every_dependency(project):
    wanted = {distribution(each) for each in project["project"]["dependencies"]}
    assert wanted <= pins("requirements.lock").keys()


@pytest.mark.parametrize("extra", ["test", "dev"])
def test_an_extra_lock_covers_its_extra(project, extra):
    wanted = {distribution(each) for each in project["project"]["optional-dependencies"][extra]}
    assert wanted <= pins(f"{extra}.lock").keys()


def test_the_build_lock_covers_the_builder(project):
    wanted = {distribution(each) for each in project["build-system"]["requires"]}
    assert wanted | {"pip"} <= pins("build.lock").keys()


def test_the_locks_agree_on_every_version():
    # They are installed together, into one environment.
    agreed: dict[str, str] = {}
    for lock in LOCKS:
        for name, version in pins(lock.name).items():
            assert agreed.setdefault(name, version) == version, (lock.name, name)


@pytest.mark.parametrize("lock", LOCKS, ids=lambda path: path.name)
def test_every_pin_carries_hashes_and_nothing_else(lock):
    text = lock.read_text(encoding="utf-8")
    # A pin is one logical line: name==version, maybe a marker, then its hashes.
    pin = re.compile(r"[a-z0-9-]+==[^\s;]+( ; [^\n]*?)?( --hash=sha256:[0-9a-f]{64})+")
    lines = re.sub(r" \\\n\s+", " ", text).splitlines()
    assert lines
    for line in lines:
        assert pin.fullmatch(line), line


@pytest.mark.parametrize(
    "file", [*SCRIPTS, *LOCKS, CHECKOUT / ".ci" / "run"], ids=lambda path: path.name
)
def test_nothing_says_where_packages_come_from(file):
    # Where pip fetches from is the machine's own setting.
    text = file.read_text(encoding="utf-8")
    assert not re.search(r"\w+://|file:|(?<!no-emit)[-_](index-url|find-links|trusted-host)", text)
    assert not re.search(r"\b[\w-]+\.(org|com|net|io|dev)\b", text)
    assert not re.search(r"PIP_(EXTRA_)?INDEX_URL|PIP_FIND_LINKS", text)


# --- the wheel -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def wheel_names(tmp_path_factory) -> set[str]:
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", out],
        cwd=CHECKOUT,
        check=True,
        capture_output=True,
    )
    (wheel,) = out.glob("dryspell-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_the_wheel_carries_everything_built_in(wheel_names):
    config = CHECKOUT / "config"
    built_in = {
        f"monitor/config/{path.relative_to(config).as_posix()}"
        for path in config.rglob("*")
        if path.is_file()
    }
    assert built_in <= wheel_names
    assert {
        "monitor/config/policy.toml",
        "monitor/config/demo/show.toml",
        "monitor/config/demo/fixtures.csv",
        "monitor/config/sheets/open-meteo.toml",
    } <= wheel_names


def test_the_wheel_carries_every_module_and_page(wheel_names):
    monitor = CHECKOUT / "monitor"
    wanted = {
        f"monitor/{path.relative_to(monitor).as_posix()}"
        for path in monitor.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert wanted <= wheel_names


def test_the_wheel_carries_nothing_of_the_workshop(wheel_names):
    tops = {name.split("/", 1)[0] for name in wheel_names}
    assert len(tops) == 2
    assert "monitor" in tops
    (record,) = tops - {"monitor"}
    assert re.fullmatch(r"dryspell-[0-9.]+\.dist-info", record)
    assert not [name for name in wheel_names if "__pycache__" in name]
