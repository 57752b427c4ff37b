"""What holds for any label."""

from __future__ import annotations

import re
from dataclasses import replace

from hypothesis import assume, example, given
from hypothesis import strategies as st

from monitor.code_words import explain
from monitor.codes import (
    STANDINGS,
    CodeError,
    credited_digits,
    no_rain_limit,
    read_code,
    standing,
    standing_of_chain,
    weakest,
)

# A grammar of its own, so that nothing here leans on the reader.
firsts = st.sampled_from(["X", *"0123456", "5K", "6K"])
seconds = st.sampled_from(["X", *"0123456789", "4K", "6K", "9K"])
letters = st.builds(
    lambda one, more: one + "".join(sorted(more)),
    st.sampled_from(["", *"ABCD"]),
    st.sets(st.sampled_from("HMSW")),
)
single = st.builds("IP{}{}{}".format, firsts, seconds, letters)
labels = st.lists(single, min_size=1, max_size=3).map("/".join)
near_codes = st.text(
    alphabet="IPipl1|O0123456789XxKABCDHMSWF/+&,;. -_\u2013\u0420\u200b", max_size=40
)


def rank(code):
    return STANDINGS.index(standing(code))


def read_or_refused(text):
    try:
        return read_code(text)
    except CodeError as refused:
        return refused


def same(code):
    return replace(code, label="", repairs=(), canonical="")


@given(firsts, seconds, letters)
def test_a_single_code_is_read_as_its_grammar_says(first, second, more):
    code = read_code(f"IP{first}{second}{more}")
    assert code.dust == (None if first == "X" else int(first[0]))
    assert code.water == (() if second == "X" else (int(second[0]),))
    assert (code.dust_k, code.water_k) == (first.endswith("K"), second.endswith("K"))
    assert code.letters == more
    assert code.canonical == code.label
    assert code.repairs == ()


@given(labels)
def test_the_canonical_form_reads_as_the_same_and_stays(label):
    code = read_code(label)
    again = read_code(code.canonical)
    assert again.canonical == code.canonical
    assert same(again) == same(code)


@given(labels, st.randoms(use_true_random=False))
def test_typing_does_not_change_the_meaning(label, chance):
    typed = "".join(
        chance.choice((c, c.lower())) + chance.choice(("", "", " ")) if c != "/" else "/"
        for c in label
    )
    typed = typed.replace("/", chance.choice((" / ", "+", " & ", ", ", " and ", "/")))
    assert same(read_code(typed)) == same(read_code(label))


@given(single, single)
def test_the_order_of_a_label_does_not_matter(left, right):
    assert same(read_code(f"{left}/{right}")) == same(read_code(f"{right}/{left}"))


@given(st.text(max_size=40) | near_codes)
@example("\x00")
@example("\ud800IP65")
@example("IP65\u2028IP67")
@example("\ufdfa" * 40)
@example("\u0130P65")
@example("IP\u00df5")
def test_any_text_is_a_code_or_refused_with_a_remedy(text):
    read = read_or_refused(text)
    if isinstance(read, CodeError):
        assert read.says.endswith(".")
        assert read.remedy.endswith(".")
        assert str(read).isprintable()
        # what is offered must itself be right
        for offered in re.findall(r"IP[0-9X]\w*(?:/IP\w+)*", read.remedy):
            assert read_code(offered).repairs == ()
        return
    assert read.label == text
    assert all(note.isprintable() for note in read.repairs)
    assert read.repairs or text == read.canonical
    assert explain(read)


@given(labels, labels)
def test_a_label_of_two_parts_is_never_better_than_one_of_them(left, right):
    both = read_code(f"{left}/{right}")
    assume(both.two_parts)
    parts = [read_code(one) for one in both.canonical.split("/")]
    assert rank(both) <= min(map(rank, parts))
    for part in parts:
        if not part.water or max(part.water) <= 6:
            assert set(credited_digits(both)) <= set(credited_digits(part))


@given(st.integers(0, 5), st.integers(0, 5))
def test_a_higher_digit_never_lowers_the_standing(dust, water):
    code = read_code(f"IP{dust}{water}")
    for higher in (f"IP{dust + 1}{water}", f"IP{dust}{water + 1}"):
        better = read_code(higher)
        assert rank(better) >= rank(code)
        assert set(credited_digits(better)) >= set(credited_digits(code))


@given(single, st.booleans(), st.sampled_from(["new", "hire"]))
def test_stating_a_digit_never_lowers_anything(label, strict, condition):
    code = read_code(label)
    for less in (replace(code, dust=None), replace(code, water=())):
        assert rank(less) <= rank(code)
        without = no_rain_limit(less, condition, strict_immersion=strict)
        assert without <= no_rain_limit(code, condition, strict_immersion=strict)


@given(st.sampled_from("56"), st.sets(st.sampled_from("789"), min_size=1))
def test_immersion_beside_a_jet_digit_only_adds(jet, more):
    alone = read_code(f"IP6{jet}")
    double = read_code("/".join([f"IP6{jet}", *(f"IP6{d}" for d in sorted(more))]))
    assert not double.two_parts
    assert set(credited_digits(double)) > set(credited_digits(alone))
    assert standing(double) == standing(alone)


@given(labels)
def test_strict_immersion_never_credits_more(label):
    code = read_code(label)
    strict = credited_digits(code, strict_immersion=True)
    assert set(strict) <= set(credited_digits(code))
    assert STANDINGS.index(standing(code, strict_immersion=True)) <= rank(code)


@given(st.lists(labels, min_size=1, max_size=5))
def test_the_weakest_code_gives_the_standing_of_the_chain(chain):
    codes = [read_code(label) for label in chain]
    assert standing(weakest(codes)) == standing_of_chain(standing(c) for c in codes)
