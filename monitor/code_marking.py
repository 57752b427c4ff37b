"""The markings of one label, read character by character as crews type them.

Tolerant, but never silent: whatever had to be repaired is told, and what cannot be one thing
only is refused with what would be right. The grammar is that of IEC 60529 with the K forms of
ISO 20653, from memory and from exposure model section 5; the standards' texts were not at hand.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple, NoReturn

NO_CODE = frozenset({"NONE", "UNMARKED", "NOT MARKED", "NO CODE", "UNKNOWN"})
"""What crews write for a part without a code, as `plain_text` returns it."""

ADDITIONAL, SUPPLEMENTARY = "ABCD", "HMSW"

_LONGEST = 80
# Characters of other scripts, and signs, that look the same in print.
_LOOK_ALIKE = str.maketrans(
    "\u0406\u0420\u0425\u041e\u0410\u0412\u0421\u041d\u041c\u041a"
    "\u0399\u03a1\u03a7\u039f\u00d7\u2044\u2215"
    "\u2010\u2011\u2012\u2013\u2014\u2015\u2212",
    "IPXOABCHMKIPXOX//-------",
)
_OTHER_SYSTEM = re.compile(r"NEMA|\bTYPE ?[0-9]|\A[34]R?S?X\Z")
_IMPACT = re.compile(r"[\s/,;+&]*\bIK ?[01][0-9]\b[\s/,;+&]*")
_BETWEEN = re.compile(r" ?(?:[/+&,;\\]|\bAND\b) ?| (?=[I1L|] ?P)")
_PREFIX = re.compile(r"([I1L|])[ .]*P[ .:=_-]*")
_BODY = re.compile(r"([0-9XOIL|])(K?)(-?)([0-9XOIL|])(K?)(.*)", re.DOTALL)
_WATER_ONLY = re.compile(r"[789]K?")
_ONE_DIGIT = re.compile(r"([0-9X])K?[ABCDHMSW]?")
_CHOICE = re.compile(r"(?:-|TO|OR)(?=IP|[0-9X]|\Z)")
_DIGITS = str.maketrans("OIL|", "0111")


class CodeError(ValueError):
    """A label that cannot be read as one code: what is wrong, and what would be right."""

    def __init__(self, says: str, remedy: str) -> None:
        self.says = says
        self.remedy = remedy
        super().__init__(f"{says} {remedy}")


class Marking(NamedTuple):
    """One code of a label that may hold several. A digit is None where X stands for it."""

    dust: int | None
    dust_k: bool
    water: int | None
    water_k: bool
    letters: str

    @property
    def canonical(self) -> str:
        """The code in standard form."""
        digits = _canonical(self.dust, self.water, dust_k=self.dust_k, water_k=self.water_k)
        return digits + self.letters


class Label:
    """A label while it is read: what was typed, and the repairs made so far."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.repairs: list[str] = []

    def repaired(self, note: str) -> None:
        """Tell a repair, once."""
        if note not in self.repairs:
            self.repairs.append(note)

    def refuse(self, why: str, remedy: str) -> NoReturn:
        """Give up, naming the text so that it prints on one line of any terminal."""
        shown = self.text if len(self.text) <= 40 else f"{self.text[:37]}..."
        shown = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in shown)
        raise CodeError(f'"{shown}" {why}', remedy)


def plain_text(label: Label) -> str:
    """The text in capitals, in plain characters, with nothing around it."""
    if len(label.text) > _LONGEST:
        label.refuse("is too long for a code.", "Write the code alone, such as IP65.")
    normal = unicodedata.normalize("NFKC", label.text)
    normal = "".join(c for c in normal if unicodedata.category(c) != "Cf")
    # Look-alikes after capitals: a small Cyrillic er becomes the capital that looks like a P.
    capitals = normal.upper().translate(_LOOK_ALIKE)
    spaced = " ".join(capitals.split())
    bare = spaced.strip(" .,;:()[]\"'")
    if not bare:
        label.refuse(
            "holds no code.",
            'Write the code on the label, such as IP65, or "none" where none is marked.',
        )
    if bare in NO_CODE:
        return bare
    if normal != label.text or capitals != normal.upper():
        label.repaired("unusual characters read as plain ones")
    if normal.upper() != normal.replace("l", "L"):  # a small l is told where it stands
        label.repaired("small letters read as capitals")
    if spaced != capitals:
        label.repaired("spaces left out")
    if bare != spaced:
        label.repaired("stops, brackets or quotes around it left out")
    return bare


