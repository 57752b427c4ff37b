"""show.toml with positions added: every comment and every other line stays as it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from monitor.setup.show_text import with_item

Values = Mapping[str, str | float]


def with_positions(text: str, positions: Sequence[Values]) -> str:
    """The text with `positions` behind the last one, read back and held against what is meant."""
    for values in positions:
        rest = {key: value for key, value in values.items() if key != "id"}
        text = with_item(text, "positions", str(values["id"]), rest)
    return text
