"""A sheet as plain text, as a message, and as a page that needs nothing beside it."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from monitor.alerts.clock import utc_stamp
from monitor.alerts.words import one_line
from monitor.briefing.room import WIDE, in_two
from monitor.domain import Message

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from monitor.briefing.sheet import Sheet

TEMPLATE = "sheet.html.j2"
_COLUMNS = 96


def as_text(sheet: Sheet) -> str:
    """The whole sheet in plain lines, for a screen and for a mail."""
    return "\n\n".join(_paragraphs(sheet)) + "\n"


def _paragraphs(sheet: Sheet) -> Iterator[str]:
    yield f"{sheet.title}."
    yield from sheet.lead
    for section in sheet.sections:
        yield "\n".join([section.title, *(f"- {line}" for line in section.said())])
    if sheet.signs:
        yield "\n".join(
            f"[ ] {sign}   name ____________________   time ______" for sign in sheet.signs
        )
    yield f"Radio: {sheet.radio}"
    yield "\n".join(["Cautions", *(f"- {line}" for line in sheet.cautions)])
    yield sheet.foot


def as_screen(sheet: Sheet) -> str:
    """The text with its lines wrapped for a terminal."""
    wrapped = []
    for line in as_text(sheet).splitlines():
        indent = "  " if line.startswith("- ") else ""
        wrapped += textwrap.wrap(line, _COLUMNS, subsequent_indent=indent) or [""]
    return "\n".join(wrapped)


def as_message(sheet: Sheet, now: datetime) -> Message:
    """The sheet to send to contacts; it orders nothing and asks for no answer."""
    text = as_text(sheet)
    name = f"{sheet.kind}-{utc_stamp(now)}"
    data = {**sheet.data, "radio": sheet.radio, "says": text}
    return Message(
        alert_id=name,
        kind="watch",
        stage=None,
        subject=sheet.subject,
        text=text,
        radio=sheet.radio,
        data=data,
        thread=name,
        at=now,
    )


def as_page(sheet: Sheet) -> str:
    """One page of HTML, A4 when printed: no script, no file and no host beside it."""
    environment = Environment(
        loader=PackageLoader("monitor", "templates"),
        autoescape=True,  # by hand: names that end in .j2 are not escaped by themselves
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_plain,
    )
    template = environment.get_template(TEMPLATE)
    return template.render(sheet=sheet, wide=WIDE, columns=in_two(sheet))


def _plain(value: Any) -> Any:
    """Typed names without what could hide or turn letters; markup of ours as it is."""
    return one_line(value) if type(value) is str else value
