"""One cycle at a time under a clock that the test moves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from monitor.service.cycle import Cycle
from monitor.service.delivering import deliver_due
from monitor.service.polling import Asking, poll_all
from monitor.service.watched import FolderWatch

START = datetime(2027, 7, 15, 11, 30, tzinfo=UTC)
"""12:30 in British Summer Time, on a Thursday."""


@dataclass
class Stage:
    """A show folder, its database and a clock."""

    folder: Any
    db: Any
    watch: FolderWatch
    cycle: Cycle
    now: datetime = START

    def clock(self) -> datetime:
        return self.now

    def poll(self, **more: Any):
        asking = Asking(
            self.watch.current.show, self.folder, self.watch.secret, self.clock, lambda: 0.0
        )
        return poll_all(self.db, asking, **more)

    def run(self):
        return self.cycle.run(self.db, self.now)

    def deliver(self):
        watched = self.watch.current
        return deliver_due(
            self.db,
            watched.show,
            watched.contacts,
            self.clock,
            self.watch.secret,
            lambda: 0.5,
            lambda: False,
        )

    def later(self, **span: float) -> None:
        self.now += timedelta(**span)


RECORD_FEED = '[[feeds]]\nsheet = "record"\nfile = "weather.csv"\n'


def record(rain: dict[int, float], hours: int = 36, start: datetime = START) -> str:
    """A weather record from two hours before the start; `rain` by hours from its hour."""
    first = start.replace(minute=0) - timedelta(hours=2)
    rows = ["starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"]
    rows += [
        f"{(first + timedelta(hours=i)).strftime('%Y-%m-%dT%H:%MZ')},60,"
        f"{rain.get(i - 2, 0)},3,6,220,15,9"
        for i in range(hours)
    ]
    return "\n".join(rows) + "\n"
