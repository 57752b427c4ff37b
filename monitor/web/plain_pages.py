"""Pages with a sentence and no more: signing in, and every refusal as a person reads it.

The script asks for JSON and is told the same, with what to do about it: `then`.
"""

from __future__ import annotations

import json
from functools import cache, wraps
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, ParamSpec

from flask import Response, request

from monitor.alerts.words import one_line
from monitor.domain import BadInputError
from monitor.page.viewer import Shell, Viewer, render
from monitor.page.words import later
from monitor.web.answers import PROBLEM_JSON, fault_answer
from monitor.web.beside import Beside
from monitor.web.liking import as_liked
from monitor.web.own_forms import StaleFormError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from flask import Request

    from monitor.page.words import Words
    from monitor.web.place import Place

P = ParamSpec("P")

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; form-action 'self'; worker-src 'self'; manifest-src 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    # For a browser that does not know frame-ancestors.
    "X-Frame-Options": "DENY",
    # Under no-referrer a browser would not say where our own forms come from either.
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "X-Robots-Tag": "noindex",
    "Vary": "Cookie, Accept, Accept-Language",
}
"""On every page that a person reads: only our own files, in no frame, and nothing else's."""

_THEN = {
    HTTPStatus.UNAUTHORIZED: "sign-in",
    HTTPStatus.REQUEST_TIMEOUT: "again",
    HTTPStatus.TOO_MANY_REQUESTS: "again",
    HTTPStatus.INTERNAL_SERVER_ERROR: "again",
    HTTPStatus.BAD_GATEWAY: "again",
    HTTPStatus.SERVICE_UNAVAILABLE: "again",
    HTTPStatus.GATEWAY_TIMEOUT: "again",
}
"""What a script does about a refusal; for any other: "never", the same is refused again."""

_TITLES = {
    HTTPStatus.UNAUTHORIZED: later("Not signed in"),
    HTTPStatus.NOT_FOUND: later("Nothing here"),
}
_NOT_DONE = later("Not done")


def page_answer(answer: Response) -> Response:
    """The answer with what every page has."""
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    return answer


def wants_json(request: Request) -> bool:
    """Whether the page's script asks, not a person."""
    return request.accept_mimetypes.best_match(("text/html", "application/json")) == (
        "application/json"
    )


def plain_page(
    place: Place,
    viewer: Viewer,
    template: str,
    path: str,
    status: HTTPStatus = HTTPStatus.OK,
    **values: Any,
) -> Response:
    """One of the pages that say a sentence, or ask for a name."""
    site = place.show.site
    shell = Shell(one_line(site.name), site.timezone, place.clock(), path, _static())
    text = render(template, viewer, shell, **values)
    return page_answer(Response(text, status, mimetype="text/html"))


def on_a_page(place: Place) -> Callable[[Callable[P, Response]], Callable[P, Response]]:
    """Decorate what answers a person: whatever it refuses is told as a page."""

    def decorate(answered: Callable[P, Response]) -> Callable[P, Response]:
        @wraps(answered)
        def page(*args: P.args, **parts: P.kwargs) -> Response:
            try:
                return page_answer(answered(*args, **parts))
            except Exception as fault:  # noqa: BLE001 - whatever it was, it is told
                return refusal(place, request, fault)

        return page

    return decorate


def fault_as_asked(place: Place, fault: Exception) -> Response:
    """Any fault that nothing nearer has told: a page where a browser asks for one."""
    asks = "text/html" in request.headers.get("Accept", "")
    return refusal(place, request, fault) if asks else fault_answer(fault)


def refusal(place: Place, request: Request, fault: Exception, *, back: str = "/") -> Response:
    """Any fault as a page for a person, or as JSON for the script."""
    told = fault_answer(fault)
    data: dict[str, Any] = json.loads(told.get_data())
    status = HTTPStatus(told.status_code)
    then = fault.then if isinstance(fault, StaleFormError) else _THEN.get(status, "never")
    viewer = as_liked(place, Viewer(""), request)
    data["detail"], in_own_words = _detail(fault, data["detail"], viewer.words)
    if wants_json(request):
        told.set_data(json.dumps({**data, "kept": False, "then": then}, ensure_ascii=False) + "\n")
        told.mimetype = PROBLEM_JSON
        return page_answer(told)
    page = plain_page(
        place,
        viewer,
        "refused.html.j2",
        back,
        status,
        title=viewer.words.say(_TITLES.get(status, _NOT_DONE)),
        says=data["detail"],
        in_own_words=in_own_words,
        problems=data.get("problems", []),
        reference=data.get("reference"),
        may_return=then != "sign-in",
    )
    for name in ("Retry-After", "WWW-Authenticate", "Allow"):
        if name in told.headers:
            page.headers[name] = told.headers[name]
    return page


def _detail(fault: Exception, detail: str, words: Words) -> tuple[str, bool]:
    """What is wrong in one sentence, and whether it is said in the language of who looks."""
    if isinstance(fault, BadInputError):
        said = words.several(
            "Nothing was kept: {count} thing is wrong.",
            "Nothing was kept: {count} things are wrong.",
            len(fault.problems),
        )
        return said, True
    return words.say(detail), words.has(detail)


@cache
def _static() -> Mapping[str, str]:
    return Beside().addresses
