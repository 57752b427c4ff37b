"""The report as one page that needs nothing beside it: no script, no file, no network."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from monitor.alerts.words import one_line, sentence
from monitor.domain import Declared, LogEntry
from monitor.drawing import patterns
from monitor.report import figures, summary
from monitor.report.came import answer, outcome
from monitor.report.cautions import CAUTIONS
from monitor.report.findings import ORDERS, Line, id_ranges
from monitor.report.forecasts import forecasts
from monitor.report.found import Found, found_in
from monitor.report.jobs import Job
from monitor.report.judged_words import judged, summed_up
from monitor.report.material import Material
from monitor.report.official import about, warned
from monitor.report.owners import NOT_SAID, named, owners
from monitor.report.pictures import LETTERS, picture
from monitor.report.received_words import sources
from monitor.report.record import Record
from monitor.report.recorded import record
from monitor.report.seal import seal
from monitor.report.site_times import SiteTimes
from monitor.report.told_and_answered import told_and_answered
from monitor.report.unit_words import care_lists, covers_said, serials, tests_said

TEMPLATE = "report.html.j2"
_STAGES = {
    "notice": "notice",
    "start": "start",
    "overdue": "overdue",
    "stop": "stop",
    "stood-down": "stood down",
}
_ACTIONS = {
    "cover": "Cover",
    "bring-in": "Bring in",
    "isolate": "Isolate",
    "uncover": "Uncover",
    "inspect": "Inspect",
    "clean": "Clean",
}


@dataclass(frozen=True, slots=True)
class _Entries:
    """Log entries of one moment, kind and hand, told as one."""

    first: LogEntry
    where: str


def page(material: Material) -> str:
    """The whole page of a material."""
    found = found_in(material)
    made, _ = seal(record(found))
    return page_of(found, made)


def page_of(found: Found, made: Record) -> str:
    """The same of what was found in it; `made` is the record that goes with it."""
    material, times = found.material, found.times
    lines, rain, alerts, there = found.lines, found.rain, found.jobs, found.places
    drawn = [
        (place, picture(material, place, rain.unknown_spans, f"p{n}"))
        for n, place in enumerate(there)
    ]
    entries = _log(material)
    holds, chain_says = summary.chain(material)
    template = _environment(times).get_template(TEMPLATE)
    return template.render(
        material=material,
        show=material.show,
        title=made.title,
        record=made,
        judged=judged(found, made),
        alerts_summed_up=summed_up(made.alert_scores)[0] if made.alert_scores else "",
        serials=serials(made, times),
        care_lists=care_lists(made),
        received=sources(made, times),
        times=times,
        fell=summary.fell(material, rain, times),
        stand=summary.stand(lines),
        duties=summary.duties(material, lines),
        told=summary.told(material, alerts),
        known=summary.known(material, rain),
        chain_holds=holds,
        chain_says=chain_says,
        drawn=drawn,
        lines=lines,
        owners=owners(material, lines),
        band_words=summary.BAND_WORDS,
        work=[job for job in alerts if job.came is not None],
        others=[job for job in alerts if job.came is None],
        forecasts=forecasts(material),
        warned=warned(material, times),
        about_warnings=about(material),
        log=entries,
        readings=any((e.first.earth_ohm, e.first.insulation_mohm) != (None, None) for e in entries),
        heard=told_and_answered(material, alerts, times),
        declared=[_declared(one, material) for one in material.declared],
        letters=LETTERS.values(),
        key_patterns=patterns("key"),
        cautions=CAUTIONS,
        policy=_policy(material),
        kinds=sorted(set(material.kinds())),
    )


def _environment(times: SiteTimes) -> Environment:
    """Every text is escaped, and freed of what could hide or turn letters."""
    environment = Environment(
        loader=PackageLoader("monitor", "templates"),
        autoescape=True,  # by hand: names that end in .j2 are not escaped by themselves
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_plain,
    )
    environment.filters.update(
        depth=figures.depth,
        share=figures.share,
        hours=figures.hours,
        allowance=figures.allowance,
        speed=figures.speed,
        minutes=figures.minutes,
        reading=figures.reading,
        counted=figures.counted,
        when=lambda at: figures.NOTHING if at is None else times.at(at),
        ids=lambda fixtures: id_ranges([f.id for f in fixtures]),
        names=_names,
        owned=_owned,
        code=_code,
        cares=_cares,
        covers=lambda unit: covers_said(unit, times),
        tested=lambda unit: tests_said(unit, times),
        letter=lambda e: LETTERS[e][0],
        sentence=sentence,
        words=lambda text: str(text).replace("-", " "),
        order=_order,
        life=lambda job: _life(job, times),
        came=outcome,
        answers=lambda job, at: [answer(said, at) for said in job.answered],
    )
    return environment


def _plain(value: Any) -> Any:
    return one_line(value) if type(value) is str else value


# ---------------------------------------------------------------- cells


def _names(line: Line) -> str:
    """What the fixtures are called, each name once."""
    names = list(dict.fromkeys(f.name or f.type or "" for f in line.fixtures))
    names = [one_line(n) for n in names if one_line(n)]
    more = f" and {len(names) - 2} more" if len(names) > 2 else ""
    return ", ".join(names[:2]) + more


def _owned(line: Line) -> str:
    """Whose they are, where that is said: `Lantern Hire 6, Field Light 2`."""
    counts: dict[str, int] = {}
    for fixture in line.fixtures:
        counts[named(fixture)] = counts.get(named(fixture), 0) + fixture.count
    if set(counts) <= {""}:
        return ""
    said = [name or NOT_SAID for name in counts]
    if len(said) == 1:
        return said[0]
    return ", ".join(f"{name} {n}" for name, n in zip(said, counts.values(), strict=True))


def _code(line: Line) -> str:
    """The code that decided: of the fixture, or of the part that would be first."""
    own = line.first.code.canonical
    if line.part == "fixture":
        return own
    return f"{own}, {line.part} {line.part_code}"


def _cares(line: Line) -> list[tuple[str, str]]:
    return [(ORDERS[care.do], care.why) for care in line.cares]


def _order(job: Job) -> str:
    """`Cover 8`, as on the message; the kind where it asks for nothing."""
    alert, asked = job.ordered.alert, job.asked
    return alert.kind if asked is None else f"{_ACTIONS[asked]} {alert.count}"


def _life(job: Job, times: SiteTimes) -> list[tuple[str, str, str]]:
    """Every word of an alert: stage, when told or why not, reason. Repeats are drawn together."""
    found: list[tuple[str, str, str]] = []
    for told in job.told:
        when = times.at(told.told_at or told.at)
        if told.told_at is None:
            when += f", not told: {told.state}"
        action = told.alert.action
        turned = action not in (None, job.asked) and told.alert.stage != "stood-down"
        stage = _STAGES[told.alert.stage]
        if action is not None and turned:
            stage += f": {_ACTIONS[action].lower()}"
        row = (stage, when, told.reason)
        if not found or found[-1][0] != row[0]:
            found.append(row)
    return found


@dataclass(frozen=True, slots=True)
class _DeclaredRow:
    """A declaration as a row of cells."""

    at: datetime
    what: str
    where: str
    by: str
    note: str


def _declared(one: Declared, material: Material) -> _DeclaredRow:
    positions = material.show.positions
    where = "the whole site"
    if one.position is not None:
        where = positions[one.position].name if one.position in positions else one.position
    what = "work at height" if one.what == "height" else "power on again"
    return _DeclaredRow(one.at, what, where, one.by, one.note or "")


def _log(material: Material) -> list[_Entries]:
    """The log in order of time, a crew's entries of one moment in one row."""
    together: dict[tuple[Any, ...], list[LogEntry]] = {}
    since = material.from_
    for entry in sorted(material.log, key=lambda e: e.at):
        if since is not None and entry.at < since:
            continue
        what = (
            entry.at, entry.entry, entry.count, entry.to, entry.result, entry.earth_ohm,
            entry.insulation_mohm, entry.by, entry.note,
        )  # fmt: skip
        together.setdefault(what, []).append(entry)
    names = {p.id: p.name for p in material.show.positions.values()}
    return [_Entries(entries[0], _where(entries, names)) for entries in together.values()]


