"""Describing a position in crew words, drawn as it is understood."""

from __future__ import annotations

from dataclasses import replace
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import quote

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem
from monitor.page.labels import ACCESS
from monitor.page.set_up_labels import (
    HEIGHT_WORDS,
    HUNG_WORDS,
    SIDE_WORDS,
    TAIL_WORDS,
    WASHDOWNS,
)
from monitor.page.spots import drawings, spot_of
from monitor.page.words import later
from monitor.setup.beside import PLACE_FIELDS, ROOF_FIELDS, by_field
from monitor.setup.form import INDOORS, Described, described, filled, identifier
from monitor.setup.keeping import difference
from monitor.setup.rig_text import sheet_of, with_columns_at
from monitor.setup.said import HEIGHTS_M
from monitor.setup.same import as_it_stood
from monitor.setup.show_text import item, place_of, with_item
from monitor.show.plan import access_defaults
from monitor.web.answers import RefusedError
from monitor.web.plain_pages import on_a_page
from monitor.web.set_up import (
    FIXTURES_FILE,
    PATH,
    SHOW_FILE,
    Sent,
    back_to,
    faults,
    kept,
    sent,
    set_up_page,
    show_text,
)
from monitor.web.signed_in import shown_to

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlite_utils import Database

    from monitor.page.viewer import Viewer
    from monitor.show import ShowFolder
    from monitor.web.place import Place

PLACE = f"{PATH}/place"
_NO_PLACE = later("There is no such position in this show.")


def add_to(app: Flask, place: Place) -> None:
    """The list of positions, and the form of one."""

    @app.get(PATH)
    @shown_to(place, "chief")
    def set_up(_db: Database, viewer: Viewer, /) -> Response:
        folder = place.watch.read()
        show = folder.show
        hanging = dict.fromkeys(show.positions, 0)
        for fixture in show.fixtures:
            hanging[fixture.position] += fixture.count
        return set_up_page(
            place,
            viewer,
            folder,
            "set-up.html.j2",
            places=show.positions.values(),
            roofs=show.roofs.values(),
            hanging=hanging,
            access=ACCESS,
        )

    @app.get(PLACE)
    @shown_to(place, "chief")
    def describe(_db: Database, viewer: Viewer, /) -> Response:
        folder = place.watch.read()
        name = request.args.get("at", "")
        if name and name not in folder.show.positions:
            raise RefusedError(HTTPStatus.NOT_FOUND, _NO_PLACE)
        like = request.args.get("like", "")
        model = item(show_text(folder), "positions", name or like)
        fields = {} if model is None else filled(model)
        if not name:
            fields = {**fields, "name": ""}
        return _form(place, viewer, folder, name, fields, said="kept" in request.args)

    @app.post(PLACE)
    @on_a_page(place)
    def describe_anew() -> Response:
        with place.opened() as db:
            return _described(place, db, sent(place, db))


def _described(place: Place, db: Database, form: Sent) -> Response:
    folder, fields = form.folder, form.fields
    show = folder.show
    name = fields.get("at", "")
    if name and name not in show.positions:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_PLACE)
    known = name or identifier(fields.get("name", ""), [*show.positions])
    said = described(fields, show.roofs, known)
    before = item(form.text, "positions", known)
    said = replace(said, position=as_it_stood(before, said.position))
    problems: Sequence[Problem] = said.problems
    beside: Mapping[str, Sequence[Problem]] = by_field(problems, {})
    if not problems:
        try:
            files = _files(folder, known, said)
            problems = faults(place, files, folder)
            if form.is_kept and not problems:
                kept(place, db, form, files, _says(form.text, known, said), known)
                return back_to(f"{PLACE}?at={quote(known)}&kept=1")
            beside = _beside(problems, files[SHOW_FILE].decode("utf-8"), known, said)
        except BadInputError as fault:
            problems = fault.problems
            beside = by_field(problems, {})
    return _form(
        place,
        form.viewer,
        folder,
        name,
        fields,
        problems,
        beside,
        said=said,
        refused=form.is_kept,
    )


def _beside(
    problems: Sequence[Problem], text: str, name: str, said: Described
) -> Mapping[str, Sequence[Problem]]:
    items = {place_of(text, "positions", name): PLACE_FIELDS}
    if said.roof is not None:
        items[place_of(text, "roofs", said.roof[0])] = ROOF_FIELDS
    return by_field(problems, items)


def _files(folder: ShowFolder, name: str, said: Described) -> dict[str, bytes]:
    """The files that change; those that stay as they are do not."""
    text = show_text(folder)
    if said.roof is not None:
        text = with_item(text, "roofs", *said.roof)
    text = with_item(text, "positions", name, said.position)
    files = {SHOW_FILE: text.encode("utf-8")}
    if said.hung.columns:
        sheet = sheet_of(folder.files[FIXTURES_FILE])
        files[FIXTURES_FILE] = with_columns_at(sheet, name, said.hung.columns).written()
    return files


def _says(text: str, name: str, said: Described) -> str:
    parts = [difference(item(text, "positions", name), said.position)]
    if said.roof is not None:
        parts.append(f"roof made: {difference(None, said.roof[1])}")
    if said.hung.columns:
        hung = ", ".join(f"{column} {text}" for column, text in said.hung.columns.items() if text)
        parts.append(f"all that hangs here: {hung}")
    return "; ".join(part for part in parts if part)


def _sprayed(fields: Mapping[str, str], beside: Mapping[str, Sequence[Problem]]) -> bool:
    """Whether anything is said of a fountain or surf, or wrong with it: then it is in sight."""
    typed = [name for name, text in fields.items() if text]
    return any(name.startswith("spray_") for name in (*typed, *beside))


def _form(
    place: Place,
    viewer: Viewer,
    folder: ShowFolder,
    name: str,
    fields: Mapping[str, str],
    problems: Sequence[Problem] = (),
    beside: Mapping[str, Sequence[Problem]] | None = None,
    *,
    said: Described | bool = False,
    refused: bool = False,
) -> Response:
    """The form as it is filled. `said`: what it says, or whether it was kept just now."""
    show = folder.show
    reads = said if isinstance(said, Described) else described(fields, show.roofs, name)
    return set_up_page(
        place,
        viewer,
        folder,
        "set-up-place.html.j2",
        name,
        fields,
        problems,
        beside,
        refused=refused,
        said=said is True,
        roofs=[roof for roof in show.roofs.values() if roof.id != INDOORS],
        neighbours=[p for p in show.positions.values() if p.id != name],
        drawings=drawings(spot_of(reads, show.roofs), viewer.words),
        access=ACCESS,
        usual=access_defaults(),
        heights={key: (HEIGHT_WORDS[key], metres) for key, metres in HEIGHTS_M.items()},
        hung=HUNG_WORDS,
        tails=TAIL_WORDS,
        washdowns=WASHDOWNS,
        sides=SIDE_WORDS,
        sprayed=_sprayed(fields, beside or {}),
        hangs=sum(f.count for f in show.fixtures if f.position == name),
    )
