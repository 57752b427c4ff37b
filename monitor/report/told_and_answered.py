"""Who was told of each alert and when, whose turn came next and why, and who answered what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from monitor.alerts.words import in_row, one_line
from monitor.report.came import answer

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.domain import Turn
    from monitor.report.jobs import Job
    from monitor.report.material import Material
    from monitor.report.site_times import SiteTimes
    from monitor.store.outbox import Delivery

_BECAUSE: dict[Literal["told", "no-answer", "cannot", "not-delivered"], str] = {
    "told": "",
    "no-answer": "nobody had answered",
    "cannot": "cannot was answered",
    "not-delivered": "those before could not be reached",
}
_NOT_SENT = {
    "queued": "waiting",
    "given-up": "given up",
    "cancelled": "overtaken by later word",
}


@dataclass(frozen=True, slots=True)
class Heard:
    """One alert: what its people were told, and what they said."""

    job: Job
    told: tuple[str, ...]
    answered: tuple[str, ...]


def told_and_answered(
    material: Material, jobs: tuple[Job, ...], times: SiteTimes
) -> tuple[Heard, ...]:
    """A row for each alert that somebody was told of, or answered."""
    starts = {id(job): job.told[0].at for job in jobs}
    found = []
    for job in jobs:
        mine = job.told[0].alert.id
        back = [starts[id(o)] for o in jobs if o.told[0].alert.id == mine and o is not job]
        first = starts[id(job)]
        end = min((at for at in back if at > first), default=None)
        turns = [
            turn
            for turn in material.turns
            if turn.alert == mine
            and turn.contacts
            and first <= turn.at
            and (end is None or turn.at < end)
        ]
        told = tuple(dict.fromkeys(_turn(material, turn, times) for turn in turns))
        answered = tuple(answer(said, times) for said in job.answered)
        if told or answered:
            found.append(Heard(job, told, answered))
    return tuple(found)


def _turn(material: Material, turn: Turn, times: SiteTimes) -> str:
    """`Fri 16 Jul 20:03 Bex mail, Moss mail at 20:06: start, nobody had answered`."""
    names: list[str] = []
    for contact in turn.contacts:
        sent = _sent(material, turn, contact)
        name = one_line(contact)
        if isinstance(sent, str):
            names.append(f"{name} ({sent})")
        elif sent is not None and times.at(sent) != times.at(turn.at):
            names.append(f"{name} (sent {times.at(sent)})")
        else:
            names.append(name)
    why = _BECAUSE[turn.because]
    stage = turn.stage.replace("-", " ")
    return f"{times.at(turn.at)} {in_row(names)}: {stage}" + (f", {why}" if why else "")


def _sent(material: Material, turn: Turn, contact: str) -> datetime | str | None:
    """When the word left, or why it did not; None where nothing of it was kept."""
    kept: list[Delivery] = [
        delivery
        for delivery in material.deliveries
        if delivery.row.contact == contact
        and delivery.row.message.alert_id == turn.alert
        and delivery.row.queued_at == turn.at
    ]
    left = [d.settled_at for d in kept if d.state == "sent" and d.settled_at is not None]
    if left:
        return min(left)
    return next((_NOT_SENT[d.state] for d in kept if d.state in _NOT_SENT), None)
