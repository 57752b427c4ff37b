"""The duty page's addresses: what is looked at. Nothing here changes anything."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import partial
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, request

from monitor.alerts.watch import tells_nobody
from monitor.briefing.daily import daily_sheet
from monitor.briefing.handover import handover_sheet
from monitor.briefing.room import fitted
from monitor.briefing.written import as_page
from monitor.page import labels
from monitor.page.clears import clears
from monitor.page.curve import Curve, curve_of
from monitor.page.curve import picture as curve_picture
from monitor.page.feeds import KINDS, SENT, STATES, feeds_now
from monitor.page.history import lines_of
from monitor.page.outlook import closings, named_limits, sky_lines
from monitor.page.rig import logged_at
from monitor.page.sky import most_rain, window
from monitor.page.sky_picture import Strip, strip
from monitor.page.viewer import Viewer
from monitor.page.words import later
from monitor.page.work import ahead, apart, cards, in_turn, orders_at, place_name
from monitor.service.after_rain import rain_spells
from monitor.service.briefings import known_at, known_now
from monitor.service.declared import declarations
from monitor.service.failing import failing_contacts
from monitor.store.counts import last_readings
from monitor.store.happened import Happened, happened, how_many_happened, latest_deliveries
from monitor.store.history import stored_log
from monitor.store.outbox import undelivered
from monitor.units import SECONDS_PER_HOUR
from monitor.web.answers import RefusedError
from monitor.web.beside import Beside
from monitor.web.look import Look, Summed
from monitor.web.signed_in import shown_to

if TYPE_CHECKING:
    from collections.abc import Callable

    from markupsafe import Markup
    from sqlite_utils import Database

    from monitor.briefing.known import Known
    from monitor.web.place import Place

BEFORE_H, AFTER_H = 6.0, 24.0
"""What the strip on the first page shows [h]."""
DAYS_SHOWN = 3
ON_A_PAGE = 50
"""Entries of the history"""
ROWS_ON_A_PAGE = 100
"""Fixtures of a position"""
_SENT_SHOWN = 20
_LOGGED_SHOWN = 10
_SHEETS = {"handover": handover_sheet, "daily": daily_sheet}
_NO_POSITION = later("There is no such position in this show.")
_NO_SHEET = later("There is no such sheet.")
_STYLE = re.compile("<style>(.*?)</style>", re.DOTALL)


def add_to(app: Flask, place: Place) -> None:
    """Every page, for whoever is signed in."""
    summed, beside = Summed(), Beside()
    beside.add_to(app)

    def looked(show_it: Callable[..., Response]) -> Callable[..., Response]:
        @shown_to(place)
        def view(db: Database, viewer: Viewer, /, **values: str) -> Response:
            with db.atomic():
                look = Look.at(place, db, viewer, summed, beside.addresses, request.path)
                return show_it(look, **values)

        return view

    for path, show_it in (
        ("/", _next),
        ("/rig", _rig),
        ("/rig/<position>", _position),
        ("/sky", _sky),
        ("/history", _history),
        ("/feeds", _feeds),
        ("/print", _print),
        ("/sheet/<kind>", _sheet),
    ):
        app.add_url_rule(path, f"duty{path}", looked(show_it), methods=["GET"])


def _next(look: Look) -> Response:
    whole, show = look.whole, look.show
    plan = None if whole is None else whole.seen.found.plan
    words, times, measures = look.viewer.words, look.times, look.viewer.measures
    near, far = apart(cards(look.standing, plan, show, look.now), look.now)
    return look.page(
        "next.html.j2",
        near=near,
        later=in_turn(far, ahead(look.standing, plan, show)),
        clears=clears(
            rain_spells(look.db),
            declarations(look.db),
            show,
            stopped=any(s.alert.kind == "stop" and s.alert.position is None for s in look.standing),
        ),
        positions=show.positions,
        labels=labels,
        sky=None if whole is None else _strip(look, *window(whole.seen.at, BEFORE_H, AFTER_H)),
        sky_lines=[] if whole is None else sky_lines(whole.rig.known, words, times, measures),
        closings=[] if whole is None else closings(whole.rig.known, words, measures),
    )


def _strip(
    look: Look, from_s: float, until_s: float, name: str = "sky", most_mm_h: float | None = None
) -> Markup:
    assert look.whole is not None
    known, words = look.whole.rig.known, look.viewer.words
    lines = sky_lines(known, words, look.times, look.viewer.measures)
    return strip(
        Strip(
            look.whole.sky,
            from_s,
            until_s,
            named_limits(known, words),
            look.times,
            words,
            look.viewer.measures,
            name,
            " ".join(lines),
            most_rain(look.whole.sky, from_s, until_s) if most_mm_h is None else most_mm_h,
        )
    )


def _rig(look: Look) -> Response:
    whole = look.whole
    plan = None if whole is None else whole.seen.found.plan
    return look.page(
        "rig.html.j2",
        places=() if whole is None else whole.rig.places,
        orders=orders_at(cards(look.standing, plan, look.show, look.now)),
        labels=labels,
        cause=partial(_cause, look),
    )


def _cause(look: Look, span: Any) -> str:
    return labels.cause(span, look.viewer.words, look.viewer.measures.speed(span.gust_mps))


def _position(look: Look, position: str) -> Response:
    if position not in look.show.positions:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_POSITION)
    whole = look.whole
    found = None if whole is None else whole.rig.by_id.get(position)
    if whole is None or found is None:
        return look.page("nothing-there.html.j2", name=place_name(look.show, position))
    known = whole.rig.known
    plan = whole.seen.found.plan
    chosen = request.args.get("fixture", "")
    number = _number("page")
    rows = found.rows[(number - 1) * ROWS_ON_A_PAGE : number * ROWS_ON_A_PAGE]
    curve = curve_of(known, [row.group for row in found.rows if row.out])
    return look.page(
        "position.html.j2",
        here=found,
        rows=rows,
        page_number=number,
        pages=_pages(len(found.rows), ROWS_ON_A_PAGE),
        chosen=next((row for row in found.rows if row.fixture.id == chosen), None),
        cards=orders_at(cards(look.standing, plan, look.show, look.now)).get(position, ()),
        curve=curve,
        drawn=_curve(look, curve),
        logged=lines_of(
            [
                Happened(stored.entry.at, stored.entry, number=stored.id)
                for stored in logged_at(found, stored_log(look.db))[:_LOGGED_SHOWN]
            ],
            look.show,
            look.viewer.words,
            look.times,
        ),
        positions=look.show.positions,
        labels=labels,
        cause=partial(_cause, look),
        known_name=partial(place_name, look.show),
    )


def _curve(look: Look, curve: Curve) -> Markup:
    words = look.viewer.words
    label = words.say("How much of the allowance is used, until now and on the forecast")
    return curve_picture(curve, look.times, words, label, "used")


def _sky(look: Look) -> Response:
    whole = look.whole
    if whole is None:
        return look.page(
            "sky.html.j2", strips=[], sky_lines=[], closings=[], members=0, labels=labels
        )
    words, measures = look.viewer.words, look.viewer.measures
    from_s, _ = window(whole.seen.at, BEFORE_H, 0.0)
    day_s = 24.0 * SECONDS_PER_HOUR
    most = most_rain(whole.sky, from_s, from_s + DAYS_SHOWN * day_s)
    strips = [
        _strip(look, from_s + n * day_s, from_s + (n + 1) * day_s, f"sky-{n}", most)
        for n in range(DAYS_SHOWN)
    ]
    return look.page(
        "sky.html.j2",
        strips=strips,
        sky_lines=sky_lines(whole.rig.known, words, look.times, measures),
        closings=closings(whole.rig.known, words, measures),
        members=whole.sky.members,
        labels=labels,
    )


def _history(look: Look) -> Response:
    number = _number("page")
    found = happened(look.db, ON_A_PAGE, (number - 1) * ON_A_PAGE)
    return look.page(
        "history.html.j2",
        lines=lines_of(found, look.show, look.viewer.words, look.times),
        page_number=number,
        pages=_pages(how_many_happened(look.db), ON_A_PAGE),
    )


def _feeds(look: Look) -> Response:
    show, db = look.show, look.db
    return look.page(
        "feeds.html.j2",
        all=feeds_now(
            show,
            () if look.whole is None else look.whole.seen.sights,
            last_readings(db),
            look.standing,
            undelivered(db, look.now),
            failing_contacts(db),
            latest_deliveries(db, _SENT_SHOWN),
            look.now,
        ),
        told_nobody=tells_nobody(show.contacts),
        states=STATES,
        sent=SENT,
        kinds=KINDS,
    )


def _print(look: Look) -> Response:
    whole = look.whole
    plan = None if whole is None else whole.seen.found.plan
    found = cards(look.standing, plan, look.show, look.now)
    return look.page(
        "print.html.j2",
        places=() if whole is None else whole.rig.places,
        orders=orders_at(found),
        cover_name=partial(_cover_name, look),
        labels=labels,
        cause=partial(_cause, look),
    )


def _cover_name(look: Look, cover: str | None) -> str:
    known = None if cover is None else look.show.covers.get(cover)
    return "–" if known is None else known.name


def _sheet(look: Look, kind: str) -> Response:
    made = _SHEETS.get(kind)
    if made is None:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_SHEET)
    text = as_page(fitted(partial(made, _known(look))))
    style = _STYLE.search(text)
    digest = b"" if style is None else hashlib.sha256(style[1].encode()).digest()
    policy = (
        f"default-src 'none'; style-src 'sha256-{base64.b64encode(digest).decode()}'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    headers = {"Content-Security-Policy": policy, "X-Robots-Tag": "noindex"}
    return Response(text, headers=headers, mimetype="text/html")


def _known(look: Look) -> Known:
    """What a sheet says: of the last evaluation; before the first it is worked out."""
    place = look.place
    if look.whole is None:
        return known_now(look.db, place.watch, look.now)
    return known_at(look.db, look.whole.seen)


def _number(name: str) -> int:
    """A page's number from the address; anything else is the first."""
    said = request.args.get(name, "")
    return max(1, int(said)) if said.isascii() and said.isdigit() and len(said) < 6 else 1


def _pages(count: int, on_each: int) -> int:
    return max(1, -(-count // on_each))
