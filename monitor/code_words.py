"""A code in plain words: what was tested, what it says nothing about, and its standing.

Own wording throughout. The figures are those of exposure model section 5 (IEC 60529, digit 1
and the K forms from memory); the rest is common practice of the trade, without a source.
Nothing here claims that anything conforms.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from monitor.code_marking import ADDITIONAL
from monitor.codes import inferred, standing

if TYPE_CHECKING:
    from monitor.domain import Code, Standing

_DUST = {
    0: "not tested: nothing is kept out",
    1: "keeps out the back of a hand, anything over about 50 mm",
    2: "keeps out a finger, anything over about 12.5 mm; no dust test",
    3: "keeps out a tool, anything over about 2.5 mm; no dust test",
    4: "keeps out wire, anything over about 1 mm; no dust test",
    5: "some dust gets in, not enough to do harm in the test; it still wants cleaning",
    6: "tight to dust in the test; no cleaning inside",
}
_WATER = {
    0: "not tested: counted to first run-off only",
    1: "drips straight down, 1 mm a minute for 10 minutes",
    2: "drips at a lean of 15 degrees to four sides, 3 mm a minute for 10 minutes in all",
    3: "spray up to 60 degrees from straight above, 10 litres a minute for at least 5 minutes",
    4: "spray from every side, 10 litres a minute for at least 5 minutes: "
    "rain for a short time, then take it in and check it",
    5: "a jet of 12.5 litres a minute from every side, about three minutes",
    6: "a strong jet of 100 litres a minute from every side, about three minutes",
    7: "under water to 1 m for 30 minutes",
    8: "under water longer or deeper than 7, as its maker defines: ask for depth and time",
    9: "hot jets of high pressure from close by",
}
_WATER_K = {
    4: "spray from every side, with more pressure than 4; a test for road vehicles",
    6: "strong jets from every side, with more pressure than 6; a test for road vehicles",
    9: "hot jets of high pressure from close by; a test for road vehicles",
}
_LETTERS = {
    "H": "H: for high-voltage gear",
    "M": "M: the water test was made with its moving parts running",
    "S": "S: the water test was made with its moving parts at rest; it says nothing about "
    "rain while a fan or a head moves",
    "W": "W: fit for weather that its maker names: ask which, and with what added protection",
}
_ACCESS = {"A": (1, "a hand"), "B": (2, "a finger"), "C": (3, "a tool"), "D": (4, "a wire")}
_NEVER_TESTED = (
    "It says nothing about age, wear and damage, open connectors, cables, salt or dirty water, "
    "cleaning agents, heat, or the vacuum when warm gear cools: the test is short, on a new "
    "specimen, in fresh water."
)
_STANDING: dict[Standing, str] = {
    "indoor": "indoor: no water test counts, so rain must not reach it",
    "temporary": "temporary: a short time in rain, then cover it or take it in, and check it",
    "extended": "extended: may stay out in rain for days, then an inspection",
    "permanent": "permanent: may stay out, inspected as its maker says",
}


def explain(code: Code, *, strict_immersion: bool = False) -> tuple[str, ...]:
    """Sentences on a code, in the order a reader wants them.

    Parameters
    ----------
    code : as read from the label
    strict_immersion : 7, 8, 9 alone are credited as 4

    Returns
    -------
    One sentence or two a line: dust, each water digit, letters, what is not covered, standing
    """
    credited = standing(code, strict_immersion=strict_immersion)
    return (
        _dust(code),
        *_water(code),
        *_letters(code),
        *_silent_on(code, strict_immersion=strict_immersion),
        f"Standing {_STANDING[credited]}.",
    )


def _dust(code: Code) -> str:
    if code.dust is None:
        return "Dust X: not stated. That is not a pass; it counts as unprotected."
    if code.dust_k:
        return f"Dust {code.dust}K: {_DUST[code.dust]}; a test for road vehicles."
    return f"Dust {code.dust}: {_DUST[code.dust]}."


def _water(code: Code) -> list[str]:
    lines = [_water_digit(code, digit) for digit in code.water]
    if not code.water:
        lines = ["Water X: not stated. That is not a pass; it is counted as 0."]
    if code.two_parts:
        lines.append(
            f"{code.canonical} names two parts of one product: the weaker counts for the whole."
        )
    return lines


def _water_digit(code: Code, digit: int) -> str:
    if re.search(rf"IP[0-6X]K?{digit}K", code.canonical):
        return f"Water {digit}K: {_WATER_K[digit]}."
    return f"Water {digit}: {_WATER[digit]}."


def _letters(code: Code) -> list[str]:
    lines = []
    for letter in code.letters:
        if letter not in ADDITIONAL:
            lines.append(f"Letter {_LETTERS[letter]}.")
            continue
        as_digit, reach = _ACCESS[letter]
        adds = "" if code.dust is None or code.dust < as_digit else "; the first digit says as much"
        lines.append(
            f"Letter {letter}: {reach} reaches no live part{adds}. "
            "It is about people and says nothing about water."
        )
    return lines


def _silent_on(code: Code, *, strict_immersion: bool) -> list[str]:
    highest = max(code.water, default=0)
    lines = [_NEVER_TESTED]
    if 1 <= highest <= 4:
        lines.append("It says nothing about rain that lasts longer than the test's water.")
    if 1 <= highest <= 3:
        lines.append("It holds only as mounted in the test; hung otherwise, it can count for none.")
    if inferred(code):
        lines.append("No 5 or 6 stands beside it, so it says nothing about plain jets and hosing.")
        lines.append(
            "Credited as 4 for rain, as the show asks."
            if strict_immersion
            else "That rain sets no limit is inferred from it; no rain test stands behind."
        )
    if highest >= 5 and not {7, 8} & set(code.water):
        lines.append("It says nothing about standing in water.")
    return lines
