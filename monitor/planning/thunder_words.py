"""Whether an official warning is one of thunder, and whether it closes work outdoors. Pure.

The event of a warning is free text in the service's own language, so this is a list of
words, with what it can miss: a word that is not in it. `thunder_words` of [[warnings]] adds
to it. A tornado counts, as it hangs from a thunderstorm.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.planning.official import OfficialWarning

_ANYWHERE = (
    r"(?<!non)(?<!non[- ])thunder(?! bay\b)",  # English; "non-thunderstorm winds" are none,
    r"lightning(?! ridge\b)",  # and some towns are called after it
    "gewitter",  # German, with all that is joined to it
    "blitzschlag",
    "onweer",  # Dutch
    "bliksem",
    "torden",  # Danish, Norwegian
    "lynnedslag",
    "ukkos",  # Finnish
    "ukkon",
    "zivatar",  # Hungarian
    "villám(?!árv)",  # "villámárvíz" is a flash flood
    "tornado",
    "雷",  # Chinese, Japanese
    "뇌우",  # Korean
    "낙뢰",
    "ฟ้าคะนอง",  # Thai
    "رعد",  # Arabic
    "רעמים",  # Hebrew
    "गरज",  # Hindi
    "वज्रपात",
)
_AT_A_WORDS_BEGINNING = (
    r"t-?storms?\b",
    r"tstms?\b",
    r"blitz(?!eis|flut)",  # German
    r"lyn(?:et)?\b",  # Danish, Norwegian
    r"salam(?:oin|at\b|a\b|anisku)",  # Finnish; Salamanca is none
    "åsk",  # Swedish; "Alaska" is none
    "orage",  # French; "storage" is none
    "foudre",
    r"éclairs?\b",
    "temporale",  # Italian; a Spanish "temporal" is a gale
    "temporali",
    "fulmin",
    # Spanish
    r"tormentas?\b(?! (?:de (?:nieve|arena|polvo|hielo)|tropical|invernal|solar|geomagn))",
    r"rayos\b(?! (?:uv|ultra|sol))",
    "trovoada",  # Portuguese
    "tronad",  # Catalan
    r"burz(?!\w* (?:śnie|piask|pył|magn))",  # Polish
    "piorun",
    "wyładowania atmosferyczne",
    r"(?<!sněhová )(?<!sněhové )(?<!písečná )bouř",  # Czech
    r"blesk(?:y|u|ů|em|ov)?\b",  # and Slovak; "blesková povodeň" is a flash flood
    r"(?<!snehová )(?<!snehové )búrk",  # Slovak
    r"(?<!snehových )búrok",
    "neviht",  # Slovene
    "grmljavin",  # Croatian, Serbian, Bosnian
    "грмљав",
    "гръмотеви",  # Bulgarian
    r"гроз(?:а|ы|у|ой|ою|ах|ами|ов|и\b)",  # Russian, Ukrainian; "грозит" only threatens
    "καταιγίδ",  # Greek
    "καταιγιδ",
    "κεραυν",
    "äike",  # Estonian
    "pērkon",  # Latvian
    "perkūnij",  # Lithuanian
    r"молни(?:я|и|й|ю|ей|ям|ями|ях)\b",
    "блискав",
    "descărcări electrice",  # Romanian
    "fulger",
    "oraj",
    "gök gürültü",  # Turkish
    "yıldırım",
    "yildirim",  # its capitals, folded
    "þrum",  # Icelandic
    "elding",
    "toirneach",  # Irish
)
_WORDS = re.compile("|".join((*_ANYWHERE, *(rf"\b{word}" for word in _AT_A_WORDS_BEGINNING))))

_HEADLINES = ("nwsheadline", "eventawarenessname")
"""Parameters in which services say what it is about, where the headline is one of form."""

_CODES = {("same", "svr"), ("same", "sva"), ("same", "tor"), ("same", "toa")}
"""Severe thunderstorm and tornado, warning and watch, in the SAME list of event codes."""
_AWARENESS_THUNDER = "3;"
_AWARENESS_NONE = "1;"

_NOT_SURE = ("possible", "unlikely")
_SURE = ("observed", "likely")


def is_thunder(warning: OfficialWarning, more_words: Iterable[str] = ()) -> bool:
    """Whether it warns of thunder, lightning or a tornado.

    Looked for in event and headlines, in every language of the message, and in the event
    codes. Not in the description, which also says what is not expected.
    """
    headlines = (value for name, value in warning.parameters if name.lower() in _HEADLINES)
    named = (warning.event, warning.headline, *warning.elsewhere_named, *headlines)
    said = _folded("\n".join(named))
    if _WORDS.search(said) or any(_folded(word) in said for word in more_words if word.strip()):
        return True
    if any((name.lower(), value.lower()) in _CODES for name, value in warning.event_codes):
        return True
    return _awareness(warning, "awareness_type").startswith(_AWARENESS_THUNDER)


def closes_work(warning: OfficialWarning, more_words: Iterable[str] = ()) -> bool:
    """Whether it closes work outdoors from its beginning to its end.

    Any severity does: lightning of a minor storm kills too. What does not, and is shown only:
    what is no more than possible (a watch), what lies in the future without being called
    likely, what is past, and the word that the danger is over.
    """
    if not is_thunder(warning, more_words):
        return False
    urgency, certainty = warning.urgency.lower(), warning.certainty.lower()
    if urgency == "past" or certainty in _NOT_SURE:
        return False
    if urgency == "future" and certainty not in _SURE:
        return False
    if "allclear" in (response.lower() for response in warning.responses):
        return False
    return not _awareness(warning, "awareness_level").startswith(_AWARENESS_NONE)


def _awareness(warning: OfficialWarning, name: str) -> str:
    """The parameter by which European services number kind and level, without spaces."""
    values = (value for key, value in warning.parameters if key.lower() == name)
    return "".join(next(values, "").split())


def _folded(text: str) -> str:
    return unicodedata.normalize("NFC", text).casefold()
