"""The page behind a link in a mail: opened it changes nothing, its buttons post."""

from __future__ import annotations

import base64
import email
import hashlib
import html
import re
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email import policy

import pytest
import requests
from service_site import hook_to, mail_server, mail_to
from web_site import raise_alert, served, show_folder

from monitor.alerts.delivery import deliver_one
from monitor.domain import Alert, Facts
from monitor.service.links import HOLDS, linked
from monitor.service.telling import tell
from monitor.store.answers import answers
from monitor.store.chain import verify
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand, log_entries
from monitor.store.outbox import deliveries
from monitor.web.answer_words import STYLE

AT = datetime(2027, 7, 16, 20, 0, tzinfo=UTC)
"""21:00 on the site's clock, British Summer Time."""

PUBLIC = "https://duty.example.org/site"
OUTSIDE = f'[page]\nlisten = "127.0.0.1:0"\npublic_url = "{PUBLIC}/"\n'


class Clock:
    def __init__(self):
        self.at = AT

    def __call__(self):
        return self.at


@contextmanager
def told(tmp_path, contacts, *, outside=OUTSIDE, action="cover", **limits):
    """A served show with one order told, and the clock it goes by."""
    folder = show_folder(tmp_path / "show", contacts=contacts, outside=outside)
    clock = Clock()
    with served(
        folder, clock=clock, environ={"HOOK_SECRET": "whsec_" + "A" * 32}, **limits
    ) as site:
        alert = Alert(
            id="wash-1",
            kind="work",
            stage="start",
            action=action,
            position="wash",
            fixtures=("WASH",),
            count=6,
            people=1,
            minutes=11.0,
            isolate_at="Lawn distribution",
            start_by=AT + timedelta(minutes=40),
            do_by=AT + timedelta(minutes=51),
            members=1,
            probability=None,
            at=AT,
            reason="8 mm of rain from 22:00",
            facts=Facts("Lower meadow", "Europe/London", "Lawn wash"),
        )
        with site.db() as db, immediate(db):
            tell(db, site.place.show, alert, "rain", AT)
        yield site, clock


def links_in(site):
    """(recipient, address on the loopback server) of every link of every message told."""
    with site.db() as db:
        rows = [d.row for d in deliveries(db)]
    found = []
    for row in rows:
        for link in row.message.data.get("links", ()):
            assert link["url"] in row.message.text
            assert link["url"].startswith(PUBLIC + "/answer/")
            found.append((row.recipient, link["url"].removeprefix(PUBLIC)))
    return found


def page_of(site, path, **more):
    return site.get(path, token=False, **more)


def form_of(page):
    """The hidden id of the page."""
    return re.search(r'name="id" value="([0-9a-f]+)"', page.text)[1]


def tap(site, path, **fields):
    fields = {"id": form_of(page_of(site, path)), **fields}
    return site.post(path, token=False, data=fields)


TWO = mail_to(25, "a@example.org", "b@example.org")


def test_every_link_in_every_mail_opened_changes_nothing(tmp_path):
    # a real mail, over a real server: what a scanner finds in it, text and page alike
    with mail_server() as (mailbox, port):
        people = mail_to(port, "a@example.org", "b@example.org")
        with told(tmp_path, people + hook_to("http://127.0.0.1:9/hook")) as (site, clock):
            place = site.place
            with site.db() as db:
                for _ in range(2):
                    deliver_one(
                        db, place.watch.current.contacts, clock, place.watch.secret, lambda: 0.5
                    )
            addresses = set()
            for envelope in mailbox.mails:
                mail = email.message_from_bytes(envelope.content, policy=policy.default)
                for kind in ("plain", "html"):
                    body = html.unescape(mail.get_body((kind,)).get_content())
                    here = set(re.findall(r"https?://[^\s\"<>]+", body))
                    assert here
                    addresses |= here
            assert {a.split("/answer/")[0] for a in addresses} == {PUBLIC}
            assert len(addresses) == 2
            before = site.contents()
            for address in sorted(addresses):
                path = address.removeprefix(PUBLIC)
                for headers in ({}, {"Purpose": "prefetch"}, {"Sec-Purpose": "prefetch;prerender"}):
                    assert page_of(site, path, headers=headers).status_code == 200
                head = requests.head(site.url + path, timeout=10)
                assert (head.status_code, head.content) == (200, b"")
                assert requests.options(site.url + path, timeout=10).status_code == 405
                assert page_of(site, path + "?answer=done&id=0123456789").status_code == 200
                assert page_of(site, path[:-1]).status_code == 404
            assert site.contents() == before


