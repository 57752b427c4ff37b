"""You and this device: theme, language, units, signing out. For whoever asks, in or not.

What is chosen stays in the browser: nothing of it is kept here, and it is no right to anything.
"""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from flask import Flask, Response, request

from monitor.page.languages import languages
from monitor.page.liking import DEPTHS, SPEEDS, THEMES, Liking
from monitor.page.words import later
from monitor.web.liking import asked_language, liking_of, with_liking
from monitor.web.own_forms import form_fields, refuse_from_elsewhere
from monitor.web.plain_pages import on_a_page, plain_page
from monitor.web.signed_in import form_of, may_be_in, viewer_of

if TYPE_CHECKING:
    from monitor.store.devices import Role
    from monitor.web.place import Place

PATH = "/you"

MAY: dict[Role, str] = {
    "crew": later("You see the page, log what is done, answer and declare."),
    "chief": later(
        "You see the page, log what is done, answer and declare, make and withdraw links, and "
        "describe the rig."
    ),
    "guest": later("You see the page and change nothing."),
}


def add_to(app: Flask, place: Place) -> None:
    """The page, and its form."""

    @app.get(PATH)
    @on_a_page(place)
    def you() -> Response:
        with place.opened() as db:
            found = may_be_in(place, db, request)
        return plain_page(
            place,
            viewer_of(place, found, request),
            "you.html.j2",
            PATH,
            device=None if found is None else found.device,
            may="" if found is None else MAY[found.device.role],
            liking=liking_of(request),
            asked=languages()[asked_language(request)],
            themes=THEMES,
            languages=languages(),
            depths=DEPTHS,
            speeds=SPEEDS,
        )

    @app.post(PATH)
    @on_a_page(place)
    def choose() -> Response:
        with place.opened() as db:
            if may_be_in(place, db, request) is None:
                refuse_from_elsewhere(request, place.show.page)
                fields = form_fields(request)
            else:
                _, fields = form_of(place, db, request)
        answer = Response(status=HTTPStatus.SEE_OTHER, headers={"Location": PATH})
        return with_liking(answer, Liking.of(fields), place.show.page)
