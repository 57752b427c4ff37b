"""A fault in what only sums up takes no order back, and is told."""

from __future__ import annotations

from datetime import timedelta

import pytest
from service_stage import RECORD_FEED, START, record

from monitor.service import cycle
from monitor.store.history import open_alerts
from monitor.store.outbox import deliveries

RAIN_SOON = record({3: 40.0, 4: 40.0}, hours=60)
"""Enough for anything with a limit, three hours after the start."""


def broken(*_):
    raise ZeroDivisionError("no height left on the sheet")


@pytest.mark.parametrize("part", ["before_sleep", "rain_over", "briefings_due"])
def test_an_order_is_kept_where_a_sheet_cannot_be_made(stage, monkeypatch, part):
    made = stage(feeds=RECORD_FEED, files={"weather.csv": RAIN_SOON})
    made.poll()
    monkeypatch.setattr(cycle, part, broken)
    made.now = START + timedelta(minutes=1)
    told = made.run()
    assert any(message.kind == "work" for message in told)
    assert [kept.alert.kind for kept in open_alerts(made.db)].count("work") >= 1
    assert any(d.row.message.kind == "work" for d in deliveries(made.db))
    assert isinstance(made.cycle.sums_fault, ZeroDivisionError)
    monkeypatch.undo()
    made.now += timedelta(minutes=1)
    made.run()
    assert made.cycle.sums_fault is None
