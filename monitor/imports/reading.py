"""A rig file or a list, by what its name ends in."""

from __future__ import annotations

from pathlib import Path

from monitor.domain import UnableError
from monitor.imports.answers import Answers
from monitor.imports.archive import refused
from monitor.imports.drawn import Rig

LIBRARIES = {".mvr": ("pymvr", "pygdtf"), ".xlsx": ("openpyxl",), ".xlsm": ("openpyxl",)}
"""What each kind of file is read with; a CSV needs nothing."""
KINDS = (*LIBRARIES, ".csv")


def read_rig(
    file: Path, answers: Answers, *, zero_at_m: float = 0.0, sheet: str | None = None
) -> Rig:
    """What the file says of the rig; BadInputError with every problem where it may not be read.

    Parameters
    ----------
    answers : what people said where the file is silent
    zero_at_m : height of a drawing's zero above the ground [m]
    sheet : which sheet of a workbook
    """
    kind = file.suffix.lower()
    if kind not in KINDS:
        raise refused(
            "unknown-kind",
            f"{file.name} is none of the kinds that are read: {', '.join(KINDS)}.",
            "Export the drawing as MVR, or save the list as .xlsx or CSV.",
            str(file),
        )
    if kind == ".mvr":
        # The libraries are an extra, and slow to load.
        from monitor.imports.rig_file import read_rig_file  # noqa: PLC0415

        return read_rig_file(file, answers, zero_at_m)
    if kind in LIBRARIES:
        from monitor.imports.workbook_list import read_workbook_list  # noqa: PLC0415

        return read_workbook_list(file, answers, sheet)
    from monitor.imports.csv_list import read_csv_list  # noqa: PLC0415

    try:
        data = file.read_bytes()
    except FileNotFoundError:
        raise refused(
            "missing-file", "There is no such file.", "Look at its name.", str(file)
        ) from None
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(f"{file} cannot be read: {why}.", "See that it may be read.") from None
    return read_csv_list(file.name, data, answers)
