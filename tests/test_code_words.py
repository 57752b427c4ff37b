"""Codes in plain words.

What must be said is from check-values "Facts of the trade" (common practice, no source) and
exposure model section 5 (IEC 60529 test figures; digit 1 from memory).
"""

from __future__ import annotations

import re

import pytest

from monitor.code_words import explain
from monitor.codes import read_code, standing


def said(text, **settings):
    return " ".join(explain(read_code(text), **settings))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("IP20", ["finger", "12.5 mm"]),
        ("IP54", ["Dust 5", "cleaning"]),
        ("IP65", ["tight", "no cleaning inside"]),
        ("IP21", ["1 mm a minute", "10 minutes"]),
        ("IP22", ["15 degrees", "3 mm a minute", "10 minutes"]),
        ("IP23", ["60 degrees", "10 litres a minute", "5 minutes"]),
        ("IP44", ["every side", "rain for a short time", "take it in and check it"]),
        ("IP65", ["12.5 litres a minute", "three minutes"]),
        ("IP66", ["100 litres a minute"]),
        ("IP67", ["1 m", "30 minutes"]),
        ("IP68", ["maker"]),
        ("IP69K", ["9K", "hot jets"]),
        ("IP66/IP67", ["100 litres a minute", "to 1 m"]),
    ],
)
def test_what_was_tested(text, words):
    for word in words:
        assert word in said(text)


@pytest.mark.parametrize("text", ["IPXX", "IP20", "IP44", "IP65", "IP66/IP67", "IP69K"])
def test_what_no_code_speaks_of(text):
    for word in ("age", "damage", "open connectors", "salt", "cleaning agents", "heat", "vacuum"):
        assert word in said(text)


@pytest.mark.parametrize("text", ["IP67", "IPX8", "IP69K", "IP67/IP68"])
def test_7_to_9_alone_say_nothing_about_jets_and_are_told_as_inferred(text):
    assert "nothing about plain jets" in said(text)
    assert "inferred" in said(text)
    strict = said(text, strict_immersion=True)
    assert "Credited as 4" in strict
    assert "inferred" not in strict
    assert "Standing temporary" in strict


@pytest.mark.parametrize("text", ["IP66/IP67", "IP65/IP68", "IP65", "IP44"])
def test_others_do_not_speak_of_inferring(text):
    assert "inferred" not in said(text)
    assert "plain jets" not in said(text)


@pytest.mark.parametrize(
    ("text", "standing_in_water"),
    [
        ("IP65", True),
        ("IP66", True),
        ("IP69", True),
        ("IP66/IP69K", True),
        ("IP66/IP67", False),
        ("IP68", False),
        ("IP44", False),
    ],
)
def test_jets_say_nothing_about_standing_in_water(text, standing_in_water):
    assert ("nothing about standing in water" in said(text)) is standing_in_water


@pytest.mark.parametrize(("text", "held"), [("IP21", True), ("IP23", True), ("IP44", False)])
def test_codes_of_1_to_3_hold_only_as_mounted(text, held):
    assert ("only as mounted" in said(text)) is held


def test_not_stated_is_no_pass():
    dust, water, *_ = explain(read_code("none"))
    assert dust.startswith("Dust X: not stated. That is not a pass")
    assert water.startswith("Water X: not stated. That is not a pass")


def test_two_parts_are_told_by_name():
    assert "IP65/IP20 names two parts of one product" in said("IP65/IP20")
    assert "two parts" not in said("IP66/IP67")


def test_k_belongs_to_its_own_digit():
    assert "Dust 6K" in said("IP6K7")
    assert "7K" not in said("IP6K7")
    # the K of the first digit is not one of the water digit 6 elsewhere on the label
    both = said("IP66/IP6K9K")
    assert "Water 6:" in both
    assert "Water 9K:" in both
    # IEC's 100 L/min is not the K form's flow
    assert "100 litres" not in said("IP6K6K")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("IP23C", "Letter C: a tool"),
        ("IP20B", "the first digit says as much"),
        ("IP20D", "Letter D: a wire"),
        ("IP44S", "at rest"),
        ("IP44M", "running"),
        ("IP44W", "maker names"),
        ("IP44H", "high-voltage"),
    ],
)
def test_letters(text, words):
    assert words in said(text)


def test_a_letter_above_the_first_digit_adds_to_it():
    assert "says as much" not in said("IP23C")
    assert "says as much" not in said("IPX3A")


FIRST, SECOND = ("X", *"0123456", "5K", "6K"), ("X", *"0123456789", "4K", "6K", "9K")


@pytest.mark.parametrize("first", FIRST)
@pytest.mark.parametrize("second", SECOND)
def test_every_code_is_put_in_whole_sentences_fit_for_a_crew(first, second):
    for letters in ("", "D", "HMSW"):
        code = read_code(f"IP{first}{second}{letters}")
        lines = explain(code)
        for line in lines:
            assert line[0].isupper()
            assert line.endswith(".")
            assert "  " not in line
            # cue calls and rescue words on the radio; and no claim is ours to make
            assert not re.search(
                r"\b(go|stand by|all clear)\b|conform|compl(y|ies|ian)|certif|guarant|waterproof",
                line,
                re.IGNORECASE,
            )
        assert lines[-1].startswith(f"Standing {standing(code)}:")
        assert lines[0].startswith(f"Dust {first}:")
        assert lines[1].startswith(f"Water {second}:")
