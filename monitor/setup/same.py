"""What says the same as the file does is left as the file has it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_USUAL: Mapping[str, Any] = {
    "washdown": "none",
    "washdown_times": [],
    "tickets": [],
    "daylight": False,
    "salt": False,
    "on": [],
}
"""Key -> what it means where it is left out"""


def as_it_stood(before: Mapping[str, Any] | None, after: Mapping[str, Any]) -> dict[str, Any]:
    """The values of an item, each as it stood before where it means the same.

    Parameters
    ----------
    before : the item in the file; None: it is new
    after : key -> value; None: the key is not to stand there
    """
    if before is None:
        return {key: value for key, value in after.items() if value is not None}
    kept = {key: _one(before, key, value) for key, value in after.items()}
    if "name" in kept and "name" not in before and kept["name"] == before.get("id"):
        kept["name"] = None
    return kept


def _one(before: Mapping[str, Any], key: str, value: Any) -> Any:
    old = before.get(key)
    if isinstance(old, dict) and isinstance(value, dict):
        wanted = {**dict.fromkeys(old), **value}
        inner = {name: one for name, one in as_it_stood(old, wanted).items() if one is not None}
        return old if inner == old else inner
    return old if _plain(key, old) == _plain(key, value) else value


def _plain(key: str, value: Any) -> Any:
    """A value as it is read: one text stands for a list of it."""
    usual = _USUAL.get(key)
    if value is None:
        return usual
    return [value] if isinstance(value, str) and isinstance(usual, list) else value
