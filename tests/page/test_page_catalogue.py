"""The catalogue against the code and the templates: nothing said without German, nothing stale."""

from __future__ import annotations

import io
import re
from importlib import resources
from pathlib import Path

import pytest
from babel import Locale
from babel.messages import extract, pofile
from jinja2.ext import babel_extract

from monitor.page.languages import languages, words_in

PACKAGE = Path(str(resources.files("monitor")))
SAID = {"say": None, "later": None, "several": (1, 2)}
"""What marks a text for the catalogue in Python; in a template it is `_` and `several`."""
SAME_IN_BOTH = {
    "{minutes} min",
    "{minutes} min {seconds} s",
    "{hours} h {minutes} min",
    "{name}: {answer}, {time}",
    "in {time}",
    "Wind in",
    "N",
}
"""Units, times and names, and a word that is the same."""


def in_code():
    for folder in ("page", "web"):
        for path in sorted((PACKAGE / folder).glob("*.py")):
            with path.open("rb") as file:
                for _, said, _, _ in extract.extract("python", file, SAID):
                    yield said, path.name


def in_templates():
    for path in sorted((PACKAGE / "templates/page").glob("*.j2")):
        found = babel_extract(
            io.BytesIO(path.read_bytes()),
            ["_", "several"],
            [],
            {"trim_blocks": "true", "lstrip_blocks": "true", "silent": "false"},
        )
        for _, _, said, _ in found:
            if isinstance(said, str):
                yield said, path.name
            elif said is not None and said[0] is not None:
                yield said[:2] if said[1] else said[0], path.name


def key(said):
    return tuple(said) if isinstance(said, (tuple, list)) else said


@pytest.fixture(scope="module")
def used():
    """Text, or text for one and text for more -> where it stands."""
    found = {}
    for said, where in (*in_code(), *in_templates()):
        found.setdefault(key(said), where)
    return found


@pytest.fixture(scope="module")
def german():
    file = PACKAGE / "page/catalogue/de/LC_MESSAGES/dryspell.po"
    return pofile.read_po(io.BytesIO(file.read_bytes()), locale="de", abort_invalid=True)


def entries(catalogue):
    return {key(message.id): message for message in catalogue if message.id}


def test_the_catalogue_that_is_checked_is_the_only_one():
    assert list(languages()) == ["en", "de"]


def test_every_text_has_german(used, german):
    known = entries(german)
    missing = {said: where for said, where in used.items() if said not in known}
    assert missing == {}
    for said, message in known.items():
        texts = (message.string,) if isinstance(said, str) else message.string
        assert all(text.strip() for text in texts), said
        assert not message.fuzzy, said


def test_no_entry_is_of_a_text_that_is_gone(used, german):
    assert set(entries(german)) - set(used) == set()


def test_what_is_filled_in_stands_in_both(german):
    def holes(text):
        return sorted(re.findall(r"\{(\w+)\}", text))

    for said, message in entries(german).items():
        if isinstance(said, str):
            assert holes(message.string) == holes(said), said
        else:
            for text in message.string:
                assert set(holes(text)) <= set(holes(said[1])), said
            assert holes(message.string[1]) == holes(said[1]), said


def test_what_is_the_same_in_german_is_meant_to_be(german):
    same = {said for said, message in entries(german).items() if said == message.string}
    assert same == SAME_IN_BOTH


def test_plural_forms_are_those_of_the_language(german):
    """Against the rules of the Unicode locale data, which babel carries."""
    assert german.num_plurals == 2
    words, rule = words_in("de"), Locale("de").plural_form
    for count in (0, 1, 2, 5, 21, 100, 101):
        assert words.form(count) == {"one": 0, "other": 1}[rule(count)]
    assert words.several("{count} person", "{count} people", 1) == "1 Person"
    assert words.several("{count} person", "{count} people", 0) == "0 Personen"


def test_a_sentence_ends_as_a_sentence(german):
    for said, message in entries(german).items():
        if isinstance(said, str):
            assert (said[-1] in ".:") == (message.string[-1] in ".:"), said
