"""Strings of a feed sheet with named blanks, such as `{lat:.4f}`.

Only the listed names can be filled in, with a number of decimals at most. Attribute and
index access, the way from a format string to the program's insides, is refused.
"""

from __future__ import annotations

import re
from string import Formatter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from datetime import date

NUMBERS = ("lat", "lon", "elev")
DATES = ("from_date", "to_date")
BLANKS = (*NUMBERS, "app", "version", "contact", *DATES)
_SPEC = re.compile(r"(\.\d{1,2}f)?")


def template_fault(template: str, resolved: Collection[str] = ()) -> str | None:
    """Why `template` cannot be used, in a sentence; None where it can.

    `resolved`: blanks that an earlier request fills in.
    """
    try:
        parts = list(Formatter().parse(template))
    except ValueError as fault:
        return f"The braces do not close: {fault}."
    for _, name, spec, conversion in parts:
        if name is None:
            continue
        if "." in name or "[" in name:
            return f"{{{name}}} reaches inside a value; only plain names are filled in."
        if name not in BLANKS and name not in resolved:
            return f"{{{name}}} is no blank; there are {', '.join((*BLANKS, *resolved))}."
        if conversion or not _SPEC.fullmatch(spec or ""):
            return f"{{{name}}} may carry a number of decimals, like {{lat:.4f}}, no more."
        if spec and name not in NUMBERS:
            return f"{{{name}}} is a text and has no decimals."
    return None


def filled(template: str, values: Mapping[str, str | float]) -> str:
    """`template` with its blanks filled in from `values`."""
    fault = template_fault(template, [name for name in values if name not in BLANKS])
    if fault:
        raise ValueError(fault)
    return "".join(
        literal + ("" if name is None else format(values[name], spec or ""))
        for literal, name, spec, _ in Formatter().parse(template)
    ).strip()


def date_blanks(first: date, last: date) -> dict[str, str]:
    """The blanks for the days asked for, both included."""
    return {"from_date": first.isoformat(), "to_date": last.isoformat()}
