"""Describing a roof or tent, with everything that is under it drawn as it then is."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import quote

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem
from monitor.page.set_up_labels import SIDE_WORDS
from monitor.page.spots import drawings, roof_of, spot_of
from monitor.page.words import later
from monitor.setup.beside import ROOF_FIELDS, by_field
from monitor.setup.form import described, described_roof, filled, roof_filled
from monitor.setup.keeping import difference
from monitor.setup.show_text import item, items, place_of, with_item
from monitor.web.answers import RefusedError
from monitor.web.plain_pages import on_a_page
from monitor.web.set_up import (
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

ROOF = f"{PATH}/roof"
_NO_ROOF = later("There is no such roof in this show.")


def add_to(app: Flask, place: Place) -> None:
    """The page, and its form."""

    @app.get(ROOF)
    @shown_to(place, "chief")
    def roof(_db: Database, viewer: Viewer, /) -> Response:
        folder = place.watch.read()
        name = request.args.get("at", "")
        table = item(show_text(folder), "roofs", name)
        if table is None:
            raise RefusedError(HTTPStatus.NOT_FOUND, _NO_ROOF)
        said = "kept" in request.args
        return _form(place, viewer, folder, name, roof_filled(table), said=said)

    @app.post(ROOF)
    @on_a_page(place)
    def roof_anew() -> Response:
        with place.opened() as db:
            return _described(place, db, sent(place, db))


def _described(place: Place, db: Database, form: Sent) -> Response:
    fields, name = form.fields, form.fields.get("at", "")
    before = item(form.text, "roofs", name)
    if before is None:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_ROOF)
    values, problems = described_roof(fields)
    if not problems:
        try:
            text = with_item(form.text, "roofs", name, values)
            files = {SHOW_FILE: text.encode("utf-8")}
            problems = faults(place, files, form.folder)
            if form.is_kept and not problems:
                kept(place, db, form, files, f"roof {name}: {difference(before, values)}", None)
                return back_to(f"{ROOF}?at={quote(name)}&kept=1")
        except BadInputError as fault:
            problems = fault.problems
    return _form(place, form.viewer, form.folder, name, fields, problems, refused=form.is_kept)


def _form(
    place: Place,
    viewer: Viewer,
    folder: ShowFolder,
    name: str,
    fields: Mapping[str, str],
    problems: Sequence[Problem] = (),
    *,
    refused: bool = False,
    said: bool = False,
) -> Response:
    text = show_text(folder)
    values, unread = described_roof(fields)
    roof = None if unread else roof_of(name, values)
    roofs = folder.show.roofs if roof is None else {**folder.show.roofs, name: roof}
    under = [
        (
            table.get("name", table["id"]),
            drawings(spot_of(described(filled(table), roofs, name), roofs), viewer.words),
        )
        for table in items(text, "positions")
        if table.get("roof") == name
    ]
    return set_up_page(
        place,
        viewer,
        folder,
        "set-up-roof.html.j2",
        name,
        fields,
        problems,
        by_field(problems, {place_of(text, "roofs", name): ROOF_FIELDS}),
        refused=refused,
        said=said,
        under=under,
        sides=SIDE_WORDS,
    )
