"""The official warnings of a report's period, in the services' own words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.alerts.official_words import NO_PROMISE, UNPLACED, quoted, times

if TYPE_CHECKING:
    from monitor.report.material import Material
    from monitor.report.site_times import SiteTimes


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
        )
        for row in material.warnings
    )


def about(material: Material) -> str:
    """What having none, or these alone, does not mean."""
    services = ", ".join(source.name for source in material.show.warnings)
    if not services:
        return "No official warning service was read."
    return f"Read from: {services}. {NO_PROMISE}"
