"""An official warning through the running service: told in its own words, work stopped, lifted."""

from __future__ import annotations

from datetime import timedelta

from gauge_stage import mails, now, stamp, watching
from service_site import (
    feed_of,
    mail_server,
    mail_to,
    payload,
    wait_for,
    weather_server,
    write_show,
)
from warned.warned_samples import atom, atom_entry, cap, reference, section
from warned.warned_server import warning_office

HOUR = timedelta(hours=1)
WORDS = 'Hail of 2-3 cm & gusts "near 90 km/h"; <do not> go out.'
PAGE = '[page]\nlisten = "127.0.0.1:0"\n'


def test_thunder_is_warned_of_then_cancelled_and_the_stop_ends_half_an_hour_later(tmp_path):
    began = now() - HOUR
    with (
        weather_server(payload(now(), rain_in_h=999)) as sky,
        warning_office() as office,
        mail_server() as (mailbox, port),
    ):
        office.put("/index", atom(atom_entry("/w1", updated=stamp(began))))
        ends = (began + 6 * HOUR).isoformat()
        office.put("/w1", cap("W1", sent=began, expires=ends, description=WORDS))
        contacts = mail_to(port, "a@example.org")
        warned = section("Office", f"{office.url}/index", poll_minutes=1)
        folder = write_show(
            tmp_path / "show", feeds=feed_of(sky.url), contacts=contacts + warned + PAGE
        )

        def told(subject, *words):
            return [
                text
                for head, text in mails(mailbox)
                if subject in head and all(word in text for word in words)
            ]

        # an hour ago, by a clock that makes a minute of a second
        with watching(folder, behind_h=1.0, speed=60.0):
            wait_for(lambda: told("Stop: do not work at Lower meadow"))
            wait_for(lambda: told("Official warning for Lower meadow: Thunderstorm (Office)"))
            (stop,) = told("Stop: do not work at Lower meadow")
            assert "Official warning: Thunderstorm (Office)" in stop
            assert told("Official warning", f"> {WORDS}", "> Go indoors.", "Weather Office Example")
            sent = began + timedelta(seconds=1)
            office.put(
                "/w2",
                cap(
                    "W2", msg_type="Cancel", sent=sent, references=reference("W1", began), infos=""
                ),
            )
            office.put("/index", atom(atom_entry("/w1"), atom_entry("/w2")))
            wait_for(lambda: told("Ended, the official warning", "Cancelled by Office"))
            # thunder counts for half an hour after its end
            assert not told("Stop ends")
        with watching(folder, behind_h=0.0):
            wait_for(lambda: told("Stop ends"))
        assert told("Stop ends", "people on site declare work outdoors and at height open again")
