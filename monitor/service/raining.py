"""The crew's word that it rains here, or has stopped, kept as a reading.

The command line and the server both call this, so that one set of rules holds.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.domain import BadInputError
from monitor.feeds.readings import CREW, reading_from_json
from monitor.store.readings import add_reading

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlite_utils import Database


_REMEDIES = {
    "time-ahead": "Say it when it is so; without a time it counts from now.",
    "time-too-old": "What is older is not taken in any more.",
}
"""A person who mistyped a time has no station whose clock could be set."""


def keep_raining(
    db: Database,
    *,
    raining: bool,
    at: datetime,
    by: str | None,
    now: datetime,
    spelt: Callable[[str], str],
) -> bool:
    """Keep the word; False where the very same was kept already.

    Parameters
    ----------
    spelt : how whoever asks writes `time`, `by`, for messages about them

    Raises
    ------
    BadInputError : the time is still to come or too long ago; it said otherwise of it before
    """
    said = {"station": CREW, "raining": raining, "time": at.isoformat(), "by": by}
    try:
        return add_reading(db, reading_from_json(said, now), now)
    except BadInputError as fault:
        problems = [replace(p, remedy=_REMEDIES.get(p.code, p.remedy)) for p in fault.problems]
        raise BadInputError([replace(p, key=p.key and spelt(p.key)) for p in problems]) from None
