"""The rig as distinct exposures: what must be computed once, however many fixtures share it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.codes import standing, standing_of_chain
from monitor.domain import (
    Code,
    Condition,
    Cover,
    Fixture,
    Mount,
    Part,
    Policy,
    Position,
    Show,
    Spray,
    Standing,
    Terrain,
    Washdown,
)
from monitor.exposure.credit import Credit, credit
from monitor.exposure.puddle import Dip
from monitor.exposure.shelter import Spot
from monitor.exposure.washing import washdowns_at
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE

PARTS: tuple[Part, ...] = ("fixture", "supply", "connector")

# What counts for a connector left open whose open code nobody gave (common practice: an open
# tail is an indoor part).
OPEN_TAIL = Code(label="open tail", canonical="IPXX", dust=None, water=())


class Place(NamedTuple):
    """Where a fixture hangs, as far as weather can tell."""

    height_m: float
    terrain: Terrain
    spot: Spot | None
    spray: Spray | None
    washed: tuple[Washdown, ...] = ()
    dip: Dip | None = None


class Chain(NamedTuple):
    """What the weakest part of a chain comes to, in one state of its connector."""

    standing: Standing
    damp_counts: bool
    dust: int | None


@dataclass(frozen=True, slots=True)
class Kind:
    """One distinct exposure: fixtures that differ in nothing the weather could tell."""

    position: str
    place: Place
    mount: Mount
    tilt_deg: float
    facing_deg: float
    code: Code
    supply_code: Code | None
    connector_code: Code | None
    connector_open_code: Code | None
    connector_open: bool
    """At put-out: a tail is open and not capped."""
    loose_at_load_in: bool
    """It has a connector that is not capped, which counts as open until load-in ends."""
    condition: Condition
    surface_m2: float
    stated_mm: float | None
    under_water: tuple[float, float] | None
    """The maker's word on an 8: depth [m] and hours"""
    wet_hours_limit: float | None
    """The maker's clock, or the house rule for temporary gear."""
    cover: Cover | None
    mated: Chain
    unmated: Chain
    earlier: tuple[tuple[float, Kind | None], ...] = ()
    """What it was under earlier revisions of the show folder, each with the moment it ceased
    to be in force; None: it was not in the files
    """

    def chain(self, *, connector_open: bool) -> Chain:
        """Standing, damp and dust with the connector open or not."""
        return self.unmated if connector_open else self.mated

    @property
    def standing(self) -> Standing:
        """At put-out."""
        return self.chain(connector_open=self.connector_open).standing

    @property
    def damp_counts(self) -> bool:
        """At put-out."""
        return self.chain(connector_open=self.connector_open).damp_counts

    @property
    def dust(self) -> int | None:
        """At put-out."""
        return self.chain(connector_open=self.connector_open).dust

    def codes(self, *, connector_open: bool) -> dict[Part, Code]:
        """The code each part counts with now."""
        parts: dict[Part, Code] = {"fixture": self.code}
        if self.supply_code is not None:
            parts["supply"] = self.supply_code
        if connector_open:
            parts["connector"] = self.connector_open_code or OPEN_TAIL
        elif self.connector_code is not None:
            parts["connector"] = self.connector_code
        return parts

    def weakest_part(self) -> Part:
        """The part of lowest standing at put-out; the fixture itself at a tie."""
        order: tuple[Standing, ...] = ("indoor", "temporary", "extended", "permanent")
        parts = self.codes(connector_open=self.connector_open)
        return min(parts, key=lambda part: order.index(standing(parts[part])))

    def allowance_mm(
        self, part: Part, policy: Policy, *, connector_open: bool | None = None
    ) -> float | None:
        """Nominal allowance of a part times its condition, at angle 0 from its tested up.

        None: no limit from rain.
        """
        salt = self.place.spray is not None and self.place.spray.salt
        is_open = self.connector_open if connector_open is None else connector_open
        credited = part_credits(self, policy, connector_open=is_open, salt=salt)
        limit = float(credited[part].at(0.0)) if part in credited else np.inf
        return None if np.isinf(limit) else limit


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """A show compiled once per revision; everything after costs by kind, not by fixture."""

    show: Show
    kinds: tuple[Kind, ...]
    kind_of: NDArray[np.intp]
    """(fixture,) index into `kinds`, in the order of show.fixtures"""
    index_of: Mapping[str, int]
    """fixture id -> its place in show.fixtures"""


