"""The form in crew words: what it holds of a position, and what a filled one says.

Every field is text as typed. Reading it gathers all that is wrong, each with the field it
stands in; what the show folder itself refuses is told by the folder's own reading.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from monitor.domain import Problem, Roof
from monitor.setup.said import HEIGHTS_M, azimuth_deg, length_m, number, point_of, speed_mps

Fields = Mapping[str, str]
SIDES = ("front", "right", "back", "left")
ACCESSES = ("ground", "ladder", "platform", "climb", "lowered-truss", "none")
HUNG = ("upright", "inverted", "tilted", "any")
TAILS = ("mated", "capped", "open")
INDOORS = "indoors"
NEW_ROOF = "new"

_LENGTH = 'Write a length such as 2.2, "3 steps", "7 ft" or "60 cm".'
_SPEED = 'Write a wind such as 12.5, "45 km/h" or "28 mph".'
_MINUTES = "Write minutes, such as 4 or 1.5."
_COMPASS = "Write a point of the compass such as SW, or degrees from north such as 225."
_TIMES = {
    "setup_minutes": "setup_minutes",
    "cover_minutes": "cover_minutes_each",
    "bring_in_minutes": "bring_in_minutes_each",
}


@dataclass(frozen=True, slots=True)
class Hung:
    """What is said of everything that hangs at a position; None: left as it is."""

    columns: Mapping[str, str] = field(default_factory=dict)
    """Column of fixtures.csv -> its text"""


@dataclass(frozen=True, slots=True)
class Described:
    """A filled form: values for show.toml, and for what hangs there."""

    position: dict[str, Any]
    """Key -> value; None where the key is not to stand in the file"""
    roof: tuple[str, dict[str, Any]] | None
    """A roof to be made, by its id"""
    hung: Hung
    problems: tuple[Problem, ...]


def identifier(name: str, taken: Sequence[str]) -> str:
    """A short name for the file out of what people call it, unlike any that is taken."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    made = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:40].rstrip("-") or "place"
    found, n = made, 1
    while found in taken:
        n += 1
        found = f"{made}-{n}"
    return found


# ---------------------------------------------------------------- the file in the form


def filled(position: Mapping[str, Any]) -> dict[str, str]:
    """The form of a position as show.toml has it; what is left to the usual stays empty."""
    spray = position.get("spray") or {}
    said: dict[str, Any] = {
        "name": position.get("name", position.get("id")),
        "over": "" if position.get("roof") is None else f"roof:{position['roof']}",
        "in_front": position.get("in_from_front_m"),
        "in_side": position.get("in_from_right_m"),
        "side": "right",
        "height": position.get("height_m"),
        "reached": position.get("access"),
        "gust_limit": position.get("access_limit_mps"),
        "people": position.get("people_needed"),
        "tickets": _several(position.get("tickets")),
        "daylight": "yes" if position.get("daylight") else "",
        "isolate_at": position.get("isolate_at"),
        "washdown": position.get("washdown", "none"),
        "washdown_times": _several(position.get("washdown_times")),
        "puddle": position.get("may_flood_m"),
        "spray_height": spray.get("height_m"),
        "spray_distance": spray.get("distance_m"),
        "spray_towards": spray.get("bearing_deg"),
        "spray_litres": spray.get("lost_litres_per_minute"),
        "spray_salt": "yes" if spray.get("salt") else "",
        "spray_times": _several(spray.get("on")),
        **{name: position.get(key) for name, key in _TIMES.items()},
    }
    if position.get("roof") == INDOORS:
        said |= {"over": INDOORS, "in_front": None, "in_side": None}
    return {key: _text(value) for key, value in said.items()}


def roof_filled(roof: Mapping[str, Any]) -> dict[str, str]:
    """The fields of a roof as show.toml has it."""
    closed = roof.get("closed", ())
    closed = [closed] if isinstance(closed, str) else closed
    said = {
        "roof_facing": roof.get("facing_deg"),
        "roof_width": roof.get("width_m"),
        "roof_depth": roof.get("depth_m"),
        "roof_edge": roof.get("edge_height_m"),
        **{f"open_{side}": "" if side in closed else "yes" for side in SIDES},
    }
    return {key: _text(value) for key, value in said.items()}


def _several(values: Any) -> str:
    return values if isinstance(values, str) else ", ".join(str(v) for v in values or ())


