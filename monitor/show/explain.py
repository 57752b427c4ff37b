"""A model's complaint about show.toml as sentences: what is wrong, what would be right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import available_timezones

from monitor.show.nearest import meant, suggestion
from monitor.show.settings import LISTED_SECTIONS, PLAIN_SECTIONS, model_at

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydantic import BaseModel, ValidationError
    from pydantic_core import ErrorDetails

    from monitor.show.findings import Findings
    from monitor.toml_places import Path

_UNIT_WORDS = {
    "mps": "metres per second",
    "mm": "millimetres",
    "deg": "degrees",
    "m": "metres",
    "m2": "square metres",
    "h": "millimetres per hour",
    "c": "degrees Celsius",
    "minutes": "minutes",
    "hours": "hours",
    "each": "minutes",
    "days": "days",
}
_QUIET_SECTIONS = frozenset({"feeds", "contacts"})
"""Where a secret may stand by mistake: no value from there is ever repeated."""

_SHOWN_LENGTH = 40


def explain(fault: ValidationError, findings: Findings) -> None:
    """Every complaint as a problem; a misspelt key is not reported missing as well."""
    errors = fault.errors(include_url=False, include_input=False)
    spelt: set[Path] = set()
    for error in errors:
        if error["type"] == "extra_forbidden":
            path = tuple(error["loc"])
            near = meant(str(path[-1]), keys_of(model_at(path)))
            if near is not None:
                spelt.add((*path[:-1], near))
    for error in errors:
        path = tuple(error["loc"])
        if not (error["type"] == "missing" and path in spelt):
            findings.refuse(path, *_sentence(error, path, findings))


def keys_of(model: type[BaseModel]) -> list[str]:
    """The keys of a table as they are written in the file."""
    return [field.alias or name for name, field in model.model_fields.items()]


_PLAIN: dict[str, tuple[str, str, str]] = {
    "whole": ("bad-number", "is not a whole number", "Write a whole number."),
    "id": (
        "bad-id",
        "cannot be used as an id",
        "Use letters, digits, hyphens and points, at most 60, beginning with a letter.",
    ),
    "bool_type": ("bad-value", "is neither true nor false", "Write true or false."),
    "bool_parsing": ("bad-value", "is neither true nor false", "Write true or false."),
    "stamp": ("bad-time", "is not a day and a time", 'Write it like "2027-07-15T13:00".'),
    "model_type": ("bad-value", "is not a set of keys", "Write it like { height_m = 3.0, ... }."),
    "empty": ("bad-text", "is empty", "Write a text in quotes, or leave the key out."),
    "line": ("bad-text", "is not one line of text", "At most 200 letters on one line."),
    "text": ("bad-text", "is not a text", 'Write it in quotes: "like this".'),
}
"""Fault -> code, what the key is, remedy; where neither value nor key matters."""


def _sentence(error: ErrorDetails, path: Path, findings: Findings) -> tuple[str, str, str]:
    key = str(next((step for step in reversed(path) if isinstance(step, str)), ""))
    subject = _subject(path, key, findings)
    kind = error["type"]
    if kind == "extra_forbidden":
        return _unknown(path, key, findings)
    if kind in {"missing", "format"}:
        return _missing(path, key, subject, kind)
    if kind in _PLAIN and len(path) > 1:
        code, what, remedy = _PLAIN[kind]
        return code, f"{subject} {what}.", remedy
    if kind in {"number", "range", "choice", "zone"}:
        return _bad_value(error, path, subject, findings)
    return _wrong_shape(path, key, subject)


def _bad_value(
    error: ErrorDetails, path: Path, subject: str, findings: Findings
) -> tuple[str, str, str]:
    """A value that is not what the key takes; the value is shown where that is harmless."""
    value, shown = findings.value(path), _shown(path, findings)
    unit = _in_unit(str(path[-1]))
    context: Mapping[str, Any] = error.get("ctx", {})
    match error["type"]:
        case "number":
            code, what = "bad-number", f"is {shown}, not a number" if shown else "is not a number"
            remedy = f"Write the number alone, with a point{unit}."
        case "range":
            code, what = "out-of-range", f"is {shown}" if shown else "is out of range"
            remedy = f"It must be {context['range']}{unit}."
        case "choice":
            code, what = "unknown-choice", f"is {shown}" if shown else "is none of the known words"
            remedy = suggestion(value if isinstance(value, str) else "", context["names"])
        case _:
            code, what = "unknown-timezone", f"is {shown or 'given'}, which is not a time zone"
            near = meant(value, sorted(available_timezones())) if isinstance(value, str) else None
            remedy = f"Perhaps {near} is meant." if near else 'Write a name like "Europe/London".'
    return code, f"{subject} {what}.", remedy


def _subject(path: Path, key: str, findings: Findings) -> str:
    if len(path) == 1:
        return f"[{key}]" if key in PLAIN_SECTIONS else key
    if len(path) == 2 and isinstance(path[1], int):
        return f"The {_entry(path)}"
    within = next((f"{part} of " for part in ("spray", "puddle") if part in path[:-1]), "")
    return f"{key} of {within}{findings.owner(path)}"


def _entry(path: Path) -> str:
    return f"entry {int(path[1]) + 1} of [[{path[0]}]]"


def _unknown(path: Path, key: str, findings: Findings) -> tuple[str, str, str]:
    keys = keys_of(model_at(path))
    if len(path) == 1:
        sections = [f"[[{k}]]" if k in LISTED_SECTIONS else f"[{k}]" for k in keys]
        near = meant(key, keys)
        return (
            "unknown-key",
            f"{key} is not a section or key of a show.",
            f"Perhaps {sections[keys.index(near)]} is meant."
            if near
            else f"Known are: {', '.join(sections)}.",
        )
    return (
        "unknown-key",
        f"{findings.owner(path)} has a key {key}, which is not known.",
        suggestion(key, keys),
    )


def _missing(path: Path, key: str, subject: str, kind: str) -> tuple[str, str, str]:
    if key == "format":
        says = "format is missing." if kind == "missing" else "format is not 1."
        return (
            "missing-key" if kind == "missing" else "format",
            says,
            "Write format = 1 at the top.",
        )
    model = model_at(path)
    field = next((f for n, f in model.model_fields.items() if (f.alias or n) == key), None)
    hint = (field.description if field is not None else None) or "it must be given"
    return "missing-key", f"{subject} is missing.", f"Give {key}: {hint}."


def _wrong_shape(path: Path, key: str, subject: str) -> tuple[str, str, str]:
    if len(path) == 1 and key in LISTED_SECTIONS:
        return (
            "bad-value",
            f"{key} is not a list.",
            f"Head each of them with [[{key}]], in two pairs of brackets.",
        )
    if len(path) == 1 and key in PLAIN_SECTIONS:
        return "bad-value", f"{key} is not a section.", f"Head it with [{key}]."
    return "bad-value", f"{subject} cannot be read.", "A starter show has an example of its form."


def _shown(path: Path, findings: Findings) -> str | None:
    """The value, where no secret can be."""
    value = findings.value(path)
    if path[0] in _QUIET_SECTIONS or not isinstance(value, str | int | float):
        return None
    if isinstance(value, bool):
        return str(value).lower()
    text = " ".join(str(value).split())
    return f'"{text[:_SHOWN_LENGTH]}"' if isinstance(value, str) else text[:_SHOWN_LENGTH]


def _in_unit(key: str) -> str:
    words = _UNIT_WORDS.get(key.rpartition("_")[2])
    return f", in {words}" if words else ""
