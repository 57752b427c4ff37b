"""Which feeds say something of a moment: what one has said, only its own later word takes back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from monitor.domain import Bools, Weather
from monitor.planning.chance import unknown_to_all

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.exposure.steps import Steps

_SAME_S = 1.0


def known_until_s(weather: Weather, unknown: Bools, now_s: float) -> float:
    """End of the weather that is known from now on without a break; `unknown` (step,)."""
    reached = now_s
    for i in range(len(weather.starts)):
        if unknown[i] or weather.starts[i] > reached + _SAME_S:
            break
        reached = float(weather.ends[i])
    return reached


def heard_until_s(steps: Steps, now_s: float) -> dict[str, float]:
    """The same for each feed by itself, by its name."""
    weather = steps.weather
    return {
        name: known_until_s(weather, unknown_to_all(steps.unknown[mine], (0,) * mine.sum()), now_s)
        for name, mine in _feeds(weather)
    }


def thunder_heard(steps: Steps, now_s: float) -> tuple[str, ...]:
    """Feeds that say of the running step whether it has thunder."""
    weather = steps.weather
    running = (weather.starts <= now_s) & (weather.ends > now_s)
    says = ~np.isnan(weather.thunder[:, running])
    return tuple(name for name, mine in _feeds(weather) if says[mine].any())


def _feeds(weather: Weather) -> Iterator[tuple[str, Bools]]:
    """Name of each feed, and which members are its own."""
    numbers = np.asarray(weather.feed_of)
    for number, name in enumerate(weather.feeds or (weather.source,)):
        yield name, np.asarray(numbers == number)
