"""What the crew says on the duty page: log entries, answers, declarations, rain.

The rules are those of the command line. A form is answered with the way back to its page; the
script, which asks for JSON, is told what was kept. A word carries an id that its page made,
and the same word under the same id is kept once: a phone that got no answer sends it again.
"""

from __future__ import annotations

from dataclasses import replace
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, get_args

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem
from monitor.page.kept import (
    KeptWord,
    of_answer,
    of_declaration,
    of_entries,
    of_taken_back,
    sentences,
)
from monitor.page.times import Times
from monitor.service.answering import AnswerSaid, keep_answer
from monitor.service.crew_word import is_known, keep_log
from monitor.service.declared import DeclaredSaid, keep_declared
from monitor.service.entries import Said
from monitor.service.log_book import withdraw
from monitor.service.raining import keep_raining
from monitor.store.database import immediate
from monitor.store.devices import note_said
from monitor.store.history import log_entries
from monitor.store.withdrawn import Withdrawal
from monitor.units import iso_utc
from monitor.web.answers import json_answer
from monitor.web.kept_cookie import with_kept
from monitor.web.own_forms import way_back
from monitor.web.plain_pages import page_answer, refusal, wants_json
from monitor.web.signed_in import MAY_SAY, form_of, still_in, viewer_of
from monitor.web.tapped import Kind, Tapped, counted, tapped

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Show
    from monitor.web.place import Place
    from monitor.web.signed_in import In


def add_to(app: Flask, place: Place) -> None:
    """One address for each kind of word."""
    for kind in get_args(Kind):
        app.add_url_rule(f"/say/{kind}", f"say-{kind}", _saying(place, kind), methods=["POST"])


def _saying(place: Place, kind: Kind) -> Any:
    def say() -> Response:
        back = "/"
        try:
            with place.opened_to_write() as db:
                found, fields = form_of(place, db, request, *MAY_SAY)
                back = way_back(fields.pop("back", None))
                _refuse_another(fields.pop("show", found.show), found)
                now = place.clock()
                word = tapped(kind, fields, place.show, now, by_script=wants_json(request))
                with immediate(db):
                    # Once more, where nothing can come between: withdrawn is withdrawn at once.
                    found = still_in(db, found)
                    kept = _KEEP[kind](db, word, place.show, now, found.device.name)
                    kept = replace(kept, notes=(*kept.notes, *word.left_out))
                    note_said(db, found.device, now)
        except Exception as fault:  # noqa: BLE001 - whatever it was, it is told
            return refusal(place, request, fault, back=back)
        if wants_json(request):
            return _told(place, found, word, kept, now)
        answer = Response(status=HTTPStatus.SEE_OTHER, headers={"Location": back})
        return page_answer(with_kept(answer, kept, found.secret, place.show.page))

    return say


def _refuse_another(show: str, found: In) -> None:
    """Refuse what was tapped on the page of another show: places are named alike there."""
    if show != found.show:
        says = "This was said on the page of another show at this address."
        remedy = "If it is so here too, log it here."
        raise BadInputError([Problem("another-show", says, remedy, key="show")])


# ---------------------------------------------------------------- kept


def _keep_log(db: Database, word: Tapped, show: Show, now: datetime, by: str) -> KeptWord:
    known: Any = {**word.fields, "count": counted(word.fields, show, lambda: log_entries(db))}
    said = Said(**known, at=_text(word.at))
    kept = keep_log(db, said, show, now, _spelt, word.id, by, word.sent)
    return of_entries(kept.entries, kept.notes) if kept.is_new else _BEFORE


def _keep_answer(db: Database, word: Tapped, show: Show, now: datetime, by: str) -> KeptWord:
    known: Any = word.fields
    kept = keep_answer(db, AnswerSaid(**known), show, now, _spelt, word.id, by, word.sent, word.at)
    if not kept.is_new:
        return _BEFORE
    if kept.answered is None:
        return of_entries(kept.entries, kept.notes)
    return of_answer(kept.answered, kept.notes)


def _keep_declared(db: Database, word: Tapped, show: Show, now: datetime, by: str) -> KeptWord:
    known: Any = word.fields
    said = DeclaredSaid(**known, at=_text(word.at))
    kept = keep_declared(db, said, show, now, _spelt, word.id, by, word.sent)
    if kept.declared is None:
        return _BEFORE
    return of_declaration(kept.declared, kept.notes, contested=kept.is_contested)


def _keep_rain(db: Database, word: Tapped, _show: Show, now: datetime, by: str) -> KeptWord:
    if is_known(db, word.id, by, "rain", word.sent):
        return _BEFORE
    falls, at = word.fields["rain"] == "falls", word.at or now
    keep_raining(db, raining=falls, at=at, by=by, now=now, spelt=_spelt)
    return KeptWord("rain", word.fields["rain"], at=at)


def _take_back(db: Database, word: Tapped, _show: Show, now: datetime, by: str) -> KeptWord:
    if is_known(db, word.id, by, "take-back", word.sent):
        return _BEFORE
    taken = Withdrawal(by, word.fields.get("note"))
    (entry,) = withdraw(db, [word.fields["number"]], taken, now, "number")
    return of_taken_back(entry)


_KEEP = {
    "log": _keep_log,
    "answer": _keep_answer,
    "declare": _keep_declared,
    "rain": _keep_rain,
    "take-back": _take_back,
}
_BEFORE = KeptWord("log", known=True)


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()


def _spelt(name: str) -> str:
    """A name as it stands in the form."""
    return name


def _told(place: Place, found: In, word: Tapped, kept: KeptWord, now: datetime) -> Response:
    """201 where something was kept, 200 where it was known."""
    viewer = viewer_of(place, found, request)
    says, *notes = sentences(kept, place.show, Times(place.show.site.timezone, now, viewer.words))
    data = {
        "id": word.id,
        "kept": True,
        "known": kept.known,
        "at": iso_utc(kept.at),
        "says": says,
        "notes": notes,
    }
    return page_answer(json_answer(data, HTTPStatus.OK if kept.known else HTTPStatus.CREATED))
