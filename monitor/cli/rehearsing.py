"""`dryspell rehearse`: the whole service over a weather record, with a simulated clock."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from monitor import rehearsal
from monitor.cli.surroundings import bytes_of, json_option, read, refuse_show_folder, show_option
from monitor.cli.writing import STDOUT, progress, tell, write_json
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
    required=True,
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="The weather record to rehearse with. It also stands for the forecast.",
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
    default="absent",
    show_default=True,
    type=click.Choice(["absent", "follows"]),
    help="absent: nobody acts; follows: each start is acted on, in its minutes.",
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
def rehearse(
    weather_file: Path,
    wind_height_m: float,
    wind_basis: WindBasis,
    crew: Literal["absent", "follows"],
    folder: Path,
    json_file: str | None,
    report_folder: Path | None,
) -> int:
    """Rehearse the show with a weather record, its log.csv if there is one, and no network.

    The record itself is the forecast: what is told comes out as well as a perfect forecast
    would have it.
    """
    show = read(folder).show
    if report_folder is not None:
        refuse_show_folder(report_folder, "--report")
    weather = read_record(
        bytes_of(weather_file, "the weather record, a CSV file"),
        weather_file.name,
        wind_basis=wind_basis,
        wind_height_m=wind_height_m,
    )
    log = _log_of(folder, show)
    with progress("Rehearsing") as shown:
        found = rehearsal.rehearse(show, weather, log, crew=crew, progress=shown)
    if report_folder is not None:
        write_report(report_folder, rehearsal.material(found))
    write_json(rehearsal.as_json(found), json_file)
    if json_file != STDOUT:
        tell(story(found))
    if report_folder is not None:
        tell(["", f"The report is in {report_folder}: open report.html."], json_file)
    return 0


def _log_of(folder: Path, show: Show) -> tuple[LogEntry, ...]:
    path = folder / "log.csv"
    return read_log(path, show) if path.exists() else ()
