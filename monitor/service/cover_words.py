"""What the monitor answers to a logged cover: what keeps it from counting, and how many are on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.words import one_line
from monitor.exposure.rig import compile_rig
from monitor.planning.covers_on import covers_on, on_part_of_a_row
from monitor.service.possible import hanging

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import LogEntry, Show


def cover_notes(
    entries: Sequence[LogEntry], show: Show, log: Sequence[LogEntry], now: datetime
) -> list[str]:
    """Sentences for covers that were just logged.

    Parameters
    ----------
    log : as it stands with `entries`
    """
    made = [entry for entry in entries if entry.entry == "covered"]
    if not made:
        return []
    notes = [note for entry in made for note in _not_counting(entry, show)]
    return [*notes, *_more_than_there_are(made, show, log, now)]


def _not_counting(entry: LogEntry, show: Show) -> list[str]:
    if entry.count is not None and entry.count[0] < entry.count[1]:
        return ["Until all of it is covered it counts as uncovered."]
    here = [f for f in show.fixtures if entry.fixture == f.id or entry.position == f.position]
    bare = [f.id for f in here if f.cover is None]
    if not bare:
        return []
    named = ", ".join(bare[:5]) + (", ..." if len(bare) > 5 else "")
    return [f"fixtures.csv names no cover for {named}: counted as uncovered."]


def _more_than_there_are(
    made: Sequence[LogEntry], show: Show, log: Sequence[LogEntry], now: datetime
) -> list[str]:
    """That more of a cover are logged on than the show folder has."""
    at = max(now, *(entry.at for entry in made))
    hangs = hanging(show, log, at)
    just_now = {
        fixture.cover
        for fixture in show.fixtures
        for entry in made
        if entry.fixture == fixture.id or entry.position == hangs[fixture.id].position
    }
    on: dict[str, int] = {}
    covered: set[str] = set()
    for one in covers_on(compile_rig(show), log, at):
        on[one.cover] = on.get(one.cover, 0) + one.count
        covered.update(one.fixtures)
    bare = [
        (fixture, hangs[fixture.id].position)
        for fixture in show.fixtures
        if fixture.id not in covered and hangs[fixture.id].out
    ]
    for (_, cover_id), number in on_part_of_a_row(log, bare, at).items():
        on[cover_id] = on.get(cover_id, 0) + number
    return [
        f"{one_line(cover.name) or key}: {on[key]} are logged on, and the show folder has "
        f"{cover.in_stock}. Count them: dryspell log --list shows how to correct an entry."
        for key, cover in show.covers.items()
        if key in just_now and on.get(key, 0) > cover.in_stock
    ]
