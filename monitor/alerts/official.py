"""From official warnings to what is told of them, once each: pure (last state, warnings) -> news.

A warning is told when it is first known, again when its kind, severity or times change, and
when it ends. What cannot be placed is told together, so that a whole country's warnings do
not come one by one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from monitor.alerts import cautions
from monitor.alerts.losses import AGAIN_AFTER
from monitor.alerts.official_words import AFTER_THUNDER, UNPLACED, dated, official, quoted
from monitor.alerts.open_alert import Change
from monitor.alerts.words import one_line
from monitor.domain import Alert, Facts, Official, Show, Stage
from monitor.feeds.cap_area import concerns
from monitor.feeds.cap_force import Listening, TakenBack, in_force, is_by_same, names
from monitor.planning.official import OfficialWarning, Reference, in_short, without_calls
from monitor.planning.thunder_words import closes_work, is_thunder

MOVED = timedelta(minutes=20)
"""A beginning or an end that moved no more than this is not told again."""
_MOST_QUOTED = 3
"""So many warnings without a known place are quoted whole, the others by their first line."""
_MOST_NAMED = 10


@dataclass(frozen=True, slots=True)
class Told:
    """A warning as last told. `service` is whose; `messages` all that said it."""

    alert: Alert
    service: str
    messages: tuple[Reference, ...]
    event: str = ""
    severity: str = ""
    begins: datetime | None = None
    until: datetime | None = None
    unplaced: bool = False
    """It stands for all warnings of the service whose place is not known"""


@dataclass(frozen=True, slots=True)
class OfficialState:
    """What is remembered of official warnings between evaluations."""

    told: tuple[Told, ...] = ()
    last_number: int = 0


def advance_official(
    state: OfficialState,
    warnings: Sequence[OfficialWarning],
    listening: Mapping[str, Listening],
    show: Show,
    now: datetime,
    next_word_at: datetime | None = None,
) -> tuple[tuple[Change, ...], OfficialState]:
    """One step: what to tell, and what to remember.

    Parameters
    ----------
    state : as the last call returned it
    warnings : every one that is kept, of every service, also those taken back
    listening : by service, those of the show
    """
    return _Step(state, warnings, listening, show, now, next_word_at).run()


class _Step:
    def __init__(
        self,
        state: OfficialState,
        warnings: Sequence[OfficialWarning],
        listening: Mapping[str, Listening],
        show: Show,
        now: datetime,
        next_word_at: datetime | None,
    ) -> None:
        self._warnings, self._listening = warnings, listening
        self._show, self._now, self._next_word_at = show, now, next_word_at
        self._number = state.last_number
        self._open = list(state.told)
        self._kept: list[Told] = []
        self._changes: list[Change] = []

    def run(self) -> tuple[tuple[Change, ...], OfficialState]:
        found = in_force(self._warnings, self._show.site, self._listening, self._now)
        placed = [w for w in found if self._is_placed(w)]
        for warning in placed:
            told = self._told_of(warning)
            if told is None:
                self._begin(warning)
            else:
                self._open.remove(told)
                self._continue(told, warning)
        for service in self._listening:
            loose = [w for w in found if w not in placed and w.service == service]
            self._unplaced(service, loose)
        for told in self._open:
            self._end(told)
        return tuple(self._changes), OfficialState(tuple(self._kept), self._number)

    def _is_placed(self, warning: OfficialWarning) -> bool:
        area = self._listening[warning.service].area
        return concerns(warning, self._show.site, area) == "site"

    def _told_of(self, warning: OfficialWarning) -> Told | None:
        """The alert that this warning, or one it follows, was told under."""
        mine = [r for r in warning.references if is_by_same(r.sender, warning.sender)]
        own = (_message(warning), *mine)
        found = [
            told
            for told in self._open
            if told.service == warning.service
            and not told.unplaced
            and any(names(a, b) for a in own for b in told.messages)
        ]
        # One message may hold several warnings: each goes on from its like.
        same = [told for told in found if told.event == warning.event]
        exact = [told for told in same if _times(told) == (warning.begins, warning.until)]
        return next(iter((*exact, *same, *found)), None)

    # ---- one warning

    def _begin(self, warning: OfficialWarning) -> None:
        follows = warning.msg_type.lower() == "update"
        reason = "an update of the service" if follows else ""
        alert = self._alert(self._new_id(), "notice", self._official(warning), reason, warning)
        self._tell(Told(alert, warning.service, ()), warning, reason)

    def _continue(self, told: Told, warning: OfficialWarning) -> None:
        why = self._news(told, warning)
        if why is None:
            messages = _together(told.messages, warning)
            self._kept.append(replace(told, messages=messages))
            return
        alert = self._alert(told.alert.id, "notice", self._official(warning), why, warning)
        self._tell(replace(told, alert=alert), warning, why)

    def _tell(self, told: Told, warning: OfficialWarning, reason: str) -> None:
        self._changes.append(Change(told.alert, reason or "an official warning"))
        self._kept.append(
            replace(
                told,
                messages=_together(told.messages, warning),
                event=warning.event,
                severity=warning.severity,
                begins=warning.begins,
                until=warning.until,
            )
        )

    def _news(self, told: Told, warning: OfficialWarning) -> str | None:
        """Why a warning is told again, None where nothing of weight has changed."""
        zone = self._show.site.timezone
        said = []
        if warning.event != told.event:
            said.append(f"{one_line(warning.title)} instead of {in_short(told.event)}")
        if warning.severity.lower() != told.severity.lower():
            said.append(f"severity {warning.severity.lower()} instead of {told.severity.lower()}")
        for word, new, old in (
            ("from", warning.begins, told.begins),
            ("until", warning.until, told.until),
        ):
            begun = word == "from" and old is not None and old <= self._now and new <= self._now
            if old is None or (abs(new - old) > MOVED and not begun):
                was = "" if old is None else f" instead of {dated(old, zone)}"
                said.append(f"{word} {dated(new, zone)}{was}")
        return f"changed by {one_line(warning.service)}: {', '.join(said)}" if said else None

    def _end(self, told: Told) -> None:
        facts = told.alert.facts
        alert = replace(
            told.alert,
            stage="stood-down",
            at=self._now,
            reason=self._why_over(told),
            facts=replace(
                facts,
                next_word_at=self._next_word_at,
                extra=(),
                official=self._closed_until(told, facts.official),
            ),
        )
        self._changes.append(Change(alert, alert.reason))

    def _closed_until(self, told: Told, said: Official | None) -> Official | None:
        """What was said of it, with how long it keeps work closed now that it is over."""
        if said is None or said.closes_until is None or told.until is None:
            return said
        back = TakenBack(self._warnings)
        taken = [back.by(w) for w in self._warnings if _is_of(w, told)]
        # An update that was told under the same alert carried it on.
        over = [w.sent for w in taken if w is not None and not _is_of(w, told)]
        ends = min([told.until, *over])
        return replace(said, closes_until=ends + AFTER_THUNDER)

    def _why_over(self, told: Told) -> str:
        service = one_line(told.service)
        heard = self._listening.get(told.service)
        if heard is None:
            return f"{service} is no longer among the services of the show folder"
        if told.unplaced:
            return f"{service} has none left whose area is not known"
        zone, back = self._show.site.timezone, TakenBack(self._warnings)
        ours = [w for w in self._warnings if _is_of(w, told)]
        for later in (back.by(w) for w in ours):
            if later is not None and later.msg_type.lower() == "cancel":
                return f"cancelled by {service}, {dated(later.sent, zone)}"
        if told.until is not None and told.until <= self._now:
            unread = heard.read_at is not None and heard.read_at < told.until
            more = (
                f"; {service} could not be read since, so look yourself whether it was drawn out"
                if unread
                else ""
            )
            return f"its time is over since {dated(told.until, zone)}{more}"
        if any(back.by(w) is not None for w in ours):
            return f"a later message of {service} takes its place, and is not for the site"
        return "by the show folder as it is now it is not for the site"

    # ---- those of which it is not known whether they are for the site

    def _unplaced(self, service: str, loose: Sequence[OfficialWarning]) -> None:
        told = next((t for t in self._open if t.unplaced and t.service == service), None)
        if not loose:
            return
        messages = tuple(dict.fromkeys(_message(w) for w in loose))
        if told is not None:
            self._open.remove(told)
            is_new = any(not any(names(m, old) for old in told.messages) for m in messages)
            since = self._now - told.alert.at
            if not is_new or timedelta(0) <= since < AGAIN_AFTER:
                # What is new meanwhile is not forgotten: it stays untold until the hour is over.
                known = tuple(m for m in messages if any(names(m, old) for old in told.messages))
                self._kept.append(replace(told, messages=known))
                return
        said = self._loose_said(service, loose)
        number = self._new_id() if told is None else told.alert.id
        alert = self._alert(number, "notice", said, "", None)
        self._changes.append(Change(alert, "official warnings whose area is not known"))
        self._kept.append(Told(alert, service, messages, unplaced=True))

    def _loose_said(self, service: str, loose: Sequence[OfficialWarning]) -> Official:
        zone = self._show.site.timezone
        paragraphs: list[str] = []
        for warning in loose[:_MOST_QUOTED]:
            paragraphs += quoted(warning)
        named = [
            f"{one_line(w.title)}: {without_calls(one_line(w.place)) or 'no area given'}, "
            f"until {dated(w.until, zone)}."
            for w in loose[:_MOST_NAMED]
        ]
        left = len(loose) - len(named)
        more = [f"And {left} more."] if left else []
        count = "one warning" if len(loose) == 1 else f"{len(loose)} warnings"
        return Official(
            service=service,
            event=f"{count} whose area is not known",
            quoted=tuple(paragraphs),
            said=(*named, *more, UNPLACED),
        )

    # ---- as an alert

    def _official(self, warning: OfficialWarning) -> Official:
        more = self._listening[warning.service].thunder_words
        return official(
            warning,
            self._show.site.timezone,
            placed=True,
            thunder=is_thunder(warning, more),
            closes=closes_work(warning, more),
        )

    def _new_id(self) -> str:
        self._number += 1
        return f"official-warning-{self._number}"

    def _alert(
        self,
        alert_id: str,
        stage: Stage,
        said: Official,
        reason: str,
        warning: OfficialWarning | None,
    ) -> Alert:
        more = () if warning is None else self._listening[warning.service].thunder_words
        thunder = warning is not None and is_thunder(warning, more)
        return Alert(
            id=alert_id,
            kind="weather",
            stage=stage,
            action=None,
            position=None,
            fixtures=(),
            count=0,
            people=0,
            minutes=None,
            isolate_at=None,
            start_by=None,
            do_by=None,
            members=0,
            probability=None,
            at=self._now,
            reason=one_line(reason),
            cautions=(cautions.LIGHTNING,) if thunder else (),
            facts=Facts(
                site_name=self._show.site.name,
                timezone=self._show.site.timezone.key,
                next_word_at=self._next_word_at,
                official=said,
            ),
        )


def _message(warning: OfficialWarning) -> Reference:
    return Reference(warning.sender, warning.identifier, warning.sent)


def _together(known: Sequence[Reference], warning: OfficialWarning) -> tuple[Reference, ...]:
    return tuple(dict.fromkeys((*known, _message(warning))))[-50:]


def _times(told: Told) -> tuple[datetime | None, datetime | None]:
    return told.begins, told.until


def _is_of(warning: OfficialWarning, told: Told) -> bool:
    return warning.service == told.service and any(names(m, warning) for m in told.messages)
