"""The application: its addresses, and what holds for every answer of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Flask, request

from monitor.web import (
    answer_page,
    crew,
    declared,
    duty,
    gauges,
    health,
    metrics,
    no_signal,
    saying,
    setting_gear,
    setting_roof,
    setting_up,
    signing,
    state,
    timing,
    ways_in,
    you,
)
from monitor.web.answers import BODY_BYTES
from monitor.web.hosts import refuse_strange_host
from monitor.web.plain_pages import fault_as_asked

if TYPE_CHECKING:
    from typing import Any

    from flask import Response

    from monitor.web.place import Place

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""On every answer that does not say otherwise itself: nothing is to be run, kept or framed."""

_PARTS = (
    gauges,
    crew,
    answer_page,
    declared,
    state,
    health,
    metrics,
    duty,
    signing,
    saying,
    timing,
    setting_gear,
    setting_roof,
    setting_up,
    no_signal,
    ways_in,
    you,
)


class _Quiet(Flask):
    """Writes no log of its own: its lines hold the address, and an address may hold a token."""

    def log_exception(self, exc_info: Any) -> None:
        """Nothing: `fault_as_asked` has told of it."""


def create_app(place: Place) -> Flask:
    """The application over a place. Any number of threads may serve it at once."""
    app = _Quiet("monitor.web", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = BODY_BYTES
    app.config["PROVIDE_AUTOMATIC_OPTIONS"] = False
    app.url_map.merge_slashes = False
    app.before_request(lambda: refuse_strange_host(request.headers.get("Host"), place.show.page))
    app.after_request(guarded)
    app.register_error_handler(Exception, lambda fault: fault_as_asked(place, fault))
    for part in _PARTS:
        part.add_to(app, place)
    return app


def guarded(answer: Response) -> Response:
    """The answer with the headers that every answer has."""
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    return answer
