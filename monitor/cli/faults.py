"""What went wrong, on standard error: where, what, and what would be right; the exit code."""

from __future__ import annotations

import shutil
import sys
import textwrap
import traceback
from typing import TYPE_CHECKING

import click

from monitor.cli.exit_codes import BAD_INPUT, UNABLE
from monitor.domain import BadInputError, DryspellError, UnableError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.domain import Problem


def tell_problems(problems: Iterable[Problem]) -> None:
    """Each problem as `file:line: what is wrong. What would be right.`"""
    for problem in problems:
        _line(problem_line(problem))


def problem_line(problem: Problem) -> str:
    """One problem on one line."""
    place = problem.file or problem.key or ""
    if problem.line is not None:
        place += f":{problem.line}"
    elif problem.file == "environment" and problem.key is not None:
        place = problem.key
    return f"{place}: {problem.says} {problem.remedy}" if place else _both(problem)


def tell_fault(fault: Exception) -> int:
    """Say a fault on standard error and give the exit code it stands for."""
    match fault:
        case BadInputError():
            tell_problems(fault.problems)
            return BAD_INPUT
        case UnableError():
            _line(f"{fault.says} {fault.remedy}")
        case DryspellError():
            _line(str(fault))
            return BAD_INPUT
        case OSError():
            about = f"{fault.filename}: " if fault.filename else ""
            _line(f"{about}{fault.strerror or type(fault).__name__}.")
        case MemoryError():
            _line("The memory of this machine does not suffice. Close other programs.")
        case _:
            _line(_of_ours(fault))
    return UNABLE


def _of_ours(fault: Exception) -> str:
    """A fault of the program itself: enough to find it, on one line."""
    frames = traceback.extract_tb(fault.__traceback__)
    inside = [f for f in frames if "monitor" in f.filename.replace("\\", "/").split("/")]
    where = ""
    if inside:
        name = inside[-1].filename.replace("\\", "/").rsplit("monitor/", 1)[-1]
        where = f" at monitor/{name}:{inside[-1].lineno}"
    said = " ".join(str(fault).split())[:200]
    return (
        f"The program itself is at fault: {type(fault).__name__}{f', {said}' if said else ''}"
        f"{where}. Please report this line with what was asked for."
    )


def _both(problem: Problem) -> str:
    return f"{problem.says} {problem.remedy}"


def _line(text: str) -> None:
    """One line; on a terminal wrapped to its width with what follows set in."""
    if sys.stderr.isatty():
        width = max(40, shutil.get_terminal_size().columns)
        text = textwrap.fill(
            text, width, subsequent_indent="    ", break_on_hyphens=False, break_long_words=False
        )
    click.echo(text, err=True)
