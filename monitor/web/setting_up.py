"""Describing positions and roofs in crew words, drawn as they are understood."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem, Roof
from monitor.page.labels import ACCESS
from monitor.page.place_drawing import Spot, plan, section, sentences
from monitor.page.words import later
from monitor.setup.form import (
    HUNG,
    SIDES,
    TAILS,
    Described,
    described,
    described_roof,
    filled,
    identifier,
    roof_filled,
)
from monitor.setup.keeping import difference
from monitor.setup.rig_text import sheet_of, with_columns_at
from monitor.setup.said import HEIGHTS_M
from monitor.setup.show_text import item, items, with_item
from monitor.show.plan import access_defaults
from monitor.web.answers import RefusedError
from monitor.web.plain_pages import on_a_page
from monitor.web.set_up import (
    FIXTURES_FILE,
    PATH,
    SHOW_FILE,
    Sent,
    back_to,
    by_field,
    faults,
    kept,
    sent,
    set_up_page,
    show_text,
)
from monitor.web.signed_in import shown_to

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from markupsafe import Markup
    from sqlite_utils import Database

    from monitor.page.viewer import Viewer
    from monitor.page.words import Words
    from monitor.show import ShowFolder
    from monitor.web.place import Place

PLACE, ROOF = f"{PATH}/place", f"{PATH}/roof"

_NO_PLACE = later("There is no such position in this show.")
_NO_ROOF = later("There is no such roof in this show.")
HEIGHT_WORDS = {
    "hand": later("a hand off the ground"),
    "knee": later("knee"),
    "head": later("head"),
    "ladder": later("a ladder up"),
    "lift": later("lift or truss"),
}
HUNG_WORDS = {
    "upright": later("as its tests stand it, base down"),
    "inverted": later("upside down"),
    "tilted": later("on its side"),
    "any": later("not known: counts from below"),
}
TAIL_WORDS = {
    "mated": later("all mated"),
    "capped": later("spare tails capped"),
    "open": later("some open"),
}
WASHDOWNS = {
    "none": later("none"),
    "low": later("hose, sprinklers, street cleaning"),
    "high": later("pressure washer"),
}
SIDE_WORDS = {
    "front": later("front"),
    "right": later("right"),
    "back": later("back"),
    "left": later("left"),
}


def add_to(app: Flask, place: Place) -> None:
    """The list, and the form of a position and of a roof."""

    @app.get(PATH)
    @shown_to(place, "chief")
    def set_up(_db: Database, viewer: Viewer, /) -> Response:
        show = place.watch.read().show
        hanging = {name: 0 for name in show.positions}
        for fixture in show.fixtures:
            hanging[fixture.position] += fixture.count
        return set_up_page(
            place,
            viewer,
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

    @app.get(ROOF)
    @shown_to(place, "chief")
    def roof(_db: Database, viewer: Viewer, /) -> Response:
        folder = place.watch.read()
        name = request.args.get("at", "")
        table = item(show_text(folder), "roofs", name)
        if table is None:
            raise RefusedError(HTTPStatus.NOT_FOUND, _NO_ROOF)
        said = "kept" in request.args
        return _roof_form(place, viewer, folder, name, roof_filled(table), said=said)

    @app.post(ROOF)
    @on_a_page(place)
    def roof_anew() -> Response:
        with place.opened() as db:
            return _roof_described(place, db, sent(place, db))


# ---------------------------------------------------------------- a position


def _described(place: Place, db: Database, form: Sent) -> Response:
    folder, fields = form.folder, form.fields
    show = folder.show
    name = fields.get("at", "")
    if name and name not in show.positions:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_PLACE)
    known = name or identifier(fields.get("name", ""), [*show.positions])
    said = described(fields, show.roofs, known)
    problems: Sequence[Problem] = said.problems
    if not problems:
        try:
            files = _files(folder, known, said)
            problems = faults(place, files, folder)
            if form.is_kept and not problems:
                kept(place, db, form, files, _says(form.text, known, said), known)
                return back_to(f"{PLACE}?at={quote(known)}&kept=1")
        except BadInputError as fault:
            problems = fault.problems
    drawn = _spot(said, show.roofs)
    return _form(
        place, form.viewer, folder, name, fields, problems, drawn, refused=form.is_kept
    )


def _files(folder: ShowFolder, name: str, said: Described) -> dict[str, bytes]:
    """The files that change; those that stay as they are do not."""
    text = show_text(folder)
    if said.roof is not None:
        text = with_item(text, "roofs", *said.roof)
    text = with_item(text, "positions", name, _usual_left_out(text, name, said.position))
    files = {SHOW_FILE: text.encode("utf-8")}
    if said.hung.columns:
        sheet = sheet_of(folder.files[FIXTURES_FILE])
        files[FIXTURES_FILE] = with_columns_at(sheet, name, said.hung.columns).written()
    return files


def _usual_left_out(text: str, name: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """A new position without what is not said of it: it has the usual of its access."""
    if item(text, "positions", name) is None:
        return {key: value for key, value in values.items() if value is not None}
    return dict(values)


def _says(text: str, name: str, said: Described) -> str:
    parts = [difference(item(text, "positions", name), said.position)]
    if said.roof is not None:
        parts.append(f"roof made: {difference(None, said.roof[1])}")
    if said.hung.columns:
        hung = ", ".join(f"{column} {text}" for column, text in said.hung.columns.items() if text)
        parts.append(f"all that hangs here: {hung}")
    return "; ".join(part for part in parts if part)


def _spot(said: Described, roofs: Mapping[str, Roof]) -> Spot | None:
    """What the drawing shows of a filled form; None where it cannot be drawn."""
    values = said.position
    height, roof = values.get("height_m"), None
    if height is None:
        return None
    if said.roof is not None:
        roof = _as_roof(*said.roof)
        if roof is None:
            return None
    elif values.get("roof") is not None:
        roof = roofs[values["roof"]]
    insets = values.get("in_from_front_m"), values.get("in_from_right_m")
    if roof is None:
        return Spot(height)
    if None in insets:
        return None
    spot = Spot(height, roof, float(insets[0] or 0.0), float(insets[1] or 0.0))
    return spot if spot.is_drawn else None


def _as_roof(name: str, values: Mapping[str, Any]) -> Roof | None:
    sizes = [values.get(key) for key in ("facing_deg", "width_m", "depth_m", "edge_height_m")]
    if any(size is None for size in sizes) or not all(size > 0 for size in sizes[1:]):
        return None
    facing, width, depth, edge = (float(size) for size in sizes)
    return Roof(name, facing, width, depth, edge, frozenset(values["closed"]))


def _drawings(spot: Spot | None, words: Words) -> tuple[Markup, Markup, list[str]] | None:
    if spot is None:
        return None
    return (
        plan(spot, words, words.say("Seen from above")),
        section(spot, words, words.say("Seen from the side")),
        sentences(spot, words),
    )


def _form(
    place: Place,
    viewer: Viewer,
    folder: ShowFolder,
    name: str,
    fields: Mapping[str, str],
    problems: Sequence[Problem] = (),
    spot: Spot | None = None,
    *,
    refused: bool = False,
    said: bool = False,
) -> Response:
    show = folder.show
    if spot is None and not problems and fields.get("height"):
        spot = _spot(described(fields, show.roofs, name), show.roofs)
    return set_up_page(
        place,
        viewer,
        "set-up-place.html.j2",
        problems,
        refused=refused,
        said=said,
        at_id=name,
        base=fields.get("base", show.revision) if not refused else show.revision,
        fields=fields,
        wrong=by_field(problems),
        roofs=[roof for roof in show.roofs.values() if roof.id != "indoors"],
        neighbours=[p for p in show.positions.values() if p.id != name],
        drawings=_drawings(spot, viewer.words),
        access=ACCESS,
        usual=access_defaults(),
        heights={key: (HEIGHT_WORDS[key], HEIGHTS_M[key]) for key in HEIGHTS_M},
        hung={key: HUNG_WORDS[key] for key in HUNG},
        tails={key: TAIL_WORDS[key] for key in TAILS},
        washdowns=WASHDOWNS,
        sides={side: SIDE_WORDS[side] for side in SIDES},
        hangs=sum(f.count for f in show.fixtures if f.position == name),
    )


# ---------------------------------------------------------------- a roof


def _roof_described(place: Place, db: Database, form: Sent) -> Response:
    folder, fields = form.folder, form.fields
    name = fields.get("at", "")
    before = item(form.text, "roofs", name)
    if before is None:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_ROOF)
    values, problems = described_roof(fields)
    if not problems:
        try:
            text = with_item(form.text, "roofs", name, values)
            files = {SHOW_FILE: text.encode("utf-8")}
            problems = faults(place, files, folder)
            if form.is_kept and not problems:
                says = f"roof {name}: {difference(before, values)}"
                kept(place, db, form, files, says, None)
                return back_to(f"{ROOF}?at={quote(name)}&kept=1")
        except BadInputError as fault:
            problems = fault.problems
    return _roof_form(
        place, form.viewer, folder, name, fields, problems, refused=form.is_kept
    )


def _roof_form(
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
    text, roof = show_text(folder), None
    if not described_roof(fields)[1]:
        roof = _as_roof(name, described_roof(fields)[0])
    roofs = folder.show.roofs if roof is None else {**folder.show.roofs, name: roof}
    drawn = []
    for table in items(text, "positions"):
        if table.get("roof") == name:
            spot = _spot(described(filled(table), roofs, name), roofs)
            drawn.append((table.get("name", table["id"]), _drawings(spot, viewer.words)))
    return set_up_page(
        place,
        viewer,
        "set-up-roof.html.j2",
        problems,
        refused=refused,
        said=said,
        at_id=name,
        base=fields.get("base", folder.show.revision) if not refused else folder.show.revision,
        fields=fields,
        wrong=by_field(problems),
        under=drawn,
        sides={side: SIDE_WORDS[side] for side in SIDES},
    )

