"""`dryspell raining`: the crew sees rain, or sees that it has stopped.

Written to the show's database while the service runs; it takes it up at its next look.
"""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING

import click

from monitor.cli.surroundings import (
    DATABASE,
    environ,
    moment_of,
    now,
    read,
    show_option,
    site_time,
)
from monitor.cli.writing import tell
from monitor.feeds.crew_rain import HOLDS_S, LIGHT_RAIN_MM_H
from monitor.service.raining import keep_raining
from monitor.store.database import open_database
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from monitor.domain import Show

_SPELT = {"time": "--at", "by": "--by"}


@click.command()
@click.option("--stopped", is_flag=True, help="It has stopped.")
@click.option("--at", metavar="TIME", help="Since when; site time, or with offset. Without: now.")
@click.option("--by", metavar="NAME", help="Who says so. Without it: the name of this account.")
@show_option
def raining(stopped: bool, at: str | None, by: str | None, folder: Path) -> int:
    """Say that it is raining here, whatever the forecasts have; --stopped, that it is over.

    For half an hour, or until --stopped, it counts as light rain at least where no gauge
    measures. If it rains on, say so again. TIME is like 2027-07-16T21:10.
    """
    show = read(folder).show
    at_now = now()
    since = moment_of(at, "--at", show) or at_now
    account = environ().get("LOGNAME") or environ().get("USER")
    with closing(open_database(folder / DATABASE)) as db:
        is_new = keep_raining(
            db,
            raining=not stopped,
            at=since,
            by=by or account,
            now=at_now,
            spelt=lambda name: _SPELT.get(name, name),
        )
    what = "it has stopped raining" if stopped else "it is raining here"
    known = "" if is_new else " It was noted before."
    tell([f"Noted: {what}, {site_time(since, show)} site time.{known}"])
    if not stopped:
        tell([_follows(since, at_now, show)])
    return 0


def _follows(since: datetime, at_now: datetime, show: Show) -> str:
    end = to_moment(to_epoch(since) + HOLDS_S)
    if end <= at_now:
        return f"It counts until {site_time(end, show)}. If it rains now, say so again."
    return (
        f"Until {site_time(end, show)} it counts as at least {LIGHT_RAIN_MM_H:g} mm/h where no "
        "gauge measures. When it stops before: dryspell raining --stopped. If it rains on after "
        "that, say so again."
    )
