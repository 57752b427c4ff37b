"""Readings of the stations on the site, posted: as JSON, or as gateway stations send them.

Known again by station and time: sent twice, a reading stands once. One that gives no time has
the moment of its receipt, so sent twice it may stand twice; a counter means the same then.
"""

from __future__ import annotations

from dataclasses import replace
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem
from monitor.feeds.gateway_form import reading_from_form
from monitor.feeds.readings import CREW, reading_from_json
from monitor.show.nearest import suggestion
from monitor.store.database import immediate
from monitor.store.readings import add_reading
from monitor.store.tokens import note_use
from monitor.units import iso_utc
from monitor.web.answers import RefusedError, json_answer
from monitor.web.bearer import bearer, named_by
from monitor.web.posted import FORM, json_body, refuse_other_type

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlite_utils import Database

    from monitor.domain import Reading, Show
    from monitor.store.tokens import Holder
    from monitor.web.place import Place

MOST_AT_ONCE = 500
MOST_FIELDS = 200
_TOLD = 50
"""So many problems of one list are told; the rest are counted."""


def add_to(app: Flask, place: Place) -> None:
    """The two addresses."""

    @app.post("/api/v1/observations")
    def observations() -> Response:
        with place.opened_to_write() as db:
            holder = bearer(db, place, request)
            data = json_body(request)
            now = place.clock()
            if not isinstance(data, list):
                reading = reading_from_json(data, now)
                _check_station(reading, place.show)
                (known,) = _kept(db, place, holder, [reading], alone=True)
                return _answer(_said(reading, known), is_new=not known)
            readings = _all_of(data, place)
            known_ones = _kept(db, place, holder, readings)
        said = [_said(r, known) for r, known in zip(readings, known_ones, strict=True)]
        return _answer({"readings": said}, is_new=not all(known_ones))

    # A gateway station can be told an address and no header, so its token stands there.
    @app.post("/api/v1/observations/gateway/<token>")
    def gateway(token: str) -> Response:
        with place.opened_to_write() as db:
            holder = named_by(db, place, request, token)
            form = _form()
            station = _station_of(request.args.get("station"), holder, place.show)
            reading = reading_from_form(form, station, place.clock())
            (known,) = _kept(db, place, holder, [reading], alone=True)
        return _answer(_said(reading, known), is_new=not known)


def _all_of(data: list[Any], place: Place) -> list[Reading]:
    """Every reading of a list, or every fault in it."""
    if not 0 < len(data) <= MOST_AT_ONCE:
        says = f"The list holds {len(data)} readings."
        remedy = f"Send 1 to {MOST_AT_ONCE} at a time."
        raise BadInputError([Problem("bad-list", says, remedy)])
    readings, problems, now = [], [], place.clock()
    for n, item in enumerate(data):
        try:
            readings.append(reading_from_json(item, now))
            _check_station(readings[-1], place.show)
        except BadInputError as fault:
            problems += [_in_list(n, problem) for problem in fault.problems]
    if problems:
        raise BadInputError(_first(problems))
    return readings


def _kept(
    db: Database, place: Place, holder: Holder, readings: Sequence[Reading], *, alone: bool = False
) -> list[bool]:
    """Keep all of them or none; True for each that was known."""
    now = place.clock()
    known: list[bool] = []
    problems: list[Problem] = []
    with immediate(db):
        for n, reading in enumerate(readings):
            try:
                known.append(not add_reading(db, reading, now))
            except BadInputError as fault:
                problems += fault.problems if alone else [_in_list(n, p) for p in fault.problems]
        if problems:
            raise BadInputError(_first(problems))
        note_use(db, holder, now)
    return known


def _check_station(reading: Reading, show: Show) -> None:
    known = [gauge.station for gauge in show.gauges]
    if reading.station == CREW or reading.station in known:
        return
    remedy = (
        f"{suggestion(reading.station, known)} Or add it to show.toml: [[gauges]] with station."
        if known
        else "Add it to show.toml: [[gauges]] with station = its id."
    )
    says = f"The show has no station {reading.station}."
    raise BadInputError([Problem("unknown-station", says, remedy, key="station")])


def _station_of(asked: str | None, holder: Holder, show: Show) -> str:
    """Whose form it is: as the address says, else as the token is named, else the only one."""
    known = [gauge.station for gauge in show.gauges]
    named = asked or (holder.name if holder.name in known else None)
    if named is None and len(known) == 1:
        return known[0]
    if named in known:
        return named or ""
    says = (
        "It is not known which station this is." if named is None else "There is no such station."
    )
    remedy = (
        f"Add ?station=ID to the address, or name the token after it. {_listed(known)}"
        if known
        else "Add it to show.toml: [[gauges]] with station = its id."
    )
    raise BadInputError([Problem("unknown-station", says, remedy, key="station")])


def _listed(known: Sequence[str]) -> str:
    return f"The show has {', '.join(known)}."


def _form() -> dict[str, str]:
    """The form as sent. Some stations do not say that it is one."""
    refuse_other_type(request, FORM, may_lack=True)
    try:
        text = request.get_data().decode("utf-8")
        return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS))
    except ValueError:
        raise RefusedError(
            HTTPStatus.BAD_REQUEST,
            f"The body cannot be read as a form of up to {MOST_FIELDS} fields.",
        ) from None


def _in_list(n: int, problem: Problem) -> Problem:
    key = f"[{n}]" if problem.key is None else f"[{n}].{problem.key}"
    return replace(problem, key=key)


def _first(problems: Sequence[Problem]) -> list[Problem]:
    more = len(problems) - _TOLD
    if more <= 0:
        return [*problems]
    rest = Problem("and-more", f"And {more} more.", "Mend these first.")
    return [*problems[:_TOLD], rest]


def _said(reading: Reading, known: bool) -> dict[str, Any]:
    """What became of one reading; `told` says what of it was left out."""
    said = {"station": reading.station, "time": iso_utc(reading.at), "known": known}
    return {**said, "told": list(reading.told)} if reading.told else said


def _answer(data: dict[str, Any], *, is_new: bool) -> Response:
    """201 where anything was new, 200 where all was known."""
    return json_answer(data, HTTPStatus.CREATED if is_new else HTTPStatus.OK)
