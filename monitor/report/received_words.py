"""Which weather came when, drawn together by source."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from monitor.alerts.words import one_line
from monitor.units import SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.report.record import Record
    from monitor.report.record_events import ForecastRow
    from monitor.report.site_times import SiteTimes


@dataclass(frozen=True, slots=True)
class Source:
    """All runs of one source."""

    source: str
    members: int
    runs: int
    first_issued: str
    first_received: datetime
    last_issued: str
    last_received: datetime
    longest_min: float | None
    """Longest from its last word to its next, sent again or new; None: it came once"""


def sources(made: Record, times: SiteTimes) -> tuple[Source, ...]:
    """Every source, in the order they first came."""
    by_source: dict[str, list[ForecastRow]] = {}
    for row in made.forecasts:
        by_source.setdefault(row.source, []).append(row)
    return tuple(_source(name, rows, times) for name, rows in by_source.items())


def _source(name: str, rows: Sequence[ForecastRow], times: SiteTimes) -> Source:
    silences = [
        (later.received_at - before.last_seen_at).total_seconds() / SECONDS_PER_MINUTE
        for before, later in pairwise(rows)
    ]
    return Source(
        source=one_line(name) or "source not named",
        members=max(row.members for row in rows),
        runs=len(rows),
        first_issued=_issued(rows[0], times),
        first_received=rows[0].received_at,
        last_issued=_issued(rows[-1], times),
        last_received=rows[-1].received_at,
        longest_min=max(silences, default=None),
    )


def _issued(row: ForecastRow, times: SiteTimes) -> str:
    return "not said" if row.issued_at is None else times.at(row.issued_at)
