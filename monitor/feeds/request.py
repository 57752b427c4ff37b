"""What to ask a weather service: the address with its blanks filled in, headers, the key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote, quote_plus, urlsplit, urlunsplit

from monitor import __version__
from monitor.domain import DryspellError
from monitor.feeds.template import date_blanks, filled

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import date

    from monitor.domain import Feed, Site
    from monitor.feeds.sheet_parts import Sheet

APP = "dryspell"

_LEAST_MASKED = 8
"""A shorter part of a key is no key, but perhaps a word of the sentence."""


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
    why_not: Callable[[str], str] | None = None
    """Why an address that the server sends the request on to is not asked; empty: it is."""

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
        # Of "Bearer KEY" a server may say the key alone.
        words = (w for s in self.secrets for w in s.split() if len(w) >= _LEAST_MASKED)
        for secret in (*self.secrets, *words):
            for form in (secret, quote(secret, safe=""), quote(secret), quote_plus(secret)):
                text = text.replace(form, "***")
        return text


@dataclass(frozen=True, slots=True)
class Asker:
    """Who asks for which place and days; makes the requests of one sheet.

    `secret` reads a reference such as `env:NAME`; `days` are the first and the last that a
    sheet can name in its address.
    """

    sheet: Sheet
    site: Site
    feed: Feed
    secret: Callable[[str], str]
    days: tuple[date, date]

    def forecast(self, taken: Mapping[str, str]) -> Asked:
        """The request for the forecast; `taken` are the blanks that resolve steps filled."""
        blanks = self._blanks(taken)
        params = {
            key: filled(value, blanks) if isinstance(value, str) else f"{value}"
            for key, value in self.sheet.request.params.items()
        }
        return self._made(self.sheet.request.url, blanks, params)

    def beside(self, url: str, taken: Mapping[str, str]) -> Asked:
        """One to another address of the sheet: its headers and key, none of its query."""
        return self._made(url, self._blanks(taken), {})

    def _blanks(self, taken: Mapping[str, str]) -> dict[str, str | float]:
        return {
            "lat": self.site.latitude,
            "lon": self.site.longitude,
            "elev": self.site.elevation_m,
            "app": APP,
            "version": __version__,
            "contact": self.feed.contact or "",
            **date_blanks(*self.days),
            **taken,
        }

    def _made(self, url: str, blanks: Mapping[str, str | float], params: dict[str, str]) -> Asked:
        headers = {k: filled(v, blanks) for k, v in self.sheet.request.headers.items()}
        secrets = []
        for place, source in self.sheet.request.secrets.items():
            reference = self.feed.key if source == "key" else source
            if reference is None:
                continue
            value = _read(self.secret, reference)
            secrets.append(value)
            where, name = place.split(".", 1)
            (params if where == "query" else headers)[name] = value
        address = _based(filled(url, blanks), self.feed.base_url)
        return Asked(address, tuple(params.items()), headers, tuple(secrets))


def first_url(sheet: Sheet) -> str:
    """The address that is asked first: a resolve step's, or the forecast's own."""
    return sheet.resolve[0].url if sheet.resolve else sheet.request.url


def server_of(sheet: Sheet, feed: Feed) -> str:
    """The server that is asked first, with its port: no server is asked twice at once."""
    try:
        parts = urlsplit(feed.base_url or first_url(sheet))
        return f"{_plain(parts.hostname or '')}:{parts.port or parts.scheme}"
    except ValueError:
        return ""


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