def markings(label: Label, plain: str) -> list[Marking]:
    """Every code of the label, in its order, from what `plain_text` returned."""
    plain = _without_other_systems(label, plain)
    pieces = _BETWEEN.split(plain)
    if len(pieces) > 1 + plain.count("/"):
        label.repaired("what stands between the codes read as /")
    found: list[Marking] = []
    for piece in pieces:
        found.append(_marking(label, piece, found))
    return found


def _without_other_systems(label: Label, plain: str) -> str:
    """The text without an impact code beside it; other systems are refused."""
    if _OTHER_SYSTEM.search(plain):
        label.refuse(
            "is a type of another system, which has no exact equal here.",
            "Write the IP code from the same label, with the letters IP, "
            'or "none" where there is none.',
        )
    rest = _IMPACT.sub(" ", plain).strip()
    if not rest or re.fullmatch(r"IK ?[0-9]*", rest):
        label.refuse(
            "is an impact code; it says nothing about water or dust.",
            "Write the IP code from the same label, such as IP65.",
        )
    if rest != plain:
        label.repaired("the impact code (IK) left out: it says nothing about water")
    return rest


def _marking(label: Label, piece: str, before: list[Marking]) -> Marking:
    """One code of the label; `before` holds those to its left."""
    prefix = _PREFIX.match(piece)
    body = piece
    if prefix is not None:
        _tell_prefix(label, prefix)
        body = piece[prefix.end() :]
    if " " in body:
        label.repaired("spaces or signs inside the code left out")
        body = body.replace(" ", "")
    if before and prefix is None and _WATER_ONLY.fullmatch(body):
        last = before[-1]
        marking = Marking(last.dust, last.dust_k, *_water(label, last.dust, body), "")
    else:
        marking = _parsed(label, body, prefixed=prefix is not None)
    if prefix is None:
        place = f"{body} after the first code" if before else "no IP in front:"
        label.repaired(f"{place} read as {marking.canonical}")
    return marking


def _tell_prefix(label: Label, prefix: re.Match[str]) -> None:
    if prefix[1] != "I":
        label.repaired(f"{_as_typed(label, prefix[1])} in front of P read as the letter I")
    if prefix[0][1:] != "P":
        label.repaired("spaces or signs inside the code left out")


def _parsed(label: Label, body: str, *, prefixed: bool) -> Marking:
    """The digits and letters after IP, or of a code typed without it."""
    match = _BODY.fullmatch(body)
    if match is None or not _is_no_word(match, prefixed=prefixed):
        _refuse_body(label, body, prefixed=prefixed)
    first, first_k, hyphen, second, second_k, letters = match.groups()
    if hyphen:
        label.repaired("spaces or signs inside the code left out")
    first, second = _as_digit(label, first), _as_digit(label, second)
    if first in "789":
        swapped = f" Write IP{second}{first} if the label has it so." if second in "123456X" else ""
        label.refuse(
            f"begins with {first}; a first digit is 0 to 6, or X where not stated.",
            f"Read the label again: dust is the first digit, water the second.{swapped}",
        )
    dust = None if first == "X" else int(first)
    if first_k and dust not in (5, 6):
        label.refuse(
            f"puts a K after {first}; as first digit only 5K and 6K exist.",
            f"Write IP{first}{second}{second_k} if that is on the label.",
        )
    water, water_k = _water(label, dust, second + second_k)
    plain = _canonical(dust, water, dust_k=bool(first_k), water_k=water_k)
    return Marking(dust, bool(first_k), water, water_k, _letters(label, plain, letters))


