"""`dryspell new`: a starter show to be changed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.cli.writing import tell
from monitor.show import STARTERS, write_starter

if TYPE_CHECKING:
    from monitor.show import Starter


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--from",
    "kind",
    type=click.Choice(STARTERS),
    default="stage",
    show_default=True,
    help="What the show is like.",
)
def new(folder: Path, kind: Starter) -> int:
    """Write a starter show into DIR: two files with ready positions, to be changed."""
    written = write_starter(kind, folder)
    tell(f"Wrote {path}" for path in written)
    tell(
        [
            "",
            "Change them to what is really there, then ask how they are understood:",
            f"  dryspell check --show {folder}",
        ]
    )
    return 0
