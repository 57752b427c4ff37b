"""Whether a request was meant for this server: the name it was asked by.

A page from elsewhere can have a browser on this network talk to us under a name of its own,
made to point here. Such a name is none of ours; numbers are no names and cannot be made to.
"""

from __future__ import annotations

import ipaddress
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from monitor.web.answers import RefusedError

if TYPE_CHECKING:
    from monitor.domain import Page


def refuse_strange_host(host_header: str | None, page: Page) -> None:
    """RefusedError where the Host header names neither this machine nor `public_url`.

    A device too old to send one is let through: a browser always does.
    """
    if not host_header:
        return
    host = _host_of(host_header)
    if host is not None and (_is_ours(host) or host == _public_host(page)):
        return
    raise RefusedError(
        HTTPStatus.MISDIRECTED_REQUEST,
        "This server does not answer to that name. Ask by its number, or have the name stand "
        "in public_url under [page] of show.toml.",
    )


def _host_of(header: str) -> str | None:
    try:
        host = urlsplit(f"//{header}").hostname
    except ValueError:
        return None
    return None if host is None else host.rstrip(".")


def _is_ours(host: str) -> bool:
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def _public_host(page: Page) -> str | None:
    return None if page.public_url is None else _host_of(urlsplit(page.public_url).netloc)
