"""Which place and server a feed's runs were asked for: those of another place do not count.

A run says what the weather is, not where. So beside the runs a short list is kept for each
feed: from which run on it was asked for which place. When the site is moved in the files,
what was read for the old place tells nothing of the new one.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.store.history import recall, remember

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlite_utils import Database

    from monitor.domain import Feed, Site


@dataclass(frozen=True, slots=True)
class Place:
    """Where the site is, and whom the feed is asked from, each as a digest."""

    site: str
    server: str


@dataclass(frozen=True, slots=True)
class Span:
    """From this run on, until the next span's, runs are of that place."""

    from_run: int
    place: Place


def place_of(site: Site, feed: Feed) -> Place:
    """What the runs of a feed are asked for as the files stand."""
    return Place(site_digest(site), _digest(feed.base_url or ""))


def site_digest(site: Site) -> str:
    """The site's place: about ten metres are the same place."""
    return _digest(f"{site.latitude:.4f} {site.longitude:.4f}")


def spans(db: Database, source: str) -> tuple[Span, ...]:
    """The places of a feed's runs, in order."""
    kept: Any = recall(db, _key(source)) or []
    return tuple(Span(run, Place(site, server)) for run, site, server in kept)


def place_at(found: Sequence[Span], run_id: int) -> Place | None:
    """The place of one run; None where it was never noted."""
    place = None
    for span in found:
        if span.from_run <= run_id:
            place = span.place
    return place


def is_moved(db: Database, source: str, place: Place) -> bool:
    """Whether the runs of a feed until now were of another place."""
    kept = spans(db, source)
    return bool(kept) and kept[-1].place != place


def note_place(db: Database, source: str, run_id: int, place: Place) -> None:
    """Note that this run is of that place; belongs into the transaction that keeps the run.

    The first note counts for what was read before it too: nothing says that it moved.
    """
    kept = spans(db, source)
    if kept and kept[-1].place == place:
        return
    begun = Span(run_id if kept else 0, place)
    remember(
        db,
        _key(source),
        [[s.from_run, s.place.site, s.place.server] for s in (*kept, begun)],
    )


def _key(source: str) -> str:
    return f"feed-place/{source}"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]
