"""What the site itself measures, and who warns officially: [[gauges]] and [[warnings]]."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from monitor.domain import Gauge, WarningsFrom
from monitor.feeds.readings import CREW

if TYPE_CHECKING:
    from monitor.show.findings import Findings
    from monitor.show.settings import GaugePart, WarningsPart
    from monitor.toml_places import Path

_OURS = ("show.toml", "fixtures.csv", "log.csv")
_DATABASE = "dryspell."
"""It begins every name of the database's own files, which nothing else may open."""
_LOOPBACK = ("127.0.0.1", "localhost", "::1")


def gauge(part: GaugePart, at: Path, findings: Findings) -> Gauge:
    """A station on the site; one name is kept for the crew, whose word on rain is a reading too."""
    if part.station == CREW:
        findings.refuse(
            (*at, "station"),
            "reserved-name",
            f"{CREW} is kept for what the crew itself says of the rain.",
            "Give the station another name, and send its readings under that.",
        )
    if part.file is not None and _is_ours(part.file):
        findings.refuse(
            (*at, "file"),
            "not-a-readings-file",
            f"{part.file} is a file of the show itself.",
            "Give the CSV file that the logger writes.",
        )
    return Gauge(**part.model_dump())


def _is_ours(file: str) -> bool:
    name = PurePath(file).name.lower()
    return name in _OURS or name.startswith(_DATABASE)


def warnings_from(part: WarningsPart, at: Path, findings: Findings) -> WarningsFrom:
    """A warning service; its address is held to https, as an answer in clear can be forged."""
    try:
        url = urlsplit(part.url)
        host = url.hostname
    except ValueError:
        url, host = urlsplit(""), None
    plain = url.scheme == "http" and host in _LOOPBACK
    if not host or not (url.scheme == "https" or plain):
        findings.refuse(
            (*at, "url"),
            "bad-url",
            f"url of {part.name} does not begin with https:// and a host.",
            "Use https; http is for a server on this machine.",
        )
    return WarningsFrom(**part.model_dump())
