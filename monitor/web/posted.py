"""What was posted: its type, its JSON, and its fields held against what is asked for."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from monitor.domain import BadInputError, Problem
from monitor.feeds.strict_json import parse_json
from monitor.show.nearest import suggestion
from monitor.store.typed import as_typed
from monitor.web.answers import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from flask import Request

JSON = "application/json"
FORM = "application/x-www-form-urlencoded"

LONGEST_TEXT = 1000
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{7,63}", re.ASCII)
"""Long enough that two senders who count do not meet."""


def json_body(request: Request) -> Any:
    """The body as JSON; RefusedError where it is none, or says that it is none."""
    refuse_other_type(request, JSON)
    try:
        return parse_json(request.get_data())
    except ValueError as fault:
        raise RefusedError(
            HTTPStatus.BAD_REQUEST, f"The body cannot be read as JSON: {_plain(fault)}."
        ) from None


def refuse_other_type(request: Request, wanted: str, *, may_lack: bool = False) -> None:
    """Refuse a body of another type, or one that is packed: its size would not be known."""
    packed = request.headers.get("Content-Encoding", "").strip().lower()
    if packed not in ("", "identity"):
        raise RefusedError(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Send the body as it is, without Content-Encoding."
        )
    if request.mimetype != wanted and not (may_lack and not request.mimetype):
        raise RefusedError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"Send it as Content-Type: {wanted}.")


def texts(
    data: Any, needs: Sequence[str], may: Sequence[str], problems: list[Problem]
) -> dict[str, str]:
    """The fields of an object, each a text; what is wrong goes to `problems`. Null: not given."""
    if not isinstance(data, dict):
        raise BadInputError(
            [
                Problem(
                    "not-an-object",
                    "The body is not one object.",
                    f"Send one, with {', '.join(needs)}.",
                )
            ]
        )
    known = (*needs, *may)
    found: dict[str, str] = {}
    for key, value in data.items():
        if key not in known:
            problems.append(
                Problem(
                    "unknown-key",
                    f"{key[:40]!r} is not known here.",
                    suggestion(key, known),
                    key=key[:40],
                )
            )
        elif isinstance(value, str) and _is_plain(line := " ".join(value.split())):
            found[key] = line
        elif value is not None:
            says, remedy = f"{key} is not a text.", "Write it in quotes."
            if isinstance(value, str):
                says = f"{key} is empty, too long or holds unprintable characters."
                remedy = f"Give up to {LONGEST_TEXT} characters, or leave it out."
            problems.append(Problem("bad-text", says, remedy, key=key))
    given = {p.key for p in problems}
    problems += [
        Problem("missing-key", f"{key} is missing.", f"Give {key}.", key=key)
        for key in needs
        if key not in found and key not in given
    ]
    return found


def noted(fields: Mapping[str, str]) -> dict[str, str]:
    """Fields of a form, the note as it was typed on a phone; one that shows nothing is none."""
    note = as_typed(fields.get("note", ""))
    others = {key: value for key, value in fields.items() if key != "note"}
    return {**others, "note": note} if note else others


def one_of(
    fields: Mapping[str, str], key: str, choices: Iterable[str], problems: list[Problem]
) -> None:
    """Refuse a value that is none of `choices`."""
    value, known = fields.get(key), list(choices)
    if value is not None and value not in known:
        says = f"{key} is {value[:40]!r}."
        problems.append(Problem("unknown-value", says, suggestion(value[:40], known), key=key))


def sender_id(fields: Mapping[str, str], problems: list[Problem]) -> None:
    """Refuse an id that two senders might make."""
    value = fields.get("id")
    if value is not None and _ID.fullmatch(value) is None:
        problems.append(
            Problem(
                "bad-id",
                "id is not 8 to 64 letters, digits, dots, colons, hyphens and underscores.",
                "Make a new one for each thing said, such as a random UUID; send the same again "
                "under the same.",
                key="id",
            )
        )


def _is_plain(text: str) -> bool:
    """One line that every log, mail and database takes."""
    return 0 < len(text) <= LONGEST_TEXT and text.isprintable()


def _plain(fault: ValueError) -> str:
    said = str(fault)
    return "a number in it is too long" if "integer string" in said else said
