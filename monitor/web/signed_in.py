"""Who looks at the duty page: the device's cookie, what it may do, and what it was just told.

The cookie holds the secret that the device was given when it came in, and nothing else; what
it may do is looked up at every request, so that a link that is withdrawn opens nothing from
then on, also on a page that is open already.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, replace
from functools import wraps
from http import HTTPStatus
from typing import TYPE_CHECKING, Concatenate, ParamSpec

from flask import Response, request

from monitor.page.kept import sentences
from monitor.page.times import Times
from monitor.page.viewer import Viewer
from monitor.page.words import later
from monitor.store.devices import device_of, show_mark, was_in
from monitor.web.answers import RefusedError
from monitor.web.bearer import after, refuse_stranger
from monitor.web.kept_cookie import kept_of, without_kept
from monitor.web.liking import as_liked
from monitor.web.own_forms import (
    form_fields,
    form_token,
    is_secure,
    refuse_from_elsewhere,
    refuse_wrong_token,
)
from monitor.web.plain_pages import on_a_page

if TYPE_CHECKING:
    from collections.abc import Callable

    from flask import Request
    from sqlite_utils import Database

    from monitor.domain import Page
    from monitor.store.devices import Device, Role
    from monitor.web.place import Place

P = ParamSpec("P")
EVERYBODY: tuple[Role, ...] = ("guest", "crew", "chief")
MAY_SAY: tuple[Role, ...] = ("crew", "chief")
"""Who logs, answers and declares."""

_OUR_PORT = "8036"
"""What `listen` has where nothing else is set."""

MAX_AGE_S = 400 * 24 * 3600
"""As long as browsers keep a cookie at most."""

_NOT_IN = later(
    "This device is not signed in, or its link was withdrawn. Ask the crew chief for a link and "
    "open it on this device."
)
_TOO_OFTEN = later("This device asks too often. Wait a moment.")
_MAY_NOT = later(
    "This device came in by a link that may not do this. Ask the crew chief for another."
)


@dataclass(frozen=True, slots=True)
class In:
    """A device that is in, and its secret as the cookie holds it."""

    device: Device
    secret: str
    show: str
    """Stands for the show that it is in"""


def cookie_name(page: Page) -> str:
    """Over https the name itself keeps a neighbouring host from setting it; over http one for
    each port but ours, for browsers hold what a machine's ports set for one.
    """
    if is_secure(page):
        return "__Host-duty"
    port = page.listen.rpartition(":")[2]
    return "duty" if port in (_OUR_PORT, "0") else f"duty-{port}"


def device_in(place: Place, db: Database, request: Request) -> In:
    """The device that asks; RefusedError where it is none, or is out, or asks too often."""
    secret = request.cookies.get(cookie_name(place.show.page), "")
    device = device_of(db, secret)
    if device is None:
        if secret and not was_in(db, secret):
            refuse_stranger(place, request)
        raise _not_in()
    wait = place.posts.wait_s(f"device/{device.id}")
    if wait:
        raise RefusedError(HTTPStatus.TOO_MANY_REQUESTS, _TOO_OFTEN, headers=after(wait))
    return In(device, secret, show_mark(db))


def still_in(db: Database, found: In) -> In:
    """The same device, looked up again where nothing can come between; withdrawn meanwhile, it
    is refused.
    """
    device = device_of(db, found.secret)
    if device is None:
        raise _not_in()
    return replace(found, device=device)


def may_be_in(place: Place, db: Database, request: Request) -> In | None:
    """The device that asks, if it is in; for the pages that anybody sees."""
    secret = request.cookies.get(cookie_name(place.show.page), "")
    device = device_of(db, secret)
    return None if device is None else In(device, secret, show_mark(db))


def viewer_of(place: Place, found: In | None, request: Request) -> Viewer:
    """Who looks, as the templates take it; nobody: a guest without a name or a form."""
    if found is None:
        return as_liked(place, Viewer("", new_id=_new_id), request)
    device, csrf = found.device, form_token(found.secret)
    viewer = Viewer(device.name, device.role, csrf, new_id=_new_id, show=found.show)
    viewer = as_liked(place, viewer, request)
    kept = kept_of(request, found.secret)
    if kept is None:
        return viewer
    times = Times(place.show.site.timezone, place.clock(), viewer.words)
    return replace(viewer, kept=sentences(kept, place.show, times))


def refuse_role(device: Device, roles: tuple[Role, ...]) -> None:
    """RefusedError where the device came by a link of another role."""
    if device.role not in roles:
        raise RefusedError(HTTPStatus.FORBIDDEN, _MAY_NOT)


def form_of(
    place: Place, db: Database, request: Request, *roles: Role, most: tuple[int, int] | None = None
) -> tuple[In, dict[str, str]]:
    """Who sent a form of ours, and its fields; RefusedError where it was not one of these roles,
    not this device's form, or not sent from our page.
    """
    refuse_from_elsewhere(request, place.show.page, may_lack=True)
    found = device_in(place, db, request)
    fields = form_fields(request) if most is None else form_fields(request, *most)
    refuse_wrong_token(fields, found.secret)
    refuse_role(found.device, roles or EVERYBODY)
    return found, {key: value for key, value in fields.items() if key != "csrf"}


def shown_to(
    place: Place, *roles: Role
) -> Callable[[Callable[Concatenate[Database, Viewer, P], Response]], Callable[P, Response]]:
    """Decorate a page: only these roles see it, and a refusal is a page too.

    What is decorated gets the open database and the viewer before the parts of the address.
    """

    def decorate(
        shown: Callable[Concatenate[Database, Viewer, P], Response],
    ) -> Callable[P, Response]:
        @on_a_page(place)
        @wraps(shown)
        def page(*args: P.args, **parts: P.kwargs) -> Response:
            with place.opened() as db:
                found = device_in(place, db, request)
                refuse_role(found.device, roles or EVERYBODY)
                viewer = viewer_of(place, found, request)
                answer = shown(db, viewer, *args, **parts)
            return without_kept(answer, request, place.show.page)

        return page

    return decorate


def _not_in() -> RefusedError:
    headers = {"WWW-Authenticate": 'Link realm="dryspell"'}
    return RefusedError(HTTPStatus.UNAUTHORIZED, _NOT_IN, headers=headers)


def _new_id() -> str:
    return uuid.uuid4().hex
