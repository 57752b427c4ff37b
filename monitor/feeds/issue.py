"""The issue time of a forecast from an address of its own, asked only for something newer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.feeds.paths import found
from monitor.feeds.stamps import moment_of
from monitor.feeds.strict_json import parse_json
from monitor.feeds.waiting import kept_moment

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from monitor.feeds.exchange import Answer
    from monitor.feeds.request import Asked
    from monitor.feeds.verdict import Verdict


def issue_time(
    path: str,
    request: Asked,
    kept: Mapping[str, Any],
    heard: Callable[[Asked, Mapping[str, str] | None], tuple[Verdict, Answer | None]],
    zone: str | None = None,
) -> tuple[datetime | None, dict[str, Any]]:
    """When the forecast was issued, None where that cannot be learnt, and what to keep.

    An issue time of before is not guessed to hold still: no issue time is said as such. A stamp
    without an offset is on the clock of `zone`.
    """
    same = kept.get("of") == request.place
    conditions = {}
    if same and kept.get("etag"):
        conditions["If-None-Match"] = str(kept["etag"])
    elif same and kept.get("last_modified"):
        conditions["If-Modified-Since"] = str(kept["last_modified"])
    judged, answer = heard(request, conditions)
    if judged.fault or answer is None:
        return None, dict(kept)
    if answer.status == 304:
        return kept_moment(kept.get("issued")), dict(kept)
    issued = moment_of(found(parse_json(answer.body), path), zone)
    return issued, {
        "of": request.place,
        "etag": answer.headers.get("ETag"),
        "last_modified": answer.headers.get("Last-Modified"),
        "issued": None if issued is None else issued.isoformat(),
    }
