"""`dryspell send-test`: one message through every contact, to see that each is reached."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

import click

from monitor.alerts.delivery import attempt, recipients
from monitor.alerts.watch import NOBODY_TOLD, tells_nobody, trial
from monitor.cli.exit_codes import ATTENTION, DONE
from monitor.cli.surroundings import now, read, secret_of, show_option

if TYPE_CHECKING:
    from pathlib import Path


@click.command("send-test")
@show_option
def send_test(folder: Path) -> int:
    """Send one test message through every contact and say what came of each.

    Exit code 1: at least one was not reached.
    """
    show = read(folder).show
    message = trial(show, at=now())
    refused = 0
    for contact in show.contacts:
        for recipient in recipients(contact):
            to = contact.name if recipient == contact.name else f"{contact.name}, {recipient}"
            click.echo(f"{to} ({contact.kind}): ", nl=False)
            outcome = attempt(
                message,
                contact,
                recipient,
                uuid.uuid4().hex,
                secret=secret_of(folder),
                now=now(),
            )
            refused += not outcome.sent
            said = "sent" if outcome.sent else "NOT SENT"
            click.echo(f"{said}: {outcome.detail}" if outcome.detail else said)
    if tells_nobody(show.contacts):
        click.echo(NOBODY_TOLD)
    if refused:
        click.echo(f"{refused} not reached: mend [[contacts]] in show.toml.", err=True)
    return ATTENTION if refused else DONE
