"""The books say what is so: commands, paths, keys and columns exist, and nothing forbidden."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from monitor.cli.entry import dryspell
from monitor.feeds.sheet import builtin_ids, read_sheet
from monitor.show.fixtures import COLUMNS
from monitor.show.settings import LISTED_SECTIONS, PLAIN_SECTIONS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_two_commands_stand_first():
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    assert blocks[0].strip() == "sh deploy/install.sh && .venv/bin/dryspell demo"
    assert blocks[1].strip() == "sh deploy/test.sh"


def test_every_command_named_is_there():
    named = set(re.findall(r"`?dryspell ([a-z][a-z-]+)", README))
    known = set(dryspell.list_commands(None))
    assert named - known <= {"is"}
    assert known <= named


def test_every_path_named_is_there():
    paths = set(re.findall(r"`((?:monitor|config|tests|deploy)/[\w./-]*)`", DEVELOPERS))
    assert len(paths) > 30
    missing = {p for p in paths if "NAME" not in p and not (ROOT / p).exists()}
    assert missing <= {"monitor/config"}, missing  # in the wheel only


def test_every_file_of_the_raindrops_way_is_there():
    way = re.search(r"in this order: (.*)", DEVELOPERS).group(1)
    files = re.findall(r"`([\w/]+\.py)`", way)
    assert len(files) > 12
    assert [f for f in files if not (ROOT / "monitor" / f).exists()] == []


@pytest.mark.parametrize("section", ["site", "event", "crew", "page"])
def test_plain_sections_name_every_key(section):
    _names_all(section, PLAIN_SECTIONS[section])


@pytest.mark.parametrize(
    "section", ["roofs", "positions", "covers", "people", "feeds", "gauges", "warnings"]
)
def test_listed_sections_name_every_key(section):
    _names_all(section, LISTED_SECTIONS[section])


def _names_all(section, part):
    bracket = f"`[[{section}]]`" if section in LISTED_SECTIONS else f"`[{section}]`"
    (line,) = [row for row in README.splitlines() if row.startswith(f"| {bracket}")]
    keys = set(part.model_fields) - {"show_units"}
    assert keys - set(re.findall(r"[a-z_]+", line)) == set()


def test_every_column_is_named():
    table = README[README.index("### fixtures.csv") : README.index("### Weather")]
    assert set(COLUMNS) - set(re.findall(r"[a-z_0-9]+", table)) == set()


def test_nothing_says_where_it_was_made():
    hosts = ["py" + "pi.org", "python" + "hosted", "deb." + "debian.org", "registry." + "npmjs"]
    paths = ["/wor" + "k/", "/far" + "m/"]
    for word in (*hosts, *paths):
        found = subprocess.run(
            ["git", "grep", "-lI", "-F", word],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert found.stdout == "", word


def _toml_blocks(text):
    return re.findall(r"```toml\n(.*?)```", text, re.DOTALL)


def test_the_sheet_shown_reads():
    (shown,) = [block for block in _toml_blocks(README) if block.startswith("[feed]")]
    sheet = read_sheet(shown, "sheets/valley-service.toml")
    assert sheet.id == "valley-service"


def test_every_section_shown_reads():
    seen = set()
    for block in _toml_blocks(README):
        for section, items in tomllib.loads(block).items():
            if section not in LISTED_SECTIONS:
                continue
            seen.add(section)
            for item in items:
                LISTED_SECTIONS[section].model_validate(item)
    assert {"feeds", "gauges", "warnings", "contacts"} <= seen
    for item in tomllib.loads("\n".join(b for b in _toml_blocks(README) if "[[feeds]]" in b))[
        "feeds"
    ]:
        assert item["sheet"] in (*builtin_ids(), "record")


def test_every_built_in_sheet_is_named():
    table = README[README.index("### Weather") : README.index("### Your own gauge")]
    assert {s for s in builtin_ids() if f"`{s}`" not in table} == set()
