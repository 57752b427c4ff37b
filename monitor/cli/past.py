"""`dryspell rehearse --years`: the same dates in past years, from records or an archive."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from monitor import past_years
from monitor.cli.exit_codes import ATTENTION, DONE
from monitor.cli.licence import settle_licences
from monitor.cli.surroundings import bytes_of, now, secret_of
from monitor.cli.writing import STDOUT, progress, tell, write_json
from monitor.codes import CodeError, read_code
from monitor.domain import BadInputError, Feed, Problem
from monitor.feeds.archive import FOLDER, Archive
from monitor.feeds.record import read_record
from monitor.feeds.record_folder import joined
from monitor.feeds.sheet import find_sheet
from monitor.past_years import COMMON_CODES, YearWeather

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.domain import Code, LogEntry, Show, Weather, WindBasis
    from monitor.feeds.sheet_parts import Sheet

ARCHIVE = "open-meteo-archive"
"""Asked where the show has no archive feed of its own."""


@dataclass(frozen=True, slots=True)
class AskedYears:
    """What the command was asked for."""

    folder: Path
    show: Show
    log: tuple[LogEntry, ...]
    years: int
    codes: tuple[str, ...]
    weather: Path | None
    wind: tuple[WindBasis, float]
    accepted: bool


@dataclass(frozen=True, slots=True)
class _Found:
    """The weather of each year, what to tell of it, and whether an answer failed."""

    years: tuple[YearWeather, ...]
    says: tuple[str, ...] = ()
    failed: bool = False


def rehearse_years(asked: AskedYears, json_file: str | None, report_folder: Path | None) -> int:
    """Go through the years; exit code 1 where a year could not be asked for."""
    codes = _codes(asked.codes)
    weather = _from_archive(asked) if asked.weather is None else _from_records(asked, asked.weather)
    with progress("Rehearsing past years") as shown:
        found = past_years.go_through(
            asked.show, asked.log, weather.years, codes=codes, progress=shown
        )
    if report_folder is not None:
        past_years.write_files(report_folder, found)
    write_json(past_years.as_json(found), json_file)
    if json_file != STDOUT:
        tell([*past_years.lines(found), *weather.says])
    if report_folder is not None:
        says = f"The report is in {report_folder}: open past-years.html."
        tell(["", says], json_file)
    return ATTENTION if weather.failed or not found.counted else DONE


def _codes(asked: tuple[str, ...]) -> tuple[Code, ...]:
    read, problems = [], []
    for text in asked or COMMON_CODES:
        try:
            read.append(read_code(text))
        except CodeError as fault:
            problems.append(
                Problem(
                    "bad-code",
                    f"{text[:40]!r} cannot be read as a code: {fault}",
                    "Write it like IP54.",
                    key="--instead",
                )
            )
    if problems:
        raise BadInputError(problems)
    return tuple({code.canonical: code for code in read}.values())


# ---------------------------------------------------------------- records


def _from_records(asked: AskedYears, path: Path) -> _Found:
    record = _record(asked, path)
    chosen = past_years.latest_with_weather(asked.show, now(), asked.years, record)
    says: tuple[str, ...] = ()
    if len(chosen) < asked.years:
        reach = f"The records reach back to {chosen[-1].year} only"
        says = ("", f"{reach}: {len(chosen)} of the {asked.years} years asked for.")
    return _Found(tuple(YearWeather(span, record) for span in chosen), says)


def _record(asked: AskedYears, path: Path) -> Weather:
    basis, height_m = asked.wind
    files = sorted(path.glob("*.csv")) if path.is_dir() else [path]
    if not files:
        raise BadInputError(
            [
                Problem(
                    "missing-file",
                    "There is no weather record in this folder.",
                    "Give a folder of CSV files, or one file.",
                    file=str(path),
                    key="--weather",
                )
            ]
        )
    records: dict[str, Weather] = {}
    problems: list[Problem] = []
    for file in files:
        try:
            records[file.name] = read_record(
                bytes_of(file, "a weather record, a CSV file"),
                file.name,
                wind_basis=basis,
                wind_height_m=height_m,
            )
        except BadInputError as fault:
            problems += fault.problems
    if problems:
        raise BadInputError(problems)
    whole = joined(records)
    return replace(whole, source=path.name if len(records) > 1 else whole.source)


# ---------------------------------------------------------------- archive


def _from_archive(asked: AskedYears) -> _Found:
    sheet, feed = _archive_feed(asked)
    chosen = past_years.spans(asked.show, now(), asked.years)
    settle_licences(asked.folder, [(sheet, feed)], accepted=asked.accepted)
    archive = Archive(sheet, asked.show.site, feed, asked.folder, secret_of(asked.folder), now)
    years: list[YearWeather] = []
    failed = ""
    kept = False
    with progress("Asking the archive") as shown:
        for n, span in enumerate(chosen):
            # After one failure only what was kept is looked for: no service is hammered.
            got = archive.recall(span.start, span.end, ask=not failed)
            if got.weather is None and not failed:
                failed = got.says
            kept |= got.kept_in is not None
            says = "" if got.kept_in is not None else got.says
            years.append(YearWeather(span, got.weather, says))
            shown(n + 1, len(chosen))
    says_all = [""] if kept or failed else []
    if kept:
        says_all.append(f"The archive's answers are kept in {asked.folder / FOLDER}.")
    if failed:
        says_all.append(f"The archive was not asked further: {failed}")
    return _Found(tuple(years), tuple(says_all), bool(failed))


def _archive_feed(asked: AskedYears) -> tuple[Sheet, Feed]:
    """The show's own archive feed, else the built-in one."""
    for feed in asked.show.archives:
        return find_sheet(feed.sheet, asked.folder), feed
    return find_sheet(ARCHIVE, asked.folder), Feed(ARCHIVE)
