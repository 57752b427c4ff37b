"""Log entries and answers of the crew, posted: the rules are those of the command line."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any, cast, get_args

from flask import Flask, Response, request

from monitor.domain import BadInputError, EntryKind, InspectionResult, Problem
from monitor.service.crew_word import Answer, Kept, keep_answer, keep_log
from monitor.service.entries import Said, entries_of
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand
from monitor.store.tokens import note_use
from monitor.units import iso_utc
from monitor.web.answers import json_answer
from monitor.web.bearer import bearer
from monitor.web.posted import json_body, one_of, sender_id, texts

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.web.place import Place

_LOG_NEEDS = ("id", "entry")
_LOG_MAY = ("position", "fixture", "alert", "at", "count", "to", "result", "by", "note")
_ANSWER_NEEDS = ("id", "alert", "answer")
_ANSWER_MAY = ("by",)


def add_to(app: Flask, place: Place) -> None:
    """The two addresses."""

    @app.post("/api/v1/log")
    def log() -> Response:
        with place.opened() as db:
            holder = bearer(db, place, request)
            now = place.clock()
            word_id, said = _said(db, json_body(request), place, now)
            with immediate(db):
                kept = keep_log(db, said, place.show, now, _spelt, word_id, sender=holder.name)
                note_use(db, holder, now)
        return _answer(word_id, kept)

    @app.post("/api/v1/answers")
    def answers() -> Response:
        with place.opened() as db:
            holder = bearer(db, place, request)
            fields = _answer_fields(json_body(request))
            now = place.clock()
            with immediate(db):
                kept = keep_answer(
                    db,
                    fields["alert"],
                    cast("Answer", fields["answer"]),
                    fields.get("by"),
                    place.show,
                    now,
                    _spelt,
                    fields["id"],
                    sender=holder.name,
                )
                note_use(db, holder, now)
        return _answer(fields["id"], kept)


def _said(db: Database, data: Any, place: Place, now: datetime) -> tuple[str, Said]:
    """The id and the entry; every fault in it is told at once, the show's own too."""
    problems: list[Problem] = []
    fields = texts(data, _LOG_NEEDS, _LOG_MAY, problems)
    sender_id(fields, problems)
    one_of(fields, "entry", get_args(EntryKind), problems)
    one_of(fields, "result", get_args(InspectionResult), problems)
    word_id = fields.pop("id", "")
    known: Any = {"entry": "put-out", **fields}
    said = Said(**known)
    if problems:
        seen = {problem.key for problem in problems}
        try:
            entries_of(said, place.show, alerts_as_they_stand(db), now, _spelt)
        except BadInputError as fault:
            problems += [problem for problem in fault.problems if problem.key not in seen]
        raise BadInputError(problems)
    return word_id, said


def _answer_fields(data: Any) -> dict[str, str]:
    problems: list[Problem] = []
    fields = texts(data, _ANSWER_NEEDS, _ANSWER_MAY, problems)
    sender_id(fields, problems)
    one_of(fields, "answer", get_args(Answer), problems)
    if problems:
        raise BadInputError(problems)
    return fields


def _spelt(name: str) -> str:
    """A name as it stands in what is posted."""
    return name


def _answer(word_id: str, kept: Kept) -> Response:
    """201 where something was kept, 200 where it was known."""
    data: dict[str, Any] = {"id": word_id, "known": not kept.is_new}
    if kept.is_new:
        data["logged"] = [
            {
                "at": iso_utc(entry.at),
                "entry": entry.entry,
                "position": entry.position,
                "fixture": entry.fixture,
            }
            for entry in kept.entries
        ]
        data["notes"] = list(kept.notes)
    return json_answer(data, HTTPStatus.CREATED if kept.is_new else HTTPStatus.OK)
