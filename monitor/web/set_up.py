"""What the pages that describe the rig have in common: the folder as it stands, and keeping it.

Only a chief sees them. What is kept is a new revision of the show folder, with who and when in
the history; the service takes it up at one of its next looks.
"""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from flask import Response, request

from monitor.domain import BadInputError, Problem, SetUp
from monitor.setup.beside import ON_TOP
from monitor.setup.keeping import CHANGED, keep
from monitor.show.plain_text import plain_text
from monitor.web.plain_pages import plain_page
from monitor.web.signed_in import form_of, viewer_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlite_utils import Database

    from monitor.page.viewer import Viewer
    from monitor.show import ShowFolder
    from monitor.web.place import Place
    from monitor.web.signed_in import In

PATH = "/set-up"
SHOW_FILE, FIXTURES_FILE = "show.toml", "fixtures.csv"
LARGEST = (200 * 1024, 3000)
"""Bytes and fields of a form with a table pasted into it."""


@dataclass(frozen=True, slots=True)
class Sent:
    """A form of these pages: who sent it, its fields, and the folder as it stands."""

    found: In
    viewer: Viewer
    fields: Mapping[str, str]
    folder: ShowFolder

    @property
    def is_kept(self) -> bool:
        """Whether it is to be kept, not only looked at."""
        return self.fields.get("do") == "keep"

    @property
    def text(self) -> str:
        """show.toml as it stands."""
        return show_text(self.folder)


def show_text(folder: ShowFolder) -> str:
    """show.toml of a folder."""
    return plain_text(folder.files[SHOW_FILE], SHOW_FILE)[0]


def sent(place: Place, db: Database) -> Sent:
    """The form that was sent, by a chief."""
    found, fields = form_of(place, db, request, "chief", most=LARGEST)
    viewer = viewer_of(place, found, request)
    return Sent(found, viewer, fields, place.watch.read())


def faults(place: Place, files: Mapping[str, bytes], folder: ShowFolder) -> tuple[Problem, ...]:
    """What would be wrong with the folder with these files."""
    try:
        place.watch.as_if({**folder.files, **files})
    except BadInputError as fault:
        return fault.problems
    return ()


def kept(
    place: Place,
    db: Database,
    form: Sent,
    files: Mapping[str, bytes],
    says: str,
    position: str | None,
) -> ShowFolder:
    """Keep files of the show folder; BadInputError, UnableError where that cannot be."""
    now = place.clock()
    by = form.found.device.name
    base = form.fields.get("base", form.folder.show.revision)
    return keep(
        db,
        place.watch.read,
        place.watch.as_if,
        files,
        base,
        lambda revision: SetUp(now, by, says[:2000], revision, base, position),
    )


def set_up_page(
    place: Place,
    viewer: Viewer,
    folder: ShowFolder,
    template: str,
    at_id: str = "",
    fields: Mapping[str, str] | None = None,
    problems: Sequence[Problem] = (),
    beside: Mapping[str, Sequence[Problem]] | None = None,
    *,
    refused: bool = False,
    said: bool = False,
    **values: Any,
) -> Response:
    """One of these pages.

    Parameters
    ----------
    at_id : the item that it describes
    fields : what was typed
    beside : the problems by the field they stand beside; without it all stand on top
    refused : what was to be kept was not
    said : it was kept just now
    """
    typed = fields or {}
    now = folder.show.revision
    # Once it is said what somebody else changed, what is kept next may stand over that.
    told = any(problem.code == CHANGED for problem in problems)
    return plain_page(
        place,
        viewer,
        template,
        PATH,
        HTTPStatus.UNPROCESSABLE_ENTITY if refused else HTTPStatus.OK,
        at_id=at_id,
        base=now if told else typed.get("base", now),
        fields=typed,
        problems=problems,
        wrong={ON_TOP: problems} if beside is None else beside,
        refused=refused,
        said=said,
        **values,
    )


def back_to(path: str) -> Response:
    """The way to a page after something was kept."""
    return Response(status=HTTPStatus.SEE_OTHER, headers={"Location": path})
