"""The hours of the show that run or come next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from monitor.domain import Show
from monitor.exposure.steps import daily_spans
from monitor.units import SECONDS_PER_DAY, to_epoch, to_moment


@dataclass(frozen=True, slots=True)
class Doors:
    """One day's show, in seconds."""

    begins_s: float
    ends_s: float

    def begins_at(self, show: Show) -> datetime:
        """In site time."""
        return to_moment(self.begins_s).astimezone(show.site.timezone)


def doors(show: Show, now_s: float) -> Doors | None:
    """The show that runs, or begins within a day; None where there is none."""
    event = show.event
    if event.show_hours is None:
        return None
    out_s = None if event.load_out_at is None else to_epoch(event.load_out_at)
    in_s, until_s = to_epoch(event.load_in_at), now_s + SECONDS_PER_DAY
    for begins_s, ends_s in daily_spans([event.show_hours], now_s, until_s, show.site.timezone):
        there = ends_s > in_s and (out_s is None or begins_s < out_s)
        if there and ends_s > now_s and begins_s <= until_s:
            return Doors(begins_s, ends_s)
    return None
