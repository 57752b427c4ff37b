"""Reading codes and crediting them.

Expected values: check-values rows "code reading", "code repaired" and "code refused" (grammar of
IEC 60529 and ISO 20653) and the crediting rules of exposure model section 5; none is taken from
the reader's own output.
"""

from __future__ import annotations

import pytest

from monitor.codes import (
    CodeError,
    credited_digits,
    inferred,
    no_rain_limit,
    read_code,
    standing,
    standing_of_chain,
    weakest,
)


def meaning(text):
    code = read_code(text)
    return code.canonical, code.dust, code.water


# text: canonical, dust, water
AS_PRINTED = {
    "IP65": ("IP65", 6, (5,)),
    "IP20": ("IP20", 2, (0,)),
    "IP00": ("IP00", 0, (0,)),
    "IPX4": ("IPX4", None, (4,)),
    "IP6X": ("IP6X", 6, ()),
    "IPXX": ("IPXX", None, ()),
    "IP69": ("IP69", 6, (9,)),
    "IP69K": ("IP69K", 6, (9,)),
    "IPX9K": ("IPX9K", None, (9,)),
    "IP6K9K": ("IP6K9K", 6, (9,)),
    "IP5K4K": ("IP5K4K", 5, (4,)),
    "IP6K7": ("IP6K7", 6, (7,)),
    "IP6K6K": ("IP6K6K", 6, (6,)),
    "IP23CS": ("IP23CS", 2, (3,)),
    "IP54W": ("IP54W", 5, (4,)),
    "IPX5D": ("IPX5D", None, (5,)),
    "IP66/IP67": ("IP66/IP67", 6, (6, 7)),
    "IP66/IP67/IP69": ("IP66/IP67/IP69", 6, (6, 7, 9)),
    "IP67/IP65": ("IP67/IP65", 6, (5, 7)),
    "IPX6/IPX8": ("IPX6/IPX8", None, (6, 8)),
    "IP67/IPX9K": ("IP67/IPX9K", 6, (7, 9)),
    "IP67/IP68": ("IP67/IP68", 6, (7, 8)),
}


@pytest.mark.parametrize("text", AS_PRINTED)
def test_a_label_in_standard_form_needs_no_repair(text):
    code = read_code(text)
    assert meaning(text) == AS_PRINTED[text]
    assert code.repairs == ()
    assert code.label == text
    assert not code.two_parts


@pytest.mark.parametrize(
    ("text", "dust_k", "water_k"),
    [
        ("IP69K", False, True),
        ("IP6K9K", True, True),
        ("IP6K7", True, False),
        ("IP5K4K", True, True),
        ("IP69", False, False),
        ("IP66/IP69K", False, True),
        # the K is the better part's, and that part does not count
        ("IP54/IP69K", False, False),
        ("IP6K5/IP54", False, False),
    ],
)
def test_k_forms(text, dust_k, water_k):
    code = read_code(text)
    assert (code.dust_k, code.water_k) == (dust_k, water_k)


@pytest.mark.parametrize(
    ("text", "letters"),
    [
        ("IP23CS", "CS"),
        ("IP20D", "D"),
        ("IP44M", "M"),
        ("IP54HW", "HW"),
        ("IP65", ""),
        ("IP66W/IP67", "W"),
        ("IP20C/IP20D", "C"),  # the weaker of two access letters
        ("IP44C/IP20", ""),  # of two parts, one has no such letter
    ],
)
def test_letters(text, letters):
    assert read_code(text).letters == letters


