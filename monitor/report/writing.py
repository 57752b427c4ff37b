"""The files of a report, all of them or none."""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Mapping
from pathlib import Path
from tempfile import mkstemp

from monitor.domain import UnableError
from monitor.report.csv_files import tables
from monitor.report.found import found_in
from monitor.report.material import Material
from monitor.report.page import page_of
from monitor.report.record_schema import SCHEMA, schema
from monitor.report.recorded import record
from monitor.report.seal import seal

_READABLE = 0o666


def write_report(out: Path, material: Material) -> tuple[Path, ...]:
    """Write a report into a folder, over the files of an earlier one.

    report.html to read and print, report.json with every figure and its schema beside it, a
    table for each kind of row, and the SHA-256 of each in a file that `sha256sum -c` reads.
    Every file is made whole beside its place before the first is put there, so a full disk
    leaves an earlier report as it was. Raises UnableError where the folder cannot be written.
    """
    found = found_in(material)
    made, content = seal(record(found))
    files = {
        "report.html": page_of(found, made).encode("utf-8", "replace"),
        "report.json": content,
        SCHEMA: schema(),
        **tables(made),
    }
    files["sha256sums.txt"] = "".join(
        f"{hashlib.sha256(content).hexdigest()}  {name}\n" for name, content in files.items()
    ).encode()
    try:
        out.mkdir(parents=True, exist_ok=True)
        return put_files(out, files)
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"The report cannot be written to {out}: {why}.",
            "Give a folder that may be written to, on a disk with room.",
        ) from None


def put_files(out: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Make every file whole beside its place, then put all there."""
    made: dict[str, Path] = {}
    try:
        for name, content in files.items():
            if (out / name).is_dir():
                raise IsADirectoryError(0, f"{name} is a folder")
            handle, beside = mkstemp(prefix=f".{name}.", dir=out)
            made[name] = Path(beside)
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            made[name].chmod(_READABLE & ~_umask())
        return tuple(made.pop(name).replace(out / name) for name in files)
    finally:
        for beside_path in made.values():
            with contextlib.suppress(OSError):
                beside_path.unlink()


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
