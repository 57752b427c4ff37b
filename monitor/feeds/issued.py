"""When a forecast was issued, as its answer says it, and what is wrong with what it says. Pure."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.feeds.paths import found
from monitor.feeds.stamps import moment_of
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from monitor.feeds.sheet_parts import Sheet

_CLOCKS_DIFFER = timedelta(minutes=5)
_SHOWN = 40
_TELLS = "issue time: "


def issued_told(dropped: tuple[str, ...]) -> tuple[str, ...]:
    """Those of the sentences told of a decoded answer that are about its issue time."""
    return tuple(one for one in dropped if one.startswith(_TELLS))


def issued(
    answer: Any,
    headers: Mapping[str, str],
    sheet: Sheet,
    fetched_at: datetime | None,
    beside: datetime | None,
    told: list[str],
) -> datetime | None:
    """The issue time of an answer; None, and told, where the sheet looks for one in vain.

    Parameters
    ----------
    beside : what another address says of it, where the sheet asks there
    fetched_at : None: a sample file, whose headers and age say nothing

    Notes
    -----
    A stamp without an offset is on the sheet's clock. No run is issued after it is read: such a
    stamp would make every later run look old, so it is not believed.
    """
    where = sheet.run.issued
    if where is None:
        return beside
    stated: Any = None
    if isinstance(where, str):
        wanted = where.removeprefix("header:").lower()
        in_header = where.startswith("header:")
        if in_header and fetched_at is None and not headers:
            return beside
        headed = (v for k, v in headers.items() if k.lower() == wanted)
        stated = next(headed, None) if in_header else found(answer, where)
        moment = moment_of(stated, sheet.time.zone)
    else:
        where, moment = where.url, beside
        if fetched_at is None:
            return beside
    if moment is None and beside is not None:
        return beside
    if moment is None:
        why = f"nothing is at {where}"
        if stated is not None:
            why = f"{str(stated)[:_SHOWN]!r} at {where} is no moment"
        told.append(f"{_TELLS}{why}, so the age counts from the fetch")
        return None
    if fetched_at is not None and moment - fetched_at > _CLOCKS_DIFFER:
        told.append(
            f"{_TELLS}{iso_utc(moment)} at {where} lies after the fetch and is not believed, so "
            "the age counts from the fetch"
        )
        return None
    return moment
