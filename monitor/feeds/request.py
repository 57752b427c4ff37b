"""What to ask a weather service: the address with its blanks filled in, headers, the key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote, quote_plus, urlsplit, urlunsplit

from monitor import __version__
from monitor.domain import DryspellError
from monitor.feeds.template import filled

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.domain import Feed, Site
    from monitor.feeds.sheet_parts import Sheet

APP = "dryspell"


class Unaskable(Exception):  # noqa: N818 - the settings are at fault, not the program
    """The request cannot be made as the settings stand; `says` is for the operator."""

    def __init__(self, says: str) -> None:
        self.says = says
        super().__init__(says)


@dataclass(frozen=True, slots=True, repr=False)
class Asked:
    """A request ready to send. It has no repr: it may hold a key."""

    url: str
    params: tuple[tuple[str, str], ...]
    headers: dict[str, str]
    secrets: tuple[str, ...]

    @property
    def host(self) -> str:
        """The host asked, the one part of the address that messages show."""
        return host_of(self.url)

    @property
    def keyed(self) -> bool:
        """Whether it carries a key."""
        return bool(self.secrets)

    @property
    def place(self) -> str:
        """Address and query without any key: what an answer is an answer to."""
        return f"{self.url}?{sorted(p for p in self.params if p[1] not in self.secrets)}"

    def masked(self, text: str) -> str:
        """`text` with every form of a key taken out."""
        for secret in self.secrets:
            for form in (secret, quote(secret, safe=""), quote(secret), quote_plus(secret)):
                text = text.replace(form, "***")
        return text


def asked(sheet: Sheet, site: Site, feed: Feed, secret: Callable[[str], str]) -> Asked:
    """The request for a feed at a site; `secret` reads a reference such as `env:NAME`."""
    blanks: dict[str, str | float] = {
        "lat": site.latitude,
        "lon": site.longitude,
        "elev": site.elevation_m,
        "app": APP,
        "version": __version__,
        "contact": feed.contact or "",
    }
    params = {
        key: filled(value, blanks) if isinstance(value, str) else f"{value}"
        for key, value in sheet.request.params.items()
    }
    headers = {key: filled(value, blanks) for key, value in sheet.request.headers.items()}
    secrets = []
    for place, source in sheet.request.secrets.items():
        reference = feed.key if source == "key" else source
        if reference is None:
            continue
        value = _read(secret, reference)
        secrets.append(value)
        where, name = place.split(".", 1)
        (params if where == "query" else headers)[name] = value
    url = _based(filled(sheet.request.url, blanks), feed.base_url)
    return Asked(url, tuple(params.items()), headers, tuple(secrets))


def needs_consent(sheet: Sheet, feed: Feed) -> str | None:
    """The sentence to be confirmed once before this feed is used; None where none is needed.

    A service that is free for non-commercial use says so of its own hosts only: a paid or
    self-hosted server (`base_url`) is used on that server's terms.
    """
    if sheet.feed.use == "any":
        return None
    free = {_plain(h) for h in sheet.feed.free_hosts} or {host_of(sheet.request.url)}
    try:
        host = host_of(_based(sheet.request.url, feed.base_url))
    except Unaskable:
        # Nothing will be sent to an address that is none; fetching says what is wrong with it.
        return None
    if host not in free:
        return None
    return (
        f"The free server {host} may be used for non-commercial purposes only. A show that "
        "earns money needs a paid key or a server of its own (base_url). "
        "Confirm that this use is non-commercial."
    )


def host_of(url: str) -> str:
    """The host of an address, as hosts are compared."""
    try:
        return _plain(urlsplit(url).hostname or "")
    except ValueError:
        return ""


def _plain(host: str) -> str:
    return host.lower().rstrip(".")


def _read(secret: Callable[[str], str], reference: str) -> str:
    try:
        value = secret(reference).strip()
    except DryspellError:
        value = ""
    if not value:
        raise Unaskable(f"Its key could not be read from {reference}.")
    return value


def _based(url: str, base_url: str | None) -> str:
    """`url` on the server of `base_url`, behind the path of that, which may be all of it."""
    if base_url is None:
        return url
    try:
        base, own = urlsplit(base_url), urlsplit(url)
        port = base.port
    except ValueError:
        raise Unaskable("Its base_url is not an address.") from None
    if base.scheme not in ("http", "https") or not base.hostname or port == 0:
        raise Unaskable("Its base_url does not begin with http:// or https:// and a host.")
    if base.username is not None or base.query or base.fragment:
        raise Unaskable("Its base_url holds more than a host and a path; a key goes into key.")
    path = base.path.rstrip("/")
    if not path.endswith(own.path.rstrip("/")):
        path += own.path
    return urlunsplit((base.scheme, base.netloc, path, "", ""))
