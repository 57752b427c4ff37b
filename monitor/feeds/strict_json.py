"""JSON as the standard has it: no NaN or infinity, no key twice, no half-read number."""

from __future__ import annotations

import json
import math
from collections import Counter
from typing import Any, NoReturn

_MOST_DIGITS = 4000
"""Beyond this the language itself refuses, in words for its own people."""


def parse_json(body: bytes) -> Any:
    """What `body` says; ValueError, with a reason in trade words, where it is not sound JSON."""
    try:
        return json.loads(
            body.decode("utf-8-sig"),
            parse_constant=_no_constant,
            parse_float=_finite,
            parse_int=_whole,
            object_pairs_hook=_once,
        )
    except UnicodeDecodeError:
        raise ValueError("it is not UTF-8") from None
    except json.JSONDecodeError as fault:
        raise ValueError(f"it breaks off or is not JSON, at character {fault.pos}") from None
    except RecursionError:
        raise ValueError("it is nested too deeply") from None


def _no_constant(word: str) -> NoReturn:
    raise ValueError(f"{word} stands for a number")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"the number {text[:20]} is too large")
    return value


def _whole(text: str) -> int:
    if len(text) > _MOST_DIGITS:
        raise ValueError(f"the number {text[:20]} is too large")
    return int(text)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        twice, _ = Counter(key for key, _ in pairs).most_common(1)[0]
        raise ValueError(f"the key {twice[:40]!r} stands twice")
    return found
