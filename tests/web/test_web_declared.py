"""Readings, declarations and the three clears, from outside."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from web_site import bearer, now, raise_alert, stamp

from monitor.planning.rain_over import Spell
from monitor.service.after_rain import SPELLS_KEY
from monitor.store.chain import verify
from monitor.store.declared import declared
from monitor.store.history import log_entries, remember
from monitor.units import to_epoch

LOG, DECLARATIONS, STATE = "/api/v1/log", "/api/v1/declarations", "/api/v1/state"


def word(**more):
    return {"id": str(uuid.uuid4()), **more}


# ---------------------------------------------------------------- readings


@pytest.mark.parametrize(("earth", "insulation"), [(0.31, 250), ("0.31", "250"), ("0,31", None)])
def test_readings_are_numbers_or_texts(site, earth, insulation):
    one = word(entry="inspected", fixture="WASH", result="damp", earth_ohm=earth)
    one["insulation_mohm"] = insulation
    answer = site.post(LOG, one)
    assert answer.status_code == 201
    assert any("over the 0.1 ohm often used" in note for note in answer.json()["notes"])
    with site.db() as db:
        (entry,) = log_entries(db)
    assert entry.earth_ohm == 0.31
    assert entry.insulation_mohm == (None if insulation is None else 250.0)
    assert site.post(LOG, one).status_code == 200


@pytest.mark.parametrize("earth", [True, "low", -1, [0.1]])
def test_what_is_no_reading_is_refused_by_its_name(site, earth):
    bad = word(entry="inspected", fixture="WASH", result="dry", earth_ohm=earth)
    answer = site.post(LOG, bad)
    assert answer.status_code == 422
    assert "earth_ohm" in answer.text
    with site.db() as db:
        assert log_entries(db) == ()


# ---------------------------------------------------------------- declarations


def test_a_declaration_is_kept_once(site):
    one = word(what="height", position="wash", by="Odile", note="looked at")
    first = site.post(DECLARATIONS, one)
    assert first.status_code == 201
    assert "The monitor opens nothing" in first.json()["notes"][-1]
    assert site.post(DECLARATIONS, one).json() == {"id": one["id"], "known": True}
    with site.db() as db:
        assert [(d.what, d.position, d.by) for d in declared(db)] == [("height", "wash", "Odile")]
        assert verify(db).ok


def test_who_sends_it_declares_it_where_nobody_is_named(site):
    assert site.post(DECLARATIONS, word(what="power")).status_code == 201
    with site.db() as db:
        assert declared(db)[0].by.startswith("test-")


def test_a_stop_that_stands_is_answered(site):
    raise_alert(site, "site-1", None, "stop", None, stage="stop", fixtures=())
    notes = site.post(DECLARATIONS, word(what="height")).json()["notes"]
    assert notes[:2] == ["The stop at the site stands.", "Who is up comes down; nobody starts."]


@pytest.mark.parametrize(
    "bad", [{"what": "everything"}, {}, {"what": "power", "position": "nowhere"}]
)
def test_what_is_no_declaration_is_refused(site, bad):
    assert site.post(DECLARATIONS, word(**bad)).status_code == 422
    with site.db() as db:
        assert declared(db) == ()


def test_nobody_declares_without_a_token(site):
    assert site.post(DECLARATIONS, word(what="power"), token=False).status_code == 401
    answer = site.post(
        DECLARATIONS, word(what="power"), token=False, headers=bearer("dryspell_" + "x" * 43)
    )
    assert answer.status_code == 401
    assert site.get(DECLARATIONS).status_code == 405
    with site.db() as db:
        assert declared(db) == ()


# ---------------------------------------------------------------- the state


def test_the_state_keeps_three_things_apart(site):
    before = site.get(STATE).json()
    assert (before["rain"], before["declared"]) == (None, [])
    site.post(DECLARATIONS, word(what="power", by="Odile", at=stamp(now() - timedelta(hours=1))))
    site.post(DECLARATIONS, word(what="height", by="Ines"))
    began = now().replace(microsecond=0) - timedelta(minutes=30)
    with site.db() as db:
        remember(db, SPELLS_KEY, (Spell(to_epoch(began)),))
    kept = site.contents()
    state = site.get(STATE).json()
    assert state["rain"] == {"from": stamp(began), "over_at": None}
    power, height = state["declared"]
    assert (power["what"], power["stands"], power["ended_by"]) == ("power", False, "rain")
    assert "by Odile, before the rain of " in power["says"]
    # declared while it rains: to be declared again when that is over
    assert (height["what"], height["stands"], height["ended_at"]) == ("height", False, stamp(began))
    assert site.contents() == kept
    with site.db() as db:
        remember(db, SPELLS_KEY, (Spell(to_epoch(began), to_epoch(began) + 60.0),))
    power, height = site.get(STATE).json()["declared"]
    assert (power["stands"], height["stands"], height["ended_at"]) == (False, True, None)
