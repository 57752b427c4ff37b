"""Thunder: one stop for the whole site, and when it ends. Pure."""

from __future__ import annotations

from dataclasses import replace

from monitor.alerts.open_alert import SITE, SPENT, OpenAlert
from monitor.alerts.step import Step
from monitor.alerts.taken_back import thunder_stands
from monitor.alerts.words import in_row
from monitor.domain import Alert, Facts
from monitor.planning.workable import Span

_OVER = (
    "30 minutes have passed since the last hour with thunder, forecast or officially "
    "warned of; people on site declare work outdoors and at height open again"
)


def thunder(step: Step) -> None:
    """Raise the stop, let it stand, or end it."""
    span = step.plan.thunder
    opened = next((o for o in step.state.open if o.family == SITE), None)
    if opened is None:
        if span is not None:
            raised = _thundering(step, OpenAlert(SITE, _alert(step)), span)
            step.tell(raised, span.says or "thunder in this hour's weather")
    elif span is not None:
        step.keep(_thundering(step, opened, span))
    elif step.plan.blind or not step.source.reliable or thunder_stands(opened, step.plan, step.now):
        step.keep(opened)
    else:
        facts = replace(opened.alert.facts, blocked_by=None, blocked_until=None)
        alert = replace(opened.alert, stage="stood-down", facts=facts)
        step.tell(replace(opened, alert=alert), _OVER, close=True)
    # Also where no weather has it any more and the stop has not been lifted.
    step.thundery = any(o.family == SITE for o in step.open)


def _alert(step: Step) -> Alert:
    site = step.show.site
    return Alert(
        id=step.new_id(SITE),
        kind="stop",
        stage="stop",
        action=None,
        position=None,
        fixtures=(),
        count=0,
        people=0,
        minutes=None,
        isolate_at=_isolation_points(step),
        start_by=None,
        do_by=None,
        members=0,
        probability=None,
        at=step.now,
        reason="",
        facts=Facts(
            site_name=site.name,
            timezone=site.timezone.key,
            position_name=site.name,
            extra=_wet_and_live(step),
        ),
    )


def _thundering(step: Step, opened: OpenAlert, span: Span) -> OpenAlert:
    """The stop with what would have to end before it may: who says so, and until when."""
    facts = step.facts(opened.alert.facts, span)
    return replace(
        opened,
        alert=replace(opened.alert, facts=facts),
        heard=tuple(sorted({*opened.heard, *step.plan.thunder_heard})),
        # An official warning ends by its own word, not by the forecast's.
        said_at=step.now if span.says is None else opened.said_at,
    )


def _wet_and_live(step: Step) -> tuple[str, ...]:
    """Where an order to isolate stands that nobody has logged."""
    places = [
        step.show.positions[o.alert.position].name
        for o in step.state.open
        if o.family == SPENT and o.alert.position is not None and o.action == "isolate"
    ]
    return (f"Wet and live, keep off: {in_row(places)}",) if places else ()


def _isolation_points(step: Step) -> str | None:
    """Where power is cut for what is at stake now; for all of the rig where nothing is."""
    at_stake = [job.position for job in step.plan.jobs]
    at_stake += [o.alert.position for o in step.state.open if o.alert.position is not None]
    named = [step.show.positions[p].isolate_at for p in dict.fromkeys(at_stake)]
    if not any(named):
        named = [position.isolate_at for position in step.show.positions.values()]
    return "; ".join(dict.fromkeys(point for point in named if point)) or None
