"""A rig from a file laid beside a show folder: what it would add, and what has to be asked first.

Nothing is invented. What the file does not say is asked; a row or a position with something
needed unanswered is left out whole, never written in part.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.codes import CodeError, read_code
from monitor.domain import BadInputError, Problem
from monitor.imports.drawn import Ask, Drawn, Rig
from monitor.imports.fixtures_text import with_rows
from monitor.imports.naming import Path, fixture_ids, position_names
from monitor.imports.places import Places, number, places
from monitor.imports.plain_cells import one_line
from monitor.imports.proposal import NewRow, Proposal
from monitor.imports.show_text import with_positions
from monitor.imports.ways_up import answered_way_up, way_up
from monitor.show.findings import SHOW_FILE
from monitor.show.fixtures import FIXTURES_FILE
from monitor.show.folder import ShowFolder, folder_of
from monitor.show.plain_text import plain_text
from monitor.show.values import Between

if TYPE_CHECKING:
    from monitor.domain import Code, Fixture
    from monitor.imports.answers import Answers

_HEIGHT = Between(-2, 150)
_AZIMUTH = Between(0, 360)
_SAME_M = 0.01


def proposal(
    rig: Rig,
    answers: Answers,
    folder: ShowFolder,
    environ: Mapping[str, str],
    north_deg: float | None = None,
) -> Proposal:
    """What `rig` would add to the show of `folder`; BadInputError where it or an answer is wrong.

    `north_deg` is the compass bearing of the drawing's +Y.
    """
    return _Merging(rig, answers, folder, environ, north_deg).propose()


class _Merging:
    def __init__(
        self,
        rig: Rig,
        answers: Answers,
        folder: ShowFolder,
        environ: Mapping[str, str],
        north_deg: float | None,
    ) -> None:
        self._rig = rig
        self._answers = answers
        self._folder = folder
        self._environ = environ
        self._north = north_deg
        self._asks = list(rig.asks)
        self._rows: list[NewRow] = []
        self._there: list[str] = []
        self._left: list[tuple[NewRow, str]] = []
        self._told: list[str] = []

    def propose(self) -> Proposal:
        fixtures = self._rig.fixtures
        paths = [fixture.path for fixture in fixtures]
        ids, told = fixture_ids(fixtures, position_names(paths))
        self._ask_north()
        for index, path in enumerate(paths):
            if not path:
                paths[index] = self._asked_position(fixtures[index], ids[index])
        heights = [self._height(ids[index], one) for index, one in enumerate(fixtures)]
        found = places(self._rig, paths, heights, self._answers, self._folder.show)
        self._told += [*told, *found.told]
        self._asks += found.asks
        by_id = {fixture.id: fixture for fixture in self._folder.show.fixtures}
        codes = self._codes(ids, by_id)
        for index, fixture in enumerate(fixtures):
            name = ids[index]
            if name in by_id:
                self._there.append(self._beside(fixture, by_id[name], found.ids.get(paths[index])))
            else:
                row = NewRow(name, fixture, self._cells(name, fixture), "")
                self._row(row, paths[index], heights[index], found, codes.get(index))
        self._leave_out_what_is_fed()
        if self._answers.problems:
            raise BadInputError(self._answers.problems)
        used = {row.cells["position"] for row in self._rows}
        new = tuple(position for position in found.new if position.id in used)
        files = self._files([position.values for position in new])
        return Proposal(
            self._rig.source,
            new,
            tuple(self._rows),
            tuple(self._there),
            tuple(self._left),
            tuple(self._asks),
            (*self._rig.notes, *self._notes(), *self._answers.unused()),
            files,
        )

    # ------------------------------------------------------------ what is asked of fixtures

    def _asked_position(self, fixture: Drawn, name: str) -> Path:
        said = one_line(self._answers.of("position", f"fixture {name}"))
        if said is not None:
            return (said,)
        self._asks.append(
            Ask(
                "position",
                f"fixture {name}",
                fixture.where,
                "At which position is it? An id of show.toml, or the name of a new one.",
                self._rig.source,
            )
        )
        return ()

    def _ask_north(self) -> None:
        leaning = [f for f in self._rig.fixtures if f.stance and f.stance.lean_deg is not None]
        if not leaning:
            return
        if self._north is None:
            self._north = number(self._answers, "north", "drawing", _AZIMUTH, "degrees")
        if self._north is None:
            self._asks.append(
                Ask(
                    "north",
                    "drawing",
                    f"{len(leaning)} fixtures lean, and the drawing does not say which way that is",
                    "Which compass bearing has the drawing's +Y, in degrees? Or give --north DEG. "
                    "Until it is said, their codes count from below.",
                    self._rig.source,
                    needed=False,
                )
            )

    def _codes(self, ids: Sequence[str], there: Mapping[str, Fixture]) -> dict[int, str]:
        """The code of each fixture by its place in the file: its own, or its type's answer."""
        found: dict[int, str] = {}
        asked: Counter[str] = Counter()
        for index, fixture in enumerate(self._rig.fixtures):
            if ids[index] in there:
                continue
            alone = f"fixture {ids[index]}"
            about = alone if fixture.type is None else f"type {fixture.type}"
            said = fixture.cells.get("code")
            if said is None:
                asks = alone if self._answers.of("code", alone) is not None else about
                said = self._answers.of("code", asks)
                if said is not None and not self._readable(asks, said):
                    continue
            if said is None:
                asked[about] += 1
            else:
                found[index] = said
        self._asks += [
            Ask(
                "code",
                about,
                f"{count} fixture{'s' if count > 1 else ''}",
                "Which protection code is on its label (IP...)? none where it has none.",
                self._rig.source,
            )
            for about, count in asked.items()
        ]
        return found

    def _readable(self, about: str, said: str) -> bool:
        try:
            read_code(said)
        except CodeError as fault:
            self._answers.refuse("code", about, fault.says, fault.remedy)
            return False
        return True

    # ------------------------------------------------------------ one row

    def _row(
        self, row: NewRow, path: Path, height: float | None, found: Places, code: str | None
    ) -> None:
        fixture = row.drawn
        position = found.ids.get(path)
        waits = [] if fixture.waits_on is None else [f"an answer on {fixture.waits_on}"]
        if code is None:
            waits.append("its code")
        if position is None:
            waits.append("its position")
        elif position not in found.ready:
            waits.append(f"position {position}")
        if fixture.waits_on is None and height is None and self._needs_height(path):
            self._ask_height(row.id, fixture)
            waits.append("its height")
        cells, says = dict(row.cells), row.cells.get("mount", "")
        if self._rig.drawing:
            mount, says = self._mounted(row.id, fixture)
            cells |= mount
        if height is not None:
            cells["height_m"] = f"{height:.12g}"
        cells |= {"id": row.id, "code": code or "", "position": position or ""}
        made = NewRow(row.id, fixture, cells, says)
        if waits:
            self._left.append((made, ", ".join(waits)))
        else:
            self._rows.append(made)

    def _leave_out_what_is_fed(self) -> None:
        """A part that dies with one that is left out waits with it."""
        left = {row.id for row, _ in self._left}
        while fed := [row for row in self._rows if row.cells.get("fed_by") in left]:
            self._left += [(row, f"{row.cells['fed_by']}, which feeds it") for row in fed]
            left |= {row.id for row in fed}
            self._rows = [row for row in self._rows if row.id not in left]

    def _cells(self, name: str, fixture: Drawn) -> dict[str, str]:
        cells = dict(fixture.cells)
        if fixture.name is not None and fixture.name != name:
            cells["name"] = fixture.name
        if fixture.type is not None:
            cells["type"] = fixture.type
        return cells

    def _mounted(self, name: str, fixture: Drawn) -> tuple[dict[str, str], str]:
        if fixture.stance is not None or fixture.placed or fixture.waits_on is not None:
            return way_up(fixture, self._north)
        mount, says, ask = answered_way_up(name, fixture, self._answers, self._rig.source)
        self._asks += [] if ask is None else [ask]
        return mount, says

    def _needs_height(self, path: Path) -> bool:
        """Whether the position's height is not its: others there have heights of their own."""
        if self._rig.drawing:
            return True
        others = {
            f.height_m for f in self._rig.fixtures if f.path == path and f.height_m is not None
        }
        return len(others) > 1

    def _height(self, name: str, fixture: Drawn) -> float | None:
        """Its own height: the file's, else the answered one."""
        if fixture.height_m is not None or fixture.waits_on is not None:
            return fixture.height_m
        return number(self._answers, "height_m", f"fixture {name}", _HEIGHT, "metres")

    def _ask_height(self, name: str, fixture: Drawn) -> None:
        self._asks.append(
            Ask(
                "height_m",
                f"fixture {name}",
                f"{fixture.where} has no matrix" if self._rig.drawing else fixture.where,
                "How many metres above the ground is it?",
                self._rig.source,
            )
        )

    # ------------------------------------------------------------ beside what is there

    def _beside(self, fixture: Drawn, there: Fixture, position: str | None) -> str:
        differs = []
        if position is not None and position != there.position:
            differs.append(f"position {there.position}, in the file {position}")
        at = self._folder.show.positions[there.position].height_m
        height = at if there.height_m is None else there.height_m
        if fixture.height_m is not None and abs(height - fixture.height_m) >= _SAME_M:
            differs.append(f"height {height:g} m, in the file {fixture.height_m:g}")
        if "code" in fixture.cells and not _same_code(fixture.cells["code"], there.code):
            differs.append(f"code {there.code.label}, in the file {fixture.cells['code']}")
        return f"{there.id}" + (f": {'; '.join(differs)}" if differs else "")

    def _notes(self) -> list[Problem]:
        notes = list(self._told)
        if self._rig.drawing:
            notes.append(
                "hung is written as mount inverted, standing as upright: right for gear that was "
                "tested standing on its base, as most lamps are. It counts for water digits 1 to 3"
            )
        risky = [
            row.id
            for row in self._rows
            if row.drawn.stance is not None
            and row.cells.get("mount") == "upright"
            and _only_upright(row.cells["code"])
        ]
        if risky:
            named = ", ".join(risky[:8]) + (", ..." if len(risky) > 8 else "")
            notes.append(
                f"{named}: the code holds only as tested. See in the maker's papers that it was "
                "tested standing on its base, else write mount any"
            )
        return [
            Problem("taken-as", f"{note}.", "", file=self._rig.source, refused=False)
            for note in notes
        ]

    # ------------------------------------------------------------ the files

    def _files(self, positions: Sequence[Mapping[str, str | float]]) -> dict[str, bytes]:
        """The show's files with all of it in, once they read as a show."""
        if not self._rows:
            return {}
        changed: dict[str, bytes] = {}
        if positions:
            text, _ = plain_text(self._folder.files[SHOW_FILE], SHOW_FILE)
            changed[SHOW_FILE] = with_positions(text, positions).encode("utf-8")
        changed[FIXTURES_FILE], lines = with_rows(
            self._folder.files[FIXTURES_FILE], [row.cells for row in self._rows]
        )
        try:
            folder_of({**self._folder.files, **changed}, self._folder.path, self._environ)
        except BadInputError as fault:
            origin = dict(zip(lines, self._rows, strict=True))
            raise BadInputError([_at_origin(p, origin) for p in fault.problems]) from None
        return changed


def _at_origin(problem: Problem, origin: Mapping[int, NewRow]) -> Problem:
    """A fault of a row that is not written yet, said of the file it is from."""
    row = origin.get(problem.line or 0)
    if problem.file != FIXTURES_FILE or row is None:
        return problem
    says = re.sub(rf"^Rows? {problem.line}\b,?", f"{row.id}:", problem.says)
    return replace(problem, file=row.drawn.where, line=None, says=says)


def _same_code(label: str, there: Code) -> bool:
    try:
        return read_code(label).canonical == there.canonical
    except CodeError:
        return False


def _only_upright(label: str) -> bool:
    """Whether its water digits are all among those that hold in some ways up alone."""
    try:
        water = read_code(label).water
    except CodeError:
        return False
    return bool(water) and max(water) in (1, 2, 3)
