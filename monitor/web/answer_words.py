"""What stands on the page behind a link: the order, the buttons, what was kept."""

from __future__ import annotations

import base64
import hashlib
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from monitor.alerts import wording
from monitor.alerts.answers import BECAUSE, sentence
from monitor.alerts.clock import SiteClock
from monitor.alerts.words import one_line
from monitor.store.records import to_json

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import Alert, Answered, Problem, Show
    from monitor.service.crew_word import Kept

TEMPLATE = "answer.html.j2"

STYLE = """
:root { color-scheme: light dark; --ink: #111; --paper: #fff; --line: #555; --quiet: #333; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #f2f2f2; --paper: #111; --line: #aaa; --quiet: #ccc; }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 18px/1.4 Helvetica, Arial, "Liberation Sans", "DejaVu Sans", sans-serif; }
main { max-width: 34rem; margin: 0 auto; padding: 1rem 1rem 3rem; overflow-wrap: anywhere; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: .2rem 0 .8rem; }
p { margin: 0 0 .7rem; }
.site { color: var(--quiet); margin: 0; }
.lead { font-size: 1.1rem; }
.note, .more { color: var(--quiet); font-size: .95rem; }
.answered, .kept, .wrong { border-left: 6px solid var(--line); padding: .4rem .8rem; }
.kept p, .wrong p { margin: .2rem 0; }
form { margin: 1.2rem 0; }
fieldset { border: 2px solid var(--line); margin: 0 0 .7rem; padding: .5rem .8rem; }
legend { font-weight: bold; padding: 0 .3rem; }
button, .again { display: block; width: 100%; min-height: 60px; margin: 0 0 .7rem;
  padding: .6rem 1rem;
  border: 3px solid var(--ink); border-radius: 6px; background: var(--paper); color: var(--ink);
  font: inherit; font-size: 1.25rem; font-weight: bold; text-align: center; text-decoration: none;
  cursor: pointer; }
button:focus-visible, .again:focus-visible, input:focus-visible {
  outline: 4px solid #1a73e8; outline-offset: 2px; }
.choice { display: flex; align-items: center; gap: .7rem; min-height: 52px; }
.choice input { width: 28px; height: 28px; flex: none; }
.field { display: block; padding: .4rem 0; }
.field input { display: block; width: 100%; min-height: 48px; font: inherit; padding: .3rem .5rem;
  border: 2px solid var(--line); background: var(--paper); color: var(--ink); }
"""

POLICY = (
    "default-src 'none'; style-src 'sha256-"
    + base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    + "'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
"""Its own style and nothing else; its form is sent to where it came from."""

_REASONS = tuple(
    (value, (said or "another reason").capitalize()) for value, said in BECAUSE.items()
)


def order_page(
    show: Show,
    alert: Alert,
    by: str,
    given: Sequence[Answered],
    now: datetime,
    word_id: str | None,
    *,
    can_be_done: bool,
    problems: Sequence[Problem] = (),
) -> str:
    """The order with its buttons; `word_id` None: it can only be read."""
    title, first, rest = _order(alert, now)
    return _page(
        show,
        title,
        first=first,
        rest=rest,
        answered=[f"{sentence(one, show, now)}." for one in given[-3:]],
        word_id=word_id,
        shown=mark_of(alert),
        by=by,
        can_be_done=can_be_done,
        problems=problems,
    )


def mark_of(alert: Alert) -> str:
    """Stands for the work that a page shows, so that an answer is never kept for other work."""
    work = to_json([alert.action, alert.position, alert.fixtures]).encode("ascii")
    return hashlib.sha256(work).hexdigest()[:16]


def kept_page(show: Show, alert: Alert, kept: Kept, now: datetime) -> str:
    """What was kept of an answer."""
    title, _, rest = _order(alert, now)
    said = ["It was kept before."]
    if kept.answered is not None:
        said = [f"Kept: {sentence(kept.answered, show, now)}."]
        if kept.answered.because == "other" and not one_line(kept.answered.note or ""):
            said.append(
                'No reason was given: it is kept as another reason. "Answer again" adds it.'
            )
        clock = SiteClock(show.site.timezone, now)
        said += [
            f"Logged: {entry.fixture or entry.position} {entry.entry}, {clock.at(entry.at)}."
            for entry in kept.entries
        ]
    return _page(show, title, kept=[*said, *kept.notes], rest=rest, again=True)


def ended_page(show: Show, alert: Alert) -> str:
    """The alert has ended, or the link has."""
    reason = one_line(alert.reason).rstrip(".")
    ended = alert.stage == "stood-down"
    said = f"This alert has ended: {reason}." if ended else "This link is too old."
    return _page(show, "Nothing is to be answered any more", first=[said, _ASK])


def plain_page(show: Show, title: str, says: str) -> str:
    """A sentence and nothing else."""
    return _page(show, title, first=[says])


_ASK = "What was done is logged with dryspell log, or told to the crew chief."


def _order(alert: Alert, now: datetime) -> tuple[str, list[str], list[list[str]]]:
    """The headline, the lines right under it, and the other paragraphs in lines."""
    says: str = wording.message(alert, now).data["says"]
    paragraphs = [part.split("\n") for part in says.strip().split("\n\n")]
    head, *under = paragraphs[0]
    first = paragraphs[1] if len(paragraphs) > 1 else []
    return head.rstrip("."), [*under, *first], paragraphs[2:]


def _page(show: Show, title: str, **more: Any) -> str:
    blank: dict[str, Any] = {
        "first": (),
        "rest": (),
        "answered": (),
        "kept": (),
        "problems": (),
        "word_id": None,
        "shown": "",
        "by": "",
        "can_be_done": False,
        "again": False,
    }
    words = {**blank, **more}
    return _TEMPLATES.get_template(TEMPLATE).render(
        **words,
        title=title,
        site=one_line(show.site.name),
        # Ours, and bound by its hash: an escaped quote in it would be another style.
        style=Markup(STYLE),  # noqa: S704
        reasons=_REASONS,
    )


_TEMPLATES = Environment(
    loader=PackageLoader("monitor", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