# text: canonical, dust, water, and a word of the repair that must be told
REPAIRED = [
    ("65", "IP65", 6, (5,), "no IP in front"),
    ("X4", "IPX4", None, (4,), "no IP in front"),
    ("69K", "IP69K", 6, (9,), "no IP in front"),
    ("23CS", "IP23CS", 2, (3,), "no IP in front"),
    ("ip 65", "IP65", 6, (5,), "spaces"),
    ("ip65", "IP65", 6, (5,), "small letters"),
    ("IPx4", "IPX4", None, (4,), "small letters"),
    (" IP65 ", "IP65", 6, (5,), "spaces"),
    ("IP\u00a065", "IP65", 6, (5,), "spaces"),
    ("IP-65", "IP65", 6, (5,), "signs"),
    ("IP_65", "IP65", 6, (5,), "signs"),
    ("IP: 65", "IP65", 6, (5,), "signs"),
    ("I.P. 65", "IP65", 6, (5,), "signs"),
    ("IP\u201365", "IP65", 6, (5,), "signs"),
    ("IPX-4", "IPX4", None, (4,), "signs"),
    ("I P 6 5", "IP65", 6, (5,), "spaces"),
    ("IP 69 K", "IP69K", 6, (9,), "spaces"),
    ("IP2O", "IP20", 2, (0,), "letter O read as the digit 0"),
    ("IP2o", "IP20", 2, (0,), "letter O read as the digit 0"),
    ("IP2l", "IP21", 2, (1,), "letter l read as the digit 1"),
    ("IP2I", "IP21", 2, (1,), "letter I read as the digit 1"),
    ("lP54", "IP54", 5, (4,), "letter l in front of P"),
    ("1P54", "IP54", 5, (4,), "digit 1 in front of P"),
    ("|P54", "IP54", 5, (4,), "sign | in front of P"),
    ("\uff29\uff30\uff16\uff15", "IP65", 6, (5,), "unusual characters"),  # full width
    ("\u0406\u042065", "IP65", 6, (5,), "unusual characters"),  # Cyrillic I, Er
    ("\u0456\u044065", "IP65", 6, (5,), "unusual characters"),  # the same, small
    ("IP\u00d74", "IPX4", None, (4,), "unusual characters"),  # a multiplication sign
    ("\ufeffIP65", "IP65", 6, (5,), "unusual characters"),  # a byte order mark
    ("IP65.", "IP65", 6, (5,), "stops"),
    ("(IP65)", "IP65", 6, (5,), "brackets"),
    ('"IP65"', "IP65", 6, (5,), "quotes"),
    ("IP23SC", "IP23CS", 2, (3,), "letters SC read as CS"),
    ("IP23SS", "IP23S", 2, (3,), "letters SS read as S"),
    ("IP66/67", "IP66/IP67", 6, (6, 7), "read as IP67"),
    ("66/67", "IP66/IP67", 6, (6, 7), "no IP in front"),
    ("IP66/7", "IP66/IP67", 6, (6, 7), "read as IP67"),
    ("IP66/9K", "IP66/IP69K", 6, (6, 9), "read as IP69K"),
    ("IP6K6/9K", "IP6K6/IP6K9K", 6, (6, 9), "read as IP6K9K"),
    ("IPX6/7", "IPX6/IPX7", None, (6, 7), "read as IPX7"),
    ("IP66+IP67", "IP66/IP67", 6, (6, 7), "between"),
    ("IP66 & 67", "IP66/IP67", 6, (6, 7), "between"),
    ("IP66, IP67", "IP66/IP67", 6, (6, 7), "between"),
    ("IP66 and IP67", "IP66/IP67", 6, (6, 7), "between"),
    ("IP66 IP67", "IP66/IP67", 6, (6, 7), "between"),
    ("IP66\\IP67", "IP66/IP67", 6, (6, 7), "between"),
    ("IP65/IP65", "IP65", 6, (5,), "twice"),
    ("IP6X/IPX5", "IP65", 6, (5,), "two halves"),
    ("IPX5/IP6X", "IP65", 6, (5,), "two halves"),
    ("IP66 IK08", "IP66", 6, (6,), "impact"),
    ("IK10 / IP66", "IP66", 6, (6,), "impact"),
    ("none", "IPXX", None, (), "no code marked: counted as unprotected"),
    ("Unmarked", "IPXX", None, (), "no code marked: counted as unprotected"),
    ("no  code", "IPXX", None, (), "no code marked: counted as unprotected"),
    ("unknown.", "IPXX", None, (), "no code marked: counted as unprotected"),
]


@pytest.mark.parametrize(("text", "canonical", "dust", "water", "told"), REPAIRED)
def test_a_repair_is_made_and_told(text, canonical, dust, water, told):
    code = read_code(text)
    assert meaning(text) == (canonical, dust, water)
    assert any(told in note for note in code.repairs), code.repairs
    assert code.label == text


@pytest.mark.parametrize(
    ("text", "dust", "water"),
    [
        ("IP65/IP20", 2, (0,)),  # two digits up to 6
        ("IP65/20", 2, (0,)),
        ("IP20/IP65", 2, (0,)),
        ("IP65/IP66", 6, (5,)),
        ("IP68/IP20", 2, (0,)),  # 8 beside a digit 0 to 4
        ("IP67/IP54", 5, (4,)),
        ("IPX4/IPX7", None, (4,)),
        ("IP65/IP66/IP67", 6, (5,)),
        # X is credited as 0, so it is a part of its own beside a digit
        ("IP65/IP6X", 6, ()),
        ("IP67/IPXX", None, ()),
        ("IP60/IP6X", 6, ()),
        ("IP65/IPX0", None, (0,)),
    ],
)
def test_two_parts_on_one_label_count_as_the_lowest(text, dust, water):
    code = read_code(text)
    assert code.two_parts
    assert (code.dust, code.water) == (dust, water)
    assert any("two parts" in note for note in code.repairs)


