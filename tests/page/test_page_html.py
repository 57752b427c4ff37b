"""The pages as a browser gets them, read back by the standard library's parser."""

from __future__ import annotations

import gzip
import re
from datetime import timedelta
from urllib.parse import urlsplit

import pytest
from page_site import THURSDAY, Stage, demo_folder, grown, hours_until
from read_html import read

from monitor.domain import LogEntry
from monitor.store.history import record_log
from monitor.web import look

PAGES = (
    "/",
    "/rig",
    "/rig/downstage-truss",
    "/rig/bar-canopy?fixture=BAR-05",
    "/sky",
    "/history",
    "/feeds",
    "/print",
)


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """Thursday 21:40 on site, two hours watched, and some of it covered. Only looked at."""
    stage = Stage(demo_folder(tmp_path_factory.mktemp("evening") / "show"))
    stage.log(LogEntry(THURSDAY - timedelta(hours=8), "covered", position="downstage-truss"))
    stage.evaluate(*hours_until(THURSDAY, 2))
    return stage


@pytest.mark.parametrize("path", PAGES)
def test_every_page_stands_alone(evening, path):
    """Nothing inline, nothing from elsewhere, and nothing that the page's policy forbids."""
    answer = evening.client().get(path)
    page = read(answer)
    for element in page.all():
        assert "style" not in element.attrs
        assert not [name for name in element.attrs if name.startswith("on")]
        for name in ("href", "src", "action"):
            link = urlsplit(element.attrs.get(name) or "")
            assert not link.scheme
            assert not link.netloc
    assert not page.all("style")
    assert all(script.attrs.get("src") for script in page.all("script"))
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", PAGES)
def test_headings_names_and_ids(evening, path):
    page = read(evening.client().get(path))
    assert len(page.all("h1")) == 1
    assert page.one("html").attrs["lang"] == "en"
    ids = [e.attrs["id"] for e in page.all() if "id" in e.attrs]
    assert len(ids) == len(set(ids))
    for button in page.all("button"):
        assert button.text or "hidden" in button.attrs
    for field in [*page.all("select"), *page.all("input")]:
        if field.attrs.get("type") != "hidden":
            assert any(field in label.all() and label.text for label in page.all("label"))


@pytest.mark.parametrize("path", PAGES)
def test_every_form_names_itself_its_device_and_the_way_back(evening, path):
    page = read(evening.client().get(path))
    seen = set()
    for form in page.all("form", class_="say"):
        hidden = {e.attrs["name"]: e.attrs["value"] for e in form.all("input", type="hidden")}
        assert form.attrs["method"] == "post"
        assert form.attrs["action"] in {
            f"/say/{kind}" for kind in ("answer", "log", "declare", "rain", "take-back")
        }
        assert hidden["csrf"]
        assert hidden.get("back", "/") == urlsplit(path).path
        assert hidden["id"] not in seen
        seen.add(hidden["id"])


@pytest.mark.parametrize("path", PAGES)
def test_a_guest_has_nothing_to_press(evening, path):
    page = read(evening.client("guest", "Visitor").get(path))
    assert not page.all("form")
    assert not page.all("button")


def test_a_stranger_sees_nothing(evening):
    for path in PAGES:
        answer = evening.app().test_client().get(path, headers={"Accept": "text/html"})
        assert answer.status_code == 401
        assert "Delay tower" not in answer.get_data(as_text=True)


def test_a_card_says_what_where_how_many_who_and_by_when(stage):
    stage.evaluate(THURSDAY)
    stage.tell(
        "own-1",
        "tower-a",
        "cover",
        count=3,
        people=2,
        minutes=23.4,
        start_by=THURSDAY + timedelta(minutes=10),
        do_by=THURSDAY + timedelta(minutes=70),
        who=("Suki Lind", "Dario Penn"),
        covers=(("Clear dome", 3),),
        isolate_at="DIST-DTA",
    )
    card = read(stage.client().get("/")).one("article", id="a-own-1")
    # 20:40Z + 10 min = 20:50Z, 21:50 on site; 23.4 min are said as 24, never less.
    assert card.one("h3").text == "Cover 3: Delay tower A"
    assert card.one(class_="count").attrs["data-until"] == "2027-07-15T20:50:00Z"
    for said in (
        "Start by 21:50",
        "in 10 min",
        "Finish by 22:50",
        "24 min",
        "2 people: Suki Lind, Dario Penn",
        "3 × Clear dome",
        "Isolate first: DIST-DTA",
        "Nobody has answered yet.",
    ):
        assert said in card.text
    form = card.one("form")
    hidden = {e.attrs["name"]: e.attrs["value"] for e in form.all("input", type="hidden")}
    assert hidden["alert"] == "own-1"
    pressed = [(b.attrs["value"], b.text) for b in form.all("button") if "hidden" not in b.attrs]
    assert pressed == [
        ("doing", "Doing"),
        ("done", "Done"),
        ("cannot", "It cannot be done"),
        ("not-needed", "It is not needed"),
    ]
    # The enter key in the note presses the first button of the form: never a promise.
    assert form.all("button")[0].attrs["value"] == "cannot"
    reasons = [e.attrs["value"] for e in form.one("select", name="because").all("option")]
    assert reasons == ["", "no-lift", "too-windy", "act-on-stage", "no-cover", "other"]


