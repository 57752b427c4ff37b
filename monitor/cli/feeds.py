"""`dryspell feed`: try a feed sheet and see what the program makes of the answer."""

from __future__ import annotations

import random
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypedDict

import click

from monitor.cli.exit_codes import ATTENTION, DONE
from monitor.cli.feed_table import table
from monitor.cli.licence import settle_licences
from monitor.cli.surroundings import (
    SHOW_FILE,
    bytes_of,
    json_option,
    now,
    read,
    secret_of,
    show_option,
)
from monitor.cli.writing import tell, write_json
from monitor.domain import BadInputError, Feed, Problem
from monitor.feeds import canonical
from monitor.feeds.decode import Rejected, decode
from monitor.feeds.fetch import fetch
from monitor.feeds.record import read_record
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD

if TYPE_CHECKING:
    from datetime import tzinfo

    from monitor.domain import Show, Weather


class _Place(TypedDict, total=False):
    latitude: float
    longitude: float
    elevation_m: float


class _Tried(NamedTuple):
    """The weather, or why there is none; what else is to be told."""

    weather: Weather | None
    says: tuple[str, ...]


@click.command()
@click.option("--sheet", "sheet_id", metavar="ID", help="The sheet to try; else the first feed's.")
@click.option(
    "--sample",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Read this answer of the service instead of asking it.",
)
@show_option
@json_option
@click.option(
    "--accept-licence",
    "accepted",
    is_flag=True,
    help="Confirm the terms of the weather service; remembered for this show.",
)
def feed(
    sheet_id: str | None,
    sample: Path | None,
    folder: Path,
    json_file: str | None,
    accepted: bool,
) -> int:
    """Try a feed sheet: print the weather as it is understood, what was dropped, and why.

    With --sheet and --sample no show is needed. Exit code 1: no weather came of it.
    """
    show, chosen = _chosen(folder, sheet_id, sample)
    if sample is not None or chosen.sheet == RECORD:
        tried = _from_file(folder, show, chosen, sample)
    else:
        assert show is not None
        tried = _asked(folder, show, chosen, accepted=accepted)
    if tried.weather is None:
        for line in tried.says:
            click.echo(line, err=True)
        return ATTENTION
    write_json(canonical.as_json(tried.weather, chosen.sheet), json_file)
    zone: tzinfo | None = show.site.timezone if show is not None else None
    tell([*tried.says, *table(tried.weather, chosen.sheet, zone)], json_file)
    return DONE


def _chosen(folder: Path, sheet_id: str | None, sample: Path | None) -> tuple[Show | None, Feed]:
    """The show, where it is needed or there, and its feed of that sheet, or a bare one."""
    if sheet_id is not None and sample is not None and not (folder / SHOW_FILE).exists():
        return None, Feed(sheet_id)
    show = read(folder).show
    if sheet_id is not None:
        named = [one for one in (*show.feeds, *show.archives) if one.sheet == sheet_id]
        return show, named[0] if named else Feed(sheet_id)
    if not show.feeds:
        raise BadInputError(
            [
                Problem(
                    "no-feed",
                    "The show has no feed.",
                    "Add a [[feeds]] section, or name a sheet: --sheet open-meteo.",
                    file=SHOW_FILE,
                )
            ]
        )
    return show, show.feeds[0]


def _from_file(folder: Path, show: Show | None, chosen: Feed, sample: Path | None) -> _Tried:
    if chosen.sheet == RECORD:
        if sample is None and chosen.file is None:
            raise BadInputError(
                [
                    Problem(
                        "missing-key",
                        "There is no record to read.",
                        "Give --sample FILE, or file in the [[feeds]] section of the show.",
                        key="feeds.file",
                    )
                ]
            )
        path = sample or folder / Path(chosen.file or "").expanduser()
        weather = read_record(
            bytes_of(path, "a weather record, a CSV file"),
            path.name,
            wind_basis=chosen.wind_basis,
            wind_height_m=chosen.wind_height_m,
        )
        return _Tried(weather, ())
    assert sample is not None
    sheet = find_sheet(chosen.sheet, folder)
    body = bytes_of(sample, "an answer of the service, as it was sent")
    try:
        weather = decode(
            body,
            sheet,
            fetched_at=None,
            wind_basis=chosen.wind_basis,
            wind_height_m=chosen.wind_height_m,
            **_place(show),
        )
    except Rejected as fault:
        return _Tried(None, (f"{sample.name} was not used: {fault.detail} ({fault.reason}).",))
    return _Tried(weather, ())


def _asked(folder: Path, show: Show, chosen: Feed, *, accepted: bool) -> _Tried:
    """What the service itself answers, once, whatever it was asked before."""
    sheet = find_sheet(chosen.sheet, folder)
    settle_licences(folder, [(sheet, chosen)], accepted=accepted)
    fetched = fetch(
        sheet,
        show.site,
        chosen,
        {},
        secret=secret_of(folder),
        now=now,
        jitter=random.random(),  # noqa: S311 - spreads requests, hides nothing
    )
    if fetched.body is None:
        more = (f"It began: {fetched.excerpt}",) if fetched.excerpt else ()
        return _Tried(None, (fetched.says, *more, *fetched.warnings))
    try:
        weather = decode(
            fetched.body,
            sheet,
            fetched_at=fetched.at,
            wind_basis=chosen.wind_basis,
            wind_height_m=chosen.wind_height_m,
            headers=fetched.headers,
            issued_at=fetched.issued,
            **_place(show),
        )
    except Rejected as fault:
        return _Tried(
            None, (f"The answer was not used: {fault.detail} ({fault.reason}).", *fetched.warnings)
        )
    return _Tried(weather, fetched.warnings)


def _place(show: Show | None) -> _Place:
    """What the answer's own place is held against."""
    if show is None:
        return {}
    site = show.site
    return {
        "latitude": site.latitude,
        "longitude": site.longitude,
        "elevation_m": site.elevation_m,
    }
