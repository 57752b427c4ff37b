"""Strings of a feed sheet with named blanks, such as `{lat:.4f}`.

Only the listed names can be filled in, with a number of decimals at most. Attribute and
index access, the way from a format string to the program's insides, is refused.
"""

from __future__ import annotations

import re
from string import Formatter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

NUMBERS = ("lat", "lon", "elev")
BLANKS = (*NUMBERS, "app", "version", "contact")
_SPEC = re.compile(r"(\.\d{1,2}f)?")


def template_fault(template: str) -> str | None:
    """Why `template` cannot be used, in a sentence; None where it can."""
    try:
        parts = list(Formatter().parse(template))
    except ValueError as fault:
        return f"The braces do not close: {fault}."
    for _, name, spec, conversion in parts:
        if name is None:
            continue
        if "." in name or "[" in name:
            return f"{{{name}}} reaches inside a value; only plain names are filled in."
        if name not in BLANKS:
            return f"{{{name}}} is no blank; there are {', '.join(BLANKS)}."
        if conversion or not _SPEC.fullmatch(spec or ""):
            return f"{{{name}}} may carry a number of decimals, like {{lat:.4f}}, no more."
        if spec and name not in NUMBERS:
            return f"{{{name}}} is a text and has no decimals."
    return None


def filled(template: str, values: Mapping[str, str | float]) -> str:
    """`template` with its blanks filled in from `values`."""
    fault = template_fault(template)
    if fault:
        raise ValueError(fault)
    return "".join(
        literal + ("" if name is None else format(values[name], spec or ""))
        for literal, name, spec, _ in Formatter().parse(template)
    ).strip()
