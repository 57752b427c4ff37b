"""Who is asking: the token in the Authorization header, or in a gateway's address."""

from __future__ import annotations

import math
from http import HTTPStatus
from typing import TYPE_CHECKING

from monitor.store.tokens import holder_of
from monitor.web.answers import RefusedError
from monitor.web.limits import neighbourhood

if TYPE_CHECKING:
    from flask import Request
    from sqlite_utils import Database

    from monitor.store.tokens import Holder
    from monitor.web.place import Place

_REALM = 'Bearer realm="dryspell"'


def bearer(db: Database, place: Place, request: Request) -> Holder:
    """Whose token stands in the header; RefusedError where it is nobody's, or used too often."""
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    if not token:
        return _refuse(place, request, "This needs a token, as: Authorization: Bearer TOKEN.")
    if scheme.lower() != "bearer":
        return _refuse(place, request, "The Authorization header must begin with Bearer.")
    return named_by(db, place, request, token.strip())


def named_by(db: Database, place: Place, request: Request, token: str) -> Holder:
    """Whose this token is; the same refusals."""
    holder = holder_of(db, token)
    if holder is None:
        return _refuse(
            place, request, "This token is not known or was withdrawn.", ', error="invalid_token"'
        )
    wait = place.posts.wait_s(holder.name)
    if wait:
        raise RefusedError(
            HTTPStatus.TOO_MANY_REQUESTS,
            "This token is used too often. Send several readings at a time.",
            headers=after(wait),
        )
    return holder


def _refuse(place: Place, request: Request, says: str, error: str = "") -> Holder:
    refuse_stranger(place, request)
    raise RefusedError(HTTPStatus.UNAUTHORIZED, says, headers={"WWW-Authenticate": _REALM + error})


def refuse_stranger(place: Place, request: Request) -> None:
    """Count one wrong token or link; RefusedError where too many have come from there.

    What it came with was looked at first: however many wrong ones come from an address, a
    right one from there is let in. Only what fails is counted.
    """
    wait = place.failures.wait_s(neighbourhood(request.remote_addr))
    if wait:
        raise RefusedError(
            HTTPStatus.TOO_MANY_REQUESTS,
            "Too many requests without a right token or link from this address.",
            headers=after(wait),
        )


def after(seconds: float) -> dict[str, str]:
    """When to try again."""
    return {"Retry-After": str(max(1, math.ceil(seconds)))}
