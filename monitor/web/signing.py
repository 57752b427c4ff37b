"""Signing in by a link, and out again. Opening a link changes nothing; its button does."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from flask import Flask, Response, request

from monitor.domain import BadInputError
from monitor.page.words import later
from monitor.store.devices import IN, LONGEST_NAME, link_of, sign_in, sign_out
from monitor.web.answers import RefusedError
from monitor.web.bearer import after, refuse_stranger
from monitor.web.own_forms import form_fields, is_secure, refuse_from_elsewhere
from monitor.web.plain_pages import on_a_page, plain_page
from monitor.web.signed_in import MAX_AGE_S, cookie_name, form_of, may_be_in, viewer_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlite_utils import Database

    from monitor.domain import Page, Problem
    from monitor.store.devices import Link, Role
    from monitor.web.place import Place

OUT = "/out"

MAY: dict[Role, str] = {
    "crew": later("With this link you see the page, log what is done, answer and declare."),
    "chief": later(
        "With this link you see the page, log what is done, answer and declare, make and "
        "withdraw links, and describe the rig."
    ),
    "guest": later("With this link you see the page and change nothing."),
}

_UNKNOWN = later(
    "This link is not known: it was not copied whole, or it was withdrawn. Ask the crew chief for "
    "another."
)
_CROWD = later("Too many devices come in by this link at once. Wait a moment.")


def add_to(app: Flask, place: Place) -> None:
    """The two addresses."""

    @app.get(f"{IN}<secret>")
    @on_a_page(place)
    def way_in(secret: str) -> Response:
        with place.opened() as db:
            return _form(place, db, _known(place, db, secret), secret)

    @app.post(f"{IN}<secret>")
    @on_a_page(place)
    def come_in(secret: str) -> Response:
        with place.opened_to_write() as db:
            return _come_in(place, db, secret)

    @app.post(OUT)
    @on_a_page(place)
    def go_out() -> Response:
        page = place.show.page
        with place.opened_to_write() as db:
            found, _ = form_of(place, db, request)
            sign_out(db, found.device, place.clock())
        answer = _sent_on("/you")
        answer.delete_cookie(
            cookie_name(page), secure=is_secure(page), httponly=True, samesite="Lax"
        )
        return answer


def _known(place: Place, db: Database, secret: str) -> Link:
    """The link that is asked for; one that was withdrawn is as unknown as one never made."""
    link = link_of(db, secret)
    if link is None:
        refuse_stranger(place, request)
        raise RefusedError(HTTPStatus.NOT_FOUND, _UNKNOWN)
    return link


def _come_in(place: Place, db: Database, secret: str) -> Response:
    link = _known(place, db, secret)
    page = place.show.page
    refuse_from_elsewhere(request, page)
    wait = place.arrivals.wait_s(f"link/{link.id}")
    if wait:
        raise RefusedError(HTTPStatus.TOO_MANY_REQUESTS, _CROWD, headers=after(wait))
    name = form_fields(request).get("name", "")
    before = may_be_in(place, db, request)
    try:
        as_before = None if before is None else before.device
        _, made = sign_in(db, link, name, place.clock(), as_before)
    except BadInputError as fault:
        return _form(place, db, link, secret, name, fault.problems)
    return _with_device(_sent_on("/"), made, page)


def _form(
    place: Place,
    db: Database,
    link: Link,
    secret: str,
    typed: str | None = None,
    problems: Sequence[Problem] = (),
) -> Response:
    before = may_be_in(place, db, request)
    viewer = viewer_of(place, None, request)
    was = "" if before is None else before.device.name
    return plain_page(
        place,
        viewer,
        "sign-in.html.j2",
        f"{IN}{secret}",
        HTTPStatus.UNPROCESSABLE_ENTITY if problems else HTTPStatus.OK,
        link=link.name,
        may=viewer.words.say(MAY[link.role]),
        was=was,
        typed=(was if typed is None else typed)[:LONGEST_NAME],
        problems=problems,
    )


def _with_device(answer: Response, secret: str, page: Page) -> Response:
    """The answer that gives a device its secret; no script ever reads it."""
    answer.set_cookie(
        cookie_name(page),
        secret,
        max_age=MAX_AGE_S,
        secure=is_secure(page),
        httponly=True,
        samesite="Lax",
    )
    return answer


def _sent_on(path: str) -> Response:
    return Response(status=HTTPStatus.SEE_OTHER, headers={"Location": path})
