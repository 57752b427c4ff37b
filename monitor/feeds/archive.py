"""Weather of days long past, asked of an archive once and kept as a file for the next look."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import TYPE_CHECKING

import numpy as np

from monitor.domain import WEATHER_VALUES, UnableError
from monitor.feeds.decode import Rejected, decode
from monitor.feeds.fetch import fetch
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import date, datetime

    from monitor.domain import Feed, Site, Weather
    from monitor.feeds.sheet_parts import Sheet

FOLDER = "past-years"
"""Where answers are kept, in the show's folder."""
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True, eq=False)
class Recalled:
    """The weather of a span, or why there is none."""

    weather: Weather | None
    says: str
    kept_in: Path | None = None
    asked: bool = False
    """Whether the service was asked; a file that was kept needs no asking"""


@dataclass(frozen=True, slots=True)
class Archive:
    """One archive feed of a show; `folder` is the show's, where its answers are kept."""

    sheet: Sheet
    site: Site
    feed: Feed
    folder: Path
    secret: Callable[[str], str]
    now: Callable[[], datetime]

    def recall(self, start: datetime, end: datetime, *, ask: bool = True) -> Recalled:
        """The weather of [start, end): from the file that was kept, else asked for now.

        An answer that ends too soon is used and not kept: the service may know more later.
        Raises UnableError where an answer cannot be written.
        """
        # What covers the hour before a stamp is under the next day's first one.
        days = ((start - _HOUR).astimezone(UTC).date(), (end + _HOUR).astimezone(UTC).date())
        path = self.folder / FOLDER / self._name(days)
        with suppress(OSError, Rejected):
            return Recalled(self._decoded(path.read_bytes()), "kept from an earlier look", path)
        return self._asked(days, path, end) if ask else Recalled(None, "not asked for")

    def _asked(self, days: tuple[date, date], path: Path, end: datetime) -> Recalled:
        fetched = fetch(
            self.sheet,
            self.site,
            self.feed,
            {},
            secret=self.secret,
            now=self.now,
            days=days,
        )
        if fetched.body is None:
            return Recalled(None, fetched.says, asked=True)
        try:
            weather = self._decoded(fetched.body, fetched.headers)
        except Rejected as fault:
            return Recalled(None, f"the answer was not used: {fault.detail}", asked=True)
        if not len(weather.ends) or weather.ends[-1] < to_epoch(end):
            return Recalled(weather, "the archive does not reach the end yet", asked=True)
        _keep(path, fetched.body)
        return Recalled(weather, "asked now, and kept", path, asked=True)

    def _decoded(self, body: bytes, headers: Mapping[str, str] | None = None) -> Weather:
        weather = decode(
            body,
            self.sheet,
            fetched_at=None,
            wind_basis=self.feed.wind_basis,
            wind_height_m=self.feed.wind_height_m,
            headers=headers,
            latitude=self.site.latitude,
            longitude=self.site.longitude,
            elevation_m=self.site.elevation_m,
        )
        return weather if len(weather.members) == 1 else _first_member(weather)

    def _name(self, days: tuple[date, date]) -> str:
        """Of the sheet, the days, and what else the answer would be another for."""
        where = (self.site.latitude, self.site.longitude, self.site.elevation_m)
        asked = f"{self.sheet.model_dump_json()} {where} {self.feed.base_url}"
        digest = hashlib.sha256(asked.encode()).hexdigest()[:12]
        return f"{self.sheet.id}_{days[0]}_{days[1]}_{digest}.json"


def _first_member(weather: Weather) -> Weather:
    """What was is one thing: of an archive with members, the control run's."""
    columns = {name: getattr(weather, name)[:1] for name in WEATHER_VALUES}
    return replace(
        weather,
        weights=np.ones(1),
        members=weather.members[:1],
        feed_of=weather.feed_of[:1],
        **columns,
    )


def _keep(path: Path, body: bytes) -> None:
    """Whole or not at all."""
    try:
        path.parent.mkdir(exist_ok=True)
        with NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as beside:
            beside.write(body)
        Path(beside.name).replace(path)
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"The archive's answer cannot be kept in {path.parent}: {why}.",
            "Give the show a folder that may be written to, on a disk with room.",
        ) from None
