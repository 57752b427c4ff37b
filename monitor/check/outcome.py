"""What a check found of every fixture, and its JSON."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.check.suits import named, stands_in_water, unsuited
from monitor.code_words import explain
from monitor.codes import STANDINGS, inferred, no_rain_limit, standing
from monitor.exposure.rig import OPEN_TAIL, compile_rig, part_credits
from monitor.planning.dark import Feeding

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from monitor.domain import Fixture, Part, Problem, Show, Standing
    from monitor.exposure.rig import Kind
    from monitor.planning.dark import Dark

SCHEMA = "dryspell.check/1"


@dataclass(frozen=True, slots=True)
class Checked:
    """One row of fixtures.csv as understood.

    `allowance_mm` is what straight-down rain may bring onto the fixture itself, the maker's
    statement where there is one; None: rain sets no limit. `standing` is the chain's.
    `notes` are to be known and leave it suited. `lost` is what is dark without it.
    """

    fixture: Fixture
    standing: Standing
    allowance_mm: float | None
    unsuited: tuple[str, ...]
    notes: tuple[str, ...]
    lost: Dark | None = None


def check(show: Show) -> tuple[Checked, ...]:
    """Every fixture of a show, in the order of its rows."""
    rig = compile_rig(show)
    known: dict[tuple[int, float | None], tuple[tuple[str, ...], tuple[str, ...]]] = {}
    allowances = [kind.allowance_mm("fixture", show.policy) for kind in rig.kinds]
    found, feeding = [], Feeding.of(show)
    for fixture, index in zip(show.fixtures, rig.kind_of.tolist(), strict=True):
        kind = rig.kinds[index]
        # Beside its kind only its own height counts here: standing water may not reach it.
        key = (index, fixture.height_m)
        if key not in known:
            known[key] = unsuited(fixture, kind, show), tuple(_notes(fixture, kind, show))
        lost = feeding.dark(fixture)
        found.append(Checked(fixture, kind.standing, allowances[index], *known[key], lost))
    return tuple(found)


def as_json(
    checked: Sequence[Checked], show: Show, problems: Iterable[Problem] = ()
) -> dict[str, Any]:
    """The check JSON; `problems` are what the reading told, each with "refused" false."""
    strict = show.policy.strict_immersion
    return {
        "schema": SCHEMA,
        "fixtures": [_fixture_json(one) for one in checked],
        "problems": [_problem_json(problem) for problem in problems],
        "codes": {
            code.canonical: list(explain(code, strict_immersion=strict))
            for code in (one.fixture.code for one in checked)
        },
    }


def refused_json(problems: Iterable[Problem]) -> dict[str, Any]:
    """The check JSON of a folder that cannot be used: its problems and nothing else."""
    return {
        "schema": SCHEMA,
        "fixtures": [],
        "problems": [_problem_json(problem) for problem in problems],
    }


def _fixture_json(one: Checked) -> dict[str, Any]:
    code = one.fixture.code
    return {
        "id": one.fixture.id,
        "label": code.label,
        "code": code.canonical,
        "dust": code.dust,
        "water": list(code.water),
        "unstated": list(code.unstated),
        "dust_k": code.dust_k,
        "water_k": code.water_k,
        "letters": code.letters,
        "standing": one.standing,
        "allowance_mm": one.allowance_mm,
        "inferred": inferred(code),
        "repairs": list(code.repairs),
        "unsuited": list(one.unsuited),
        "position": one.fixture.position,
        "notes": list(one.notes),
        "dark_without_it": [] if one.lost is None else [f.id for f in one.lost.fixtures],
    }


def _problem_json(problem: Problem) -> dict[str, Any]:
    return {
        "code": problem.code,
        "file": problem.file,
        "line": problem.line,
        "key": problem.key,
        "says": problem.says,
        "remedy": problem.remedy,
        "refused": problem.refused,
    }


def _notes(fixture: Fixture, kind: Kind, show: Show) -> Iterator[str]:
    parts = kind.codes(connector_open=kind.connector_open)
    strict = show.policy.strict_immersion
    own = standing(kind.code, strict_immersion=strict)
    if STANDINGS.index(kind.standing) < STANDINGS.index(own):
        weak = [
            part
            for part, code in parts.items()
            if standing(code, strict_immersion=strict) == kind.standing
        ]
        says = named(parts, weak)
        left = min(_part_allowances(kind, show, weak))
        yield (
            f"{says[:1].upper()}{says[1:]} make{'s' * (len(weak) == 1)} the chain {kind.standing}"
            + ("." if math.isinf(left) else f", good for {left:g} mm.")
        )
    yield from _at_load_in(kind, show)
    if kind.stated_mm is not None:
        yield f"Its maker's own statement, {kind.stated_mm:g} mm, counts instead of its code."
    elif max(kind.code.water, default=0) >= 5 and not no_rain_limit(
        kind.code, kind.condition, strict_immersion=strict
    ):
        why = "is worn" if kind.condition == "worn" else "stands on 7, 8 or 9 alone"
        yield f"It {why}, so it is credited as a 4."
    if "S" in kind.code.letters:
        yield "S: the water test was made with its moving parts at rest."
    depth = stands_in_water(fixture, show.positions[fixture.position])
    if depth is not None and 8 in kind.code.water and kind.under_water is not None:
        metres, hours = kind.under_water
        so_long = "for good" if math.isinf(hours) else f"for {hours:g} h"
        if depth > metres:
            yield (
                f"May stand in {depth:g} m of water: its maker allows {metres:g} m {so_long}. "
                "Deeper counts as spent at once."
            )
        elif not math.isinf(hours):
            yield f"May stand in {depth:g} m of water, which its maker allows {so_long}."
    elif depth is not None and 8 in kind.code.water:
        yield f"May stand in {depth:g} m of water: 8 is as its maker says; ask for depth and time."
    elif depth is not None and 7 in kind.code.water and depth <= 1.0:
        yield f"May stand in {depth:g} m of water: the test behind 7 lasts 30 minutes."


def _at_load_in(kind: Kind, show: Show) -> Iterator[str]:
    """What an open connector makes of it until load-in ends."""
    rigged = show.event.load_in_ends_at
    if rigged is None or not kind.loose_at_load_in or kind.connector_open:
        return
    if STANDINGS.index(kind.unmated.standing) < STANDINGS.index(kind.mated.standing):
        code = kind.codes(connector_open=True)["connector"]
        counts = "unprotected" if code is OPEN_TAIL else code.canonical
        until = f"{rigged.astimezone(show.site.timezone):%Y-%m-%d %H:%M}"
        yield (
            f"Load-in to {until}: its connector counts as open, {counts}, until it is logged "
            f"capped; so long it is {kind.unmated.standing}."
        )


def _part_allowances(kind: Kind, show: Show, chosen: list[Part]) -> list[float]:
    """What plug and supply allow, which may lie any way up [mm]."""
    earned = part_credits(kind, show.policy, connector_open=kind.connector_open, salt=False)
    return [float(earned[part].at(180.0)) for part in chosen]
