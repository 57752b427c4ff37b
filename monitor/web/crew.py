"""Log entries and answers of the crew, posted: the rules are those of the command line."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any, get_args

from flask import Flask, Response, request

from monitor.domain import (
    AnswerKind,
    BadInputError,
    CannotBecause,
    EntryKind,
    InspectionResult,
    Problem,
)
from monitor.service.answering import AnswerSaid, keep_answer
from monitor.service.crew_word import Kept, keep_log
from monitor.service.entries import READINGS, Said, entries_of
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand, log_entries
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
_LOG_MAY = (
    "position", "fixture", "alert", "at", "count", "to", "result", "by", "note", *READINGS,
)  # fmt: skip
_ANSWER_NEEDS = ("id", "alert", "answer")
_ANSWER_MAY = ("by", "because", "until", "note")


def add_to(app: Flask, place: Place) -> None:
    """The two addresses."""

    @app.post("/api/v1/log")
    def log() -> Response:
        with place.opened_to_write() as db:
            holder = bearer(db, place, request)
            now = place.clock()
            word_id, said = _said(db, json_body(request), place, now)
            with immediate(db):
                kept = keep_log(db, said, place.show, now, _spelt, word_id, sender=holder.name)
                note_use(db, holder, now)
        return _answer(word_id, kept)

    @app.post("/api/v1/answers")
    def answers() -> Response:
        with place.opened_to_write() as db:
            holder = bearer(db, place, request)
            word_id, said = _answer_said(json_body(request))
            now = place.clock()
            with immediate(db):
                kept = keep_answer(db, said, place.show, now, _spelt, word_id, sender=holder.name)
                note_use(db, holder, now)
        return _answer(word_id, kept)


def _said(db: Database, data: Any, place: Place, now: datetime) -> tuple[str, Said]:
    """The id and the entry; every fault in it is told at once, the show's own too."""
    problems: list[Problem] = []
    fields = texts(_readings_as_text(data), _LOG_NEEDS, _LOG_MAY, problems)
    sender_id(fields, problems)
    one_of(fields, "entry", get_args(EntryKind), problems)
    one_of(fields, "result", get_args(InspectionResult), problems)
    word_id = fields.pop("id", "")
    known: Any = {"entry": "put-out", **fields}
    said = Said(**known)
    if problems:
        seen = {problem.key for problem in problems}
        try:
            alerts, log = alerts_as_they_stand(db), log_entries(db)
            entries_of(said, place.show, alerts, now, _spelt, log)
        except BadInputError as fault:
            problems += [problem for problem in fault.problems if problem.key not in seen]
        raise BadInputError(problems)
    return word_id, said


def _readings_as_text(data: Any) -> Any:
    """Readings are numbers; everything said is held against the show as text."""
    if not isinstance(data, dict):
        return data
    return {
        key: repr(value)
        if key in READINGS and isinstance(value, int | float) and not isinstance(value, bool)
        else value
        for key, value in data.items()
    }


def _answer_said(data: Any) -> tuple[str, AnswerSaid]:
    problems: list[Problem] = []
    fields = texts(data, _ANSWER_NEEDS, _ANSWER_MAY, problems)
    sender_id(fields, problems)
    one_of(fields, "answer", get_args(AnswerKind), problems)
    one_of(fields, "because", get_args(CannotBecause), problems)
    if problems:
        raise BadInputError(problems)
    word_id = fields.pop("id")
    known: Any = fields
    return word_id, AnswerSaid(**known)


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
