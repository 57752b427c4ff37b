"""What the server sends back: JSON, or a problem as RFC 9457 has it with every fault named."""

from __future__ import annotations

import json
import logging
import secrets
import traceback
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from flask import Response
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from monitor.domain import BadInputError, DryspellError, UnableError
from monitor.page.words import later

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from monitor.domain import Problem

BODY_BYTES = 64 * 1024
"""The largest body that is read."""

PROBLEM_JSON = "application/problem+json"

_MOST_TOLD = 100
"""Of one request; its answer must not grow to many times its size."""

_AGAIN_S = 5
"""When to try again after the database was busy or the disk full [s]."""

_log = logging.getLogger(__name__)


class RefusedError(DryspellError):
    """A request that is answered with a problem and nothing else."""

    def __init__(
        self,
        status: HTTPStatus,
        detail: str,
        *,
        problems: Iterable[Problem] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.status, self.detail, self.problems = status, detail, tuple(problems)
        self.headers = dict(headers or {})
        super().__init__(detail)


def json_answer(data: Any, status: HTTPStatus = HTTPStatus.OK) -> Response:
    """`data` as JSON."""
    return Response(_text(data), status, mimetype="application/json")


def problem_body(
    status: HTTPStatus, detail: str, problems: Iterable[Problem] = (), **more: str
) -> str:
    """The JSON of a problem. `type` is left at about:blank, so the title is the status's own."""
    data: dict[str, Any] = {
        "type": "about:blank",
        "title": status.phrase,
        "status": int(status),
        "detail": detail,
        **more,
    }
    told = [{"code": p.code, "key": p.key, "says": p.says, "remedy": p.remedy} for p in problems]
    if told:
        data["problems"] = told
    return _text(data)


def fault_answer(fault: Exception) -> Response:
    """Any exception as the answer to the request that raised it; never a traceback."""
    match fault:
        case RefusedError():
            return _problem(fault.status, fault.detail, fault.problems, fault.headers)
        case BadInputError():
            return _bad_input(fault)
        case RequestEntityTooLarge():
            return _problem(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, TOO_LARGE)
        case HTTPException():
            return _http(fault)
        case UnableError():
            # What it says may hold paths of this machine: it goes to the log.
            reference = _reference()
            _log.error("%s: %s", reference, fault)
            return _problem(
                HTTPStatus.SERVICE_UNAVAILABLE,
                BUSY,
                headers={"Retry-After": str(_AGAIN_S)},
                reference=reference,
            )
        case _:
            reference = _reference()
            _log.error("%s: %s", reference, _where(fault))
            return _problem(HTTPStatus.INTERNAL_SERVER_ERROR, OWN_FAULT, reference=reference)


BUSY = later("Nothing was kept: the database cannot be used just now. Send it again.")
OWN_FAULT = later("A fault of the monitor. It stands in its log under the reference.")
TOO_LARGE = f"The body is larger than {BODY_BYTES // 1024} kB. Send less at a time."

_CONFLICTS = ("id-used", "log-key-used", "reading-conflict")
"""What stands against something that is kept already."""

_SAYS = {
    HTTPStatus.NOT_FOUND: later("There is nothing at this address."),
    HTTPStatus.METHOD_NOT_ALLOWED: "This address does not take this method.",
}


def _bad_input(fault: BadInputError) -> Response:
    used = any(p.code in _CONFLICTS for p in fault.problems)
    status = HTTPStatus.CONFLICT if used else HTTPStatus.UNPROCESSABLE_ENTITY
    count = len(fault.problems)
    detail = (
        "Nothing was kept: 1 thing is wrong."
        if count == 1
        else (f"Nothing was kept: {count} things are wrong.")
    )
    return _problem(status, detail, fault.problems[:_MOST_TOLD])


def _http(fault: HTTPException) -> Response:
    """What the framework refused. Its own text may repeat the address, and a token in it."""
    try:
        status = HTTPStatus(fault.code or 500)
    except ValueError:
        status = HTTPStatus.BAD_REQUEST
    allowed = dict(fault.get_headers()).get("Allow")
    headers = {} if allowed is None else {"Allow": allowed}
    return _problem(status, _SAYS.get(status, "This request cannot be read."), headers=headers)


def _problem(
    status: HTTPStatus,
    detail: str,
    problems: Iterable[Problem] = (),
    headers: Mapping[str, str] | None = None,
    **more: str,
) -> Response:
    return Response(
        problem_body(status, detail, problems, **more),
        status,
        headers,
        mimetype=PROBLEM_JSON,
    )


def _reference() -> str:
    return secrets.token_hex(4)


def _where(fault: BaseException) -> str:
    """What kind of fault and where: its own words may hold what was sent."""
    frames = traceback.extract_tb(fault.__traceback__)
    way = " < ".join(
        f"{frame.filename.replace(chr(92), '/').rsplit('/', 2)[-1]}:{frame.lineno} {frame.name}"
        for frame in reversed(frames[-8:])
    )
    return f"{type(fault).__name__} at {way}"


def _text(data: Any) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"
