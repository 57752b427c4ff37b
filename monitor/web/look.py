"""What one request looks at: who, when, the database, and what the last evaluation saw."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flask import Response

from monitor.page.banners import Banner, banners
from monitor.page.rig import RigNow, rig_now
from monitor.page.sky import Sky, sky_of
from monitor.page.times import Times
from monitor.page.viewer import Shell, Viewer, render
from monitor.service.escalation import standing
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Show
    from monitor.service.escalation import Standing
    from monitor.service.seen import Seen
    from monitor.web.place import Place

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; form-action 'self'; worker-src 'self'; manifest-src 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    # Without a referrer a browser names no origin with a form, and the form would be refused.
    "Referrer-Policy": "same-origin",
    "X-Robots-Tag": "noindex",
}
"""On every page: its own files and nothing else."""


@dataclass(frozen=True, slots=True, eq=False)
class Whole:
    """One evaluation as the pages show it."""

    seen: Seen
    rig: RigNow
    sky: Sky


class Summed:
    """The sums over the whole rig, made once of each evaluation and not for each request.

    Of requests that come at once after an evaluation the first makes them and the others wait:
    each for itself they would take as many times as long.
    """

    def __init__(self) -> None:
        self._last: Whole | None = None
        self._making = threading.Lock()

    def of(self, seen: Seen | None) -> Whole | None:
        """The sums of an evaluation; None before the first."""
        if seen is None:
            return None
        with self._making:
            last = self._last
            if last is None or last.seen is not seen:
                rig = rig_now(seen)
                last = self._last = Whole(seen, rig, sky_of(rig.known))
        return last


@dataclass(frozen=True, slots=True)
class Look:
    """One request's view of the show."""

    place: Place
    db: Database
    viewer: Viewer
    now: datetime
    whole: Whole | None
    standing: tuple[Standing, ...]
    static: Mapping[str, str]
    path: str

    @classmethod
    def at(
        cls,
        place: Place,
        db: Database,
        viewer: Viewer,
        summed: Summed,
        static: Mapping[str, str],
        path: str,
    ) -> Look:
        """The show as it is now."""
        now = place.clock()
        whole = summed.of(place.seen())
        return cls(place, db, viewer, now, whole, standing(db, place.show, now), static, path)

    @property
    def show(self) -> Show:
        """As the evaluation knew it, so that what is shown fits together."""
        return self.place.show if self.whole is None else self.whole.rig.known.show

    @property
    def times(self) -> Times:
        """The site's clock for whoever looks."""
        return Times(self.show.site.timezone, self.now, self.viewer.words)

    @property
    def seen_at(self) -> datetime | None:
        """When what is shown was worked out."""
        return None if self.whole is None else self.whole.seen.at

    @property
    def banners(self) -> tuple[Banner, ...]:
        """What stands above every page."""
        return banners(self.standing, self.show, self.now, self.seen_at)

    @property
    def ahead_known(self) -> bool:
        """Whether anything is known of the weather to come."""
        known = None if self.whole is None else self.whole.rig.known
        return known is not None and known.outlook.known_to_s > to_epoch(self.now)

    def page(self, template: str, **values: Any) -> Response:
        """A page as the answer."""
        above = self.banners
        shell = Shell(
            site=self.show.site.name,
            zone=self.show.site.timezone,
            now=self.now,
            path=self.path,
            static=self.static,
            seen_at=self.seen_at,
        )
        told = {"banners": above, "ahead_known": self.ahead_known}
        text = render(template, self.viewer, shell, **told, **values)
        return Response(text, headers=HEADERS, mimetype="text/html")
