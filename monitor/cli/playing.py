"""`dryspell demo`: the bundled festival, end to end."""

from __future__ import annotations

from pathlib import Path

import click

from monitor.cli.surroundings import environ
from monitor.cli.writing import progress
from monitor.demo import run_demo

_FOLDER = Path("dryspell-demo")


@click.command()
def demo() -> int:
    """Play an invented festival from first drizzle to report, without a network.

    Leaves its messages, report and database in ./dryspell-demo.
    """
    with progress("Playing the festival") as shown:
        return run_demo(_FOLDER, environ(), click.echo, shown)
