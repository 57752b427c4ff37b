"""The languages of the page: English, and one for each catalogue beside this module.

A catalogue is a gettext file, `catalogue/LANGUAGE/LC_MESSAGES/dryspell.po`, read as it is: there
is nothing to build after a change. Another language is another such file and no code.
"""

from __future__ import annotations

import gettext
import io
from collections.abc import Mapping
from functools import cache
from importlib import resources

from babel import Locale
from babel.messages import pofile
from babel.numbers import get_decimal_symbol

from monitor.page.words import Words

ENGLISH = "en"
_FOLDER = resources.files("monitor") / "page" / "catalogue"
_FILE = ("LC_MESSAGES", "dryspell.po")


@cache
def languages() -> Mapping[str, str]:
    """Language -> its name in itself; English first, for it is the default."""
    found = sorted(item.name for item in _FOLDER.iterdir() if item.is_dir())
    return {code: Locale.parse(code).get_language_name(code) or code for code in (ENGLISH, *found)}


@cache
def words_in(language: str) -> Words:
    """The words of one of `languages`, read once."""
    if language == ENGLISH:
        return Words()
    content = _FOLDER.joinpath(language, *_FILE).read_bytes()
    return words_of(language, content)


def words_of(language: str, content: bytes) -> Words:
    """The words in a catalogue; a text that somebody marked as unsure counts as none."""
    catalogue = pofile.read_po(io.BytesIO(content), locale=language, abort_invalid=True)
    texts: dict[str, str] = {}
    counted: dict[str, tuple[str, ...]] = {}
    for message in catalogue:
        if not message.id or message.fuzzy:
            continue
        key, said = message.id, message.string
        if isinstance(key, str) and isinstance(said, str):
            texts[key] = said
        elif not isinstance(key, str) and isinstance(said, tuple | list) and all(said):
            counted[key[0]] = tuple(said)
    form = gettext.c2py(catalogue.plural_expr)
    return Words(language, texts, counted, form, get_decimal_symbol(language))
