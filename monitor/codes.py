"""Ingress-protection codes: what a label says, and what each code is worth.

Double labels and credit follow exposure model section 5; the characters of a label are read in
`monitor.code_marking`, and a code is put in plain words in `monitor.code_words`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.code_marking import (
    ADDITIONAL,
    NO_CODE,
    SUPPLEMENTARY,
    CodeError,
    Label,
    Marking,
    markings,
    plain_text,
)
from monitor.domain import Code, Condition, Standing

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = [
    "STANDINGS",
    "CodeError",
    "credited_digits",
    "inferred",
    "no_rain_limit",
    "read_code",
    "standing",
    "standing_of_chain",
    "weakest",
]

STANDINGS: tuple[Standing, ...] = ("indoor", "temporary", "extended", "permanent")
"""Weakest first."""


# ---------------------------------------------------------------- what a code is worth


def inferred(code: Code) -> bool:
    """Whether the credit for rain rests on 7, 8 or 9 alone, which are not rain tests."""
    return bool(code.water) and min(code.water) >= 7


def credited_digits(code: Code, *, strict_immersion: bool = False) -> tuple[int, ...]:
    """Every water digit the enclosure is credited with, implied ones too, rising.

    Notes
    -----
    A digit up to 6 implies all lower ones. 7, 8 and 9 imply 1 to 4 but not 5 or 6; 8 is
    harder than 7 and implies it. `strict_immersion` takes 7, 8, 9 alone as a 4 and no more.
    """
    if strict_immersion and inferred(code):
        return (0, 1, 2, 3, 4)
    digits = {0}
    for digit in code.water:
        digits.update(range(1, min(digit, 4) + 1) if digit > 6 else range(1, digit + 1))
        digits.update((7, 8) if digit == 8 else (digit,))
    return tuple(sorted(digits))


def no_rain_limit(code: Code, condition: Condition, *, strict_immersion: bool) -> bool:
    """Whether rain alone sets no limit: 5 or more, on an enclosure that is not worn."""
    return condition != "worn" and max(credited_digits(code, strict_immersion=strict_immersion)) > 4


def standing(code: Code, *, strict_immersion: bool = False) -> Standing:
    """How long gear with this code may stay out (common practice of the trade, no source)."""
    highest = max(credited_digits(code, strict_immersion=strict_immersion))
    if highest == 0:
        return "indoor"
    if highest <= 4:
        return "temporary"
    return "permanent" if code.dust == 6 else "extended"


def standing_of_chain(standings: Iterable[Standing]) -> Standing:
    """A chain is as good as its weakest part."""
    return min(standings, key=STANDINGS.index)


def weakest(codes: Iterable[Code]) -> Code:
    """The code that holds the others back: lowest standing, then water, then dust."""
    return min(
        codes,
        key=lambda code: (
            STANDINGS.index(standing(code)),
            max(credited_digits(code)),
            -1 if code.dust is None else code.dust,
        ),
    )


# ---------------------------------------------------------------- what a label says


def read_code(text: str) -> Code:
    """An ingress-protection code, from a label or as a crew typed it.

    Parameters
    ----------
    text : the codes of one label ("IP65", "ip 65", "66/67", "IP23CS", "none")

    Returns
    -------
    Code, with every repair told

    Raises
    ------
    CodeError
        The text is not an IP code, or could be more than one.
    """
    label = Label(text)
    plain = plain_text(label)
    if plain in NO_CODE:
        note = "no code marked: counted as unprotected"
        return Code(label=text, canonical="IPXX", dust=None, water=(), repairs=(note,))
    return _together(label, markings(label, plain))


def _together(label: Label, found: list[Marking]) -> Code:
    """The label's codes as one: double codes of an enclosure, or two parts of a product."""
    distinct = list(dict.fromkeys(found))
    if len(distinct) < len(found):
        label.repaired("the same code twice read once")
    distinct = _halves_joined(label, distinct)
    waters = {m.water for m in distinct}
    two_parts = _are_two_parts(waters)
    water = tuple(sorted(w for w in waters if w is not None))
    if two_parts:
        water = () if None in waters else water[:1]
        counts = f"the lowest, {water[0]}, counts" if water else "one is not stated, so none counts"
        label.repaired(f"two parts with water digits of their own: {counts}")
    dust = _lowest_dust(label, {m.dust for m in distinct}, two_parts=two_parts)
    return Code(
        label=label.text,
        canonical="/".join(m.canonical for m in distinct),
        dust=dust,
        water=water,
        dust_k=any(m.dust_k for m in distinct if m.dust == dust),
        water_k=any(m.water_k for m in distinct if m.water in water),
        letters=_all_letters(distinct, two_parts=two_parts),
        repairs=tuple(label.repairs),
        two_parts=two_parts,
    )


def _are_two_parts(waters: set[int | None]) -> bool:
    """Whether one enclosure could not carry all these water digits; X is credited as 0."""
    digits = {0 if w is None else w for w in waters}
    up_to_6 = {d for d in digits if d <= 6}
    return (
        len(up_to_6) > 1
        or (min(digits) <= 4 and max(digits) >= 7)
        or (None in waters and len(waters) > 1)
    )


def _halves_joined(label: Label, found: list[Marking]) -> list[Marking]:
    """IP6X/IPX5, where each states what the other leaves out, is IP65 in two halves."""
    if len(found) != 2:
        return found
    solid, wet = sorted(found, key=lambda m: m.dust is None)
    if solid.dust is None or solid.water is not None or wet.dust is not None or wet.water is None:
        return found
    letters = _all_letters(found, two_parts=False)
    joined = Marking(solid.dust, solid.dust_k, wet.water, wet.water_k, letters)
    label.repaired(f"two halves of one code read as {joined.canonical}")
    return [joined]


def _lowest_dust(label: Label, dusts: set[int | None], *, two_parts: bool) -> int | None:
    """The lowest dust digit; X beside a digit is a lack only where it is another part's."""
    stated = {d for d in dusts if d is not None}
    if not stated or (two_parts and None in dusts):
        return None
    lowest = min(stated)
    if len(stated) > 1:
        label.repaired(f"several dust digits: the lowest, {lowest}, counts")
    return lowest


def _all_letters(found: list[Marking], *, two_parts: bool) -> str:
    """Letters of the label; an additional letter of one part says nothing of the other."""
    additional = [c for m in found for c in m.letters if c in ADDITIONAL]
    if two_parts and len(additional) < len(found):
        additional = []
    supplementary = {c for m in found for c in m.letters if c in SUPPLEMENTARY}
    return min(additional, default="") + "".join(sorted(supplementary))
