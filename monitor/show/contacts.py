"""[[feeds]], [[contacts]] and [page] to records: every way out of the machine, and in."""

from __future__ import annotations

import ipaddress
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import SplitResult, urlsplit

from monitor.alerts import mail
from monitor.alerts.by_email import is_loopback
from monitor.domain import BadInputError, Contact, Feed, Page
from monitor.feeds.sheet import find_sheet
from monitor.show.secrets import secret
from monitor.show.targets import check_targets

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.show.findings import Findings
    from monitor.show.settings import ContactPart, FeedPart, PagePart
    from monitor.toml_places import Path as Place

RECORD = "record"
FOLDER = "messages"

_OF_KIND: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    # kind -> (keys it needs, keys it may have beside them)
    "email": (("host", "from", "to"), ("port", "security", "user", "password")),
    "webhook": (("url", "secret"), ()),
    "folder": ((), ("path",)),
    "apprise": (("url",), ("short",)),
}
_COMMON = frozenset({"name", "kind", "stages", "turn", "gap_minutes"})


def nobody_told(folder: Path) -> Contact:
    """The one contact of a show that names none: a folder, and no person."""
    return Contact(name=FOLDER, kind="folder", path=str(folder / FOLDER))


def contact(
    part: ContactPart, path: Place, folder: Path, environ: Mapping[str, str], findings: Findings
) -> Contact:
    """One contact; what its kind needs is there, and its secret can be read."""
    _keys_of_kind(part, path, findings)
    if part.kind == "email":
        _email(part, path, findings)
    if part.kind == "apprise":
        check_targets(part, path, lambda r, at: _secret(r, at, folder, environ, findings), findings)
    elif part.url:
        for i, url in enumerate(part.url):
            _address(url, (*path, "url", i), f"url of contact {part.name}", findings)
        if len(part.url) > 1:
            findings.refuse(
                (*path, "url"),
                "too-many",
                f"contact {part.name} has more than one url.",
                "Give each url a contact of its own.",
            )
    for key, reference in (("password", part.password), ("secret", part.secret)):
        if reference is not None:
            _secret(reference, (*path, key), folder, environ, findings)
    kept = FOLDER if part.path is None and part.kind == "folder" else part.path
    return Contact(
        name=part.name,
        kind=part.kind,
        stages=part.stages,
        turn=part.turn,
        host=part.host,
        port=part.port,
        security=part.security or "tls",
        user=part.user,
        password=part.password,
        sender=part.sender,
        to=part.url if part.kind == "apprise" else part.to,
        url=part.url[0] if part.kind == "webhook" and part.url else None,
        secret=part.secret,
        path=None if kept is None else str(folder / Path(kept).expanduser()),
        short=part.short,
        gap_minutes=part.gap_minutes,
    )


def _keys_of_kind(part: ContactPart, path: Place, findings: Findings) -> None:
    needs, may = _OF_KIND[part.kind]
    given = part.model_dump(by_alias=True, exclude_unset=True)
    for key in needs:
        if not given.get(key):
            findings.refuse(
                path,
                "missing-key",
                f"{key} of contact {part.name} is missing: every {part.kind} needs it.",
                f"Give {key}.",
            )
    for key in given:
        if key not in _COMMON and key not in needs and key not in may:
            others = [kind for kind, (n, m) in _OF_KIND.items() if key in n or key in m]
            findings.refuse(
                (*path, key),
                "unknown-key",
                f"contact {part.name} has a key {key}, which is for {' or '.join(others)}.",
                f"Leave {key} out, or change kind.",
            )


def _email(part: ContactPart, path: Place, findings: Findings) -> None:
    if part.security == "none" and part.host is not None and not is_loopback(part.host):
        findings.refuse(
            (*path, "security"),
            "not-encrypted",
            f"contact {part.name} would send its mail in the open.",
            'Write security = "tls" or "starttls"; "none" is only for a server on this machine.',
        )
    if (part.user is None) != (part.password is None):
        lacking = "user" if part.user is None else "password"
        findings.refuse(
            path,
            "missing-key",
            f"contact {part.name} has one of user and password and not the other.",
            f"Give {lacking}, or leave both out.",
        )
    boxes = [((*path, "to", i), box) for i, box in enumerate(part.to)]
    if part.sender is not None:
        boxes.append(((*path, "from"), part.sender))
    for place, box in boxes:
        try:
            mail.address(box)
        except mail.BadAddressError:
            findings.refuse(
                place,
                "bad-address",
                f"contact {part.name} has a mail address that cannot be one.",
                'Write one address in each pair of quotes, like "crew@example.org".',
            )


