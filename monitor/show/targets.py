"""What is told through the library for text messages, chat and push: each a secret address."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts import by_apprise

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.show.findings import Findings
    from monitor.show.settings import ContactPart
    from monitor.toml_places import Path as Place

INSTALL = 'pip install "dryspell[contacts]"'


def check_targets(
    part: ContactPart,
    path: Place,
    opened: Callable[[str, Place], str | None],
    findings: Findings,
) -> None:
    """Refuse what could not be sent; `opened` gives the secret, or tells why it cannot."""
    if not by_apprise.installed():
        findings.refuse(
            (*path, "kind"),
            "missing-extra",
            f"contact {part.name} is told through a library that is not installed.",
            f"Install it with: {INSTALL}",
        )
    seen: set[str] = set()
    for i, reference in enumerate(part.url):
        place = (*path, "url", i)
        if reference in seen:
            findings.refuse(
                place,
                "repeated",
                f"contact {part.name} has the same url twice.",
                "Leave one of them out: they would be told everything twice.",
            )
        seen.add(reference)
        address = opened(reference, place)
        if address is not None and by_apprise.installed():
            _check_target(address, part.name, place, findings)


def _check_target(address: str, name: str, place: Place, findings: Findings) -> None:
    target = by_apprise.look(address)
    if target is None:
        findings.refuse(
            place,
            "bad-url",
            f"the url of contact {name} is none that the library {by_apprise.LIBRARY} can read.",
            "Write the secret as its manual gives it for the service, service://...",
        )
        return
    if target.encrypted_as is not None:
        findings.refuse(
            place,
            "not-encrypted",
            f"the url of contact {name} would send in the open.",
            f"Begin it with {target.encrypted_as}://.",
        )
    if target.targets > 1:
        findings.tell(
            place,
            "several-targets",
            f"one url of contact {name} tells {target.targets}: when one of them is not reached, "
            "all of them are told again.",
            "Give each a url of its own: url takes a list.",
        )
