"""What a command writes: lines, JSON files whole or not at all, a line of progress."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.domain import UnableError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

STDOUT = "-"
_QUIET_S = 2.0
"""What takes no longer than this shows no progress [s]."""
_BETWEEN_S = 0.2


def tell(lines: Iterable[str], json_file: str | None = None) -> None:
    """Lines for the reader, on standard output; silent where JSON is asked for there."""
    if json_file != STDOUT:
        for line in lines:
            click.echo(line)


def write_json(data: Mapping[str, Any], json_file: str | None) -> None:
    """Write `data` to a file, which is replaced whole or left as it was; `-` is standard output."""
    if json_file is None:
        return
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, indent=2) + "\n"
    if json_file == STDOUT:
        click.echo(text, nl=False)
        return
    write_file(text.encode("utf-8"), json_file)


def write_file(data: bytes, name: str) -> None:
    """Write a file the user named; it is replaced whole or left as it was."""
    try:
        _replace(Path(name), data)
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"{name} cannot be written: {why}.",
            "Give a file in a folder that is there and may be written to.",
        ) from None


def _replace(path: Path, data: bytes) -> None:
    if path.exists() and not path.is_file():
        # A pipe or a device is written to as it stands; a folder says so itself.
        with path.open("wb") as out:
            out.write(data)
        return
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        Path(name).chmod(mode)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


@contextlib.contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """A line on the terminal that says how far something is, once it takes over 2 s.

    Gives a callable (done, of how many). Nothing is shown where standard error is no terminal.
    """
    shown = False
    started = last = time.monotonic()

    def show(done: int, total: int) -> None:
        nonlocal shown, last
        at = time.monotonic()
        if not sys.stderr.isatty() or at - started < _QUIET_S or at - last < _BETWEEN_S:
            return
        shown, last = True, at
        share = f"{100 * done // total:3d} %" if total else str(done)
        click.echo(f"\r{what}: {share}", nl=False, err=True)

    try:
        yield show
    finally:
        if shown:
            click.echo(f"\r{' ' * (len(what) + 8)}\r", nl=False, err=True)
