"""show.toml as a whole: parsed, laid over the defaults, judged section by section."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import ValidationError

from monitor.domain import BadInputError, Problem, Show, Site
from monitor.feeds.sheet import builtin_ids
from monitor.show import contacts, outside, plan, washing
from monitor.show.explain import explain
from monitor.show.findings import SHOW_FILE, Findings
from monitor.show.nearest import suggestion
from monitor.show.overrides import overrides, referred
from monitor.show.plain_text import plain_text
from monitor.show.settings import (
    ContactPart,
    CoverPart,
    EventPart,
    FeedPart,
    GaugePart,
    PagePart,
    PersonPart,
    PositionPart,
    RoofPart,
    ShowSettings,
    SitePart,
    WarningsPart,
    validated,
)
from monitor.show.water_parts import WashdownPart
from monitor.toml_places import toml_places

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from monitor.domain import (
        Contact,
        Cover,
        Event,
        Feed,
        Fixture,
        Gauge,
        Page,
        Person,
        Policy,
        Position,
        Roof,
        WarningsFrom,
        Washdown,
    )
    from monitor.show.part import Part
    from monitor.toml_places import Path as Place

_TOML_LINE = re.compile(r"\(at (?:line (\d+)|end of document)")
_SHEET_ID = re.compile(r"""^\s*id\s*=\s*["']([^"']+)["']""", re.MULTILINE)

P = TypeVar("P", bound="Part")


@dataclass(frozen=True, slots=True)
class ShowFile:
    """What show.toml says, as far as it is sound.

    Ids are None where they cannot be known, so that nothing is held against what refers to
    them; `settings` is None where anything of the form is wrong.
    """

    problems: list[Problem]
    notes: list[Problem]
    settings: ShowSettings | None = None
    position_ids: Collection[str] | None = None
    cover_ids: Collection[str] | None = None
    zone: ZoneInfo | None = None
    roofs: Mapping[str, Roof] = field(default_factory=dict)
    positions: Mapping[str, Position] = field(default_factory=dict)
    covers: Mapping[str, Cover] = field(default_factory=dict)
    event: Event | None = None
    policy: Policy | None = None
    feeds: tuple[Feed, ...] = ()
    archives: tuple[Feed, ...] = ()
    contacts: tuple[Contact, ...] = ()
    people: tuple[Person, ...] = ()
    gauges: tuple[Gauge, ...] = ()
    warnings: tuple[WarningsFrom, ...] = ()
    washdowns: tuple[Washdown, ...] = ()
    page: Page | None = None

    @classmethod
    def unread(cls) -> ShowFile:
        """Nothing is known."""
        return cls([], [])

    def show(self, fixtures: tuple[Fixture, ...], revision: str) -> Show | None:
        """The whole show; None where something of it is missing."""
        settings = self.settings
        if settings is None or self.event is None or self.policy is None or self.page is None:
            return None
        return Show(
            site=Site(**settings.site.model_dump()),
            event=self.event,
            positions=self.positions,
            fixtures=fixtures,
            policy=self.policy,
            roofs=self.roofs,
            covers=self.covers,
            crew=plan.crew(settings.crew, self.people),
            feeds=self.feeds,
            archives=self.archives,
            contacts=self.contacts,
            gauges=self.gauges,
            warnings=self.warnings,
            washdowns=self.washdowns,
            page=self.page,
            revision=revision,
        )


def read_show_file(
    files: Mapping[str, bytes], folder: Path, environ: Mapping[str, str]
) -> ShowFile:
    """show.toml of `files`, under the variables of `environ`; never raises for what is in it."""
    try:
        text, told = plain_text(files[SHOW_FILE], SHOW_FILE)
        document, places = _parsed(text)
    except BadInputError as fault:
        return ShowFile(list(fault.problems), [])
    sheets = [d.decode("utf-8", "replace") for n, d in files.items() if n.startswith("sheets/")]
    values, variables, unknown = overrides(environ, referred([text, *sheets]))
    merged = {**document, **{s: _over(document.get(s), keys) for s, keys in values.items()}}
    findings = Findings(merged, places, variables)
    findings.problems += unknown
    findings.notes += told
    for (section, key), variable in variables.items():
        findings.tell(
            (section, key),
            "overridden",
            f"{key} of [{section}] is set by the variable {variable}.",
            "The file's own value does not count while it is set.",
        )
    settings: ShowSettings | None = None
    try:
        settings = validated(document, values)
    except ValidationError as fault:
        explain(fault, findings)
    own_sheets = [n.removeprefix("sheets/").removesuffix(".toml") for n in files if "/" in n]
    own_sheets += [found for sheet in sheets for found in _SHEET_ID.findall(sheet)]
    _known_sheets(merged, own_sheets, findings)
    return _judged(settings, merged, folder, environ, findings)


def _parsed(text: str) -> tuple[dict[str, Any], dict[Place, int]]:
    try:
        document = tomllib.loads(text)
        # The standard reader takes line ends of both kinds; places count the plain ones.
        return document, toml_places(text)
    except RecursionError:
        says, line = "it nests too deep", None
    except ValueError as fault:
        found = _TOML_LINE.search(str(fault))
        says = str(fault).split(" (at")[0]
        says = says[:1].lower() + says[1:]
        line = None
        if found is not None:
            line = int(found[1]) if found[1] else text.rstrip().count("\n") + 1
    raise BadInputError(
        [
            Problem(
                "broken-toml",
                f"{SHOW_FILE} is not in the form of a settings file: {says}.",
                "Look at that line and the one above it for a missing quotation mark, bracket "
                "or equals sign, or a key given twice.",
                file=SHOW_FILE,
                line=line,
            )
        ]
    )


def _over(section: object, keys: Mapping[str, str]) -> dict[str, object]:
    return {**(section if isinstance(section, dict) else {}), **keys}


def _judged(
    settings: ShowSettings | None,
    merged: Mapping[str, Any],
    folder: Path,
    environ: Mapping[str, str],
    findings: Findings,
) -> ShowFile:
    for section, key in (("roofs", "id"), ("positions", "id"), ("covers", "id")):
        plan.refuse_twins(section, key, _listed(merged, section), findings)
    plan.refuse_twins("contacts", "name", _listed(merged, "contacts"), findings)
    plan.refuse_twins("gauges", "station", _listed(merged, "gauges"), findings)
    plan.refuse_twins("warnings", "name", _listed(merged, "warnings"), findings)
    roofs: dict[str, Roof] = {}
    for _, roof_part in _sound(merged, "roofs", RoofPart):
        roofs.setdefault(roof_part.id, plan.roof(roof_part))
    roof_ids = _ids(merged, "roofs")
    positions: dict[str, Position] = {}
    for at, position_part in _sound(merged, "positions", PositionPart):
        found = plan.position(position_part, at, roofs, roof_ids, findings)
        positions.setdefault(found.id, found)
    if merged.get("positions", []) == []:
        findings.tell(
            ("positions",),
            "no-positions",
            "The show has no positions.",
            "Give a [[positions]] for each place where fixtures are.",
        )
    covers: dict[str, Cover] = {}
    for at, cover_part in _sound(merged, "covers", CoverPart):
        covers.setdefault(cover_part.id, plan.cover(cover_part, at, findings))
    feeds = tuple(
        contacts.feed(part, at, folder, environ, findings)
        for at, part in _sound(merged, "feeds", FeedPart)
    )
    told = tuple(
        contacts.contact(part, at, folder, environ, findings)
        for at, part in _sound(merged, "contacts", ContactPart)
    )
    names = [one.name for one in told] or [contacts.FOLDER]
    people = tuple(
        plan.person(part, at, names, findings) for at, part in _sound(merged, "people", PersonPart)
    )
    plan.refuse_twins("people", "name", _listed(merged, "people"), findings)
    plan.tell_unheld(positions.values(), people, findings)
    gauges = tuple(
        outside.gauge(part, at, findings) for at, part in _sound(merged, "gauges", GaugePart)
    )
    warnings = tuple(
        outside.warnings_from(part, at, findings)
        for at, part in _sound(merged, "warnings", WarningsPart)
    )
    site = _section(merged, "site", SitePart)
    zone = site.timezone if site is not None else _zone(merged)
    washdowns = tuple(
        washing.washdown(part, at, _ids(merged, "positions"), zone, findings)
        for at, part in _sound(merged, "washdowns", WashdownPart)
    )
    event_part = _section(merged, "event", EventPart)
    event = None
    if event_part is not None and zone is not None:
        event = plan.event(event_part, zone, findings)
    page_part = _section(merged, "page", PagePart)
    return ShowFile(
        problems=findings.problems,
        notes=findings.notes,
        settings=settings,
        position_ids=_ids(merged, "positions") or None,
        cover_ids=_ids(merged, "covers"),
        zone=zone,
        roofs=roofs,
        positions=positions,
        covers=covers,
        event=event,
        policy=None if settings is None else plan.policy(settings.policy, findings),
        feeds=tuple(one for one in feeds if not contacts.is_archive(one, folder)),
        archives=tuple(one for one in feeds if contacts.is_archive(one, folder)),
        contacts=told or (contacts.nobody_told(folder),),
        people=people,
        gauges=gauges,
        warnings=warnings,
        washdowns=washdowns,
        page=None if page_part is None else contacts.page(page_part, findings),
    )


def _known_sheets(merged: Mapping[str, Any], own_sheets: Sequence[str], findings: Findings) -> None:
    known = [*own_sheets, *builtin_ids(), contacts.RECORD]
    for at, part in _sound(merged, "feeds", FeedPart):
        if part.sheet not in known:
            findings.refuse(
                (*at, "sheet"),
                "unknown-sheet",
                f"There is no feed sheet {part.sheet}.",
                suggestion(part.sheet, known),
            )
    if not _listed(merged, "feeds"):
        findings.tell(
            ("feeds",),
            "no-feeds",
            "The show names no weather feed.",
            "Give a [[feeds]] before the monitor is to watch the weather.",
        )


def _listed(merged: Mapping[str, Any], section: str) -> list[Any]:
    items = merged.get(section, [])
    return items if isinstance(items, list) else []


def _ids(merged: Mapping[str, Any], section: str) -> list[str]:
    """Every id of a section, those of items with other faults too."""
    ids = Counter(
        "-".join(item["id"].split())
        for item in _listed(merged, section)
        if isinstance(item, dict) and isinstance(item.get("id"), str)
    )
    return list(ids)


def _sound(merged: Mapping[str, Any], section: str, model: type[P]) -> Iterator[tuple[Place, P]]:
    """The items of a section that are sound by themselves, with their place."""
    for index, item in enumerate(_listed(merged, section)):
        try:
            yield (section, index), model.model_validate(item)
        except ValidationError:
            continue


def _section(merged: Mapping[str, Any], section: str, model: type[P]) -> P | None:
    try:
        return model.model_validate(merged.get(section, {}))
    except ValidationError:
        return None


def _zone(merged: Mapping[str, Any]) -> ZoneInfo | None:
    """The time zone of a site with other faults, so that its times can still be read."""
    site = merged.get("site")
    given = site.get("timezone") if isinstance(site, dict) else None
    blank = {"name": "?", "latitude": 0, "longitude": 0, "elevation_m": 0, "terrain": "field"}
    try:
        return SitePart.model_validate({**blank, "timezone": given}).timezone
    except ValidationError:
        return None
