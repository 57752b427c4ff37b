"""What the last evaluation saw, for whoever looks between two of them.

Kept in memory alone and replaced whole: a reader in another thread has one moment or the
next, never a part of each. After a start there is none until the first evaluation.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from monitor.alerts.lifecycle import Source

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.alerts.losses import FeedSight
    from monitor.domain import LogEntry, Weather
    from monitor.evaluation import Evaluation
    from monitor.exposure.rig import Rig
    from monitor.planning.workable import Span


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One evaluation with what it was made of. Arrays are not to be written to."""

    at: datetime
    rig: Rig
    found: Evaluation
    """Its plan, the exposure so far (`past`) and the exposure to come (`ahead`)"""
    past: Weather | None
    ahead: Weather | None
    log: tuple[LogEntry, ...]
    sights: tuple[FeedSight, ...]
    closed: tuple[Span, ...] = ()
    """Spans in which an official warning closes all work outdoors"""
    source: Source = field(default_factory=Source)
    """The weather it was judged on"""
    lost: tuple[str, ...] = ()
    """What of the weather is not known, a sentence each"""
