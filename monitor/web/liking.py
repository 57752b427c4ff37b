"""How a device likes the page, as its browser brings it along with each request."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.page.languages import ENGLISH, languages
from monitor.page.liking import Liking
from monitor.page.viewer import Viewer
from monitor.web.own_forms import is_secure

if TYPE_CHECKING:
    from flask import Request, Response

    from monitor.domain import Page
    from monitor.web.place import Place

NAME = "likes"
_LASTS_S = 400 * 24 * 3600
"""As long as browsers keep a cookie at most [s]."""


def liking_of(request: Request) -> Liking:
    """What the device chose."""
    return Liking.read(request.cookies.get(NAME, ""))


def asked_language(request: Request) -> str:
    """The first language of the browser that there is a catalogue of; else English."""
    return request.accept_languages.best_match(list(languages()), ENGLISH)


def as_liked(place: Place, viewer: Viewer, request: Request) -> Viewer:
    """Whoever looks, with theme, language and units of the device."""
    return liking_of(request).applied(viewer, asked_language(request), place.show)


def with_liking(answer: Response, liking: Liking, page: Page) -> Response:
    """The answer, with what was chosen for the browser to keep."""
    answer.set_cookie(
        NAME,
        liking.written(),
        max_age=_LASTS_S,
        secure=is_secure(page),
        httponly=True,
        samesite="Lax",
    )
    return answer