def _where(entries: Sequence[LogEntry], names: dict[str, str]) -> str:
    of_positions = [names.get(e.position, e.position) for e in entries if e.position is not None]
    fixtures = [e.fixture for e in entries if e.fixture is not None]
    said = [*of_positions]
    if fixtures:
        said.append(summary.ids_said(fixtures))
    return "; ".join(said)


def _policy(material: Material) -> Iterable[tuple[str, str]]:
    """The settings that the figures rest on, in words."""
    p = material.show.policy
    conditions = f"{p.condition_new:g} / {p.condition_hire:g} / {p.condition_worn:g}"
    return (
        ("Allowance where no test covers", f"{p.run_off_mm:g} mm"),
        ("Share of the allowance kept when new / hire / worn", conditions),
        ("Charge on forecast steps of an hour or more", f"× {p.hourly_margin:g}"),
        ("Wind from one direction is taken to spread by", f"{p.direction_spread_deg:g}°"),
        ("Damp hours in a night that ask for an inspection", f"{p.damp_hours_check:g} h"),
        ("Dusty hours after which a first digit 5 is cleaned", f"{p.clean_after_hours:g} h"),
        (
            "Days with wet or damp hours until an inspection, temporary / extended",
            f"{p.stay_days_temporary:g} / {p.stay_days_extended:g}",
        ),
    )
