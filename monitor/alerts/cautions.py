"""The cautions said with every message about work.

In our own words; each is one idea. A message carries the ones its action and its access
call for, life before equipment, and then any that came with the alert itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.words import one_line

if TYPE_CHECKING:
    from monitor.domain import Alert

ESTIMATE = (
    "These are estimates from forecasts, not measurements. No message is not permission. "
    "The competent person on site decides; law, local rules, the maker's instructions and "
    "the structure's papers come first."
)
CODES = (
    "A code on a label tells of a short test on a new, whole, correctly mounted unit with "
    "fresh water. Age, damage, cables, open connectors, heat or another mounting can void it. "
    "Under the allowance is no promise; over it is no prediction."
)
WET_AND_LIVE = (
    "Wet and live: keep off. Isolate, lock and prove dead, by somebody authorised, before "
    "touching wet gear. Dry and test it before power returns. Never defeat or keep resetting "
    "a residual-current device."
)
LIGHTNING = (
    "Thunder heard or lightning seen: stop, come down, shelter in a building or a hard-top "
    "vehicle. Tents and stage roofs are no shelter. Wait 30 min from the last. This monitor "
    "does not detect lightning."
)
HEIGHT = (
    "At height: never past the wind limit of the equipment, on wet ladders, alone, or in "
    "failing light without lighting. Gusts aloft are stronger than at the ground."
)
BELOW = "Nothing is lifted or lowered with people below."
COVERS = (
    "Covers add wind load: none on a truss, roof or tower unless its papers allow. Under a "
    "cover a fixture is off, cooled and parked unless its maker says otherwise: fire and fan."
)
BEFORE_LIGHTING_UP = "Covers come off before lighting up."
ESCAPE_LIGHT = "Escape and work lighting stay alive when power is cut."
FOUL_WATER = (
    "Salt, dirty or flood water, or a unit that stood under water outside its code: no power. "
    "Set it apart and tag it."
)
STRUCTURES = (
    "Wind on structures, landing and leaving follow the structure's own plan and its "
    "responsible person, never this monitor."
)
POOLS = (
    "Pools, fountains and the sea have electrical rules of their own: only the electrician "
    "responsible for the installation works there."
)
GENERATORS = "Batteries and generators have rules of their own: wet feet, fuel, fumes."
ANSWERS = "An answer means a message was read, not that the work is done."
THREE_THINGS = (
    "Rain over, work at height again and power on again are three things. This monitor tells "
    "only the first; people on site declare the other two."
)


def said_with(alert: Alert) -> tuple[str, ...]:
    """Every caution of `alert`, each once, life before equipment."""
    lines = _standing(alert) if alert.kind in {"work", "stop"} else [ESTIMATE]
    for own in alert.cautions:
        line = one_line(own)
        if line and line not in lines:
            lines.append(line)
    return tuple(lines)


def _standing(alert: Alert) -> list[str]:
    access = alert.facts.access
    lines = [LIGHTNING, WET_AND_LIVE]
    if alert.stage == "stood-down":
        lines.append(THREE_THINGS)
    if access not in {"ground", "none"}:
        # an access that is not told is treated as height
        lines.append(HEIGHT)
    if access == "lowered-truss":
        lines.append(BELOW)
    if alert.kind == "stop":
        lines.append(STRUCTURES)
    elif alert.action == "cover":
        lines += [COVERS, BEFORE_LIGHTING_UP]
    elif alert.action == "uncover":
        lines.append(BEFORE_LIGHTING_UP)
    elif alert.action == "inspect":
        lines.append(FOUL_WATER)
    lines += [ESCAPE_LIGHT, ANSWERS, CODES, ESTIMATE]
    return lines
