"""The one page that a device keeps without having seen it: for when the server is out of reach.

It says nothing of the show, so whoever asks may have it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Flask, Response, request

from monitor.web.plain_pages import on_a_page, plain_page
from monitor.web.signed_in import viewer_of

if TYPE_CHECKING:
    from monitor.web.place import Place


def add_to(app: Flask, place: Place) -> None:
    """Its address, which the worker on the device asks for."""

    @app.get("/no-signal")
    @on_a_page(place)
    def no_signal() -> Response:
        return plain_page(place, viewer_of(place, None, request), "no-signal.html.j2", "/")