def test_a_stop_stands_first_and_nobody_is_asked_to_begin(stage):
    stage.evaluate(THURSDAY)
    stage.tell(
        "site-9",
        None,
        None,
        kind="stop",
        stage="stop",
        blocked_by="thunder",
        blocked_until=THURSDAY + timedelta(hours=2),
    )
    stage.tell("own-1", "tower-a", "cover", start_by=THURSDAY + timedelta(minutes=10))
    page = read(stage.client().get("/"))
    main = page.one("main")
    first = next(c for c in main.children if not isinstance(c, str))
    assert "stop" in first.attrs["class"]
    assert "STOP" in first.one("h2").text
    assert "Not before 23:40" in first.text
    assert not page.all("button", value="doing")
    assert "Not while the stop stands." in page.one("article", id="a-own-1").text


def test_no_words_that_are_cues(evening):
    """These are said on the same radios and mean something else there."""
    client = evening.client()
    for path in PAGES:
        text = read(client.get(path)).one("body").text.lower()
        assert not re.search(r"\b(go|stand by|standby|all clear)\b", text)


def test_the_rig_says_what_is_covered(evening):
    """The demo's downstage truss has 15 rows; covered at 12:40Z, 13:40 on site."""
    page = read(evening.client().get("/rig"))
    place = next(a for a in page.all("article") if a.one("h2").text == "Downstage truss")
    assert "15 of 15 under covers since 13:40: Elastic bag" in place.text


def test_a_position_shows_its_rows_and_takes_a_log(evening):
    page = read(evening.client().get("/rig/bar-canopy?fixture=BAR-05"))
    assert page.one("h1").text == "Bar canopy"
    assert len(page.one("ul", class_="rows").all("li")) == 6
    assert page.one("option", selected=None, value="BAR-05").attrs.get("selected", 0) is None
    form = page.one(id="log").one("form")
    hidden = {e.attrs["name"]: e.attrs["value"] for e in form.all("input", type="hidden")}
    assert hidden["position"] == "bar-canopy"
    entries = {b.attrs["value"] for b in form.all("button", name="entry")}
    assert entries == {
        "covered",
        "uncovered",
        "brought-in",
        "put-out",
        "isolated",
        "energised",
        "inspected",
        "wet",
        "cleaned",
        "capped",
        "uncapped",
        "moved",
    }
    results = [e.attrs["value"] for e in form.all("input", name="result")]
    assert results == ["dry", "damp", "water-inside", "not-tested"]


def test_names_are_text_and_nothing_else(tmp_path):
    folder = demo_folder(tmp_path / "show")
    path = folder / "show.toml"
    text = path.read_text(encoding="utf-8")
    name = '<b onclick=x>Truss</b> & "q" جسر ' + "W" * 40
    path.write_text(
        text.replace('"Downstage truss"', f"'{name}'"),
        encoding="utf-8",
    )
    stage = Stage(folder)
    stage.evaluate(THURSDAY)
    client = stage.client(name="<i>Ines</i>")
    for path in PAGES:
        page = read(client.get(path))
        assert not page.all("i", class_=None, onclick="x")
        assert not [b for b in page.all("b") if "onclick" in b.attrs]
        assert "<i>Ines</i>" in page.one("header").text
    assert read(client.get("/rig/downstage-truss")).one("h1").text == name


def test_history_newest_first_in_pages_and_corrections_are_marked(stage):
    """60 entries: 50 on the first page, 10 on the second."""
    stage.evaluate(THURSDAY)
    with stage.db() as db:
        for table in ("alert_changes",):
            before = db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
        for n in range(60 - before):
            at = THURSDAY + timedelta(seconds=n)
            record_log(db, LogEntry(at, "covered", position="bar-canopy", by=f"n{n}"), f"k{n}", at)
        last = THURSDAY + timedelta(minutes=9)
        record_log(
            db, LogEntry(last, "uncovered", position="bar-canopy", by="late"), "new", last, "k3"
        )
    client = stage.client()
    first = read(client.get("/history")).one("ol", class_="lines").all("li")
    second = read(client.get("/history?page=2")).one("ol", class_="lines").all("li")
    assert (len(first), len(second)) == (50, 11)
    assert "uncovered" in first[0].text
    assert "late" in first[0].text
    marked = [line for line in first + second if "counts no more" in line.text]
    assert len(marked) == 1
    assert "n3" in marked[0].text
    assert read(client.get("/history?page=x")).one("h1").text == "What happened"


def test_feeds_and_messages_with_their_age(evening):
    page = read(evening.client().get("/feeds"))
    text = page.one("main").text
    assert "weather.csv" in text
    assert "Reaches to" in text
    assert "No person is being told" in text
    assert "No official warning service is read" in text


def test_the_print_list_ticks_what_is_covered(evening):
    page = read(evening.client().get("/print"))
    sheet = next(s for s in page.all("section", class_="sheet") if "Downstage" in s.one("h2").text)
    rows = sheet.one("tbody").all("tr")
    assert len(rows) == 15
    assert all(len(row.all("i", class_="ticked")) == 1 for row in rows)


