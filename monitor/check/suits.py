"""Whether a code suits its position: what its tests do not cover of what happens there.

Judged by part of the chain, for hosing, spray and standing water reach plug and supply as they
reach the lamp. Needing a cover is no fault: that is what gear for temporary use is for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.codes import STANDINGS, credited_digits, standing
from monitor.exposure.credit import credit
from monitor.exposure.rig import OPEN_TAIL

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from monitor.domain import Code, Fixture, Part, Policy, Position, Show
    from monitor.exposure.rig import Kind

_TESTED_TO_DEG = {1: 5, 2: 15, 3: 60}
"""The lean of the enclosure to which each digit's test reaches (exposure model section 5)."""
_WIDE_OPENINGS = frozenset({0, 1, 2})
"""Dust digits of gear with openings over 2.5 mm."""
_SLANT_DEG = 45.0
"""From the vertical: how rain falls in the open in a fresh wind, drops falling about as fast as
it blows, 5 to 6 m/s (judgement).
"""
_ONE_METRE = 1.0
"""The depth of the test behind a 7 [m]."""
_UNMARKED = "IPXX"


def unsuited(fixture: Fixture, kind: Kind, show: Show) -> tuple[str, ...]:
    """Why a fixture's codes do not suit where and how it hangs; empty where they do.

    Parameters
    ----------
    fixture : a row of the show
    kind : the exposure it shares, as `compile_rig` sorted it
    show : the show it is of
    """
    parts = kind.codes(connector_open=kind.connector_open)
    position = show.positions[fixture.position]
    return (
        *_unmarked(parts),
        *_open_tail(kind, parts),
        *_nothing_over_it(kind, parts, show.policy),
        *_hung(kind, show.policy),
        *_hosed(position, kind, parts, show.policy),
        *_sprayed(position, parts, show.policy),
        *_standing_in_water(fixture, position, parts, show.policy),
    )


def stands_in_water(fixture: Fixture, position: Position) -> float | None:
    """The depth of water that may stand about a fixture [m]; None where it stays above.

    A position that may flood floods for everything there, plugs on the ground too, but for a
    row whose own height_m says that it sits higher.
    """
    depth = position.may_flood_m
    if not depth or (fixture.height_m is not None and fixture.height_m > depth):
        return None
    return depth


def named(parts: Mapping[Part, Code], chosen: list[Part]) -> str:
    """Parts with their codes: "its IP65 and its connector, IP44,"."""
    said = [
        f"its {parts[part].canonical}"
        if part == "fixture"
        else f"its {part} ({parts[part].canonical})"
        for part in chosen
    ]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


def _unmarked(parts: Mapping[Part, Code]) -> Iterator[str]:
    for part, code in parts.items():
        if code.canonical == _UNMARKED and code is not OPEN_TAIL:
            whose = "" if part == "fixture" else f" on its {part}"
            yield (
                f"No code is marked{whose}: it counts as unprotected, against dust and water alike."
            )


def _open_tail(kind: Kind, parts: Mapping[Part, Code]) -> Iterator[str]:
    """An open connector matters where it is what holds the chain back."""
    if not kind.connector_open:
        return
    code = parts["connector"]
    rest = [standing(c) for part, c in parts.items() if part != "connector"]
    if STANDINGS.index(standing(code)) < min(map(STANDINGS.index, rest)):
        counts = "unprotected" if code is OPEN_TAIL else code.canonical
        yield f"Its connector is open and counts as {counts} until it is capped."


def _nothing_over_it(kind: Kind, parts: Mapping[Part, Code], policy: Policy) -> Iterator[str]:
    cover = kind.cover
    covered = (
        cover is not None and cover.in_stock > 0 and (cover.sealed or bool(cover.keeps_out_to_deg))
    )
    if kind.place.spot is not None or covered:
        return
    if kind.standing != "indoor":
        yield from _slanting(kind, policy)
        return
    if kind.stated_mm is not None and kind.weakest_part() == "fixture":
        return
    weak = [part for part, code in parts.items() if standing(code) == "indoor"]
    yield (
        f"Indoor gear with nothing over it, no roof and no cover: {named(parts, weak)} "
        f"counts as spent after {policy.run_off_mm:g} mm of rain."
    )


