"""Files of a show folder replaced together: all are written before the first takes its place."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from monitor.domain import UnableError


def put_down(folder: Path, before: Mapping[str, bytes], after: Mapping[str, bytes]) -> None:
    """Replace the files of `folder` by those of `after`, in its order, or leave all as they are.

    Refused where a file is no longer what it was `before`: somebody has changed it meanwhile.
    """
    waiting: list[tuple[Path, Path]] = []
    done: list[Path] = []
    try:
        for name, data in after.items():
            path = folder / name
            if path.read_bytes() != before[name]:
                raise UnableError(
                    f"{name} was changed while it was read.", "Nothing is written; ask again."
                )
            waiting.append((_beside(path, data), path))
        for written, path in waiting:
            written.replace(path)
            done.append(path)
    except OSError as fault:
        for path in done:
            # Back to what it was; a disk that takes nothing at all leaves the newer file, whole.
            with contextlib.suppress(OSError):
                _beside(path, before[path.name]).replace(path)
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"{folder} cannot be written to: {why}.", "Nothing is written; see that it may be."
        ) from None
    finally:
        for written, _ in waiting:
            written.unlink(missing_ok=True)


def _beside(path: Path, data: bytes) -> Path:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    written = Path(name)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        written.chmod(path.stat().st_mode & 0o777)
    except BaseException:
        written.unlink(missing_ok=True)
        raise
    return written
