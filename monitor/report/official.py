"""The official warnings of a report's period, in the services' own words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.alerts.official_words import NO_PROMISE, UNPLACED, quoted, times

if TYPE_CHECKING:
    from monitor.report.material import Material
    from monitor.report.site_times import SiteTimes
    from monitor.service.warned import WarningRow


@dataclass(frozen=True, slots=True)
class Warned:
    """One warning as the page shows it."""

    title: str
    when: str
    came: str
    quotes: tuple[str, ...]
    place: str
    doubt: str
    """Why it may not be for the site; empty where it is"""
    ended: str = ""
    """When it was taken back, and how; empty where it ran to its end"""


def warned(material: Material, site_times: SiteTimes) -> tuple[Warned, ...]:
    """Every warning of the period, in the order they came."""
    zone = material.show.site.timezone
    return tuple(
        Warned(
            title=row.warning.title,
            when=times(row.warning, zone),
            came=site_times.at(row.received_at),
            quotes=quoted(row.warning),
            place=row.warning.place,
            doubt="" if row.placed else UNPLACED,
            ended=_ended(row, site_times),
        )
        for row in material.warnings
    )


def _ended(row: WarningRow, site_times: SiteTimes) -> str:
    later = row.later
    if later is None:
        return ""
    how = "Cancelled" if later.msg_type.lower() == "cancel" else "Replaced by a later message"
    return f"{how} at {site_times.at(later.sent)}."


def about(material: Material) -> str:
    """What having none, or these alone, does not mean."""
    services = ", ".join(source.name for source in material.show.warnings)
    if not services:
        return "No official warning service was read."
    return f"Read from: {services}. {NO_PROMISE}"
