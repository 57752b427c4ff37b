"""Records to JSON and back, and weather to bytes and back, losing nothing.

The JSON of a record is always the same text for the same record (sorted keys, no spaces,
ASCII only), because its hash goes into the chain. A moment is ISO 8601 in UTC to the
microsecond and of fixed width, so that text sorts as time does.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

import numpy as np

from monitor.domain import WEATHER_VALUES, Weather

R = TypeVar("R")

_WEATHER_ARRAYS = ("starts", "ends", *WEATHER_VALUES, "weights", "forecast")


def to_text(moment: datetime) -> str:
    """`2027-07-15T12:00:00.000000Z`; a moment without an offset is refused."""
    if moment.tzinfo is None:
        raise ValueError("a moment without an offset has no place in the history")
    return moment.astimezone(UTC).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def from_text(text: str) -> datetime:
    """The moment that `to_text` wrote."""
    return datetime.fromisoformat(text)


def to_json(record: Any) -> str:
    """The one JSON text of a record, or of plain JSON data."""
    return _json(_plain(record))


def from_json(kind: type[R], text: str) -> R:
    """The record of class `kind` that `to_json` wrote.

    A field that is missing takes its default, so history written before the field existed
    is still read.
    """
    return cast("R", _typed(kind, json.loads(text)))


def _json(data: Any) -> str:
    return json.dumps(
        data, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )


def _plain(value: Any, *, free: bool = False) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        # JSON has no such number. A field of a record knows that it is one, so there it is
        # kept as text; in free data nothing would tell, so there it is not known.
        return None if free else repr(value)
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, datetime):
        return to_text(value)
    if isinstance(value, Mapping):
        return {str(key): _plain(item, free=True) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item, free=free) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    raise TypeError(f"{type(value).__name__} has no place in a stored record")


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _typed(hint: Any, value: Any) -> Any:
    """JSON data `value` as the type that `hint` asks for; what is not rebuilt is as it is."""
    origin = get_origin(hint)
    if origin in (Union, UnionType):
        if value is None:
            return None
        return _typed(next(arm for arm in get_args(hint) if arm is not NoneType), value)
    if origin is tuple:
        arms = get_args(hint)
        if len(arms) == 2 and arms[1] is Ellipsis:
            return tuple(_typed(arms[0], item) for item in value)
        return tuple(_typed(arm, item) for arm, item in zip(arms, value, strict=True))
    if hint is datetime:
        return from_text(value)
    if hint is float and isinstance(value, str):
        return float(value)
    if is_dataclass(hint) and isinstance(hint, type):
        hints = _hints(hint)
        return hint(**{name: _typed(hints[name], item) for name, item in value.items()})
    return value


def weather_content(weather: Weather) -> bytes:
    """Everything a weather run says, as bytes: one line of JSON, then the arrays in order.

    The same weather always gives the same bytes. `fetched_at` is left out: it says when we
    asked, not what was answered, and two fetches of one run must be seen to be the same.
    """
    arrays = {
        name: np.ascontiguousarray(
            getattr(weather, name), dtype=np.bool_ if name == "forecast" else "<f8"
        )
        for name in _WEATHER_ARRAYS
    }
    head = {
        f.name: _plain(getattr(weather, f.name))
        for f in fields(weather)
        if f.name not in _WEATHER_ARRAYS and f.name != "fetched_at"
    }
    head["shapes"] = {name: list(array.shape) for name, array in arrays.items()}
    return b"\n".join(
        (_json(head).encode("ascii"), b"".join(array.tobytes() for array in arrays.values()))
    )


def weather_from(content: bytes, fetched_at: datetime | None) -> Weather:
    """The weather that `weather_content` wrote."""
    line, _, numbers = content.partition(b"\n")
    head = json.loads(line)
    shapes = head.pop("shapes")
    hints = _hints(Weather)
    arrays: dict[str, Any] = {}
    offset = 0
    for name in _WEATHER_ARRAYS:
        stored = np.dtype(np.bool_ if name == "forecast" else "<f8")
        length = math.prod(shapes[name])
        flat = np.frombuffer(numbers, dtype=stored, count=length, offset=offset)
        offset += length * stored.itemsize
        # Copied into the machine's own order, and writable like any other array.
        arrays[name] = flat.reshape(shapes[name]).astype(stored.newbyteorder("="))
    rest = {name: _typed(hints[name], value) for name, value in head.items()}
    return Weather(**arrays, **rest, fetched_at=fetched_at)
