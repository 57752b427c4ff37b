"""Forms of our own pages: sent from there, by the device they were made for, and small.

Three things must each hold: the browser says that the form was sent from a page of this very
server; the cookie, which it does not send along from elsewhere; and a token in the form that
only a page made for this device has. The token is made of the device's secret, so it ends with
it, and nothing is kept for it here.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, quote, unquote, urlsplit

from monitor.page.words import later
from monitor.web.answers import RefusedError
from monitor.web.posted import FORM, refuse_other_type

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flask import Request

    from monitor.domain import Page

BODY_BYTES = 16 * 1024
"""The largest form that is read."""
_MOST_FIELDS = 30
_LONGEST_WAY = 200
_PORTS = {"http": 80, "https": 443}

_ELSEWHERE = later("This was not sent from the page itself. Open the page and send it there.")
_NO_FORM = later("What was sent is not what this page sends. Load the page again.")
_STALE = later("This page was made before the device was signed in as it is now. Load it again.")


class StaleFormError(RefusedError):
    """A form that was made for another device than the one that sends it."""

    then = "reload"
    """What was said is good; its page is to be loaded again, and the same sent with it."""


def refuse_from_elsewhere(request: Request, page: Page, *, may_lack: bool = False) -> None:
    """RefusedError where the browser says that the form was sent from another page than ours.

    `may_lack`: a browser that says nothing is let through, for a token is looked at as well.
    """
    origin, site = request.headers.get("Origin"), request.headers.get("Sec-Fetch-Site")
    if origin is None and site is None and may_lack:
        return
    ours = own_origins(request, page)
    if site in (None, "same-origin") and origin is not None and _plain(origin) in ours:
        return
    if site == "same-origin" and origin is None:
        return
    if is_secure(page):
        says = f"This was not sent from the page at {page.public_url}. Open it there."
        raise RefusedError(HTTPStatus.FORBIDDEN, says)
    raise RefusedError(HTTPStatus.FORBIDDEN, _ELSEWHERE)


def own_origins(request: Request, page: Page) -> set[str]:
    """Where our own pages may be open: at `public_url`; and, unless that is https, wherever
    this server was asked by this request.
    """
    found = set() if page.public_url is None else {_plain(page.public_url)}
    if not is_secure(page):
        found.add(_plain(f"http://{request.headers.get('Host', '')}"))
    return found - {""}


def is_secure(page: Page) -> bool:
    """Whether the page is reached by https, as the show folder says."""
    return page.public_url is not None and urlsplit(page.public_url).scheme == "https"


def _plain(url: str) -> str:
    """Scheme, host and port alone; empty where there are none."""
    try:
        parts = urlsplit(url)
        port = parts.port or _PORTS[parts.scheme]
    except (ValueError, KeyError):
        return ""
    host = (parts.hostname or "").rstrip(".")
    return f"{parts.scheme}://{host}:{port}" if host else ""


# ---------------------------------------------------------------- the token and the fields


def form_token(secret: str) -> str:
    """What stands as `csrf` in every form made for the device of this secret."""
    return bound(secret, b"form")


def bound(secret: str, said: bytes) -> str:
    """A code over something, which only who knows the device's secret can make."""
    whole = hmac.new(secret.encode("ascii"), said, hashlib.sha256).digest()
    return base64.urlsafe_b64encode(whole).rstrip(b"=").decode("ascii")


def form_fields(
    request: Request, most_bytes: int = BODY_BYTES, most_fields: int = _MOST_FIELDS
) -> dict[str, str]:
    """What was filled in; an empty field was not. RefusedError where it is no form of ours."""
    refuse_other_type(request, FORM)
    request.max_content_length = most_bytes
    try:
        pairs = parse_qsl(
            request.get_data().decode("utf-8"),
            keep_blank_values=False,
            max_num_fields=most_fields,
            errors="strict",
        )
    except ValueError:
        raise RefusedError(HTTPStatus.BAD_REQUEST, _NO_FORM) from None
    return dict(pairs)


def refuse_wrong_token(fields: Mapping[str, str], secret: str) -> None:
    """RefusedError where the form was not made for this device."""
    given = fields.get("csrf", "")
    if not hmac.compare_digest(given.encode(), form_token(secret).encode()):
        raise StaleFormError(HTTPStatus.FORBIDDEN, _STALE)


# ---------------------------------------------------------------- where to come back to


def way_back(asked: str | None) -> str:
    """A path of this server out of what a form asks for; the first page for anything else.

    Only its parts are taken, each written anew: nothing in it can name another server, leave
    the tree, or end the line of a header.
    """
    path, _, mark = (asked or "").partition("#")
    path = unquote(path.partition("?")[0])
    parts = path.split("/")
    if not (
        path.startswith("/")
        and len(path) <= _LONGEST_WAY
        and path.isprintable()
        and "\\" not in path
        and "" not in parts[1:-1]
        and not {".", ".."} & {*parts}
    ):
        return "/"
    found = "/".join(quote(part, safe="") for part in parts)
    return f"{found}#{quote(unquote(mark), safe='')}" if 0 < len(mark) <= _LONGEST_WAY else found
