"""The answer's own word for the unit of a variable, against the sheet's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.feeds.paths import found
from monitor.feeds.samples import Rejected

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.feeds.sheet_parts import VariablePart

_SHOWN = 20


def check_unit(answer: Any, name: str, part: VariablePart) -> None:
    """Reject an answer whose own word for the unit is not what the sheet expects."""
    if part.unit_check is not None and not part.unit_check.each:
        _check(found(answer, part.unit_check.at), name, part)


def check_units(records: Iterable[Any], name: str, part: VariablePart) -> None:
    """The same where every record names its unit; only those with a value are asked."""
    if part.unit_check is not None and part.unit_check.each:
        for record in records:
            _check(found(record, part.unit_check.at), name, part)


def _check(stated: Any, name: str, part: VariablePart) -> None:
    expected = part.unit_check.is_ if part.unit_check else None
    if stated != expected:
        raise Rejected(
            "unit",
            f"{name} came in {str(stated)[:_SHOWN] if stated is not None else 'no stated unit'}, "
            f"the sheet expects {expected}",
        )
