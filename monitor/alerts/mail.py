"""A message as a mail: plain text first, the same words large in HTML beside it.

Written so that doing it again gives the same bytes: a retry is the same mail, and a
mailbox that has it already shows it once.
"""

from __future__ import annotations

import hashlib
from email import policy
from email.errors import HeaderParseError, NonASCIILocalPartDefect
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime
from html import escape
from typing import TYPE_CHECKING, Any

from monitor.alerts.words import one_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Message

NOBODY = "undisclosed-recipients:;"
"""The To of a mail that is only laid in a folder."""

_BIG = "font-size:22px;font-weight:bold;line-height:1.3;margin:0 0 12px"
_PARAGRAPH = "font-size:16px;line-height:1.4;margin:0 0 12px"
_BUTTON = (
    "display:inline-block;padding:14px 24px;border:2px solid #111111;color:#111111;"
    "font-size:18px;font-weight:bold;text-decoration:none"
)
_SMALL = "font-size:13px;line-height:1.4;margin:0 0 6px;color:#444444"


class BadAddressError(ValueError):
    """An address no mail server could take."""


def address(text: str) -> Address:
    """One mail address, with or without a name; refused when it could forge a header."""
    said = one_line(text)
    if said != text.strip():
        raise BadAddressError("a mail address of more than one line")
    try:
        header: Any = policy.SMTP.header_factory("To", said)
    except IndexError as fault:  # the library's own reader runs off the end of "name@"
        raise BadAddressError(f"not a mail address: {said!r}") from fault
    faults = [d for d in header.defects if not isinstance(d, NonASCIILocalPartDefect)]
    if faults or len(header.addresses) != 1 or len(header.groups) != 1:
        raise BadAddressError(f"not one mail address: {said!r}")
    found: Address = header.addresses[0]
    try:
        # a domain in another script is looked up in its ASCII form
        domain = found.domain.encode("idna").decode("ascii")
        if not (found.username and domain):
            raise BadAddressError(f"not a whole mail address: {said!r}")
        return Address(found.display_name, username=found.username, domain=domain)
    except (HeaderParseError, UnicodeError) as fault:
        raise BadAddressError(f"not a mail address: {said!r}") from fault


def compose(message: Message, *, sender: str, recipient: str | None, row_id: str) -> EmailMessage:
    """The mail of one outbox row; `recipient` None for a mail nobody is sent."""
    whom = address(sender)
    mail = EmailMessage(policy=policy.SMTP)
    mail["From"] = whom
    mail["To"] = NOBODY if recipient is None else address(recipient)
    mail["Subject"] = one_line(message.subject)
    mail["Date"] = format_datetime(message.at)
    mail["Message-ID"] = _reference(f"row-{row_id}", whom.domain)
    first = _reference(f"thread-{message.thread}", whom.domain)
    mail["In-Reply-To"] = first
    mail["References"] = first
    mail["Auto-Submitted"] = "auto-generated"
    text = _encodable(message.text)
    mail.set_content(text, cte="quoted-printable")
    links = [(one["label"], one["url"]) for one in message.data.get("links", ())]
    mail.add_alternative(
        page(text, one_line(message.subject), links), subtype="html", cte="quoted-printable"
    )
    mail.set_boundary(f"=_dryspell_{_digest(row_id)}")
    return mail


def page(text: str, title: str, links: Sequence[tuple[str, str]] = ()) -> str:
    """The text as a page without style sheet, picture or script.

    Only `links`, (label, address), are made to be tapped: other addresses in the text are not
    ours.
    """
    ours = {f"{one_line(label)}: {one_line(url)}": (label, url) for label, url in links}
    first, *rest = [p for p in text.strip().split("\n\n") if p.strip()] or [""]
    head, _, under = first.partition("\n")
    blocks = [f'<p style="{_BIG}">{escape(head)}</p>']
    if under:
        blocks.append(_block(under, _PARAGRAPH))
    small = False
    for paragraph in rest:
        lines = paragraph.split("\n")
        if all(line in ours for line in lines):
            blocks += [_link(*ours[line]) for line in lines]
            continue
        # from the cautions on the type is small: read once, at hand ever after
        small = small or paragraph.startswith("Cautions\n")
        blocks.append(_block(paragraph, _SMALL if small else _PARAGRAPH))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(title)}</title></head>\n"
        '<body style="font-family:sans-serif;max-width:40em;color:#111111">\n'
        + "\n".join(blocks)
        + "\n</body></html>\n"
    )


def _link(label: str, url: str) -> str:
    return (
        f'<p style="{_PARAGRAPH}"><a href="{escape(url)}" style="{_BUTTON}">'
        f"{escape(one_line(label))}</a></p>"
    )


def _block(paragraph: str, style: str) -> str:
    lines = []
    for line in paragraph.split("\n"):
        label, colon, said = line.partition(": ")
        bold = colon and len(label) <= 24 and not line.startswith("- ")
        lines.append(f"<b>{escape(label)}:</b> {escape(said)}" if bold else escape(line))
    return f'<p style="{style}">' + "<br>\n".join(lines) + "</p>"


def _encodable(text: str) -> str:
    return text.encode("utf-8", "replace").decode("utf-8")


def _reference(name: str, domain: str) -> str:
    return f"<{_digest(name)}.dryspell@{domain}>"


def _digest(name: str) -> str:
    return hashlib.sha256(name.encode("utf-8", "backslashreplace")).hexdigest()[:32]
