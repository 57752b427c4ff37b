"""The crew's log by fixture: what was said of it, and when what was asked was done."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from monitor.domain import Action, LogEntry

if TYPE_CHECKING:
    from monitor.report.material import Material

SENT_LATE = timedelta(hours=2)
"""Work that was over before its alert still counts as its answer when it is no older than this:
the entry came in late. Older work is what the alert found wanting (judgement)."""

# What in the log does an action, and what undoes it. Bringing in is as good as covering, and
# what is indoors needs no isolating.
_DOES: dict[Action, frozenset[str]] = {
    "cover": frozenset({"covered", "brought-in"}),
    "bring-in": frozenset({"covered", "brought-in"}),
    "isolate": frozenset({"isolated", "covered", "brought-in"}),
    "uncover": frozenset({"uncovered"}),
    "inspect": frozenset({"inspected"}),
    "clean": frozenset({"cleaned"}),
}
_UNDOES: dict[Action, frozenset[str]] = {
    "cover": frozenset({"uncovered", "put-out", "moved"}),
    "bring-in": frozenset({"uncovered", "put-out", "moved"}),
    "isolate": frozenset({"energised"}),
}


class FixtureLog:
    """The log by fixture, positions followed as fixtures move."""

    def __init__(self, material: Material) -> None:
        self._home = {f.id: f.position for f in material.show.fixtures}
        self._of_fixture: dict[str, list[LogEntry]] = {}
        self._of_position: list[LogEntry] = []
        self._known: dict[str, list[LogEntry]] = {}
        for entry in sorted(material.log, key=lambda e: e.at):
            if entry.fixture is not None:
                self._of_fixture.setdefault(entry.fixture, []).append(entry)
            else:
                self._of_position.append(entry)

    def concerning(self, fixture: str) -> list[LogEntry]:
        """Entries that speak of all of a fixture, in order of time."""
        if fixture not in self._known:
            self._known[fixture] = [
                e for e in self._walk(fixture) if e.count is None or e.count[0] >= e.count[1]
            ]
        return self._known[fixture]

    def mentioning(self, fixture: str) -> list[LogEntry]:
        """The same, with those that speak of a part of its row."""
        return list(self._walk(fixture))

    def _walk(self, fixture: str) -> Iterator[LogEntry]:
        own = self._of_fixture.get(fixture, [])
        where = self._home.get(fixture)
        for entry in sorted((*own, *self._of_position), key=lambda e: e.at):
            if entry.fixture is None and entry.position != where:
                continue
            yield entry
            if entry.count is not None and entry.count[0] < entry.count[1]:
                continue
            if entry.entry == "moved":
                where = entry.to or where

    def done_at(
        self, fixture: str, action: Action, opened: datetime, until: datetime
    ) -> datetime | None:
        """When the log has it done: after `opened`, or shortly before and still so then.

        What was undone again by `until`, when it had to stand, was not done.
        """
        does = _DOES[action]
        if action == "bring-in" and self._covered(fixture, opened):
            does = does - {"covered"}  # what is asked for although it is covered
        return self._since(fixture, does, _UNDOES.get(action), opened, until)

    def isolated_at(self, fixture: str, opened: datetime, until: datetime) -> datetime | None:
        """When the log has its power cut, and nothing else, in the same way."""
        return self._since(fixture, frozenset({"isolated"}), _UNDOES["isolate"], opened, until)

    def _since(
        self,
        fixture: str,
        does: frozenset[str],
        undoes: frozenset[str] | None,
        opened: datetime,
        until: datetime,
    ) -> datetime | None:
        since: datetime | None = None
        # Care is asked for anew when it is wanted: what was done before is what it found wanting.
        earliest = opened if undoes is None else opened - SENT_LATE
        for entry in self.concerning(fixture):
            if entry.entry in (undoes or ()) and entry.at <= until:
                since = None
            elif entry.entry in does and entry.at >= earliest and not _inconclusive(entry):
                since = since or entry.at
        return since

    def _covered(self, fixture: str, at: datetime) -> bool:
        before = [e.entry for e in self.concerning(fixture) if e.at < at]
        states = [e for e in before if e == "covered" or e in _UNDOES["cover"] or e == "brought-in"]
        return bool(states) and states[-1] == "covered"


def _inconclusive(entry: LogEntry) -> bool:
    return entry.entry == "inspected" and entry.result == "not-tested"
