"""A server that asked to be left alone is, over a restart, a set clock and a full disk."""

from __future__ import annotations

import socket
import sqlite3
import time

import fault_server as server
import pytest
from fault_stage import START, as_bytes, feed_of, forecast, staged

from monitor.feeds.strict_json import parse_json
from monitor.service import asking
from monitor.service.polling import Pollers, forget_next_tries


@pytest.mark.parametrize("status", [429, 503])
def test_an_hour_of_patience_outlives_a_start_and_a_set_clock(tmp_path, status):
    busy = server.says({}, status, Retry_After="3600")
    with (
        server.fault_server(busy) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        made.poll()
        assert len(weather.asked) == 1
        made.later(minutes=2)
        # as the service does when it starts, and `dryspell ahead` every time
        assert made.poll(retry=True) == []
        forget_next_tries(made.db, made.watch.current.show.feeds, made.now)
        assert made.poll() == []
        assert len(weather.asked) == 1
        weather.reply = server.says(forecast(START))
        made.later(minutes=58)
        (polled,) = made.poll()
        assert polled.ok
        assert len(weather.asked) == 2


def test_what_only_failed_is_tried_again_at_a_start(tmp_path):
    with (
        server.fault_server(server.says({}, 503)) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        made.poll()
        made.later(seconds=10)
        assert len(made.poll(retry=True)) == 1


def test_patience_until_a_moment_that_a_clock_put_back_has_made_far_is_forgotten(tmp_path):
    busy = server.says({}, 429, Retry_After="3600")
    with (
        server.fault_server(busy) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        made.poll()
        made.later(days=-400)
        forget_next_tries(made.db, made.watch.current.show.feeds, made.now)
        assert len(made.poll()) == 1


def test_nothing_can_be_kept_and_the_server_is_not_asked_on_and_on(tmp_path, monkeypatch):
    def full(*_):
        raise sqlite3.OperationalError("database or disk is full")

    with (
        server.fault_server(server.sends(as_bytes(forecast(START)))) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        monkeypatch.setattr(asking, "remember", full)
        pollers = Pollers()
        with pytest.raises(sqlite3.OperationalError):
            pollers.round(made.db, made.asking())
        for _ in range(5):
            assert pollers.round(made.db, made.asking()) == []
        assert len(weather.asked) == 1


def closes(handler):
    handler.connection.shutdown(socket.SHUT_RDWR)


def babbles(handler):
    handler.wfile.write(b"hello there\r\n\r\n")


def floods(handler):
    handler.wfile.write(b"HTTP/1.1 200 OK\r\nX: " + b"y" * 200_000 + b"\r\n\r\n{}")


@pytest.mark.parametrize("reply", [closes, babbles, floods])
def test_a_server_that_answers_nonsense_is_no_connection_lost(tmp_path, reply):
    with (
        server.fault_server(reply) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        for _ in range(3):
            made.poll()
            made.later(minutes=5)
        assert made.sight().fault == "cut"
        assert "broke off" in made.sight().failing


def test_one_key_twice_among_many_is_found_at_once():
    """Counting each key through all of them took minutes for an answer of this size."""
    keys = ",".join(f'"{n}":1' for n in range(200_000))
    began = time.monotonic()
    with pytest.raises(ValueError, match="the key '7' stands twice"):
        parse_json(f'{{{keys},"7":2}}'.encode())
    assert time.monotonic() - began < 3.0


def test_a_number_of_thousands_of_digits_is_refused_in_plain_words():
    with pytest.raises(ValueError, match=r"^the number 11111111111111111111 is too large$"):
        parse_json(b'{"a": ' + b"1" * 5000 + b"}")
