"""The page behind a link in a message: one person answers one alert, without a token.

Opening it changes nothing, however often a mail scanner does: only the button posts. The
code in the address is the right to answer, so a browser sends nothing along by itself that
a page elsewhere could make use of.
"""

from __future__ import annotations

import hashlib
import uuid
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, get_args
from urllib.parse import parse_qsl

from flask import Flask, Response, request

from monitor.domain import AnswerKind, BadInputError, CannotBecause, Problem
from monitor.service.answering import AnswerSaid, can_be_done, keep_answer
from monitor.service.crew_word import was_kept
from monitor.service.links import PATH, linked
from monitor.service.turns import answers_to
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand
from monitor.store.records import to_json
from monitor.web import answer_words
from monitor.web.answers import RefusedError
from monitor.web.bearer import after, refuse_stranger
from monitor.web.posted import FORM, noted, one_of, refuse_other_type, sender_id, texts

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.service.links import Linked
    from monitor.web.place import Place

_NEEDS = ("id", "answer")
_MAY = ("because", "until", "note", "shown")
_MOST_FIELDS = 10


def add_to(app: Flask, place: Place) -> None:
    """The one address."""

    @app.get(f"{PATH}<address>")
    def look(address: str) -> Response:
        with place.opened() as db, db.atomic():
            now = place.clock()
            found = linked(db, place.show, address, now)
            if found is None:
                return _unknown(place)
            if found.ended:
                return _ended(place, found)
            return _page(_order(db, place, found, now))

    @app.post(f"{PATH}<address>")
    def answer(address: str) -> Response:
        with place.opened_to_write() as db:
            now = place.clock()
            found = linked(db, place.show, address, now)
            if found is None:
                return _unknown(place)
            wait = place.posts.wait_s(f"{PATH}{address}")
            if wait:
                says = "This link is used too often."
                raise RefusedError(HTTPStatus.TOO_MANY_REQUESTS, says, headers=after(wait))
            if found.ended:
                return _ended(place, found)
            refuse_other_type(request, FORM)
            try:
                word_id, said, shown = _said(found)
                with immediate(db):
                    _refuse_other_work(db, found, word_id, shown)
                    kept = keep_answer(db, said, place.show, now, _spelt, word_id, found.by)
            except BadInputError as fault:
                found = linked(db, place.show, address, now) or found
                return _page(
                    _order(db, place, found, now, fault.problems), HTTPStatus.UNPROCESSABLE_ENTITY
                )
        return _page(answer_words.kept_page(place.show, found.alert, kept, now))


def _refuse_other_work(db: Database, found: Linked, word_id: str, shown: str | None) -> None:
    """Refuse an answer to an order that is for other work by now than its page showed.

    The same word sent again is none: it was kept when it was right.
    """
    latest = alerts_as_they_stand(db).get(found.alert.id, found.alert)
    if shown is None or shown == answer_words.mark_of(latest) or was_kept(db, word_id):
        return
    says = "The order has changed since this page was opened."
    raise BadInputError([Problem("order-changed", says, "Read it as it stands, and answer it.")])


def _said(found: Linked) -> tuple[str, AnswerSaid, str | None]:
    """An id, the answer, and what was shown; an empty field is one that was not filled in."""
    problems: list[Problem] = []
    try:
        pairs = parse_qsl(
            request.get_data().decode("utf-8"),
            keep_blank_values=False,
            max_num_fields=_MOST_FIELDS,
            errors="strict",
        )
        if len(pairs) > len(dict(pairs)):
            raise ValueError("a field twice")  # noqa: TRY301 - told as any other bad form
    except ValueError:
        says, remedy = "What was sent is not what this page sends.", "Open the link again."
        raise BadInputError([Problem("bad-form", says, remedy)]) from None
    fields = texts(noted(dict(pairs)), _NEEDS, _MAY, problems)
    sender_id(fields, problems)
    one_of(fields, "answer", get_args(AnswerKind), problems)
    one_of(fields, "because", get_args(CannotBecause), problems)
    if problems:
        raise BadInputError(problems)
    opened, shown = fields.pop("id"), fields.pop("shown", None)
    if fields["answer"] == "cannot":
        fields.setdefault("because", "other")  # the page that is shown next says so
    # Tapped twice it is kept once; another answer from the same page is another word.
    digest = hashlib.sha256(to_json(fields).encode("ascii")).hexdigest()
    known: Any = fields
    return f"{opened[:32]}-{digest[:16]}", AnswerSaid(found.alert.id, by=found.by, **known), shown


def _order(
    db: Database,
    place: Place,
    found: Linked,
    now: datetime,
    problems: tuple[Problem, ...] = (),
) -> str:
    alert = found.alert
    return answer_words.order_page(
        place.show,
        alert,
        found.by,
        answers_to(db, alert.id),
        now,
        # A stop asks for nothing, so there is nothing to answer.
        None if alert.kind == "stop" else uuid.uuid4().hex,
        can_be_done=can_be_done(alert),
        problems=problems,
    )


def _unknown(place: Place) -> Response:
    refuse_stranger(place, request)
    says = "It was not copied whole, or whoever it was for is told no more. Ask the crew chief."
    page = answer_words.plain_page(place.show, "This link is not known", says)
    return _page(page, HTTPStatus.NOT_FOUND)


def _ended(place: Place, found: Linked) -> Response:
    return _page(answer_words.ended_page(place.show, found.alert), HTTPStatus.GONE)


def _page(text: str, status: HTTPStatus = HTTPStatus.OK) -> Response:
    headers = {"Content-Security-Policy": answer_words.POLICY, "X-Robots-Tag": "noindex"}
    return Response(text, status, headers, mimetype="text/html")


def _spelt(name: str) -> str:
    return name