def _text(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


# ---------------------------------------------------------------- the form as the file has it


def described(fields: Fields, roofs: Mapping[str, Roof], name: str) -> Described:
    """What a filled form says of the position `name`.

    Parameters
    ----------
    fields : field -> text; an empty field may be left out
    roofs : the show's roofs
    """
    problems: list[Problem] = []
    values: dict[str, Any] = {"name": _needed(fields, "name", "what the crew calls it", problems)}
    values["height_m"] = _height(fields, problems)
    over, roof = fields.get("over", ""), None
    values |= {"roof": None, "in_from_front_m": None, "in_from_right_m": None}
    if over == INDOORS:
        values |= {"roof": INDOORS, "in_from_front_m": 5.0, "in_from_right_m": 5.0}
        if INDOORS not in roofs:
            roof = (INDOORS, _indoors())
    elif over == NEW_ROOF:
        roof = _own_roof(fields, name, [*roofs], problems)
        values["roof"] = roof[0]
        values |= _inset(fields, roof[1].get("width_m"), roof[1].get("depth_m"), problems)
    elif over:
        known = roofs.get(over.removeprefix("roof:"))
        if known is None:
            _wrong(problems, "over", "There is no such roof in the show any more.", "Choose again.")
        else:
            values["roof"] = known.id
            values |= _inset(fields, known.width_m, known.depth_m, problems)
    values["access"] = _one_of(fields, "reached", ACCESSES, "How is it reached?", problems)
    values["access_limit_mps"] = _read(fields, "gust_limit", speed_mps, _SPEED, problems)
    values["people_needed"] = _whole(fields, "people", problems)
    values["tickets"] = _list(fields.get("tickets", ""))
    values["daylight"] = True if fields.get("daylight") else None
    values["isolate_at"] = fields.get("isolate_at", "").strip() or None
    for typed, key in _TIMES.items():
        values[key] = _read(fields, typed, number, _MINUTES, problems)
    washdown = fields.get("washdown", "none")
    values["washdown"] = None if washdown == "none" else washdown
    times = _list(fields.get("washdown_times", ""))
    values["washdown_times"] = None if washdown == "none" else times
    values["may_flood_m"] = _read(fields, "puddle", length_m, _LENGTH, problems)
    values["spray"] = _spray(fields, problems)
    return Described(values, roof, _hung(fields, problems), tuple(problems))


def described_roof(fields: Fields) -> tuple[dict[str, Any], tuple[Problem, ...]]:
    """What the fields of a roof say."""
    problems: list[Problem] = []
    return _roof(fields, problems), tuple(problems)


def _roof(fields: Fields, problems: list[Problem]) -> dict[str, Any]:
    says = {
        "roof_facing": ("facing_deg", azimuth_deg, "which way its front looks", _COMPASS),
        "roof_width": ("width_m", length_m, "how wide it is along its front", _LENGTH),
        "roof_depth": ("depth_m", length_m, "how deep it is from front to back", _LENGTH),
        "roof_edge": ("edge_height_m", length_m, "how high its edge is off the ground", _LENGTH),
    }
    values: dict[str, Any] = {}
    for typed, (key, reader, what, remedy) in says.items():
        if not fields.get(typed, "").strip():
            _wrong(problems, typed, f"Of the roof it is not said {what}.", remedy)
        values[key] = _read(fields, typed, reader, remedy, problems)
    values["closed"] = [side for side in SIDES if not fields.get(f"open_{side}")]
    return values


def _own_roof(
    fields: Fields, name: str, taken: Sequence[str], problems: list[Problem]
) -> tuple[str, dict[str, Any]]:
    return identifier(f"{name} roof", taken), _roof(fields, problems)


def _indoors() -> dict[str, Any]:
    """Closed all round, where no drop gets in: its sizes count for nothing."""
    sizes = {"facing_deg": 0, "width_m": 10, "depth_m": 10, "edge_height_m": 150}
    return {**sizes, "closed": list(SIDES)}


def _inset(
    fields: Fields, width_m: float | None, depth_m: float | None, problems: list[Problem]
) -> dict[str, Any]:
    found = {}
    for typed, key, extent in (
        ("in_front", "in_from_front_m", depth_m),
        ("in_side", "in_from_right_m", width_m),
    ):
        word = fields.get(typed, "").strip().lower()
        if not word:
            edge = "the front edge" if typed == "in_front" else "the side edge"
            says = f"It is not said how far in from {edge} of the roof it hangs."
            _wrong(problems, typed, says, f'{_LENGTH} "middle" is the middle.')
        if word in ("middle", "mitte"):
            found[key] = None if extent is None else extent / 2.0
            continue
        value = _read(fields, typed, length_m, f'{_LENGTH} "middle" is the middle.', problems)
        if typed == "in_side" and fields.get("side") == "left" and None not in (value, extent):
            value = round(float(extent or 0.0) - float(value or 0.0), 3)
        found[key] = value
    return found


def _height(fields: Fields, problems: list[Problem]) -> float | None:
    if fields.get("height", "").strip():
        return _read(fields, "height", length_m, _LENGTH, problems)
    like = fields.get("height_like", "")
    if like in HEIGHTS_M:
        return HEIGHTS_M[like]
    _wrong(problems, "height", "It is not said how far off the ground the base is.", _LENGTH)
    return None


def _spray(fields: Fields, problems: list[Problem]) -> dict[str, Any] | None:
    says = {
        "spray_height": ("height_m", length_m, _LENGTH),
        "spray_distance": ("distance_m", length_m, _LENGTH),
        "spray_towards": ("bearing_deg", azimuth_deg, _COMPASS),
        "spray_litres": ("lost_litres_per_minute", number, "Write litres a minute: 0.5 is a guess"),
    }
    if not any(fields.get(typed, "").strip() for typed in says):
        return None
    values: dict[str, Any] = {}
    for typed, (key, reader, remedy) in says.items():
        if not fields.get(typed, "").strip():
            _wrong(problems, typed, "Of the fountain or surf this is not said.", remedy)
        values[key] = _read(fields, typed, reader, remedy, problems)
    if fields.get("spray_salt"):
        values["salt"] = True
    if times := _list(fields.get("spray_times", "")):
        values["on"] = times
    return values


def _hung(fields: Fields, problems: list[Problem]) -> Hung:
    columns: dict[str, str] = {}
    hung, tails = fields.get("hung", ""), fields.get("tails", "")
    if hung in HUNG:
        columns["mount"] = hung
        columns |= {"tilt_deg": "", "facing_deg": ""}
        if hung == "tilted":
            towards = _read(fields, "hung_towards", azimuth_deg, _COMPASS, problems)
            if towards is None and not fields.get("hung_towards", "").strip():
                says = "It is not said which way the tops of the lamps lean."
                _wrong(problems, "hung_towards", says, _COMPASS)
            columns["tilt_deg"] = "90"
            columns["facing_deg"] = "" if towards is None else f"{towards:g}"
    if tails in TAILS:
        columns["connector_state"] = tails
    return Hung(columns)


# ---------------------------------------------------------------- one field


def _wrong(problems: list[Problem], typed: str, says: str, remedy: str) -> None:
    problems.append(Problem("form", says, remedy, key=typed))


def _needed(fields: Fields, typed: str, what: str, problems: list[Problem]) -> str | None:
    value = " ".join(fields.get(typed, "").split())
    if not value:
        _wrong(problems, typed, f"It is not said {what}.", "Write a name, such as Delay tower A.")
    return value or None


def _read(
    fields: Fields, typed: str, reader: Any, remedy: str, problems: list[Problem]
) -> float | None:
    text = fields.get(typed, "").strip()
    if not text:
        return None
    value: float | None = reader(text)
    if value is None:
        _wrong(problems, typed, f'"{text[:40]}" is not understood here.', remedy)
    return value


def _whole(fields: Fields, typed: str, problems: list[Problem]) -> int | None:
    value = _read(fields, typed, number, "Write a count, such as 2.", problems)
    if value is not None and value != int(value):
        _wrong(problems, typed, f"{value:g} is no count of people.", "Write a count, such as 2.")
        return None
    return None if value is None else int(value)


def _one_of(
    fields: Fields, typed: str, known: Sequence[str], says: str, problems: list[Problem]
) -> str | None:
    value = fields.get(typed, "")
    if value not in known:
        _wrong(problems, typed, says, f"Choose one of: {', '.join(known)}.")
        return None
    return value


def _list(text: str) -> list[str] | None:
    return [part.strip() for part in text.split(",") if part.strip()] or None


def compass(azimuth: float) -> str:
    """`225° (SW)`."""
    return f"{azimuth:g}° ({point_of(azimuth)})"
