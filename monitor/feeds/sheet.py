"""Finding and reading feed sheets: the show's own first, then the built-in ones."""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, get_args

from pydantic import ValidationError

from monitor.builtin import builtin
from monitor.domain import BadInputError, Problem
from monitor.feeds.findings import Finding
from monitor.feeds.sheet_lint import RECORD, findings
from monitor.feeds.sheet_parts import CANONICAL, Sheet, part_at
from monitor.toml_places import Path, line_of, toml_places

if TYPE_CHECKING:
    import pathlib
    from collections.abc import Mapping

_TOML_LINE = re.compile(r"\(at line (\d+)")


def builtin_ids() -> tuple[str, ...]:
    """Ids of the sheets that travel with the program."""
    folder = builtin("sheets")
    return tuple(sorted(f.name[:-5] for f in folder.iterdir() if f.name.endswith(".toml")))


def builtin_sheet(sheet_id: str) -> Sheet:
    """The built-in sheet of that id."""
    return read_sheet(_builtin_text(sheet_id), f"{sheet_id}.toml")


def find_sheet(sheet_id: str, folder: pathlib.Path) -> Sheet:
    """The sheet of that id: the show's own (`folder`/sheets/*.toml) before a built-in one."""
    own: dict[str, pathlib.Path] = {}
    for path in sorted((folder / "sheets").glob("*.toml")):
        own.setdefault(_stated_id(path) or path.stem, path)
    if sheet_id in own:
        path = own[sheet_id]
        return read_sheet(_read(path), f"sheets/{path.name}")
    if sheet_id in builtin_ids():
        return builtin_sheet(sheet_id)
    known = [*own, *builtin_ids(), RECORD]
    near = get_close_matches(sheet_id, known, n=1)
    raise BadInputError(
        [
            Problem(
                "unknown-sheet",
                f"There is no feed sheet {sheet_id!r}.",
                f"Perhaps {near[0]} is meant." if near else f"Known are: {', '.join(known)}.",
                key="feeds.sheet",
            )
        ]
    )


def read_sheet(text: str, name: str) -> Sheet:
    """The sheet in `text`, or BadInputError with every fault and its line in file `name`.

    `extends` names a built-in sheet: its tables are filled in where this one is silent.
    """
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        line = _TOML_LINE.search(str(fault))
        raise BadInputError(
            [
                Problem(
                    "broken-toml",
                    f"{name} is not TOML: {str(fault).split(' (at')[0]}.",
                    "Mend that line.",
                    file=name,
                    line=int(line[1]) if line else None,
                )
            ]
        ) from None
    places = toml_places(text)
    extends = raw.pop("extends", "")
    if extends:
        if extends not in builtin_ids():
            raise _refused(
                [
                    Finding(
                        ("extends",),
                        "unknown-sheet",
                        f"There is no built-in sheet {extends!r} to extend.",
                        "extends takes a built-in sheet and none of the show's own. Known are: "
                        f"{', '.join(builtin_ids())}.",
                    )
                ],
                name,
                places,
            )
        # A sheet that only changes another's host goes by its file's name, not by that one's id.
        raw = _merged({"feed": {"id": name.rsplit("/", 1)[-1].removesuffix(".toml")}}, raw)
        raw = _merged(tomllib.loads(_builtin_text(extends)), raw)
    try:
        sheet = Sheet.model_validate(raw)
    except ValidationError as fault:
        raise _refused(_from_pydantic(fault), name, places) from None
    faults = list(findings(sheet))
    if faults:
        raise _refused(faults, name, places)
    return sheet


def _builtin_text(sheet_id: str) -> str:
    return builtin("sheets", f"{sheet_id}.toml").read_text(encoding="utf-8")


def _read(path: pathlib.Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise BadInputError(
            [
                Problem(
                    "encoding",
                    f"{path.name} is not UTF-8.",
                    "Save it as UTF-8.",
                    file=f"sheets/{path.name}",
                )
            ]
        ) from None


def _stated_id(path: pathlib.Path) -> str | None:
    """The id a sheet gives itself; one that does not read goes by its file's name."""
    try:
        stated = tomllib.loads(_read(path))["feed"]["id"]
    except (tomllib.TOMLDecodeError, BadInputError, KeyError, TypeError, RecursionError):
        return None
    return stated if isinstance(stated, str) else None


def _merged(under: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    both = dict(under)
    for key, value in over.items():
        if isinstance(value, dict) and isinstance(both.get(key), dict):
            both[key] = _merged(both[key], value)
        else:
            both[key] = value
    return both


def _from_pydantic(fault: ValidationError) -> list[Finding]:
    errors = fault.errors()
    misnamed = [e["loc"][:2] for e in errors if e["loc"][-1:] == ("[key]",)]
    # What else is wrong with a variable of unknown name does not matter yet.
    return [_finding(e) for e in errors if e["loc"][:2] not in misnamed or e["loc"][-1] == "[key]"]


def _finding(error: Any) -> Finding:
    path: Path = tuple(p for p in error["loc"] if p != "[key]")
    if path[:2] == ("run", "issued"):
        # Which of its two forms was read is no key of the sheet.
        path = tuple(p for p in path if p not in ("text", "table"))
    key = ".".join(str(p) for p in path)
    kind = error["type"]
    variable = len(path) == 2 and path[0] == "vars" and kind == "literal_error"
    if kind == "extra_forbidden" or variable:
        part = part_at(path)
        names = (
            [str(v) for v in CANONICAL]
            if variable or part is None
            else [field.alias or field_name for field_name, field in part.model_fields.items()]
        )
        near = get_close_matches(str(path[-1]), names, n=1)
        return Finding(
            path,
            "unknown-key",
            f"{key} is not known.",
            f"Perhaps {near[0]} is meant." if near else f"Known are: {', '.join(names)}.",
        )
    if kind == "missing":
        known = _allowed(path)
        remedy = f"Give {path[-1]}, one of {known}." if known else f"Give {path[-1]}."
        return Finding(path, "missing-key", f"{key} is missing.", remedy)
    return Finding(path, "bad-value", f"{key} cannot be read.", f"{_hint(error)}.")


def _allowed(path: Path) -> str:
    """The values that a key can have, where they are few."""
    part = part_at(path)
    field = None if part is None else part.model_fields.get(str(path[-1]))
    values = () if field is None else get_args(field.annotation)
    return ", ".join(values) if values and all(isinstance(v, str) for v in values) else ""


_PATTERNS = {
    "format": "Write iso, unix_s, unix_ms, interval, or strptime: and a pattern of its own",
    "id": "Write it in small letters, digits and hyphens",
}
"""What a value that has to fit a pattern looks like, by its key."""


def _hint(error: Any) -> str:
    if error["type"] == "string_pattern_mismatch" and error["loc"][-1] in _PATTERNS:
        return _PATTERNS[error["loc"][-1]]
    if error["loc"][-1] == "path" and isinstance(error["input"], (list, dict)):
        return (
            "Name one path: several columns, such as percentiles or single members, are no one "
            "series (members go by [members], periods by first_of)"
        )
    hint = str(error["msg"]).removeprefix("Value error, ")
    return hint[:1].upper() + hint[1:]


def _refused(faults: list[Finding], name: str, places: Mapping[Path, int]) -> BadInputError:
    return BadInputError(
        [
            Problem(
                f.code,
                f.says,
                f.remedy,
                file=name,
                line=line_of(places, f.path),
                key=".".join(str(p) for p in f.path),
            )
            for f in faults
        ]
    )
