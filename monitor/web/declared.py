"""What is declared open again, posted from outside: the same rules as on the command line."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any, get_args

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem
from monitor.service.after_rain import rain_spells
from monitor.service.declared import DeclaredSaid, Opened, declarations, in_words, keep_declared
from monitor.store.database import immediate
from monitor.store.tokens import note_use
from monitor.units import iso_utc, to_moment
from monitor.web.answers import json_answer
from monitor.web.bearer import bearer
from monitor.web.posted import json_body, one_of, sender_id, texts

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Show
    from monitor.web.place import Place

_NEEDS = ("id", "what")
_MAY = ("by", "position", "at", "note")


def add_to(app: Flask, place: Place) -> None:
    """The one address."""

    @app.post("/api/v1/declarations")
    def declare() -> Response:
        with place.opened_to_write() as db:
            holder = bearer(db, place, request)
            word_id, said = _said(json_body(request))
            now = place.clock()
            with immediate(db):
                kept = keep_declared(db, said, place.show, now, _spelt, word_id, sender=holder.name)
                note_use(db, holder, now)
        data: dict[str, Any] = {"id": word_id, "known": not kept.is_new}
        if kept.is_new:
            data["notes"] = list(kept.notes)
        return json_answer(data, HTTPStatus.CREATED if kept.is_new else HTTPStatus.OK)


def _said(data: Any) -> tuple[str, DeclaredSaid]:
    problems: list[Problem] = []
    fields = texts(data, _NEEDS, _MAY, problems)
    sender_id(fields, problems)
    one_of(fields, "what", get_args(Opened), problems)
    if problems:
        raise BadInputError(problems)
    word_id = fields.pop("id")
    known: Any = fields
    return word_id, DeclaredSaid(**known)


def _spelt(name: str) -> str:
    """A name as it stands in what is posted."""
    return name


# ---------------------------------------------------------------- for the state


def three_clears(db: Database, show: Show, now: datetime) -> dict[str, Any]:
    """Rain as the monitor sees it, and what people declared: three things kept apart."""
    spells = rain_spells(db)
    last = spells[-1] if spells else None
    return {
        "rain": None
        if last is None
        else {
            "from": iso_utc(to_moment(last.from_s)),
            "over_at": None if last.over_s is None else iso_utc(to_moment(last.over_s)),
        },
        "declared": [
            {
                "what": one.declared.what,
                "position": one.declared.position,
                "at": iso_utc(one.declared.at),
                "by": one.declared.by,
                "note": one.declared.note,
                "stands": one.stands,
                "ended_at": iso_utc(one.ended_at),
                "ended_by": one.ended_by,
                "says": in_words(one, show, now),
            }
            for one in declarations(db)
        ],
    }
