"""Which way up an imported fixture is: as fixtures.csv writes it, and in words.

A drawing knows which way the base faces. What a code was tested as is the maker's to say; it is
taken as standing on the base, as for most lamps, and that is told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.imports.drawn import Ask, Drawn
from monitor.show.values import hyphenated

if TYPE_CHECKING:
    from monitor.imports.answers import Answers

_MOUNTS = {"hung": "inverted", "standing": "upright"}
_ANSWERED = {
    **dict.fromkeys(("hung", "inverted"), "inverted"),
    **dict.fromkeys(("standing", "upright"), "upright"),
    **dict.fromkeys(("any",), "any"),
}


def way_up(fixture: Drawn, north_deg: float | None) -> tuple[dict[str, str], str]:
    """The cells that say how a fixture in a drawing is mounted, and the same in words.

    `north_deg` is the compass bearing of the drawing's +Y.
    """
    stance = fixture.stance
    if stance is None:
        return {}, "which way up is not known"
    if stance.lean_deg is None:
        return {"mount": _MOUNTS[stance.way_up]}, stance.way_up
    cells = {"mount": "tilted", "tilt_deg": f"{stance.tilt_deg:.1f}"}
    lean = f"{'on its side' if stance.way_up == 'side' else 'leaning'}, {stance.tilt_deg:.0f} deg"
    if north_deg is None:
        return cells, f"{lean} off standing"
    # A tenth of a degree short of north is north, not 360.
    facing = round((north_deg + stance.lean_deg) % 360.0, 1) % 360.0
    return {**cells, "facing_deg": f"{facing:.1f}"}, f"{lean} off standing, toward {facing:.0f} deg"


def answered_way_up(
    name: str, fixture: Drawn, answers: Answers, source: str
) -> tuple[dict[str, str], str, Ask | None]:
    """The same of one that has no place in its drawing: as a person says, else it is asked."""
    about = f"fixture {name}"
    said = answers.of("mount", about)
    if said is not None and hyphenated(said) in _ANSWERED:
        return {"mount": _ANSWERED[hyphenated(said)]}, hyphenated(said), None
    if said is not None:
        answers.refuse("mount", about, "no way up.", "Known are: hung, standing, any.")
    ask = Ask(
        "mount",
        about,
        fixture.where,
        "Which way up is it: hung, standing or any? Until it is said, its code counts from below.",
        source,
        needed=False,
    )
    return {}, "which way up is not known", ask
