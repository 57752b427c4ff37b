"""Official warnings in a report: quoted as sent, with who sent them and when."""

from __future__ import annotations

from pathlib import Path

import pytest
from report.report_samples import Page, after, fixture, show
from warned.warned_samples import FAR_FROM_THE_SITE, cap

from monitor.domain import WarningsFrom
from monitor.feeds.cap import read_cap
from monitor.report import material_from
from monitor.report.page import page
from monitor.show import ShowFolder
from monitor.store.database import open_database
from monitor.store.warnings import record_message

SERVICE = WarningsFrom("Meadow Office", "https://warn.example.org/cap")
HERE = "51.4,-0.1 51.4,0.1 51.6,0.1 51.6,-0.1 51.4,-0.1"


@pytest.fixture
def db(tmp_path):
    with open_database(tmp_path / "dryspell.db") as opened:
        yield opened


def said(db, **changes):
    described = show(fixture(), revision="r1", **changes)
    return Page(page(material_from(db, ShowFolder(Path("show"), described, (), {}), after(6)))).said


def test_a_warning_is_quoted_with_its_source(db):
    for name, polygon in (("W1", HERE), ("W2", FAR_FROM_THE_SITE), ("W3", "")):
        raw = cap(
            name,
            sent=after(1),
            expires=after(5).isoformat(),
            polygon=polygon,
            description=f"Hail & wind of {name}.",
        )
        record_message(db, read_cap(raw, SERVICE.name, None), raw, after(1))
    text = said(db, warnings=(SERVICE,))
    assert "Yellow warning of thunderstorms" in text
    assert "Hail & wind of W1." in text
    assert "By Meadow Office (Weather Office Example)" in text
    # for somewhere else: not in the report; for nowhere named: there, and in doubt
    assert "W2" not in text
    assert "Hail & wind of W3." in text
    assert "Its area is not known here" in text
    assert "does not mean that nothing comes" in text


def test_none_is_no_promise(db):
    text = said(db, warnings=(SERVICE,))
    assert "None for the site was read in this period." in text
    assert "does not mean that nothing comes" in text
    assert "No official warning service was read." in said(db)


FIRST = f"warn@weather.example,W1,{after(1).isoformat()}"


def keep(db, name, hour, **more):
    raw = cap(name, sent=after(hour), expires=after(5).isoformat(), polygon=HERE, **more)
    record_message(db, read_cap(raw, SERVICE.name, None), raw, after(hour))


def test_one_that_was_cancelled_stands_once_and_says_when(db):
    keep(db, "W1", 1, description="Hail of W1.")
    keep(db, "W2", 2, msg_type="Cancel", references=FIRST, description="Hail of W1.")
    text = said(db, warnings=(SERVICE,))
    assert text.count("Hail of W1.") == 1
    # 14:00Z is 15:00 on site
    assert "Cancelled at Thu 1 Jul 15:00." in text


def test_one_that_was_replaced_says_so_and_its_follower_stands_beside_it(db):
    keep(db, "W1", 1, description="Hail of W1.")
    keep(db, "W2", 2, msg_type="Update", references=FIRST, description="Hail of W2.")
    text = said(db, warnings=(SERVICE,))
    assert "Replaced by a later message at Thu 1 Jul 15:00." in text
    assert ("Hail of W1." in text, "Hail of W2." in text) == (True, True)
