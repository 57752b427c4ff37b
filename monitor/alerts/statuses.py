"""What an HTTP status means for a message that was not taken: try again, or never."""

from __future__ import annotations

_PASSING = frozenset({408, 409, 421, 423, 425, 429})


def lasts(status: int) -> bool:
    """Whether trying again cannot help: it points elsewhere, or refuses what we send."""
    return 300 <= status < 500 and status not in _PASSING
