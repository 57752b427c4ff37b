"""`dryspell link`: the ways in to the duty page, one for each role or crew."""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

import click

from monitor.alerts.by_email import is_loopback
from monitor.cli.show_database import has_database, opened
from monitor.cli.surroundings import environ, now, read, show_option
from monitor.cli.writing import tell
from monitor.store.devices import IN, Role, devices, links, make_link, withdraw_link
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.domain import Page

_MAY = {
    "crew": "logs, answers and declares",
    "chief": "logs, answers and declares, makes and withdraws links, and describes the rig",
    "guest": "only looks",
}
_EVERYWHERE = ("0.0.0.0", "::")  # noqa: S104 - looked for, not bound


@click.group()
def link() -> None:
    """Make, list and withdraw links: who may use the duty page.

    Whoever opens a link and says who they are is in with that device until the link is
    withdrawn. Give each crew its own, so that one can be withdrawn without the others.
    """


@link.command()
@click.argument("role", metavar="ROLE", type=click.Choice(get_args(Role)))
@click.option("--name", metavar="NAME", required=True, help='Whose link it is: "Night crew".')
@show_option
def make(role: Role, name: str, folder: Path) -> int:
    """Make a link for ROLE (crew, chief or guest) and print its address, this once.

    A guest only looks; crew and chief log, answer and declare as well, and a chief makes and
    withdraws links on the page. The address alone is printed on standard output. A name is
    never used twice.
    """
    page = read(folder).show.page
    account = environ().get("LOGNAME") or environ().get("USER")
    with opened(folder) as db:
        secret = make_link(db, role, name, now(), account)
    click.echo(f"{_address(page)}{IN}{secret}")
    said = f'This is the link of "{name}": whoever opens it {_MAY[role]}.'
    click.echo(f"{said} Only its digest is kept here, so it cannot be shown again.", err=True)
    for line in _cautions(page):
        click.echo(line, err=True)
    return 0


@link.command(name="list")
@show_option
def list_(folder: Path) -> int:
    """List the links and the devices that are in by each; never the address itself."""
    if not has_database(folder):
        tell(["No link has been made."])
        return 0
    with opened(folder) as db:
        made, inside = links(db), devices(db)
    if not made:
        tell(["No link has been made."])
        return 0
    width = max(len(one.name) for one in made)
    for one in made:
        ended = one.withdrawn_at
        said = [
            one.role,
            f"made {iso_utc(one.made_at)}",
            *([] if ended is None else [f"withdrawn {iso_utc(ended)}"]),
        ]
        tell([f"{one.name:{width}}  {', '.join(said)}"])
        for device in (d for d in inside if d.link == one.name):
            spoke = device.last_said_at
            last = "said nothing yet" if spoke is None else f"last said something {iso_utc(spoke)}"
            tell([f"{'':{width}}    {device.name}: in since {iso_utc(device.came_at)}, {last}"])
    return 0


@link.command()
@click.argument("name", metavar="NAME")
@show_option
def withdraw(name: str, folder: Path) -> int:
    """Withdraw the link of NAME; every device that came by it is out from this moment."""
    account = environ().get("LOGNAME") or environ().get("USER")
    with opened(folder) as db:
        ended = withdraw_link(db, name, now(), account)
    if ended is None:
        tell([f'The link of "{name}" was withdrawn before.'])
        return 0
    out = f" Out from now on: {', '.join(ended)}." if ended else " No device was in by it."
    tell([f'The link of "{name}" is withdrawn.{out}'])
    return 0


def _address(page: Page) -> str:
    """Where the page is reached: as the show says, else where it listens."""
    if page.public_url is not None:
        return page.public_url.rstrip("/")
    return f"http://{page.listen}"


def _cautions(page: Page) -> Iterator[str]:
    """What is to be known about such an address before it is given away."""
    if page.public_url is None:
        host = page.listen.rpartition(":")[0].strip("[]")
        if is_loopback(host):
            yield (
                "It opens on this machine alone. For phones set listen to an address of the"
                " site's network, or public_url, under [page] of show.toml."
            )
            return
        if host in _EVERYWHERE:
            yield (
                f"{page.listen} is no address to be opened: put this machine's own number in its"
                " place, or set public_url under [page] of show.toml."
            )
    if not _address(page).startswith("https:"):
        yield (
            "It crosses the network in clear: only for a network of the site's own. Else put a"
            " server that speaks https before it, and set public_url under [page]."
        )
