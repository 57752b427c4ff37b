"""What a trouble of the monitor itself is called in its first line, by its name. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from monitor.domain import Alert


class Called(NamedTuple):
    """Begins of lines about a trouble; the place follows, then what to do."""

    raised: str
    then: str
    over: str
    about_weather: bool = True
    """Whether it leaves anybody without a forecast, or in doubt of one"""


# The first that an alert's id begins with.
_CALLED: tuple[tuple[str, Called], ...] = (
    (
        "uplink-",
        Called("The connection is down at", "No forecast comes in.", "The connection works at"),
    ),
    ("feed-", Called("A weather feed needs mending at", "", "The weather feed is mended at")),
    ("clock-", Called("The monitor's clock is wrong at", "Set it.", "The clock is right at")),
    (
        "folder-",
        Called("The show folder cannot be read at", "Mend it.", "The show folder is read again at"),
    ),
    (
        "fault-",
        Called("The monitor has a fault at", "Decide without it.", "The monitor works again at"),
    ),
    ("gauge-", Called("A gauge is in doubt at", "Look at it.", "The gauge measures again at")),
    (
        "covers-",
        Called("Covers run short at", "", "Covers are enough again at", about_weather=False),
    ),
    ("rain-over-", Called("It rains at", "", "The rain is over at")),
    (
        "rain-unforeseen-",
        Called("It is raining, and no forecast says so, at", "", "The word on rain has changed at"),
    ),
)


def called(alert: Alert) -> Called | None:
    """How the trouble is called; None for lost weather, lost messages and what is no trouble."""
    if alert.kind != "weather":
        return None
    return next((names for prefix, names in _CALLED if alert.id.startswith(prefix)), None)
