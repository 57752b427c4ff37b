"""Who looks at the page and how they like it, and the page made for them.

Every view takes a `Viewer`. Templates have `_` and `several` for words, `english` as the mark
of what is said in English to everybody, `at`, `until`, `ago` and `iso` for moments, `depth` and
`speed` for measures, `static` for the files beside, and in `forms.html.j2` the macro `say_form`,
through which everything is said that changes anything.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from monitor.alerts.words import one_line
from monitor.page.measures import Measures
from monitor.page.times import Times
from monitor.page.words import JOIN, Words
from monitor.planning.inspection import percent
from monitor.units import to_moment

if TYPE_CHECKING:
    from datetime import datetime
    from zoneinfo import ZoneInfo

Role = Literal["guest", "crew", "chief"]
Theme = Literal["", "light", "dark", "red"]
"""Empty: as the device has it"""
_TIMES_FROM = 2.0
_ENGLISH = Markup(' lang="en"')
"""On what is said in the monitor's own words, as its messages say it"""


@dataclass(frozen=True, slots=True)
class Viewer:
    """One signed-in device, and whoever holds it."""

    name: str
    role: Role = "guest"
    csrf: str = ""
    """Sent with every form, hidden, as `csrf`"""
    new_id: Callable[[], str] = str
    """A fresh id for each form, sent hidden as `id`, so that a word sent twice is kept once"""
    show: str = ""
    """Stands for the show that this page is of; what waited for another is not said here"""
    theme: Theme = ""
    words: Words = field(default_factory=Words)
    measures: Measures = field(default_factory=Measures)
    kept: tuple[str, ...] = ()
    """What has just been kept, in sentences: said once at the head of the page"""

    def words_of_share(self, used: float) -> str:
        """A share of an allowance: `83 %`, `11 times`; never rounded up."""
        if used < _TIMES_FROM:
            return f"{percent(used)} %"
        return self.words.say("{number} times", number=math.floor(used))

    @property
    def may_log(self) -> bool:
        """Logs, answers and declares."""
        return self.role in ("crew", "chief")


@dataclass(frozen=True, slots=True)
class Shell:
    """What stands around every page."""

    site: str
    zone: ZoneInfo
    now: datetime
    path: str
    """Of this page; a form sends it back as `back`, to come back to"""
    static: Mapping[str, str]
    """Name of a file beside the page -> its address"""
    seen_at: datetime | None = None
    """When what is shown was worked out"""
    alarm: str = ""
    """A word for the tab of the page: stop, weather lost"""


def render(template: str, viewer: Viewer, shell: Shell, **values: Any) -> str:
    """A page as HTML; every text in it is escaped."""
    times = Times(shell.zone, shell.now, viewer.words)
    return (
        environment()
        .get_template(template)
        .render(
            viewer=viewer,
            shell=shell,
            _=viewer.words.say,
            several=viewer.words.several,
            english=_ENGLISH if viewer.words.language != "en" else Markup(),
            times=times,
            at=times.at,
            ago=times.ago,
            until=times.until,
            iso=times.iso,
            moment=to_moment,
            percent=viewer.words_of_share,
            depth=viewer.measures.depth,
            speed=viewer.measures.speed,
            static=shell.static.__getitem__,
            **values,
        )
    )


@cache
def environment() -> Environment:
    """The templates of the page."""
    return Environment(
        loader=PackageLoader("monitor", "templates/page"),
        autoescape=True,  # by hand: names that end in .j2 are not escaped by themselves
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_plain,
    )


def _plain(value: Any) -> Any:
    """Typed names without what could hide or turn letters; markup of ours as it is."""
    if type(value) is not str or value.replace(JOIN, " ").isprintable():
        return value
    return one_line(value)
