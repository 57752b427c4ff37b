"""`dryspell check`: read everything, say how it is understood and whether it suits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor import check as checks
from monitor.cli.exit_codes import ATTENTION, BAD_INPUT, DONE
from monitor.cli.faults import problem_line, tell_problems
from monitor.cli.surroundings import json_option, read, show_option
from monitor.cli.writing import tell, write_json
from monitor.domain import BadInputError

if TYPE_CHECKING:
    from pathlib import Path


@click.command()
@show_option
@json_option
def check(folder: Path, json_file: str | None) -> int:
    """Read the show; say how each code is understood and whether it suits its position.

    Every mistake is listed with its file and line. Exit code 0: all is well; 1: a code does not
    suit where it is, covers run short, or something is hardly meant as it stands; 2: the show
    cannot be used as it is.
    """
    try:
        found = read(folder)
    except BadInputError as fault:
        tell_problems(fault.problems)
        write_json(checks.refused_json(fault.problems), json_file)
        return BAD_INPUT
    checked = checks.check(found.show)
    warned = checks.warnings(found.show, found.files, found.notes)
    told = (*found.notes, *warned)
    write_json(checks.as_json(checked, found.show, told), json_file)
    lines = checks.story(checked, found.show)
    if told:
        lines = [*(checks.wrapped_note(problem_line(note)) for note in told), "", *lines]
    tell(lines, json_file)
    amiss = warned or checks.needs_attention(found.notes) or any(one.unsuited for one in checked)
    return ATTENTION if amiss else DONE
