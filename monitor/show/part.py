"""What every table of show.toml has in common."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Part(BaseModel):
    """One table of the file."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)
