"""How often is too often: so many at once, and so many a second after that, for each key.

Kept in memory and bounded, so that no crowd of addresses can fill it; who has not been heard
of for longest is forgotten first.
"""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

KEYS_KEPT = 4096


class Allowance:
    """For each key a bucket of `at_once`, filled again with `per_second`."""

    def __init__(
        self,
        *,
        at_once: int,
        per_second: float,
        keys: int = KEYS_KEPT,
        seconds: Callable[[], float] = time.monotonic,
    ) -> None:
        self._at_once, self._per_second, self._keys = at_once, per_second, keys
        self._seconds = seconds
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()
        """Key -> what was left, and when."""
        self._lock = threading.Lock()

    def wait_s(self, key: str) -> float:
        """Take one for `key`: 0 where there was one, else how long until there is [s]."""
        now = self._seconds()
        with self._lock:
            left, then = self._left.pop(key, (float(self._at_once), now))
            left = min(self._at_once, left + (now - then) * self._per_second)
            wait = 0.0 if left >= 1 else (1 - left) / self._per_second
            self._left[key] = (left if wait else left - 1, now)
            while len(self._left) > self._keys:
                self._left.popitem(last=False)
        return wait

    def __len__(self) -> int:
        return len(self._left)


def neighbourhood(address: str | None) -> str:
    """What an address is counted under: itself, or in version 6 its network of 64 bits.

    There one household has more addresses than could ever be counted one by one.
    """
    try:
        found = ipaddress.ip_address((address or "").partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)
