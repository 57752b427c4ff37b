"""What stands at a path of an answer."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import jmespath
from jmespath.exceptions import JMESPathError

_compiled = lru_cache(maxsize=1024)(jmespath.compile)


def found(answer: Any, path: str) -> Any:
    """What stands at a path of the answer; None where nothing does."""
    try:
        return _compiled(path).search(answer)
    except (JMESPathError, ArithmeticError, AttributeError, TypeError, ValueError, RecursionError):
        # A function of the path was given something of another kind: the shape is not there.
        return None