def test_a_link_is_for_one_alert_and_one_person(tmp_path):
    with told(tmp_path, TWO + hook_to("http://127.0.0.1:9/hook")) as (site, _):
        found = dict(links_in(site))
        assert set(found) == {"a@example.org", "b@example.org", "desk"}
        assert len(set(found.values())) == 3
        with site.db() as db:
            for recipient, path in found.items():
                known = linked(db, site.place.show, path.removeprefix("/answer/"), AT)
                assert known.alert.id == "wash-1"
                assert recipient in known.by
        # the same code does not open another change, nor a change that is not there
        code = found["desk"].partition("-")[2]
        raise_alert(site, "wash-2")
        for number in (2, 3, 99999):
            assert page_of(site, f"/answer/{number}-{code}").status_code == 404


def test_what_the_page_says(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        _, path = links_in(site)[0]
        page = page_of(site, path)
    assert page.headers["Content-Type"] == "text/html; charset=utf-8"
    assert page.headers["Cache-Control"] == "no-store"
    assert page.headers["Referrer-Policy"] == "no-referrer"
    assert page.headers["X-Robots-Tag"] == "noindex"
    security = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in security
    assert "form-action 'self'" in security
    assert "unsafe" not in security
    text = page.text
    assert '<html lang="en">' in text
    assert "Cover 6 fixtures at Lawn wash" in html.unescape(text)
    assert "21:40" in text
    assert "Lawn distribution" in text
    # every caution of the message, and nothing from elsewhere
    assert "Cautions" in text
    assert "http" not in text
    assert "<script" not in text
    buttons = re.findall(r'<button name="answer" value="([^"]+)"', text)
    assert buttons == ["doing", "done", "not-needed"]
    reasons = re.findall(r'name="because" value="([^"]+)"', text)
    assert reasons == ["no-lift", "too-windy", "act-on-stage", "no-cover", "other"]
    for word in (r"\bgo\b", r"stand by", r"all clear"):
        assert not re.search(word, re.sub(r"<[^>]+>", " ", text), re.IGNORECASE)


def test_its_style_is_the_one_its_header_allows_and_is_large_and_dark_by_night(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        page = page_of(site, links_in(site)[0][1])
    style = re.search(r"<style>(.*?)</style>", page.text, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page.headers["Content-Security-Policy"]
    assert "prefers-color-scheme: dark" in style
    heights = [int(px) for px in re.findall(r"min-height: (\d+)px", style)]
    assert heights
    assert min(heights) >= 48


def contrast(one, other):
    """WCAG 2.2: (L1 + 0.05) / (L2 + 0.05) of relative luminances, as its definition has it."""

    def luminance(colour):
        digits = colour * 2 if len(colour) == 3 else colour
        digits = "".join(c * 2 for c in colour) if len(colour) == 3 else digits
        shares = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_its_colours_are_far_enough_apart():
    # black on white is 21 to 1, by the definition itself
    assert contrast("000", "fff") == pytest.approx(21)
    themes = re.findall(r"--ink: #(\w+); --paper: #(\w+); --line: #(\w+); --quiet: #(\w+)", STYLE)
    assert len(themes) == 2
    for ink, paper, line, quiet in themes:
        assert contrast(ink, paper) >= 7
        assert contrast(quiet, paper) >= 7
        assert contrast(line, paper) >= 3


# ---------------------------------------------------------------- the buttons


@pytest.mark.parametrize(
    ("people", "by"),
    [
        (("Ruth",), "Ruth"),
        # shared, or nobody's: the contact is all that is known
        (("Ruth", "Bex"), "crew"),
        ((), "crew"),
    ],
)
def test_who_answers_is_the_person_whose_contact_it_is(tmp_path, people, by):
    crew = "".join(f'\n[[people]]\nname = "{name}"\ncontact = "crew"\n' for name in people)
    with told(tmp_path, mail_to(25, "ruth@example.org", name="crew") + crew) as (site, _):
        ((_, path),) = links_in(site)
        assert f"Done is logged now, by {by}," in page_of(site, path).text
        kept = tap(site, path, answer="done")
        assert f"Kept: {by} answered done at 21:00 when asked to cover." in kept.text
        with site.db() as db:
            assert [entry.by for entry in log_entries(db)] == [by]
            assert [answer.by for answer in answers(db)] == [by]


def test_cannot_without_a_reason_is_kept_as_another_and_says_so(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        path = links_in(site)[0][1]
        kept = tap(site, path, answer="cannot")
        assert "No reason was given: it is kept as another reason." in kept.text
        with site.db() as db:
            assert [answer.because for answer in answers(db)] == ["other"]
        told_why = tap(site, path, answer="cannot", note="the road is flooded")
        assert "No reason was given" not in told_why.text


def test_what_is_logged_and_what_is_not_is_said_once(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        text = page_of(site, links_in(site)[0][1]).text
    assert 'Only "It is done" is logged. The other answers log nothing' in text
    assert "An answer is not a log" not in text.partition("Written 21:00")[0]


def test_doing_is_kept_with_who_and_for_what_and_logs_nothing(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        kept = tap(site, dict(links_in(site))["b@example.org"], answer="doing")
        assert kept.status_code == 200
        assert (
            "Kept: crew chief (b@example.org) answered doing at 21:00 when asked to cover."
            in kept.text
        )
        with site.db() as db:
            (answer,) = answers(db)
            assert log_entries(db) == ()
            assert verify(db).ok
    assert (answer.alert, answer.answer, answer.by) == (
        "wash-1",
        "doing",
        "crew chief (b@example.org)",
    )
    assert (answer.position, answer.family, answer.fixtures) == ("wash", "protect", ("WASH",))
    assert answer.at == AT


def test_done_logs_the_work_and_tapped_twice_it_is_kept_once(tmp_path):
    with told(tmp_path, TWO) as (site, clock):
        path = links_in(site)[0][1]
        opened = form_of(page_of(site, path))
        first = tap(site, path, answer="done", id=opened)
        assert "Logged: wash covered, 21:00." in first.text
        clock.at += timedelta(seconds=1)
        again = tap(site, path, answer="done", id=opened)
        assert again.status_code == 200
        assert "It was kept before." in again.text
        with site.db() as db:
            assert [(e.entry, e.position) for e in log_entries(db)] == [("covered", "wash")]
            assert len(answers(db)) == 1


def shown_on(page):
    return re.search(r'name="shown" value="([0-9a-f]+)"', page.text)[1]


def test_an_answer_to_an_older_page_is_not_kept_for_other_work(tmp_path):
    with told(tmp_path, TWO) as (site, clock):
        path = links_in(site)[0][1]
        opened = page_of(site, path)
        older = {"id": form_of(opened), "shown": shown_on(opened)}
        kept = site.post(path, token=False, data={**older, "answer": "doing"})
        assert kept.status_code == 200
        with site.db() as db, immediate(db):
            alert = alerts_as_they_stand(db)["wash-1"]
            more = replace(alert, fixtures=("WASH", "BLINDER"), count=10)
            tell(db, site.place.show, more, "more of it", clock.at)
        refused = site.post(path, token=False, data={**older, "answer": "done"})
        assert refused.status_code == 422
        assert "The order has changed since this page was opened." in refused.text
        with site.db() as db:
            assert [a.answer for a in answers(db)] == ["doing"]
            assert log_entries(db) == ()
        # sent again, what was kept stays kept; the page that came back answers the order as it is
        again = site.post(path, token=False, data={**older, "answer": "doing"})
        assert "It was kept before." in again.text
        fresh = {"id": form_of(refused), "shown": shown_on(refused), "answer": "not-needed"}
        assert fresh["shown"] != older["shown"]
        assert site.post(path, token=False, data=fresh).status_code == 200


def test_another_answer_from_the_same_page_is_another_word(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        path = links_in(site)[0][1]
        opened = form_of(page_of(site, path))
        for answer in ("doing", "not-needed"):
            assert tap(site, path, answer=answer, id=opened).status_code == 200
        with site.db() as db:
            assert [a.answer for a in answers(db)] == ["doing", "not-needed"]
        assert "answered not needed at 21:00" in page_of(site, path).text


def test_cannot_with_reason_time_and_note(tmp_path):
    with told(tmp_path, TWO) as (site, clock):
        path = links_in(site)[0][1]
        kept = tap(
            site,
            path,
            answer="cannot",
            because="act-on-stage",
            until="23:30",
            note="after  the\nband",
        )
        assert kept.status_code == 200
        with site.db() as db:
            (answer,) = answers(db)
        # 23:30 in British Summer Time, UTC+1, is 22:30 UTC on the same day
        assert answer.until == datetime(2027, 7, 16, 22, 30, tzinfo=UTC)
        assert (answer.because, answer.note) == ("act-on-stage", "after the band")
        # half past midnight has been today: the next one is tomorrow's, 23:30 UTC today
        clock.at += timedelta(minutes=1)
        tap(site, path, answer="cannot", until="00:30")
        with site.db() as db:
            assert answers(db)[-1].until == datetime(2027, 7, 16, 23, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"answer": "perhaps"},
        {"answer": "cannot", "because": "tired"},
        {"answer": "cannot", "until": "25:00"},
        {"answer": "cannot", "until": "2020-01-01T00:00"},
        {"answer": "doing", "until": "23:00"},
        {"answer": "doing", "by": "somebody else"},
        {"answer": "doing", "id": "x"},
        {"answer": "doing", "note": "x" * 1001},
    ],
)
def test_what_cannot_be_kept_is_said_and_asked_again(tmp_path, fields):
    with told(tmp_path, TWO) as (site, _):
        path = links_in(site)[0][1]
        before = site.contents()
        refused = tap(site, path, **fields)
        assert refused.status_code == 422
        assert "Nothing was kept." in refused.text
        assert 'value="doing"' in refused.text
        assert site.contents() == before


def test_a_field_given_twice_is_no_answer(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        path = links_in(site)[0][1]
        both = [("id", "b" * 16), ("answer", "doing"), ("answer", "done")]
        assert site.post(path, token=False, data=both).status_code == 422
        with site.db() as db:
            assert (answers(db), log_entries(db)) == ((), ())


def test_only_a_form_is_read(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        path = links_in(site)[0][1]
        assert site.post(path, {"answer": "doing"}, token=False).status_code == 415
        latin = site.post(
            path,
            token=False,
            data=b"answer=doing&id=0123456789&note=%ff",
            headers={"Content-Type": "application/x-www-form-urlencoded"},
        )
        assert latin.status_code == 422
        with site.db() as db:
            assert answers(db) == ()


def test_an_inspection_is_not_done_by_a_button(tmp_path):
    with told(tmp_path, TWO, action="inspect") as (site, _):
        path = links_in(site)[0][1]
        text = page_of(site, path).text
        assert 'value="done"' not in text
        assert 'value="doing"' in text
        assert tap(site, path, answer="done").status_code == 422


# ---------------------------------------------------------------- its end


def test_it_ends_with_its_alert(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        path = links_in(site)[0][1]
        opened = form_of(page_of(site, path))
        raise_alert(site, stage="stood-down")
        before = site.contents()
        page = page_of(site, path)
        assert page.status_code == 410
        assert "This alert has ended" in page.text
        late = site.post(path, token=False, data={"id": opened, "answer": "doing"})
        assert late.status_code == 410
        assert site.contents() == before


def test_it_ends_after_seven_days(tmp_path):
    with told(tmp_path, TWO) as (site, clock):
        path = links_in(site)[0][1]
        clock.at = AT + timedelta(days=7)
        assert page_of(site, path).status_code == 200
        clock.at += timedelta(seconds=1)
        assert page_of(site, path).status_code == 410
    assert timedelta(days=7) == HOLDS


def test_it_ends_when_its_person_is_taken_out_of_the_show(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        found = dict(links_in(site))
        show = site.folder / "show.toml"
        show.write_text(show.read_text().replace('"a@example.org", ', ""))
        site.place.watch.look()
        assert site.place.watch.look()
        assert page_of(site, found["a@example.org"]).status_code == 404
        assert page_of(site, found["b@example.org"]).status_code == 200


def test_a_stop_has_no_buttons(tmp_path):
    with told(tmp_path, TWO) as (site, _):
        path = links_in(site)[0][1]
        raise_alert(site, kind="stop", stage="stop", action=None)
        page = page_of(site, path)
        assert page.status_code == 200
        assert "<button" not in page.text
        with site.db() as db, immediate(db):
            stop = alerts_as_they_stand(db)["wash-1"]
            tell(db, site.place.show, stop, "wind", AT)
        assert len(links_in(site)) == 2


def test_guessing_is_slowed_and_a_right_link_is_not(tmp_path):
    with told(tmp_path, TWO, failures={"at_once": 3, "per_second": 0.001}) as (site, _):
        path = links_in(site)[0][1]
        wrong = f"/answer/1-{'A' * 22}"
        answered = [page_of(site, wrong).status_code for _ in range(4)]
        assert answered == [404, 404, 404, 429]
        assert site.post(wrong, token=False, data={"answer": "done"}).status_code == 429
        assert page_of(site, path).status_code == 200
        assert tap(site, path, answer="doing").status_code == 200


def test_a_link_used_too_often_is_slowed(tmp_path):
    with told(tmp_path, TWO, posts={"at_once": 2, "per_second": 0.001}) as (site, _):
        path = links_in(site)[0][1]
        said = [tap(site, path, answer="doing").status_code for _ in range(3)]
        assert said == [200, 200, 429]


@pytest.mark.parametrize(
    "address", ["", "1", "0-" + "A" * 22, "1-" + "A" * 21, "1-" + "A" * 23, "1-" + "é" * 22, "x/y"]
)
def test_what_is_no_link(tmp_path, address):
    with told(tmp_path, TWO) as (site, _):
        before = site.contents()
        assert page_of(site, f"/answer/{address}").status_code == 404
        assert site.contents() == before


# ---------------------------------------------------------------- without an address


def test_without_public_url_the_text_says_how_to_answer(tmp_path):
    with told(tmp_path, TWO, outside='[page]\nlisten = "127.0.0.1:0"\n') as (site, _):
        assert links_in(site) == []
        with site.db() as db:
            (first, _) = (d.row.message for d in deliveries(db))
            assert db.execute("SELECT count(*) FROM notes WHERE key GLOB 'links/*'").fetchone() == (
                0,
            )
        assert "dryspell answer wash-1 doing, done, cannot or not-needed" in first.text
        assert "http" not in first.text


def test_another_show_draws_another_secret(tmp_path):
    found = []
    for name in ("one", "two"):
        with told(tmp_path / name, TWO) as (site, _):
            found.append(links_in(site))
    assert [recipient for recipient, _ in found[0]] == [recipient for recipient, _ in found[1]]
    assert not {path for _, path in found[0]} & {path for _, path in found[1]}
