"""A check as lines for the screen: by position, what hangs there and what is wrong with it."""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import TYPE_CHECKING

from monitor.code_words import explain
from monitor.codes import STANDINGS
from monitor.planning.dark import Feeding

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from monitor.check.outcome import Checked
    from monitor.domain import Code, Position, Show

WIDTH = 80
_WHAT = 25
_CODE = 14
_LEGEND = (
    "A line says how many, what, its code, the standing of its chain, and the rain its code "
    "allows it from straight above."
)
_NO_CODE = "IPXX"
_IDS = 4
"""Ids named of a group; a longer one is cut in the middle."""


def story(checked: Sequence[Checked], show: Show) -> list[str]:
    """Lines at most 80 characters wide: positions, what is dark without which part, the codes in
    words, the count.
    """
    lines = [_heading(show), *_wrapped(_LEGEND), ""]
    for position in show.positions.values():
        here = [one for one in checked if one.fixture.position == position.id]
        lines += [*_position(position, show), *_table(here), ""]
    lines += [*_dark(checked, show)]
    lines += [*_codes(checked, show), ""]
    lines += _wrapped(_closing(checked))
    return lines


def wrapped_note(text: str) -> str:
    """A note on how the files were read, wrapped to the same width."""
    return "\n".join(_wrapped(text, hang=2))


def _heading(show: Show) -> str:
    pieces = sum(fixture.count for fixture in show.fixtures)
    name = textwrap.shorten(show.site.name, 40, placeholder="...")
    return f"{name}: {_many(pieces, 'fixture')} at {_many(len(show.positions), 'position')}."


def _position(position: Position, show: Show) -> Iterator[str]:
    facts = [f"{position.height_m:g} m high"]
    if position.roof is not None:
        roof = show.roofs[position.roof]
        inset = position.in_from_front_m
        facts.append(
            f"under roof {roof.id}" + ("" if inset is None else f", {inset:g} m in from its front")
        )
    else:
        facts.append("open sky")
    if position.washdown != "none":
        facts.append(f"washdown {position.washdown}")
    if any(w.kind == "sprinkler" and position.id in w.positions for w in show.washdowns):
        facts.append("sprinklers")
    if position.spray is not None:
        facts.append("salt spray" if position.spray.salt else "spray")
    if position.may_flood_m:
        facts.append(f"may flood {position.may_flood_m:g} m")
    if position.puddle is not None:
        facts.append(
            f"a puddle of {position.puddle.gathers:g} mm for each of rain, half gone in "
            f"{position.puddle.half_gone_hours:g} h"
        )
    yield from _wrapped(f"{position.name} ({position.id}): {', '.join(facts)}", hang=2)


def _table(here: Sequence[Checked]) -> Iterator[str]:
    """One line for all that are alike, and under it what there is to say."""
    if not here:
        yield "  nothing hangs here"
    groups: dict[tuple[object, ...], list[Checked]] = {}
    for one in here:
        groups.setdefault(_alike(one), []).append(one)
    for group in groups.values():
        first = group[0]
        count = sum(one.fixture.count for one in group)
        what = textwrap.shorten(_what(first) or _ids(group), _WHAT, placeholder="...")
        limit = "no limit" if first.allowance_mm is None else f"{first.allowance_mm:g} mm"
        yield (
            f"  {count:4d}  {what:<{_WHAT}} {_code(first.fixture.code):<{_CODE}} "
            f"{first.standing:<9} {limit:>9}"
        ).rstrip()
        if first.unsuited:
            yield from _wrapped(f"Unsuited: {_ids(group)}", lead="      ! ", hang=8)
        for sentence in first.unsuited:
            yield from _wrapped(sentence, lead="        ", hang=8)
        for sentence in first.notes:
            yield from _wrapped(sentence, lead="        ", hang=8)


def _alike(one: Checked) -> tuple[object, ...]:
    code = one.fixture.code.canonical
    return _what(one), code, one.standing, one.allowance_mm, one.unsuited, one.notes


def _what(one: Checked) -> str | None:
    """What a crew calls it; rows without a name are alike, and go by their ids."""
    return one.fixture.name or one.fixture.type


def _code(code: Code) -> str:
    return "no code" if code.canonical == _NO_CODE else code.canonical


def _ids(group: Sequence[Checked]) -> str:
    ids = [one.fixture.id for one in group]
    if len(ids) <= _IDS:
        return ", ".join(ids)
    return f"{', '.join(ids[: _IDS - 2])}, ... {ids[-1]} ({len(ids)} rows)"


def _dark(checked: Sequence[Checked], show: Show) -> Iterator[str]:
    """Every part that feeds others: the weakest chain first, then what costs most light."""
    feeding = Feeding.of(show)
    parts = [(one, one.lost) for one in checked if one.lost is not None]
    if not parts:
        return
    yield "What is dark if a part fails"
    for one, lost in sorted(parts, key=lambda p: (STANDINGS.index(p[0].standing), -p[1].pieces)):
        where = show.positions[one.fixture.position]
        yield from _wrapped(
            f"{one.fixture.id} ({_code(one.fixture.code)}, {one.standing}, {where.name}): "
            f"{_many(lost.pieces, 'fixture')}, {feeding.at_places(lost)}.",
            lead="  ",
            hang=4,
        )
    yield ""


def _codes(checked: Sequence[Checked], show: Show) -> Iterator[str]:
    """Each code once in plain words; what is true of every code is said once, at the end."""
    strict = show.policy.strict_immersion
    words = {
        one.fixture.code.canonical: explain(one.fixture.code, strict_immersion=strict)
        for one in checked
    }
    said_of = Counter(sentence for sentences in words.values() for sentence in set(sentences))
    of_all = [s for s, times in said_of.items() if len(words) > 1 and times == len(words)]
    yield "The codes as understood"
    for code in sorted(words):
        yield f"  {'no code' if code == _NO_CODE else code}"
        for sentence in words[code]:
            if sentence not in of_all:
                yield from _wrapped(sentence, lead="    ", hang=6)
    for sentence in of_all:
        yield from _wrapped(f"Of every code: {sentence}", lead="  ", hang=4)


def _closing(checked: Sequence[Checked]) -> str:
    bad = sum(bool(one.unsuited) for one in checked)
    if not bad:
        return "Every row suits its position, as far as its code can say."
    return f"{_many(bad, 'row')} of {len(checked)} do{'es' * (bad == 1)} not suit the position."


def _many(count: int, noun: str) -> str:
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def _wrapped(text: str, *, lead: str = "", hang: int = 0) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * hang, break_on_hyphens=False
    )
