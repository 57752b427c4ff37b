"""The files of a report, all of them or none."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from pathlib import Path
from tempfile import mkstemp

from monitor.domain import UnableError
from monitor.report import csv_files
from monitor.report.findings import lines
from monitor.report.jobs import jobs
from monitor.report.material import Material
from monitor.report.page import page
from monitor.report.places import places
from monitor.report.site_times import SiteTimes

_READABLE = 0o666


def write_report(out: Path, material: Material) -> tuple[Path, ...]:
    """Write report.html and its CSV files into a folder, over those of an earlier report.

    Every file is made whole beside its place before the first is put there, so a full disk
    leaves an earlier report as it was. Raises UnableError where the folder cannot be written.
    """
    times = SiteTimes(material.show.site.timezone, material.begins_at)
    found = lines(material)
    files = {
        "report.html": page(material).encode("utf-8", "replace"),
        "fixtures.csv": csv_files.fixtures_csv(material, found, times),
        "positions.csv": csv_files.positions_csv(places(material, found), times),
        "alerts.csv": csv_files.alerts_csv(jobs(material), times),
        "weather.csv": csv_files.weather_csv(material, times),
        "scores.csv": csv_files.scores_csv(material, times),
    }
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
