"""Which official warnings are of thunder, and which of them close work outdoors."""

from __future__ import annotations

import pytest
from warned_samples import THUNDERSTORM_A2, warning

from monitor.feeds.cap import read_cap
from monitor.planning.thunder_words import closes_work, is_thunder

OF_THUNDER = [
    "SEVERE THUNDERSTORM",
    "Severe Thunderstorm Watch",
    "Frequent lightning",
    "Tornado Warning",
    "Amtliche WARNUNG vor STARKEM GEWITTER",
    "Schwergewitter mit Hagel",
    "Blitzschlaggefahr",
    "Vigilance orange : orages",
    "Foudre",
    "Åska",
    "ÅSKVÄDER",
    "Torden og lynnedslag",
    "Kraftig tordenvær",
    "Temporali forti",
    "Fulmini",
    "Tormentas",
    "Tormenta eléctrica",
    "Trovoada",
    "Onweersbuien",
    "Ukkospuuska",
    "Burze z gradem",
    "Silné bouřky",
    "Silná búrka",
    "Zivatar",
    "Nevihte",
    "Grmljavinsko nevrijeme",
    "Гроза",
    "Грозы",
    "гръмотевични бури",
    "Καταιγίδες",
    "ΚΑΤΑΙΓΊΔΕΣ",
    "Äike",
    "Pērkona negaiss",
    "Perkūnija",
    "Descărcări electrice",
    "Gök gürültülü sağanak",
    "YILDIRIM",
    "大雨雷電警報",
    "낙뢰",
    "Svært mye lyn",
    "Lyn og torden",
    "Lynet slår ned",
    "TSTM WIND",
    "Severe T-storms",
    "Starke Blitze",
    "Salamointi",
    "Villámlás",
    "Rayos",
    "Éclairs",
    "Blesky",
    "Pioruny",
    "Wyładowania atmosferyczne",
    "Κεραυνοί",
    "Молнии",
    "Блискавки",
    "Fulgere",
    "พายุฝนฟ้าคะนอง",
    "عواصف رعدية",
    "סופות רעמים",
    "गरज के साथ बारिश",
    "Thunderstorms near Thunder Bay",
]

NOT_OF_THUNDER = [
    "Non-Thunderstorm Winds",
    "Gale warning",
    "Storage of water",
    "Forage fire",
    "Alaska winter storm",
    "Temporal de viento",
    "Tormenta de nieve",
    "tormentas de arena",
    "Tormenta tropical",
    "Угроза наводнения",
    "Дождь грозит наводнением",
    "Sturmwarnung",
    "Courage",
    "Snow squall warning for Thunder Bay",
    "Wind warning: Lightning Ridge",
    "Villámárvíz",
    "Blesková povodeň",
    "Blitzeis",
    "Sněhová bouře",
    "Snehová búrka",
    "Burza śnieżna",
    "Burze piaskowe",
    "Tormenta solar",
    "Rayos UV",
    "Flynn",
    "Vientos, Salamanca",
    "Lynx",
    "Snow",
    "",
]


@pytest.mark.parametrize("event", OF_THUNDER)
def test_words_of_thunder_in_many_languages(event):
    assert is_thunder(warning(event=event, headline=""))
    assert is_thunder(warning(event="", headline=event))


@pytest.mark.parametrize("event", NOT_OF_THUNDER)
def test_what_only_looks_like_it(event):
    assert not is_thunder(warning(event=event, headline=""))


def test_the_description_does_not_count():
    said = warning(event="Rain", headline="", description="No thunder is expected.")
    assert not is_thunder(said)


def test_the_other_languages_of_the_message_count():
    assert is_thunder(warning(event="Trumoi", headline="", elsewhere_named=("Thunderstorm", "")))


def test_event_codes_and_awareness_types_count():
    plain = {"event": "Weather", "headline": ""}
    assert is_thunder(warning(**plain, event_codes=(("SAME", "SVR"),)))
    assert not is_thunder(warning(**plain, event_codes=(("SAME", "FFW"),)))
    assert is_thunder(warning(**plain, parameters=(("awareness_type", "3; Thunderstorm"),)))
    assert not is_thunder(warning(**plain, parameters=(("awareness_type", "13; Storm"),)))


def test_a_headline_kept_in_a_parameter_counts():
    strong = "A STRONG THUNDERSTORM WILL AFFECT THE MEADOWS THROUGH 1 PM"
    plain = {"event": "Special Weather Statement", "headline": "Special Weather Statement"}
    assert is_thunder(warning(**plain, parameters=(("NWSheadline", strong),)))
    assert is_thunder(warning(**plain, parameters=(("eventAwarenessName", "Mye lyn"),)))
    assert not is_thunder(warning(**plain, parameters=(("hazardNote", strong),)))


def test_words_of_the_show_are_added():
    said = warning(event="Trumoi", headline="")
    assert not is_thunder(said, ("", " "))
    assert is_thunder(said, ("trumOI",))


def test_the_thunderstorm_of_the_standard_closes_work():
    (said,) = read_cap(THUNDERSTORM_A2.encode(), "Office")
    assert closes_work(said)


@pytest.mark.parametrize("severity", ["Extreme", "Severe", "Moderate", "Minor", "Unknown", ""])
def test_any_severity_closes(severity):
    assert closes_work(warning(severity=severity))


@pytest.mark.parametrize(
    ("urgency", "certainty", "closes"),
    [
        ("Immediate", "Observed", True),
        ("Expected", "Likely", True),
        # European services announce a storm of the afternoon as future and likely
        ("Future", "Likely", True),
        ("Unknown", "Unknown", True),
        ("", "", True),
        # a watch
        ("Future", "Possible", False),
        ("Expected", "Possible", False),
        ("Immediate", "Unlikely", False),
        ("Future", "Unknown", False),
        ("Past", "Observed", False),
    ],
)
def test_a_watch_does_not_close(urgency, certainty, closes):
    assert closes_work(warning(urgency=urgency, certainty=certainty)) is closes


def test_the_word_that_it_is_over_does_not_close():
    assert not closes_work(warning(responses=("AllClear",)))
    assert closes_work(warning(responses=("Shelter", "Monitor")))


def test_a_green_level_does_not_close():
    assert not closes_work(warning(parameters=(("awareness_level", "1; green; Minor"),)))
    assert closes_work(warning(parameters=(("awareness_level", "2; yellow; Moderate"),)))


def test_other_weather_does_not_close():
    assert not closes_work(warning(event="Gale", headline="", severity="Extreme"))
