"""What every part of report.json is made of: moments, texts, figures."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Annotated, Any

from pydantic import (
    AwareDatetime,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
)


class Part(BaseModel):
    """A part of the record: nothing beside what it names, nothing turned into something else."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


def _written(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")


def _letters(text: Any) -> Any:
    """Half a letter, which no file can hold, becomes a question mark."""
    return text.encode("utf-8", "replace").decode() if isinstance(text, str) else text


Moment = Annotated[AwareDatetime, PlainSerializer(_written, return_type=str, when_used="json")]
"""Site time with its offset, to the second."""
Text = Annotated[str, BeforeValidator(_letters)]
Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


def figure(value: float | None) -> float | None:
    """A number as it is written everywhere: ten digits; None for what is not known or no end."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.10g}")


def known(value: float) -> float:
    """The same where it is always there."""
    return float(f"{value:.10g}")