def place_of(position: Position, show: Show, fixture: Fixture | None = None) -> Place:
    """The place of a position, or of one fixture that hangs off its position's figures."""

    def own(name: str) -> float | None:
        value: float | None = None if fixture is None else getattr(fixture, name)
        usual: float | None = getattr(position, name)
        return usual if value is None else value

    height = own("height_m")
    assert height is not None
    front, right = own("in_from_front_m"), own("in_from_right_m")
    spot = None
    if position.roof is not None and front is not None and right is not None:
        roof = show.roofs[position.roof]
        spot = Spot(roof, front, right, roof.edge_height_m - height)
    washed, dip = washdowns_at(position, show), None
    if position.puddle is not None:
        # Plugs lie on the ground, unless a row says that it sits higher.
        base = 0.0 if fixture is None or fixture.height_m is None else fixture.height_m
        dip = Dip(position.id, position.puddle, base)
    return Place(height, position.terrain or show.site.terrain, spot, position.spray, washed, dip)


def _chain(codes: list[Code], strict_immersion: bool) -> Chain:
    dust = [c.dust for c in codes]
    return Chain(
        standing_of_chain([standing(c, strict_immersion=strict_immersion) for c in codes]),
        any(max(c.water, default=0) <= 4 for c in codes),
        None if None in dust else min(d for d in dust if d is not None),
    )


def _kind(fixture: Fixture, show: Show) -> Kind:
    fixed = [c for c in (fixture.code, fixture.supply_code) if c is not None]
    connector = [] if fixture.connector_code is None else [fixture.connector_code]
    is_open = fixture.connector_state == "open"
    strict = show.policy.strict_immersion
    mated = _chain([*fixed, *connector], strict)
    unmated = _chain([*fixed, fixture.connector_open_code or OPEN_TAIL], strict)
    clocks = [fixture.stated_hours_in_rain]
    if (unmated if is_open else mated).standing == "temporary":
        clocks.append(show.policy.temporary_wet_hours)
    tilted = fixture.mount == "tilted" and fixture.facing_deg is not None
    return Kind(
        position=fixture.position,
        place=place_of(show.positions[fixture.position], show, fixture),
        mount="any" if fixture.mount == "tilted" and not tilted else fixture.mount,
        tilt_deg=float(fixture.tilt_deg or 0.0) if tilted else 0.0,
        facing_deg=float(fixture.facing_deg or 0.0) if tilted else 0.0,
        code=fixture.code,
        supply_code=fixture.supply_code,
        connector_code=fixture.connector_code,
        connector_open_code=fixture.connector_open_code,
        connector_open=is_open,
        loose_at_load_in=fixture.connector_state != "capped"
        and not (fixture.connector_code is None and fixture.connector_open_code is None),
        condition=fixture.condition,
        surface_m2=fixture.surface_m2,
        stated_mm=fixture.stated_mm,
        under_water=_under_water(fixture),
        wet_hours_limit=min((c for c in clocks if c is not None), default=None),
        cover=None if fixture.cover is None else show.covers[fixture.cover],
        mated=mated,
        unmated=unmated,
    )


def _under_water(fixture: Fixture) -> tuple[float, float] | None:
    if fixture.immersion_m is None:
        return None
    minutes = fixture.immersion_minutes
    return (
        fixture.immersion_m,
        np.inf if minutes is None else minutes * SECONDS_PER_MINUTE / SECONDS_PER_HOUR,
    )


def compile_rig(show: Show, earlier: Sequence[tuple[Show, float]] = ()) -> Rig:
    """Sort the fixtures of a show into distinct exposures.

    Parameters
    ----------
    show : as the files stand
    earlier : revisions before it in their order, each with the moment (seconds) it ceased to
        be in force; history goes by the one that was

    Notes
    -----
    Of an earlier revision the rig counts: where and how fixtures hung, their codes, covers and
    roofs. Policy and site are those of now throughout.
    """
    then = [
        ({f.id: _kind(f, replace(old, policy=show.policy)) for f in old.fixtures}, until_s)
        for old, until_s in earlier
    ]
    seen: dict[Kind, int] = {}
    kind_of = np.empty(len(show.fixtures), dtype=np.intp)
    index_of: dict[str, int] = {}
    for i, fixture in enumerate(show.fixtures):
        kind = _kind(fixture, show)
        if then:
            past = tuple((until_s, kinds.get(fixture.id)) for kinds, until_s in then)
            if any(old != kind for _, old in past):
                kind = replace(kind, earlier=past)
        kind_of[i] = seen.setdefault(kind, len(seen))
        index_of[fixture.id] = i
    return Rig(show, tuple(seen), kind_of, index_of)


@cache
def part_credits(
    kind: Kind, policy: Policy, *, connector_open: bool, salt: bool
) -> dict[Part, Credit]:
    """What each part of the chain is credited with, in its present state."""
    return {
        part: credit(
            code,
            kind.condition,
            policy,
            surface_m2=kind.surface_m2,
            salt=salt,
            stated_mm=kind.stated_mm if part == "fixture" else None,
        )
        for part, code in kind.codes(connector_open=connector_open).items()
    }
