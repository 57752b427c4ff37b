"""From the service's own server to the crew: an official warning of thunder stops the work."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from warned_samples import (
    FAR_FROM_THE_SITE,
    NOON,
    atom,
    atom_entry,
    cap,
    reference,
    section,
    show_with_warnings,
)
from warned_server import warning_office

from monitor.alerts.lifecycle import Source, WatchState
from monitor.evaluation import evaluate
from monitor.exposure.rig import compile_rig
from monitor.feeds.record import read_record
from monitor.planning.workable import Span
from monitor.service import look_ahead
from monitor.service.asking import Asking
from monitor.service.cycle import Cycle
from monitor.service.polling import poll_all
from monitor.service.warned import (
    WarningsKept,
    lines_ahead,
    lines_on_watch,
    warning_rows,
)
from monitor.service.warned_polling import poll_warnings
from monitor.service.watched import FolderWatch
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.history import open_alerts
from monitor.store.outbox import deliveries
from monitor.units import to_epoch


def rain(first_wet_h: int, hours: int = 24) -> str:
    """A record from NOON on: 8 mm in the hour that begins `first_wet_h` later, and five more."""
    rows = [
        f"{(NOON + timedelta(hours=i)).isoformat()},60,"
        f"{8.0 if first_wet_h <= i < first_wet_h + 6 else 0.0},3,6,220,15,9,90,no"
        for i in range(hours)
    ]
    head = "starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c,cloud_pct,thunder"
    return "\n".join([head, *rows, ""])


@dataclass
class Watch:
    """A show folder, its cycle of the service and a clock."""

    folder: Any
    db: Any
    watch: FolderWatch
    now: datetime = NOON
    said: list[Any] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        self.service = Cycle(self.watch)

    @property
    def show(self) -> Any:
        return self.watch.current.show

    @property
    def kept(self) -> Any:
        return self.service.sky.warned

    def cycle(self, **span: float) -> list[tuple[str, str | None]]:
        """Poll, evaluate and tell; what was told, but for the word that somebody watches."""
        self.now += timedelta(**span)
        asking = Asking(self.show, self.folder, lambda _: "", lambda: self.now, lambda: 0.0)
        poll_all(self.db, asking)
        poll_warnings(self.db, asking)
        self.said = [m for m in self.service.run(self.db, self.now) if m.kind != "watch"]
        return sorted((m.kind, m.stage) for m in self.said)

    def one(self, kind: str) -> Any:
        (found,) = [m for m in self.said if m.kind == kind]
        return found


RECORD_FEED = '[[feeds]]\nsheet = "record"\nfile = "weather.csv"\n'


@pytest.fixture
def office():
    with warning_office() as made:
        yield made


@pytest.fixture
def watch(tmp_path, office):
    folder = tmp_path / "show"
    show_with_warnings(
        folder,
        section("Office", f"{office.url}/index", poll_minutes=1),
        feeds=RECORD_FEED,
        load_in=NOON,
        files={"weather.csv": rain(2)},
    )
    db = open_database(folder / "dryspell.db")
    yield Watch(folder, db, FolderWatch(folder, {}))
    db.conn.close()


def test_thunder_officially_warned_of_stops_the_work_and_its_end_reopens_it(office, watch):
    office.put("/index", atom())
    # 6 lamps of IP20: due before the rain of 14:00 UTC, and called an hour before they must begin
    assert watch.cycle(minutes=55) == [("work", "start")]
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", sent=watch.now, expires="2027-07-15T13:20:00+00:00"))
    assert watch.cycle(minutes=1) == [("stop", "stop"), ("weather", "notice")]
    stop, notice = watch.one("stop"), watch.one("weather")
    assert "Stop. Do not work at Lower meadow" in stop.text
    assert "Why: Official warning: Thunderstorm (Office)." in stop.text
    # 13:20 UTC and half an hour, on the site's clock
    assert "nobody works there before 14:50" in stop.text
    assert "> Yellow warning of thunderstorms" in notice.text
    for _ in range(8):
        # until 13:44: no order to do anything, whatever the rain does
        assert [m for m in watch.cycle(minutes=6) if m[0] in ("work", "stop")] == []
    assert watch.now == NOON + timedelta(minutes=104)
    told = watch.cycle(minutes=12)
    assert ("stop", "stood-down") in told
    lifted = next(m for m in watch.said if m.kind == "stop")
    assert "people on site declare work outdoors and at height open again" in lifted.text
    assert verify(watch.db).ok


def test_while_it_is_closed_no_new_work_is_asked_for(office, watch):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", expires="2027-07-15T20:00:00+00:00"))
    told = watch.cycle(minutes=1)
    assert told == [("stop", "stop"), ("weather", "notice")]
    until_the_rain = [t for _ in range(4) for t in watch.cycle(minutes=15)]
    assert until_the_rain == []
    # the rain of 14:00 UTC spends the indoor lamps, which are live: told, once, and asks for no work
    told = [t for _ in range(16) for t in watch.cycle(minutes=15)]
    assert told == [("stop", "stop")]
    assert [m.subject for m in (d.row.message for d in deliveries(watch.db))][-1:] == [
        "Stop: wet and live, keep off Lawn wash"
    ]
    assert all(m.kind != "work" for m in (d.row.message for d in deliveries(watch.db)))


def test_a_cancel_reopens_half_an_hour_later(office, watch):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", expires="2027-07-15T20:00:00+00:00"))
    watch.cycle(minutes=1)
    office.put("/index", atom(atom_entry("/w1"), atom_entry("/w2")))
    sent = watch.now
    office.put("/w2", cap("W2", msg_type="Cancel", sent=sent, references=reference("W1"), infos=""))
    assert watch.cycle(minutes=5) == [("weather", "stood-down")]
    assert watch.cycle(minutes=20) == []
    told = watch.cycle(minutes=6)
    # what waited while it was closed is told now
    assert told == [("stop", "stood-down"), ("work", "notice")]


def test_a_start_by_leaves_out_the_time_that_will_be_closed(office, watch):
    office.put("/index", atom())
    watch.cycle(minutes=1)
    before = watch.one("work").data["start_by"]
    office.put("/index", atom(atom_entry("/w1")))
    onset = "2027-07-15T12:40:00+00:00"
    office.put("/w1", cap("W1", onset=onset, expires="2027-07-15T20:00:00+00:00"))
    assert watch.cycle(minutes=1) == [("weather", "notice"), ("work", "start")]
    after = watch.one("work").data
    start_by = datetime.fromisoformat(after["start_by"])
    # all of the work has to be over when the thunder begins
    assert start_by < datetime.fromisoformat(before)
    assert start_by + timedelta(minutes=after["minutes"]) <= datetime.fromisoformat(onset)


@pytest.mark.parametrize(
    "said",
    [
        {"polygon": FAR_FROM_THE_SITE},
        {"status": "Exercise"},
        {"certainty": "Possible"},
        {"event": "Gale", "headline": "Gale"},
        {"expires": "2027-07-15T11:00:00+00:00"},
        {"area": "<area><areaDesc>The north</areaDesc></area>"},
    ],
    ids=str,
)
def test_what_does_not_close_the_site(office, watch, said):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", **said))
    assert ("stop", "stop") not in watch.cycle(minutes=1)


def test_a_lost_service_is_told_apart_and_takes_nothing_back(office, watch):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", expires="2027-07-15T13:00:00+00:00"))
    watch.cycle(minutes=1)
    office.put("/index", b"<html>Sign in</html>", kind="text/html")
    assert watch.cycle(minutes=10) == []
    told = watch.cycle(minutes=25)
    assert told == [("weather", "start")]
    (lost,) = watch.said
    assert lost.subject == (
        "Official warnings for Lower meadow cannot be read. Look at them yourself"
    )
    assert "Look yourself at Office (127.0.0.1)." in lost.text
    assert "stays in force here" in lost.text
    # its end passes unread: the warning's own words end, the stop does not
    watch.now = NOON + timedelta(minutes=100)
    assert ("stop", "stood-down") not in watch.cycle(minutes=1)
    office.put("/index", atom())
    told = watch.cycle(minutes=10)
    assert ("stop", "stood-down") in told
    assert ("weather", "stood-down") in told
    ended = [m for m in watch.said if m.kind == "weather"]
    assert any("are read again" in m.subject for m in ended)


def test_everything_is_told_once_across_a_restart(office, watch):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1"))
    watch.cycle(minutes=1)
    watch.restart()
    assert watch.cycle(minutes=1) == []
    assert {a.alert.id for a in open_alerts(watch.db)} == {"site-1", "official-warning-1"}
    rows = [d.row.message for d in deliveries(watch.db) if d.row.message.kind != "watch"]
    assert sorted(m.kind for m in rows) == ["stop", "weather"]
    told = next(m for m in rows if m.kind == "weather")
    assert json.loads(json.dumps(dict(told.data)))["official"]["service"] == "Office"


def test_lines_and_rows(office, watch):
    office.put("/index", atom(atom_entry("/w1"), atom_entry("/w2")))
    office.put("/w1", cap("W1"))
    office.put("/w2", cap("W2", polygon=FAR_FROM_THE_SITE))
    watch.cycle(minutes=1)
    lines = lines_ahead(watch.show, watch.kept, watch.now)
    assert lines[0].startswith('Official warning by Office: "Yellow warning of thunderstorms"')
    assert "  > Go indoors." in lines
    (short,) = lines_on_watch(watch.show, watch.kept, watch.now)
    assert short == lines[0]
    rows = warning_rows(watch.db, watch.show, NOON, NOON + timedelta(hours=1))
    assert [(r.warning.identifier, r.placed) for r in rows] == [("W1", True)]
    late = NOON + timedelta(hours=5)
    assert warning_rows(watch.db, watch.show, late, late + timedelta(hours=1)) == []
    (none,) = lines_ahead(watch.show, watch.kept, late)
    assert none.startswith("No official warning for the site is known from Office.")
    assert "does not mean that nothing comes" in none


def test_a_look_ahead_says_that_the_stop_outlasts_the_warning(office, watch):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", expires="2027-07-15T13:00:00+00:00"))
    watch.cycle(minutes=1)
    found = look_ahead(watch.folder, {}, clock=lambda: watch.now)
    # 13:00Z is 14:00 on site; half an hour more
    stop = "STOP. Nobody works at Lower meadow before 14:30"
    assert any(line.startswith(stop) for line in found.lines)
    assert "The official warning has ended" not in " ".join(found.lines)
    assert found.attention
    # over, and nothing in the list: the stop stays, and both are said
    office.put("/index", atom())
    watch.cycle(minutes=70)
    found = look_ahead(watch.folder, {}, clock=lambda: watch.now)
    said = " ".join(" ".join(found.lines).split())
    assert "The official warning has ended; the stop stays until 14:30" in said
    assert any(line.startswith(stop) for line in found.lines)
    assert found.attention


def test_without_a_service_that_is_said(tmp_path):
    show = show_with_warnings(tmp_path / "bare")
    assert lines_ahead(show, WarningsKept(), NOON) == [
        "No official warning service is read: look at the warnings yourself."
    ]


def test_closed_spans_stop_work_like_thunder_does(watch):
    # 12:00 to 13:30, said by somebody
    span = Span(to_epoch(NOON), to_epoch(NOON) + 5400, "thunder", says="official warning: X (Y)")
    found = evaluate(
        compile_rig(watch.show),
        past=None,
        ahead=read_record(rain(2).encode(), "weather.csv"),
        log=[],
        state=WatchState(),
        now=NOON,
        source=Source(),
        closed=[span],
    )
    assert found.plan.thunder == span
    assert found.plan.blocked["wash"].says == "official warning: X (Y)"
    assert to_epoch(NOON) + 5400 in found.plan.changes_s
    assert [(c.alert.kind, c.reason) for c in found.changes] == [
        ("stop", "official warning: X (Y)")
    ]


def test_first_words_for_elsewhere_are_not_held_and_a_moved_site_finds_them(office, watch):
    office.put("/index", atom(atom_entry("/w1")))
    office.put("/w1", cap("W1", polygon=FAR_FROM_THE_SITE))
    watch.cycle(minutes=1)
    assert watch.kept.warnings == ()
    # the shape spans 57 to 58 N and 4 to 3 W
    there = replace(watch.show, site=replace(watch.show.site, latitude=57.5, longitude=-3.5))
    watch.kept.catch_up(watch.db, there, watch.now)
    assert [w.identifier for w in watch.kept.in_force(there, watch.now)] == ["W1"]