@pytest.mark.parametrize(
    ("text", "dust", "water"),
    [
        ("IP66/IP57", 5, (6, 7)),  # the dust digit is the lowest of the label
        ("IP65/IP55", 5, (5,)),
        ("IP66/IPX7", 6, (6, 7)),  # one enclosure, its dust digit stated once
    ],
)
def test_the_dust_digit_is_the_lowest_of_the_label(text, dust, water):
    code = read_code(text)
    assert not code.two_parts
    assert (code.dust, code.water) == (dust, water)


def test_what_is_not_stated_is_named():
    assert read_code("IPX4").unstated == ("dust",)
    assert read_code("IP6X").unstated == ("water",)
    assert read_code("none").unstated == ("dust", "water")
    assert read_code("IP65").unstated == ()


# text, a word of what is wrong, a word of what would be right
REFUSED = [
    ("IP6", "one digit", "IP6X"),
    ("IP7", "one digit", "IPX7"),
    ("IPX", "one digit", "IPX4"),
    ("6", "one digit", "IPX6"),
    ("IP6S", "one digit", "write 5"),
    ("IP6K", "one digit", "IP6X"),
    ("IP", "no digits", "both digits"),
    ("", "no code", "none"),
    ("   ", "no code", "none"),
    ("...", "no code", "none"),
    ("-", "not an IP code", "none"),
    ("?", "not an IP code", "none"),
    ("n/a", "not an IP code", "none"),
    ("PX5", "not an IP code", "IPX4"),
    ("IP6?", "not an IP code", "IP65"),
    ("IPS5", "not an IP code", "IP65"),
    ("outdoor", "not an IP code", "IP65"),
    ("XL", "not an IP code", "IP65"),
    ("6-5", "not an IP code", "IP65"),
    ("6.5", "not an IP code", "IP65"),
    ("IP\u0666\u0665", "not an IP code", "IP65"),  # Arabic digits
    ("IP075", "two digits", "dust and water"),
    ("IP6667", "two digits", "IP66/IP67"),
    ("665", "two digits", "IP66/IP67"),
    ("NEMA 4X", "another system", "IP code"),
    ("nema4", "another system", "IP code"),
    ("type 4X", "another system", "IP code"),
    ("4X", "another system", "letters IP"),
    ("3R X", "not an IP code", "IP65"),
    ("IK08", "impact", "IP65"),
    ("IK8", "impact", "IP65"),
    ("ik 10", "impact", "IP65"),
    ("IP67K", "4K, 6K and 9K", "IP67"),
    ("IP65K", "4K, 6K and 9K", "IP65"),
    ("IPXXK", "4K, 6K and 9K", "IPXX"),
    ("IP4K4", "5K and 6K", "IP44"),
    ("IPXK4", "5K and 6K", "IPX4"),
    ("IP55 outdoor", "text after", "IP55"),
    ("IP68 m 10", "text after", "IP68"),
    ("IP65F", "text after", "IP65"),
    ("IP65 (mated)", "text after", "IP65"),
    ("IP44 IP", "no digits", "both digits"),
    ("IP23AB", "A, B, C and D", "IP23"),
    ("IP65-67", "range", "IP65"),
    ("IP65\u201367", "range", "IP65"),
    ("IP65-IP67", "range", "IP65"),
    ("IP65 - IP67", "range", "IP65"),
    ("IP65 to IP67", "range", "IP65"),
    ("IP66 or 67", "range", "IP66"),
    ("IP65/", "missing", "both digits"),
    ("IP65 +", "missing", "both digits"),
    ("IP65//IP67", "missing", "both digits"),
    ("IP65/4", "one digit", "IPX4"),
    ("none/IP65", "not an IP code", "none"),
    ("IP65 " * 20, "too long", "IP65"),
]


@pytest.mark.parametrize(("text", "wrong", "right"), REFUSED)
def test_a_refusal_says_what_would_be_right(text, wrong, right):
    with pytest.raises(CodeError) as refused:
        read_code(text)
    assert wrong in refused.value.says
    assert right in refused.value.remedy
    assert f'"{text[:37]}' in refused.value.says
    assert isinstance(refused.value, ValueError)


@pytest.mark.parametrize("tens", "789")
@pytest.mark.parametrize("ones", "0123456789X")
def test_7_to_9_is_no_first_digit(tens, ones):
    with pytest.raises(CodeError, match=f'"IP{tens}{ones}" begins with {tens}') as refused:
        read_code(f"IP{tens}{ones}")
    # swapped digits are offered where that makes a code for water
    assert (f"IP{ones}{tens}" in refused.value.remedy) == (ones in "123456X")


