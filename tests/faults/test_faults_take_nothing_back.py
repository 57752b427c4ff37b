"""Values that go missing while an alert stands, from the server's answer to the message."""

from __future__ import annotations

from contextlib import ExitStack, contextmanager
from datetime import timedelta

import fault_server as server
from fault_stage import START, as_bytes, feed_of, forecast, hours, sheet_text, staged

HOUR = START.replace(minute=0)


def without(answer, name, from_h, to_h):
    """Nulls for the stamps after `from_h` up to `to_h` hours on."""
    nulls = {
        (HOUR + timedelta(hours=h)).strftime("%Y-%m-%dT%H:%M") for h in range(from_h + 1, to_h + 1)
    }
    listed = hours(answer)
    listed[name] = [
        None if t in nulls else v for t, v in zip(listed["time"], listed[name], strict=True)
    ]
    return answer


@contextmanager
def service(folder, **answers):
    """A stage fed by a server for each name; yields it and what sets a server's answer."""
    with ExitStack() as stack:
        now = [START]
        servers = {
            name: stack.enter_context(
                server.fault_server(server.sends(as_bytes(answer)), lambda: now[0])
            )
            for name, answer in answers.items()
        }
        stage = stack.enter_context(
            staged(
                folder,
                "".join(feed_of(s.url, name) for name, s in servers.items()),
                {name: sheet_text(name) for name in servers},
            )
        )

        def step(**changed):
            """The next poll, eleven minutes on, of forecasts that differ from those before."""
            stage.later(minutes=11)
            now[0] = stage.now
            for name, answer in changed.items():
                listed = hours(answer)
                listed["temperature_2m"] = [stage.now.minute / 10 + 10] * len(listed["time"])
                servers[name].reply = server.sends(as_bytes(answer))
            stage.poll()
            stage.run()

        stage.poll()
        stage.run()
        yield stage, step


def dry():
    return forecast(START, mm=0.0)


def test_a_wet_feed_that_turns_empty_is_not_outvoted_by_a_dry_one(tmp_path):
    with service(tmp_path / "show", wet=forecast(START), arid=dry()) as (stage, step):
        assert [a.stage for a in stage.open("work")] == ["notice"]
        for _ in range(5):
            step(wet=without(forecast(START), "precipitation", 3, 12), arid=dry())
        assert [a.stage for a in stage.open("work")] == ["notice"]
        assert [a.stage for a in stage.changes("work")] == ["notice"]
        # said to be dry by both, it is
        for _ in range(5):
            step(wet=dry(), arid=dry())
        assert [a.stage for a in stage.changes("work")] == ["notice", "stood-down"]


def test_an_hour_that_turns_empty_does_not_put_the_work_off(tmp_path):
    with service(tmp_path / "show", only=forecast(START)) as (stage, step):
        (before,) = stage.open("work")
        step(only=without(forecast(START), "precipitation", 3, 5))
        (after,) = stage.open("work")
        assert (after.start_by, after.do_by) == (before.start_by, before.do_by)


def test_a_stop_for_thunder_stands_while_thunder_is_not_known(tmp_path):
    def stormy():
        answer = forecast(START)
        listed = hours(answer)
        listed["weather_code"] = [95] * len(listed["time"])
        return answer

    without_codes = forecast(START)
    del hours(without_codes)["weather_code"]
    with service(tmp_path / "show", only=stormy()) as (stage, step):
        assert [a.stage for a in stage.open("stop")] == ["stop"]
        for _ in range(4):
            step(only=without_codes)
        assert [a.stage for a in stage.open("stop")] == ["stop"]
        assert stage.changes("work") == []
        for _ in range(3):
            step(only=forecast(START))
        assert stage.open("stop") == []
