"""The rig through every revision of its show folder: history goes by the one in force."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlite_utils import Database

from monitor.domain import BadInputError, Show
from monitor.exposure.rig import Rig, compile_rig
from monitor.show.folder import ShowFolder, folder_of
from monitor.store.history import revisions
from monitor.units import to_epoch


def rig_through_time(
    db: Database, folder: ShowFolder, environ: Mapping[str, str], now: datetime
) -> Rig:
    """The rig of a folder with what its fixtures were under the revisions kept before.

    The first revision counts from the beginning. One that cannot be read any more (a secret it
    named is gone) gives way to the next.
    """
    kept = revisions(db)
    ends = [*(r.from_time for r in kept), now][1:] if kept else []
    earlier: list[tuple[Show, float]] = []
    for revision, until in zip(kept, ends, strict=True):
        if revision is kept[-1] and revision.revision == folder.show.revision:
            break
        try:
            show = folder_of(revision.files, folder.path, environ).show
        except BadInputError:
            continue
        earlier.append((show, to_epoch(until)))
    return compile_rig(folder.show, earlier)
