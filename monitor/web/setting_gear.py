"""What hangs at a position: rows pasted from a spreadsheet, each code read back; rows taken out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import quote

from flask import Flask, Response, request
from markupsafe import escape

from monitor.check import check
from monitor.domain import BadInputError, Problem
from monitor.page.set_up_labels import COLUMN_WORDS
from monitor.page.words import later
from monitor.setup.pasted import KNOWN, Pasted, pasted
from monitor.setup.rig_text import Sheet, sheet_of, with_rows, without
from monitor.web.answers import RefusedError
from monitor.web.plain_pages import on_a_page
from monitor.web.set_up import FIXTURES_FILE, PATH, back_to, kept, sent, set_up_page
from monitor.web.signed_in import shown_to

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlite_utils import Database

    from monitor.domain import Fixture, Show
    from monitor.page.viewer import Viewer
    from monitor.show import ShowFolder
    from monitor.web.place import Place
    from monitor.web.set_up import Sent

GEAR = f"{PATH}/gear"
_NONE_TICKED = Problem("none-ticked", "Nothing is ticked.", "Tick what is to go.")
_TAKE, _COLUMN = "take.", "column."
_NO_PLACE = later("There is no such position in this show.")


@dataclass(frozen=True, slots=True)
class Suits:
    """What the check says of one pasted row, as it would hang here."""

    unsuited: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def add_to(app: Flask, place: Place) -> None:
    """The page, and its form."""

    @app.get(GEAR)
    @shown_to(place, "chief")
    def gear(_db: Database, viewer: Viewer, /) -> Response:
        folder = place.watch.read()
        at_id = _position(folder.show, request.args.get("at", ""))
        return _page(place, viewer, folder, at_id, {}, said="kept" in request.args)

    @app.post(GEAR)
    @on_a_page(place)
    def gear_anew() -> Response:
        with place.opened() as db:
            form = sent(place, db)
            at_id = _position(form.folder.show, form.fields.get("at", ""))
            if "take" in form.fields:
                return _taken_out(place, db, form, at_id)
            return _put_in(place, db, form, at_id)


def _position(show: Show, name: str) -> str:
    if name not in show.positions:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_PLACE)
    return name


def _put_in(place: Place, db: Database, form: Sent, at_id: str) -> Response:
    folder, fields = form.folder, form.fields
    known = {fixture.id: fixture.position for fixture in folder.show.fixtures}
    chosen = {
        int(name.removeprefix(_COLUMN)): "" if value == "-" else value
        for name, value in fields.items()
        if name.startswith(_COLUMN) and name.removeprefix(_COLUMN).isdecimal()
        if value == "-" or value in KNOWN
    }
    found = pasted(fields.get("table", ""), at_id, chosen, known, fields.get("shape", ""))
    problems: Sequence[Problem] = found.problems
    suits: Mapping[str, Suits] = {}
    if not problems:
        sheet = with_rows(sheet_of(folder.files[FIXTURES_FILE]), [row.cells for row in found.rows])
        files = {FIXTURES_FILE: sheet.written()}
        try:
            as_it_would = place.watch.as_if({**folder.files, **files})
            if form.is_kept:
                kept(place, db, form, files, _says(found), at_id)
                return back_to(f"{GEAR}?at={quote(at_id)}&kept=1")
            suits = _suits(as_it_would.show, found)
        except BadInputError as fault:
            problems = _by_name(fault.problems, sheet)
    return _page(
        place,
        form.viewer,
        folder,
        at_id,
        fields,
        problems,
        found=found,
        suits=suits,
        refused=form.is_kept,
    )


def _by_name(problems: Sequence[Problem], sheet: Sheet) -> list[Problem]:
    """Problems of rows with the short name of each: its row in the file is no row of the paste."""
    found = []
    for problem in problems:
        at = -1 if problem.line is None else problem.line - 2
        is_row = problem.file == FIXTURES_FILE and 0 <= at < len(sheet.rows)
        name = sheet.at(sheet.rows[at], "id") if is_row else ""
        found.append(replace(problem, says=f"{name}: {problem.says}") if name else problem)
    return found


def _says(found: Pasted) -> str:
    new = [row.cells["id"] for row in found.rows if row.is_new]
    moved = [row.cells["id"] for row in found.rows if row.elsewhere]
    changed = [row.cells["id"] for row in found.rows if not row.is_new and not row.elsewhere]
    parts = (("put in", new), ("moved here", moved), ("changed", changed))
    return "; ".join(f"{what} {', '.join(names)}" for what, names in parts if names)


def _suits(show: Show, found: Pasted) -> dict[str, Suits]:
    names = {row.cells["id"] for row in found.rows}
    return {
        one.fixture.id: Suits(one.unsuited, one.notes)
        for one in check(show)
        if one.fixture.id in names
    }


def _taken_out(place: Place, db: Database, form: Sent, at_id: str) -> Response:
    here = {fixture.id for fixture in form.folder.show.fixtures if fixture.position == at_id}
    names = [n.removeprefix(_TAKE) for n in form.fields if n.startswith(_TAKE)]
    names = [name for name in names if name in here]
    if not names:
        return _page(place, form.viewer, form.folder, at_id, {}, (_NONE_TICKED,), refused=True)
    sheet = without(sheet_of(form.folder.files[FIXTURES_FILE]), names)
    try:
        files = {FIXTURES_FILE: sheet.written()}
        kept(place, db, form, files, f"taken out of the file: {', '.join(names)}", at_id)
    except BadInputError as fault:
        return _page(place, form.viewer, form.folder, at_id, {}, fault.problems, refused=True)
    return back_to(f"{GEAR}?at={quote(at_id)}&kept=1")


def _page(
    place: Place,
    viewer: Viewer,
    folder: ShowFolder,
    at_id: str,
    fields: Mapping[str, str],
    problems: Sequence[Problem] = (),
    *,
    found: Pasted | None = None,
    suits: Mapping[str, Suits] | None = None,
    refused: bool = False,
    said: bool = False,
) -> Response:
    show = folder.show
    here: list[Fixture] = [f for f in show.fixtures if f.position == at_id]
    return set_up_page(
        place,
        viewer,
        folder,
        "set-up-gear.html.j2",
        at_id,
        fields,
        problems,
        refused=refused,
        said=said,
        position=show.positions[at_id],
        here=here,
        found=found,
        suits=suits or {},
        columns=COLUMN_WORDS,
        # Escaped here: any other text of a page is made one line.
        table=escape(fields.get("table", "")),
    )