def _secret(
    reference: str, path: Place, folder: Path, environ: Mapping[str, str], findings: Findings
) -> str | None:
    """The secret; None where it cannot be read, which is told."""
    try:
        return secret(reference, environ, folder)
    except BadInputError as fault:
        key = next(step for step in reversed(path) if isinstance(step, str))
        for problem in fault.problems:
            says = f"{key} of {findings.owner(path)}: {problem.says}"
            findings.refuse(path, problem.code, says, problem.remedy)
        return None


def _split(url: str) -> SplitResult | None:
    """The address in its parts; None where it is none (a bad port or bracket included)."""
    try:
        parts = urlsplit(url)
        sound = bool(parts.hostname) and parts.port != 0
    except ValueError:
        return None
    return parts if sound else None


def _address(url: str, path: Place, subject: str, findings: Findings) -> None:
    parts = _split(url)
    if parts is None or parts.scheme not in {"http", "https"}:
        findings.refuse(
            path, "bad-url", f"{subject} is not a web address.", "Begin it with https://."
        )
        return
    if parts.username is not None or parts.password is not None:
        findings.refuse(
            path,
            "plain-secret",
            f"{subject} has a name or password in it.",
            "Leave that part out, and change the password if others saw this file.",
        )
    if parts.scheme == "http" and not is_loopback(parts.hostname or ""):
        findings.refuse(
            path,
            "not-encrypted",
            f"{subject} would send in the open.",
            "Begin it with https://; http is only for a server on this machine.",
        )


def feed(
    part: FeedPart, path: Place, folder: Path, environ: Mapping[str, str], findings: Findings
) -> Feed:
    """One source of weather."""
    is_record = part.sheet == RECORD
    if is_record and part.file is None:
        findings.refuse(
            path,
            "missing-key",
            "A feed from a record needs its file.",
            'Give file = "weather.csv".',
        )
    if is_record and part.file is not None and not (folder / part.file).is_file():
        findings.refuse(
            (*path, "file"),
            "missing-file",
            f"The weather record {part.file} is not there.",
            "Put it into the show folder, or mend file.",
        )
    if not is_record and part.file is not None:
        findings.refuse(
            (*path, "file"),
            "unknown-key",
            f"feed {part.sheet} has a file, which is for a record.",
            f'Leave file out, or write sheet = "{RECORD}".',
        )
    if part.key is not None:
        _secret(part.key, (*path, "key"), folder, environ, findings)
    if part.base_url is not None:
        parts = _split(part.base_url)
        if parts is None or parts.scheme not in {"http", "https"}:
            findings.refuse(
                (*path, "base_url"),
                "bad-url",
                f"base_url of feed {part.sheet} is not a web address.",
                "Begin it with https:// or http://.",
            )
        elif parts.username is not None or parts.password is not None or parts.query:
            findings.refuse(
                (*path, "base_url"),
                "plain-secret",
                f"base_url of feed {part.sheet} has a name, password or query in it.",
                "Leave that part out; a key goes into key, as a reference.",
            )
    return Feed(**part.model_dump())


def is_archive(feed: Feed, folder: Path) -> bool:
    """Whether a feed tells of past years and not of what is to come."""
    if feed.sheet == RECORD:
        return False
    try:
        return find_sheet(feed.sheet, folder).request.kind == "archive"
    except BadInputError:
        # What is wrong with the sheet is told where it is asked.
        return False


def page(part: PagePart, findings: Findings) -> Page:
    """Where the duty page is served."""
    host, _, port = part.listen.rpartition(":")
    try:
        # Port 0: the machine picks one, which is said at the start.
        sound = 0 <= int(port) < 65536 and bool(host)
        if host != "localhost":
            ipaddress.ip_address(host.strip("[]"))
    except ValueError:
        sound = False
    if not sound:
        findings.refuse(
            ("page", "listen"),
            "bad-listen",
            "listen of [page] is not an address and a port.",
            'Write it like "127.0.0.1:8036".',
        )
    public = None if part.public_url is None else _split(part.public_url)
    if part.public_url is not None and (public is None or public.scheme not in {"http", "https"}):
        findings.refuse(
            ("page", "public_url"),
            "bad-url",
            "public_url of [page] is not a web address.",
            "Begin it with https:// or http://.",
        )
    return Page(part.listen, part.public_url)