@pytest.mark.parametrize("kind", ["handover", "daily"])
def test_sheets(evening, kind):
    answer = evening.client().get(f"/sheet/{kind}")
    assert read(answer).all("h1")
    assert "style-src 'sha256-" in answer.headers["Content-Security-Policy"]


@pytest.mark.parametrize("path", ["/rig/nowhere", "/sheet/other", "/static/none.css"])
def test_what_is_not_there(evening, path):
    assert evening.client().get(path).status_code == 404


def test_before_the_first_evaluation_orders_stand_all_the_same(stage):
    stage.tell("own-1", "tower-a", "cover", start_by=THURSDAY + timedelta(minutes=40))
    client = stage.client()
    page = read(client.get("/"))
    assert "Nothing is worked out yet." in page.text
    assert page.one("article", id="a-own-1")
    for path in ("/rig", "/rig/tower-a", "/sky", "/feeds", "/print", "/sheet/daily"):
        read(client.get(path))


def test_files_beside_are_kept_for_ever_and_named_by_what_is_in_them(evening):
    client = evening.client()
    href = read(client.get("/")).one("link", rel="stylesheet").attrs["href"]
    assert re.fullmatch(r"/static/duty\.[0-9a-f]{12}\.css", href)
    answer = client.get(href)
    assert answer.status_code == 200
    assert answer.mimetype == "text/css"
    assert "immutable" in answer.headers["Cache-Control"]


def test_the_first_load_is_small(evening):
    """Everything the first page asks for, uncompressed."""
    client = evening.client()
    answer = client.get("/")
    page = read(answer)
    beside = [e.attrs["href"] for e in page.all("link")]
    beside += [e.attrs["src"] for e in page.all("script")]
    total = len(answer.data) + sum(len(client.get(address).data) for address in beside)
    assert total <= 60_000


def test_two_thousand_fixtures_are_summed_once(tmp_path, monkeypatch):
    stage = Stage(grown(demo_folder(tmp_path / "show"), 2000))
    stage.evaluate(THURSDAY)
    made = []
    whole = look.rig_now
    monkeypatch.setattr(look, "rig_now", lambda seen: made.append(seen) or whole(seen))
    client = stage.client()
    for path in PAGES[:5]:
        read(client.get(path))
    assert len(made) == 1
    rows = read(client.get("/rig/downstage-truss")).one("ul", class_="rows").all("li")
    assert len(rows) == 100


def test_files_beside_are_sent_small_to_whoever_reads_that(evening):
    client = evening.client()
    href = read(client.get("/")).one("link", rel="stylesheet").attrs["href"]
    whole = client.get(href)
    packed = client.get(href, headers={"Accept-Encoding": "gzip, deflate"})
    assert "Content-Encoding" not in whole.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == whole.data
    assert packed.headers["Vary"] == whole.headers["Vary"] == "Accept-Encoding"


def test_two_things_are_declared_each_by_its_own_button(evening):
    clears = read(evening.client().get("/")).one("section", class_="clears")
    assert [h.text for h in clears.all("h3")] == ["1 Rain", "2 Work at height", "3 Power on again"]
    form = clears.one("form")
    assert [b.attrs["value"] for b in form.all("button", name="what")] == ["height", "power"]
    assert not [e for e in form.all("input") if e.attrs["type"] != "hidden"]


def test_a_position_says_that_open_connectors_count(tmp_path):
    """All 15 rows of the truss have connector codes, and none is capped."""
    folder = demo_folder(tmp_path / "show")
    path = folder / "show.toml"
    text = path.read_text("utf-8")
    ends = 'load_in_ends_at = "2027-07-16T12:00"\n'
    path.write_text(text.replace("[event]\n", f"[event]\n{ends}", 1), "utf-8")
    stage = Stage(folder)
    stage.evaluate(THURSDAY)
    said = read(stage.client().get("/rig/downstage-truss")).one("main").text
    assert "Load-in: open connectors count, on 15 here" in said
    stage.log(LogEntry(THURSDAY, "capped", position="downstage-truss"))
    stage.evaluate(THURSDAY + timedelta(minutes=1))
    said = read(stage.client().get("/rig/downstage-truss")).one("main").text
    assert "open connectors count" not in said


def test_a_position_says_what_is_dark_without_what(evening):
    """Counts off fixtures.csv by hand: 53 rows hang on DIST-STG, DIM-STG's 4 among them; of the
    15 at the downstage truss all do, and it stands at the stage lip.
    """
    lip = read(evening.client().get("/rig/stage-lip")).one(id="dark").text
    assert "Without DIST-STG 53 fixtures are dark: 16 Stage lip, 15 Downstage truss" in lip
    assert "Without DIM-STG 4 fixtures are dark: 4 Stage lip" in lip
    page = read(evening.client().get("/rig/downstage-truss"))
    assert "15 of 15 here are dark without DIST-STG" in page.one(id="dark").text
    assert page.one(id="dark").one("a").attrs["href"] == "/rig/stage-lip"
