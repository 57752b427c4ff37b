"""What the crew says on the duty page: log entries, answers, declarations.

The rules are those of the command line. A form is answered with the way back to its page; the
script, which asks for JSON, is told what was kept. A word carries an id that its page made,
and the same word under the same id is kept once: a phone that got no answer sends it again.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Literal, get_args

from flask import Flask, Response, request

from monitor.domain import (
    AnswerKind,
    BadInputError,
    CannotBecause,
    EntryKind,
    InspectionResult,
    Problem,
)
from monitor.page.kept import KeptWord, of_answer, of_declaration, of_entries, sentences
from monitor.page.times import Times
from monitor.service.answering import AnswerSaid, keep_answer
from monitor.service.crew_word import keep_log
from monitor.service.declared import DeclaredSaid, Opened, keep_declared
from monitor.service.entries import READINGS, Said
from monitor.show.clock import ClockError, moment
from monitor.store.database import immediate
from monitor.store.devices import note_said
from monitor.store.records import to_json
from monitor.units import iso_utc
from monitor.web.answers import json_answer
from monitor.web.kept_cookie import with_kept
from monitor.web.own_forms import form_fields, refuse_from_elsewhere, refuse_wrong_token, way_back
from monitor.web.plain_pages import page_answer, refusal, wants_json
from monitor.web.posted import one_of, sender_id, texts
from monitor.web.signed_in import MAY_SAY, device_in, refuse_role, viewer_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Show
    from monitor.web.place import Place
    from monitor.web.signed_in import In

Kind = Literal["log", "answer", "declare"]

AHEAD = timedelta(minutes=5)
"""A phone's clock may be fast by so much; what it says then is of now."""
OLDEST = timedelta(days=7)
"""What waited on a phone for longer than this is logged by hand, with its time in sight."""

_FIELDS: dict[Kind, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "log": (
        ("id", "entry"),
        ("position", "fixture", "alert", "at", "count", "to", "result", "note", *READINGS),
    ),
    "answer": (("id", "alert", "answer"), ("because", "until", "note", "at")),
    "declare": (("id", "what"), ("position", "note", "at")),
}
"""What a form of each kind needs, and what it may have. Who says it is known by the device."""
_CHOICES: dict[str, tuple[str, ...]] = {
    "entry": get_args(EntryKind),
    "result": get_args(InspectionResult),
    "answer": get_args(AnswerKind),
    "because": get_args(CannotBecause),
    "what": get_args(Opened),
}


@dataclass(frozen=True, slots=True)
class _Word:
    """One word as it came: its id, its fields, when it was tapped."""

    id: str
    fields: dict[str, str]
    sent: dict[str, str]
    """As it came, to be known by when it comes again"""
    at: datetime | None


def add_to(app: Flask, place: Place) -> None:
    """The three addresses."""
    for kind in get_args(Kind):
        app.add_url_rule(f"/say/{kind}", f"say-{kind}", _saying(place, kind), methods=["POST"])


def _saying(place: Place, kind: Kind) -> Any:
    def say() -> Response:
        back = "/"
        try:
            with place.opened() as db:
                refuse_from_elsewhere(request, place.show.page, may_lack=True)
                found = device_in(place, db, request)
                fields = form_fields(request)
                back = way_back(fields.pop("back", None))
                refuse_wrong_token(fields, found.secret)
                fields.pop("csrf")
                refuse_role(found.device, MAY_SAY)
                now = place.clock()
                word = _word(kind, fields, place.show, now, as_is=wants_json(request))
                with immediate(db):
                    kept = _KEEP[kind](db, word, place.show, now, found.device.name)
                    note_said(db, found.device, now)
        except Exception as fault:  # noqa: BLE001 - whatever it was, it is told
            return refusal(place, request, fault, back=back)
        if wants_json(request):
            return _told(place, found, word, kept, now)
        answer = Response(status=HTTPStatus.SEE_OTHER, headers={"Location": back})
        return page_answer(with_kept(answer, kept, found.secret, place.show.page))

    return say


def _word(
    kind: Kind, fields: Mapping[str, str], show: Show, now: datetime, *, as_is: bool
) -> _Word:
    """The word; BadInputError with every fault in it.

    A form's id was made with its page: tapped twice it is one word, and another button on the
    same page is another. A script makes one for each tap.
    """
    problems: list[Problem] = []
    found = texts(fields, *_FIELDS[kind], problems)
    sender_id(found, problems)
    for key, choices in _CHOICES.items():
        one_of(found, key, choices, problems)
    sent = {key: value for key, value in found.items() if key != "id"}
    at = _at(found.pop("at", None), show, now, problems)
    if problems:
        raise BadInputError(problems)
    word_id = found.pop("id")
    if not as_is:
        digest = hashlib.sha256(to_json(sorted(sent.items())).encode("ascii")).hexdigest()
        word_id = f"{word_id[:32]}-{digest[:16]}"
    return _Word(word_id, found, sent, at)


def _at(text: str | None, show: Show, now: datetime, problems: list[Problem]) -> datetime | None:
    """The moment of the tap, never later than now; None where it is not given."""
    if text is None:
        return None
    try:
        at = moment(text, show.site.timezone)
    except ClockError as fault:
        problems.append(Problem(fault.code, fault.says, fault.remedy, key="at"))
        return None
    if at > now + AHEAD:
        says = f"That time is more than {AHEAD.seconds // 60} minutes ahead of the site's clock."
        remedy = "Look at the clock of this device."
        problems.append(Problem("still-to-come", says, remedy, key="at"))
    elif at < now - OLDEST:
        says = f"That is more than {OLDEST.days} days ago."
        remedy = "Log it with dryspell log --at TIME, if it is so."
        problems.append(Problem("too-old", says, remedy, key="at"))
    return min(at, now)


# ---------------------------------------------------------------- kept


def _keep_log(db: Database, word: _Word, show: Show, now: datetime, by: str) -> KeptWord:
    known: Any = word.fields
    said = Said(**known, at=_text(word.at))
    kept = keep_log(db, said, show, now, _spelt, word.id, by, _sent(word))
    return of_entries(kept.entries, kept.notes) if kept.is_new else _BEFORE


def _keep_answer(db: Database, word: _Word, show: Show, now: datetime, by: str) -> KeptWord:
    known: Any = word.fields
    kept = keep_answer(
        db, AnswerSaid(**known), show, now, _spelt, word.id, by, _sent(word), word.at
    )
    if not kept.is_new:
        return _BEFORE
    if kept.answered is None:
        return of_entries(kept.entries, kept.notes)
    return of_answer(kept.answered, kept.notes)


def _keep_declared(db: Database, word: _Word, show: Show, now: datetime, by: str) -> KeptWord:
    known: Any = word.fields
    said = DeclaredSaid(**known, at=_text(word.at))
    kept = keep_declared(db, said, show, now, _spelt, word.id, by, _sent(word))
    return _BEFORE if kept.declared is None else of_declaration(kept.declared, kept.notes)


_KEEP = {"log": _keep_log, "answer": _keep_answer, "declare": _keep_declared}
_BEFORE = KeptWord("log", known=True)


def _sent(word: _Word) -> list[list[str]]:
    """The word as it came; an order of its fields is no other word."""
    return [[key, value] for key, value in sorted(word.sent.items())]


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()


def _spelt(name: str) -> str:
    """A name as it stands in the form."""
    return name


def _told(place: Place, found: In, word: _Word, kept: KeptWord, now: datetime) -> Response:
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
