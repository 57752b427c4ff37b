"""`dryspell rehearse`: the whole service over a weather record, with a simulated clock."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from monitor import rehearsal
from monitor.cli.past import AskedYears, rehearse_years
from monitor.cli.surroundings import bytes_of, json_option, read, refuse_show_folder, show_option
from monitor.cli.writing import STDOUT, progress, tell, write_json
from monitor.domain import BadInputError, Problem
from monitor.feeds.record import read_record
from monitor.report import write_report
from monitor.show import read_log
from monitor.story import story

if TYPE_CHECKING:
    from monitor.domain import LogEntry, Show, WindBasis


@click.command()
@click.option(
    "--weather",
    "weather_file",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="The weather record to rehearse with. It also stands for the forecast. With --years "
    "also a folder of records.",
)
@click.option(
    "--years",
    metavar="N",
    type=click.IntRange(1, 100),
    help="The same dates in the past N years, out of the records, or of the archive feed.",
)
@click.option(
    "--instead",
    "codes",
    metavar="CODE",
    multiple=True,
    help="With --years: in how many this code would have needed covering. Without it the "
    "common ones.",
)
@click.option(
    "--wind-height-m",
    default=10.0,
    show_default=True,
    type=click.FloatRange(1, 200),
    help="Height above ground at which the record's wind was measured.",
)
@click.option(
    "--wind-basis",
    default="open",
    show_default=True,
    type=click.Choice(["open", "local"]),
    help="open: an airfield's wind; local: measured on the site itself.",
)
@click.option(
    "--crew",
    type=click.Choice(["absent", "follows"]),
    help="absent (as it is without this): nobody acts; follows: each start is acted on, in its "
    "minutes. With --years both are gone through.",
)
@show_option
@json_option
@click.option(
    "--report",
    "report_folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Also write the report (HTML and CSV) there.",
)
@click.option(
    "--accept-licence",
    "accepted",
    is_flag=True,
    help="With --years: confirm the terms of the archive; remembered for this show.",
)
def rehearse(
    weather_file: Path | None,
    years: int | None,
    codes: tuple[str, ...],
    wind_height_m: float,
    wind_basis: WindBasis,
    crew: Literal["absent", "follows"] | None,
    folder: Path,
    json_file: str | None,
    report_folder: Path | None,
    accepted: bool,
) -> int:
    """Rehearse the show with a weather record, its log.csv if there is one, and no network.

    The record itself is the forecast: what is told comes out as well as a perfect forecast
    would have it. With --years: on how many of the same dates in past years each fixture would
    have needed covering, and what the crew would have had to do.
    """
    _refuse_what_does_not_fit(weather_file, years, codes, crew, accepted=accepted)
    show = read(folder).show
    if report_folder is not None:
        refuse_show_folder(report_folder, "--report")
    log = _log_of(folder, show)
    if years is not None:
        wind = (wind_basis, wind_height_m)
        asked = AskedYears(folder, show, log, years, codes, weather_file, wind, accepted)
        return rehearse_years(asked, json_file, report_folder)
    assert weather_file is not None
    weather = read_record(
        bytes_of(weather_file, "the weather record, a CSV file"),
        weather_file.name,
        wind_basis=wind_basis,
        wind_height_m=wind_height_m,
    )
    with progress("Rehearsing") as shown:
        found = rehearsal.rehearse(show, weather, log, crew=crew or "absent", progress=shown)
    if report_folder is not None:
        write_report(report_folder, rehearsal.material(found))
    write_json(rehearsal.as_json(found), json_file)
    if json_file != STDOUT:
        tell(story(found))
    if report_folder is not None:
        tell(["", f"The report is in {report_folder}: open report.html."], json_file)
    return 0


def _refuse_what_does_not_fit(
    weather_file: Path | None,
    years: int | None,
    codes: tuple[str, ...],
    crew: str | None,
    *,
    accepted: bool,
) -> None:
    """Options that say nothing, or too little, beside each other."""
    problems = []
    if years is None and weather_file is None:
        problems.append(
            Problem(
                "missing-option",
                "There is no weather to rehearse with.",
                "Give --weather FILE.csv, or --years N for the same dates in past years.",
                key="--weather",
            )
        )
    only_with_years = {"--instead": bool(codes), "--accept-licence": accepted}
    problems += [
        Problem(
            "option-needs-another",
            f"{option} is about past years.",
            "Add --years N, or leave it out.",
            key=option,
        )
        for option, given in only_with_years.items()
        if given and years is None
    ]
    if years is not None and crew is not None:
        problems.append(
            Problem(
                "option-without-use",
                "With --years both are gone through: nobody acting, and the crew following.",
                "Leave --crew out.",
                key="--crew",
            )
        )
    if problems:
        raise BadInputError(problems)


def _log_of(folder: Path, show: Show) -> tuple[LogEntry, ...]:
    path = folder / "log.csv"
    return read_log(path, show) if path.exists() else ()