def _slanting(kind: Kind, policy: Policy) -> Iterator[str]:
    """A 1 or 2 that hangs upright holds in rain from above; in the open it comes from the side."""
    if kind.stated_mm is not None or kind.mount != "upright":
        return
    highest = max(credited_digits(kind.code, strict_immersion=policy.strict_immersion))
    earned = credit(kind.code, kind.condition, policy, surface_m2=kind.surface_m2)
    if highest in _TESTED_TO_DEG and float(earned.at(_SLANT_DEG)) <= policy.run_off_mm:
        yield (
            f"Nothing over it, no roof and no cover: against rain that slants by {_SLANT_DEG:g} "
            f"degrees, as it does in a fresh wind, its {highest} counts as unprotected, spent "
            f"after {policy.run_off_mm:g} mm."
        )


def _hung(kind: Kind, policy: Policy) -> Iterator[str]:
    if kind.mount == "inverted" and kind.code.dust in _WIDE_OPENINGS:
        yield "Hung inverted, its openings face up: water, dust and dirt drop straight in."
    if kind.stated_mm is not None:
        return
    highest = max(credited_digits(kind.code, strict_immersion=policy.strict_immersion))
    if highest not in _TESTED_TO_DEG:
        return
    angle = kind.tilt_deg if kind.mount == "tilted" else 0.0 if kind.mount == "upright" else 180.0
    earned = credit(kind.code, kind.condition, policy, surface_m2=kind.surface_m2)
    full, left = float(earned.at(0.0)), float(earned.at(angle))
    if left >= full:
        return
    how = {
        "any": "Mount any (it pans and tilts, or is not known)",
        "inverted": "Hung inverted",
    }.get(kind.mount, f"Leaning {kind.tilt_deg:g} degrees")
    yield (
        f"{how}, its {highest} counts for less, tested as it is to a lean of "
        f"{_TESTED_TO_DEG[highest]} degrees: {left:.2g} mm of rain instead of {full:g} mm."
    )


def _hosed(
    position: Position, kind: Kind, parts: Mapping[Part, Code], policy: Policy
) -> Iterator[str]:
    kinds = {position.washdown, *(one.kind for one in kind.place.washed)}
    if not kinds & {"low", "high"}:
        return
    washdown = "high" if "high" in kinds else "low"
    needed = 6 if washdown == "high" else 5
    lacking = _without(parts, needed, policy)
    if lacking:
        alone = " 7, 8 or 9 alone is no test with plain jets." * _any_alone(parts, lacking)
        yield (
            f"Hosed down here (washdown {washdown}), which asks for a water digit of "
            f"{needed}{' or 6' * (needed == 5)}: {named(parts, lacking)} "
            f"{'has' if len(lacking) == 1 else 'have'} none.{alone}"
        )


def _sprayed(position: Position, parts: Mapping[Part, Code], policy: Policy) -> Iterator[str]:
    if position.spray is None:
        return
    under_water = [part for part, code in parts.items() if set(code.water) & {7, 8}]
    lacking = [part for part in _without(parts, 5, policy) if part in under_water]
    if lacking and position.washdown == "none":
        yield (
            f"Water is thrown at it here: {named(parts, lacking)} "
            f"{'was' if len(lacking) == 1 else 'were'} tested under water, "
            "not with spray or jets. IP65/IP67 or IP66/IP67 says both."
        )
    if position.spray.salt:
        yield (
            "Salt water is thrown here, and no digit was tested with it: any allowance counts "
            f"x {policy.salt_factor:g}. Rinse with fresh water only what has a 5 or more."
        )


def _standing_in_water(
    fixture: Fixture, position: Position, parts: Mapping[Part, Code], policy: Policy
) -> Iterator[str]:
    depth = stands_in_water(fixture, position)
    if depth is None:
        return
    needed = 7 if depth <= _ONE_METRE else 8
    lacking = _without(parts, needed, policy)
    if lacking:
        asks = "7" if needed == 7 else "8, and its maker's word on depth and time"
        yield (
            f"May stand in {depth:g} m of water, which asks for a water digit of {asks}: "
            f"{named(parts, lacking)} {'has' if len(lacking) == 1 else 'have'} none."
        )


def _without(parts: Mapping[Part, Code], digit: int, policy: Policy) -> list[Part]:
    """Parts not credited with a digit. For standing water `strict_immersion` is no matter:
    it is about rain.
    """
    strict = policy.strict_immersion and digit < 7
    return [
        part
        for part, code in parts.items()
        if digit not in credited_digits(code, strict_immersion=strict)
    ]


def _any_alone(parts: Mapping[Part, Code], lacking: list[Part]) -> bool:
    return any(max(parts[part].water, default=0) >= 7 for part in lacking)
