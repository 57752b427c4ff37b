"""The words of the trade that records are made of, and arrays."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Terrain = Literal["I", "II", "III", "IV"]
Ground = Literal["grass", "hard", "bare"]
Side = Literal["front", "right", "back", "left"]
Access = Literal["ground", "ladder", "platform", "climb", "lowered-truss", "none"]
Mount = Literal["upright", "inverted", "tilted", "any"]
Condition = Literal["new", "hire", "worn"]
ConnectorState = Literal["mated", "open", "capped"]
WindBasis = Literal["open", "local"]
Standing = Literal["indoor", "temporary", "extended", "permanent"]
Part = Literal["fixture", "supply", "connector"]
Stage = Literal["notice", "start", "overdue", "stop", "stood-down"]
Action = Literal["cover", "bring-in", "isolate", "uncover", "inspect", "clean"]
AnswerKind = Literal["doing", "done", "cannot", "not-needed"]
CannotBecause = Literal["no-lift", "too-windy", "act-on-stage", "no-cover", "other"]
AlertKind = Literal["work", "stop", "weather", "delivery"]
EntryKind = Literal[
    "put-out",
    "covered",
    "uncovered",
    "brought-in",
    "inspected",
    "cleaned",
    "isolated",
    "energised",
    "capped",
    "uncapped",
    "moved",
    "wet",
]
CounterResets = Literal["never", "daily", "monthly", "yearly"]
InspectionResult = Literal["dry", "damp", "water-inside", "not-tested"]
