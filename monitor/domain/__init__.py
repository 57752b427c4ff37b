"""Frozen records that every part of the program passes to the next.

Conventions, said once: array axes are (member, step, group) and an absent axis has length
1; a step is [start, end) in UTC; wind comes FROM; missing is NaN in arrays and None in
records, never zero, and can never lower an alert.
"""

from __future__ import annotations

from monitor.domain.code import Code
from monitor.domain.happened import LogEntry, Reading
from monitor.domain.problems import BadInputError, DryspellError, Problem, UnableError
from monitor.domain.show import (
    Contact,
    Cover,
    Crew,
    Event,
    Feed,
    Fixture,
    Gauge,
    Hours,
    Page,
    Person,
    Policy,
    Position,
    Roof,
    Show,
    Site,
    Spray,
    WarningsFrom,
)
from monitor.domain.telling import Alert, Facts, FeedSays, Message, Official, Outcome, Wait
from monitor.domain.terms import (
    Access,
    Action,
    AlertKind,
    Bools,
    Condition,
    ConnectorState,
    CounterResets,
    EntryKind,
    Floats,
    Ground,
    InspectionResult,
    Mount,
    Part,
    Side,
    Stage,
    Standing,
    Terrain,
    WindBasis,
)
from monitor.domain.weather import WEATHER_VALUES, Weather

__all__ = [
    "WEATHER_VALUES",
    "Access",
    "Action",
    "Alert",
    "AlertKind",
    "BadInputError",
    "Bools",
    "Code",
    "Condition",
    "ConnectorState",
    "Contact",
    "CounterResets",
    "Cover",
    "Crew",
    "DryspellError",
    "EntryKind",
    "Event",
    "Facts",
    "Feed",
    "FeedSays",
    "Fixture",
    "Floats",
    "Gauge",
    "Ground",
    "Hours",
    "InspectionResult",
    "LogEntry",
    "Message",
    "Mount",
    "Official",
    "Outcome",
    "Page",
    "Part",
    "Person",
    "Policy",
    "Position",
    "Problem",
    "Reading",
    "Roof",
    "Show",
    "Side",
    "Site",
    "Spray",
    "Stage",
    "Standing",
    "Terrain",
    "UnableError",
    "Wait",
    "WarningsFrom",
    "Weather",
    "WindBasis",
]
