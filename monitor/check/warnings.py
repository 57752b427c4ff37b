"""What a show can do with but hardly means: covers that run short, speeds in other units, and
a site far off its timezone.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from monitor.check.at_line import AtLine
from monitor.check.people import nobody_comes, nobody_there, out_of_reach, unasked_tickets
from monitor.planning.covers_in_stock import counted
from monitor.units import KMH_TO_MPS, MPH_TO_MPS, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from monitor.domain import Fixture, Problem, Show

ACCESS_AT_MOST_MPS = 25.0
"""No access stays open in more (judgement: twice what EN 280 allows a platform) [m/s]."""
COVER_AT_MOST_MPS = 35.0
"""No cover over a fixture stands more (judgement: over Beaufort 12) [m/s]."""
FAR_OFF_H = 3.0
"""No inhabited place keeps a standard time this far from that of its sun (judgement) [h]."""
_DEG_PER_H = 15.0
_BY_TWO = ("platform", "climb", "lowered-truss")
NOBODY_HOLDS = "ticket-not-held"


def warnings(
    show: Show, files: Mapping[str, bytes] | None = None, told: Sequence[Problem] = ()
) -> tuple[Problem, ...]:
    """What needs attention though nothing of it is refused.

    Parameters
    ----------
    show : as it was read
    files : it was read from, for the line of each key
    told : by the reading; what of it needs attention is not repeated, but counts
    """
    says = AtLine(files or {})
    unheld = {problem.key for problem in told if problem.code == NOBODY_HOLDS}
    return (
        *_far_off_its_timezone(show, says),
        *_short(show, says),
        *_unlikely(show, says),
        *_one_at_height(show, says),
        *nobody_comes(show, says, unheld),
        *unasked_tickets(show, says),
        *nobody_there(show, says),
        *out_of_reach(show, says),
    )


def needs_attention(told: Sequence[Problem]) -> bool:
    """Whether what the reading told is more than something to know."""
    return any(problem.code in (NOBODY_HOLDS, "no-positions", "empty-file") for problem in told)


# ---- the site


def _far_off_its_timezone(show: Show, says: AtLine) -> Iterator[Problem]:
    """A site whose sun is hours off its clock: the likeliest slip is that two figures are swapped.

    The sun stands highest near noon of standard time where 15 degrees east are an hour.
    """
    site = show.site
    standard_h = _standard_h(show)
    off_h = _hours_off(site.longitude, standard_h)
    if off_h <= FAR_OFF_H:
        return
    remedy = "See the two figures on a map, east and north being positive, and mend timezone."
    if abs(site.longitude) <= 90.0 and _hours_off(site.latitude, standard_h) <= FAR_OFF_H:
        remedy = f"Were latitude and longitude swapped? {remedy}"
    yield says(
        ("site", "longitude"),
        "far-off-its-timezone",
        f"longitude {site.longitude:g} is {off_h:.1f} h by the sun from the standard time of "
        f"{site.timezone.key}.",
        remedy,
    )


def _standard_h(show: Show) -> float:
    """The zone's offset without summer time, in the year of the show [h]."""
    year, zone = show.event.load_in_at.year, show.site.timezone
    offsets = [datetime(year, month, 15, 12, tzinfo=zone).utcoffset() for month in (1, 7)]
    return (
        min(offset.total_seconds() for offset in offsets if offset is not None) / SECONDS_PER_HOUR
    )


def _hours_off(longitude_deg: float, standard_h: float) -> float:
    """Between the sun's time at a longitude and a standard time, round the globe [h]."""
    return abs((longitude_deg / _DEG_PER_H - standard_h + 12.0) % 24.0 - 12.0)


# ---- covers


def _short(show: Show, says: AtLine) -> Iterator[Problem]:
    """Covers of which the rig wants more than there are, were all of it to be covered at once."""
    wanted = counted(show.fixtures)
    for number, cover in enumerate(show.covers.values()):
        missing = wanted.get(cover.id, 0) - cover.in_stock
        if missing <= 0:
            continue
        where = _by_position(show, [f for f in show.fixtures if f.cover == cover.id])
        yield says(
            ("covers", number, "in_stock"),
            "covers-short",
            f"{wanted[cover.id]} of cover {cover.id} are wanted and {cover.in_stock} are in stock: "
            f"{missing} missing ({where}).",
            "Get more, or name another cover for some; where they run short the position due "
            "first gets them, and the rest is brought in.",
        )


def _by_position(show: Show, fixtures: Sequence[Fixture]) -> str:
    found: dict[str, int] = {}
    for fixture in fixtures:
        found[fixture.position] = found.get(fixture.position, 0) + fixture.count
    most = sorted(found.items(), key=lambda one: -one[1])
    return ", ".join(f"{number} at {show.positions[p].name}" for p, number in most)


# ---- speeds


def _unlikely(show: Show, says: AtLine) -> Iterator[Problem]:
    for number, position in enumerate(show.positions.values()):
        limit = position.access_limit_mps
        if limit is not None and limit > ACCESS_AT_MOST_MPS:
            yield says(
                ("positions", number, "access_limit_mps"),
                "unlikely-speed",
                f"access_limit_mps of position {position.id} is {limit:g} m/s: nobody works at "
                "height in that.",
                _in_other_units(limit),
            )
    for number, cover in enumerate(show.covers.values()):
        limit = cover.gust_limit_mps
        if limit is not None and limit > COVER_AT_MOST_MPS:
            yield says(
                ("covers", number, "gust_limit_mps"),
                "unlikely-speed",
                f"gust_limit_mps of cover {cover.id} is {limit:g} m/s: hardly a cover stands that.",
                _in_other_units(limit),
            )


def _in_other_units(speed: float) -> str:
    return (
        f"Were it km/h it would be {speed * KMH_TO_MPS:.1f} m/s, were it mph "
        f"{speed * MPH_TO_MPS:.1f} m/s; give it in metres per second."
    )


# ---- work at height


def _one_at_height(show: Show, says: AtLine) -> Iterator[Problem]:
    """Places where a second person is usual, to watch and to fetch down."""
    for number, position in enumerate(show.positions.values()):
        if position.access in _BY_TWO and position.people_needed == 1:
            yield says(
                ("positions", number, "people_needed"),
                "one-at-height",
                f"people_needed of position {position.id} is 1: unusual for access "
                f"{position.access}, where somebody watches from the ground.",
                "Give 2 or more, or keep it if your own rules allow one.",
            )
