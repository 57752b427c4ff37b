"""What is said of past years wherever they are shown: headings, groups of rows, cautions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.alerts.clock import DAYS, MONTHS
from monitor.past_years.outcome import MOST_UNKNOWN, FixtureYears, PastYears, Year
from monitor.report.figures import NOTHING, counted, share
from monitor.report.findings import id_ranges


@dataclass(frozen=True, slots=True)
class RowGroup:
    """Rows of fixtures.csv that came out alike."""

    ids: str
    count: int
    code: str
    place: str
    needed: str
    worst: str
    soonest: str


def cautions(found: PastYears) -> tuple[str, ...]:
    """What these figures are not."""
    loss = (
        (
            "Hourly steps take the wind and the rain of an hour as even: 11 to 45 % of wind-driven "
            "rain is lost against fine steps, so this errs to the dry side."
        ),
    )
    return (
        *(loss if found.hourly else ()),
        (
            "Past years are no forecast: they say how often, not what comes. Few years say little "
            "of rare storms."
        ),
        (
            "Every year's record was its own forecast, and the simulated crew was always there: "
            "real forecasts know less, real crews need longer."
        ),
        (
            "Used below 1 is no promise, above 1 no prediction: the tests behind a code are made "
            "on new specimens with fresh water."
        ),
        "The maker's instructions, local rules and the competent person on site prevail.",
    )


def by_condition(found: PastYears) -> str:
    """What each row's condition leaves of the allowance, for beside the tables."""
    policy = found.show.policy
    return (
        "Each row goes by its own condition: of the water that its code's test stands for, new "
        f"keeps {policy.condition_new:g}, hire {policy.condition_hire:g}, worn "
        f"{policy.condition_worn:g}."
    )


def heading(found: PastYears) -> str:
    """Which dates, in which years, out of what."""
    zone, event = found.show.site.timezone, found.show.event
    begin = event.load_in_at.astimezone(zone)
    assert event.load_out_at is not None
    end = event.load_out_at.astimezone(zone)
    return (
        f"{found.show.site.name}: {begin.day} {MONTHS[begin.month - 1]} {begin:%H:%M} to {end.day} "
        f"{MONTHS[end.month - 1]} {end:%H:%M}, site time, in {len(found.counted)} of "
        f"{found.asked} past years."
    )


def year_words(year: Year) -> str:
    """One year: what fell, or why it is not counted."""
    if year.counted:
        said = f"{year.rain_mm:.1f} mm in {counted(round(year.wet_hours), 'wet hour')}"
        if year.unknown_hours > 0.0:
            said += f"; {year.unknown_hours:.1f} h not known"
    else:
        said = (
            f"not counted: {year.unknown_hours:.1f} h not known, {100 * year.unknown_share:.0f} % "
            f"of the event (at most {100 * MOST_UNKNOWN:.0f} %)"
        )
    more = [text for text in (year.span.note, year.says) if text]
    return f"{said} ({'; '.join(more)})" if more else said


def row_groups(found: PastYears) -> tuple[RowGroup, ...]:
    """The rig, rows that came out alike drawn together, the neediest first."""
    together: dict[tuple[object, ...], list[FixtureYears]] = {}
    for row in found.fixtures:
        outcome = tuple((y, s.used, s.at) for y, s in row.by_year.items())
        fixture = row.fixture
        key = (
            fixture.position,
            fixture.code.canonical,
            fixture.condition,
            row.weakest_part,
            outcome,
        )
        together.setdefault(key, []).append(row)
    groups = sorted(
        together.values(), key=lambda rows: (-len(rows[0].needed), -(rows[0].worst or (0, 0.0))[1])
    )
    return tuple(_group(rows, found) for rows in groups)


def _group(rows: list[FixtureYears], found: PastYears) -> RowGroup:
    first = rows[0]
    said, left = id_ranges([row.fixture.id for row in rows], 4)
    worst = first.worst
    return RowGroup(
        ids=", ".join(said) + (f" and {left} more" if left else ""),
        count=sum(row.fixture.count for row in rows),
        code=f"{first.fixture.code.canonical}, {first.fixture.condition}"
        + ("" if first.weakest_part == "fixture" else f", its {first.weakest_part}"),
        place=found.show.positions[first.fixture.position].name,
        needed=of_years(len(first.needed), found),
        worst=NOTHING if worst is None or worst[1] <= 0 else f"{share(worst[1])} in {worst[0]}",
        soonest=_soonest(first, found),
    )


def of_years(count: int, found: PastYears) -> str:
    """`7 of 9`."""
    return f"{count} of {len(found.counted)}"


def _soonest(row: FixtureYears, found: PastYears) -> str:
    soonest = row.soonest(found.starts)
    if soonest is None:
        return "never"
    _, moment, hours = soonest
    local = moment.astimezone(found.show.site.timezone)
    day = f"{DAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local.year}"
    return f"{day} {local:%H:%M}, {hours:.0f} h in"


def position_rows(found: PastYears) -> Iterator[tuple[str, str, str, str]]:
    """(place, crew minutes of the middle year, of the worst, late jobs) of each position."""
    for row in found.positions:
        worst = row.worst
        median = row.median_minutes
        late = row.late
        years = len(row.late_years)
        yield (
            row.position.name,
            NOTHING if median is None else f"{median:.0f}",
            NOTHING if worst is None else f"{worst[1]:.0f} in {worst[0]}" if worst[1] > 0 else "0",
            f"{late} in {years} year{'' if years == 1 else 's'}" if late else "none",
        )


def instead_rows(found: PastYears) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """(codes across, one row a position: its name, then years of need under each code)."""
    codes = tuple(dict.fromkeys(row.code.canonical for row in found.instead))
    places: dict[str, dict[str, str]] = {}
    names: dict[str, str] = {}
    for row in found.instead:
        names[row.position.id] = row.position.name
        places.setdefault(row.position.id, {})[row.code.canonical] = of_years(
            len(row.needed), found
        )
    return codes, [(names[p], *(cells[c] for c in codes)) for p, cells in places.items()]
