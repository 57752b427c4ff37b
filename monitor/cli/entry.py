"""The command itself: its list of commands, and how every one of them ends.

The modules of the commands are loaded when one is called, so that the list comes at once.
"""

from __future__ import annotations

import difflib
import importlib
import os
import sys
from typing import Any

import click

from monitor import __version__
from monitor.cli.exit_codes import INTERRUPTED, UNABLE

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("playing:demo", "Play an invented festival, from first drizzle to report."),
    "new": ("starting:new", "Write a starter show."),
    "import": ("importing:import_rig", "Take a rig over from a drawing or a list."),
    "check": ("checking:check", "Read everything; say how each code is understood."),
    "rehearse": ("rehearsing:rehearse", "Rehearse a show with a weather record."),
    "ahead": ("forecast:ahead", "Fetch the weather now; say what must be done, by when."),
    "run": ("forecast:run", "Watch the weather and tell the crew, until stopped."),
    "log": ("logged:log", "Record what the crew did; list, correct or withdraw it."),
    "answer": ("crew:answer", "Answer an alert."),
    "declare": ("declaring:declare", "Declare work at height, or power, open again."),
    "inspect": ("inspecting:inspect", "List what to look at after rain, in order."),
    "handover": ("briefing:handover", "Write the sheet one shift hands to the next."),
    "daily": ("briefing:daily", "Write the sheet for the morning briefing."),
    "raining": ("raining:raining", "Say that it is raining here, or has stopped."),
    "token": ("tokens:token", "Make, list and withdraw tokens: who may post from outside."),
    "link": ("links:link", "Make, list and withdraw links: who may use the duty page."),
    "report": ("after:report", "Write what every fixture took: HTML, JSON and CSV."),
    "learn": ("learning:learn", "Say what inspections teach of how much gear really stands."),
    "results": ("inspecting:results", "Say what the inspections found, by type and code."),
    "feed": ("feeds:feed", "Try a feed sheet; show the weather as it is understood."),
    "send-test": ("contacts:send_test", "Send one test message through every contact."),
}
"""Name -> (module:command, what it does), in the order in which a show needs them."""


class Commands(click.Group):
    """Commands by name; none ends in a traceback."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """All of them, in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load the command of that name."""
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name][0].partition(":")
        command: click.Command = getattr(importlib.import_module(f"monitor.cli.{module}"), name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, with the nearest name for a mistyped one."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            known = f"Known are: {', '.join(COMMANDS)}."
            ctx.fail(
                f"There is no command {args[0]!r}. "
                + (f"Perhaps {near[0]} is meant." if near else known)
            )
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """The list, from the table: nothing is loaded for it."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, says) for name, (_, says) in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command and end with the exit code that stands for its outcome."""
        try:
            code = super().invoke(ctx)
            sys.stdout.flush()
        except (click.ClickException, click.exceptions.Exit, BrokenPipeError):
            raise
        except (KeyboardInterrupt, click.Abort):
            click.echo("Stopped.", err=True)
            ctx.exit(INTERRUPTED)
        except Exception as fault:  # noqa: BLE001 - nobody on site reads a traceback
            ctx.exit(_told(fault))
        ctx.exit(code or 0)


def _told(fault: Exception) -> int:
    module = importlib.import_module("monitor.cli.faults")
    code: int = module.tell_fault(fault)
    return code


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="dryspell")
def dryspell() -> None:
    """Watch the weather for lighting fixtures outdoors.

    Describe a show in two files, then be told what to cover or bring in and by when, and read
    afterwards how much water each fixture took.

    Exit codes: 0 done; 1 done, something needs attention; 2 bad input; 3 could not do it.
    """


def main() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that knows few characters shows a stand-in rather than stopping a message.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        dryspell.main(prog_name="dryspell", windows_expand_args=False)
    except BrokenPipeError:
        # Whoever read our output has read enough; nothing more is to be flushed to them.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(UNABLE)
