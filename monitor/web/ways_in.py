"""The ways in to the duty page, for a crew chief: made, seen and withdrawn from a phone.

What is here can be done with `dryspell link` too; a phone that is lost at night is put out by
whoever stands at the stage.
"""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem
from monitor.page.words import later
from monitor.store.database import immediate
from monitor.store.devices import IN, devices, links, make_link, withdraw_link
from monitor.web.answers import RefusedError
from monitor.web.plain_pages import on_a_page, plain_page
from monitor.web.posted import one_of, texts
from monitor.web.signed_in import form_of, shown_to, still_in, viewer_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.page.viewer import Viewer
    from monitor.store.devices import Device, Link, Role
    from monitor.web.place import Place

PATH = "/ways-in"

ROLES: dict[Role, str] = {
    "crew": later("Crew: logs, answers and declares"),
    "guest": later("Guest: only looks"),
    "chief": later("Crew chief: as the crew; makes and withdraws links, describes the rig"),
}


def add_to(app: Flask, place: Place) -> None:
    """The page, and its two forms."""

    @app.get(PATH)
    @shown_to(place, "chief")
    def ways_in(db: Database, viewer: Viewer, /) -> Response:
        return _page(place, db, viewer)

    @app.post(f"{PATH}/make")
    @on_a_page(place)
    def make_way_in() -> Response:
        with place.opened_to_write() as db:
            found, fields = form_of(place, db, request, "chief")
            viewer = viewer_of(place, found, request)
            try:
                with immediate(db):
                    # Once more, where nothing can come between: who is out lets nobody in.
                    found = still_in(db, found)
                    secret = _made(db, fields, found.device.name, place.clock())
            except BadInputError as fault:
                return _page(place, db, viewer, problems=fault.problems)
            return _page(place, db, viewer, made=f"{_own_address(place)}{IN}{secret}")

    @app.post(f"{PATH}/withdraw")
    @on_a_page(place)
    def withdraw_way_in() -> Response:
        with place.opened_to_write() as db:
            found, fields = form_of(place, db, request, "chief")
            try:
                with immediate(db):
                    found = still_in(db, found)
                    withdraw_link(db, fields.get("name", ""), place.clock(), found.device.name)
            except BadInputError as fault:
                raise RefusedError(HTTPStatus.NOT_FOUND, fault.problems[0].says) from None
        return Response(status=HTTPStatus.SEE_OTHER, headers={"Location": PATH})


def _made(db: Database, fields: Mapping[str, str], by: str, now: datetime) -> str:
    """The secret of the new link; BadInputError with what is wrong with it."""
    problems: list[Problem] = []
    known = texts(fields, ("role", "name"), (), problems)
    one_of(known, "role", ROLES, problems)
    if problems:
        raise BadInputError(problems)
    role = next(role for role in ROLES if role == known["role"])
    return make_link(db, role, known["name"], now, by)


def _page(
    place: Place,
    db: Database,
    viewer: Viewer,
    *,
    made: str = "",
    problems: Sequence[Problem] = (),
) -> Response:
    inside = devices(db)
    ways = [
        (link, _came_by(link, inside)) for link in reversed(links(db)) if link.withdrawn_at is None
    ]
    return plain_page(
        place,
        viewer,
        "ways-in.html.j2",
        PATH,
        HTTPStatus.UNPROCESSABLE_ENTITY if problems else HTTPStatus.OK,
        ways=ways,
        roles=ROLES,
        made=made,
        in_clear=not made.startswith("https:"),
        problems=problems,
    )


def _came_by(link: Link, inside: Sequence[Device]) -> list[Device]:
    return [device for device in inside if device.link == link.name]


def _own_address(place: Place) -> str:
    """Where the page is reached: as the show says, else as this very phone reaches it."""
    page = place.show.page
    if page.public_url is not None:
        return page.public_url.rstrip("/")
    return f"http://{request.headers['Host']}"