def _canonical(
    dust: int | None, water: int | None, *, dust_k: bool = False, water_k: bool = False
) -> str:
    first = "X" if dust is None else str(dust)
    second = "X" if water is None else str(water)
    return f"IP{first}{'K' * dust_k}{second}{'K' * water_k}"


def _as_typed(label: Label, capital: str) -> str:
    """A look-alike as it was typed: a small l is told as such."""
    if capital == "1":
        return "the digit 1"
    if capital == "|":
        return "the sign |"
    return f"the letter {'l' if capital == 'L' and 'l' in label.text else capital}"


def _as_digit(label: Label, sign: str) -> str:
    digit = sign.translate(_DIGITS)
    if digit != sign:
        label.repaired(f"{_as_typed(label, sign)} read as the digit {digit}")
    return digit


def _is_no_word(match: re.Match[str], *, prefixed: bool) -> bool:
    """Whether it must be a code: "OL", "XL" and a date such as 6-5 need not be."""
    sure = "0123456789X" if prefixed else "0123456789"
    return (match[1] in sure or match[4] in sure) and (prefixed or not match[3])


def _water(label: Label, dust: int | None, second: str) -> tuple[int | None, bool]:
    """The second digit, and whether it has a K."""
    water = None if second[0] == "X" else int(second[0])
    has_k = second.endswith("K")
    if has_k and water not in (4, 6, 9):
        plain, steam = _canonical(dust, water), _canonical(dust, 9, water_k=True)
        label.refuse(
            f"puts a K after {second[0]}; as second digit only 4K, 6K and 9K exist.",
            f"Write {plain}, or {steam}, whichever is on the label.",
        )
    return water, has_k


def _letters(label: Label, plain: str, letters: str) -> str:
    """Additional letter first, supplementary ones in the order of the alphabet."""
    if letters[:1].isdigit():
        label.refuse(
            "has more than two digits; a third was for impact, in an older style.",
            "Write the digits for dust and water alone, such as IP65; "
            "two codes of one label are written IP66/IP67.",
        )
    if _CHOICE.match(letters):
        label.refuse(
            "is a range or a choice, not a code.",
            f"Write {plain}, or every code that is on the label with / between them.",
        )
    if letters.strip(ADDITIONAL + SUPPLEMENTARY):
        label.refuse("has text after the code.", f"Write {plain} if that is on the label.")
    if len(set(letters) & set(ADDITIONAL)) > 1:
        label.refuse(
            "has more than one of the letters A, B, C and D.",
            f"Write {plain} and the one that is on the label.",
        )
    ordered = "".join(sorted(set(letters)))
    if ordered != letters:
        label.repaired(f"letters {letters} read as {ordered}")
    return ordered


def _refuse_body(label: Label, body: str, *, prefixed: bool) -> NoReturn:
    """Say what is wrong with something that is no code."""
    if one := _ONE_DIGIT.fullmatch(body):
        digit = one[1]
        remedy = f"Write IP{digit}X if it is for dust, IPX{digit} if it is for water."
        if digit == "X":
            remedy = 'Write both, such as IPX4, or "none" where no code is marked.'
        elif digit in "789":
            remedy = f"Write IPX{digit} if only water is stated."
        if body.endswith("S"):
            remedy += " If the S is a 5, write 5."
        label.refuse("has one digit; a code has two.", remedy)
    if not body:
        label.refuse(
            "has no digits." if prefixed else "has a code missing beside the sign.",
            "Write both digits of each code, with X for one that is not stated.",
        )
    label.refuse(
        "is not an IP code.",
        "Write it as on the label, such as IP65, IPX4 or IP66/IP67, "
        'or "none" where no code is marked.',
    )