def test_a_refusal_prints_on_one_line_of_any_terminal():
    with pytest.raises(CodeError) as refused:
        read_code("IP\n\x1b[2J\ud800")
    assert refused.value.says.startswith('"IP\\n\\x1b[2J\\ud800" ')


def test_a_refusal_does_not_repeat_a_page_of_text():
    with pytest.raises(CodeError, match="too long") as refused:
        read_code("IP65 and a page of text " * 1000)
    assert len(str(refused.value)) < 200


# ---------------------------------------------------------------- credit and standing


@pytest.mark.parametrize(
    ("text", "digits"),
    [
        ("IPXX", (0,)),
        ("IP6X", (0,)),
        ("IP20", (0,)),
        ("IP21", (0, 1)),
        ("IP23", (0, 1, 2, 3)),
        ("IP44", (0, 1, 2, 3, 4)),
        ("IP65", (0, 1, 2, 3, 4, 5)),
        ("IP66", (0, 1, 2, 3, 4, 5, 6)),
        ("IP67", (0, 1, 2, 3, 4, 7)),  # no 5, no 6
        ("IP68", (0, 1, 2, 3, 4, 7, 8)),
        ("IP69K", (0, 1, 2, 3, 4, 9)),
        ("IP66/IP67", (0, 1, 2, 3, 4, 5, 6, 7)),
        ("IP65/IP67", (0, 1, 2, 3, 4, 5, 7)),
        ("IP65/IP20", (0,)),
    ],
)
def test_digits_credited(text, digits):
    assert credited_digits(read_code(text)) == digits


@pytest.mark.parametrize("text", ["IP67", "IP68", "IP69K", "IP67/IP69K"])
def test_strict_immersion_credits_7_to_9_alone_as_4(text):
    code = read_code(text)
    assert inferred(code)
    assert credited_digits(code, strict_immersion=True) == (0, 1, 2, 3, 4)
    assert not no_rain_limit(code, "new", strict_immersion=True)
    assert standing(code, strict_immersion=True) == "temporary"


@pytest.mark.parametrize("text", ["IP44", "IP65", "IP66/IP67", "IPXX"])
def test_strict_immersion_leaves_the_rest_alone(text):
    code = read_code(text)
    assert not inferred(code)
    assert credited_digits(code, strict_immersion=True) == credited_digits(code)
    assert standing(code, strict_immersion=True) == standing(code)


@pytest.mark.parametrize(
    ("text", "unlimited"),
    [
        ("IPXX", False),
        ("IP20", False),
        ("IP54", False),
        ("IP65/IP20", False),
        ("IP55", True),
        ("IP66", True),
        ("IP67", True),
        ("IP69K", True),
        ("IP66/IP67", True),
    ],
)
def test_rain_sets_no_limit_from_5_on_unless_worn(text, unlimited):
    code = read_code(text)
    assert no_rain_limit(code, "new", strict_immersion=False) is unlimited
    assert no_rain_limit(code, "hire", strict_immersion=False) is unlimited
    assert no_rain_limit(code, "worn", strict_immersion=False) is False


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("IPXX", "indoor"),
        ("IP6X", "indoor"),
        ("IP20", "indoor"),
        ("IP60", "indoor"),
        ("IP65/IP20", "indoor"),
        ("IP21", "temporary"),
        ("IP64", "temporary"),
        ("IP23CS", "temporary"),
        ("IP67/IP54", "temporary"),
        ("IP55", "extended"),
        ("IPX5", "extended"),
        ("IPX8", "extended"),
        ("IP57", "extended"),
        ("IP66/IP57", "extended"),
        ("IP65", "permanent"),
        ("IP67", "permanent"),
        ("IP66/IP67", "permanent"),
        ("IP6K9K", "permanent"),
    ],
)
def test_standing(text, expected):
    assert standing(read_code(text)) == expected


def test_a_chain_is_as_good_as_its_weakest_part():
    assert standing_of_chain(["permanent", "temporary", "extended"]) == "temporary"
    assert standing_of_chain(["permanent", "indoor"]) == "indoor"
    assert standing_of_chain(["extended", "permanent"]) == "extended"
    assert standing_of_chain(["permanent"]) == "permanent"


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        (["IP65", "IP44", "IP67"], "IP44"),
        (["IP44", "IP43"], "IP43"),  # the same standing: the lower water digit
        (["IP44", "IP54", "IPX4"], "IPX4"),  # then the lower dust digit
        (["IP20", "none"], "IPXX"),
    ],
)
def test_the_weakest_of_several_codes(texts, expected):
    assert weakest([read_code(t) for t in texts]).canonical == expected
