"""A show with a gauge, the service as a process with its server, and the commands beside it."""

from __future__ import annotations

import csv
import email
import os
import subprocess
import sys
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from email import policy

import requests
from click.testing import CliRunner
from service_site import ENVIRON
from web.web_site import listening_at

from monitor.cli import dryspell

GAUGE = """
[[gauges]]
station = "mast"
{more}

[page]
listen = "127.0.0.1:0"
"""

RUNNER = """
import os, sys, time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from monitor.service import Pace, serve
from monitor.web.listening import listening

behind, speed = timedelta(hours=float(sys.argv[2])), float(sys.argv[3])
began, ticks = datetime.now(UTC), time.monotonic()

def clock():
    return began - behind + timedelta(seconds=speed * (time.monotonic() - ticks))

serve(
    Path(sys.argv[1]),
    os.environ,
    clock=clock,
    say=lambda line: print(line, flush=True),
    pace=Pace(poll_s=0.1, look_s=0.1, evaluate_s=0.3, deliver_s=0.1, clock_s=0.1),
    beside=lambda cycle: listening(cycle.watch, clock),
)
"""
"""As `dryspell run`, at a pace for tests, under a clock that is behind or goes faster."""


def now():
    return datetime.now(UTC).replace(microsecond=0)


def stamp(moment):
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def gauge(**more):
    lines = "\n".join(f"{key} = {value!r}".replace("'", '"') for key, value in more.items())
    return GAUGE.format(more=lines)


def command(*arguments):
    done = CliRunner().invoke(dryspell, [*map(str, arguments)])
    assert done.exit_code == 0, done.output
    return done.stdout


@contextmanager
def watching(folder, *, behind_h=0.0, speed=1.0, arguments=None):
    """A service process that ends with the block, politely; gives the address it listens at."""
    service = subprocess.Popen(
        arguments or [sys.executable, "-c", RUNNER, str(folder), str(behind_h), str(speed)],
        env={**os.environ, **ENVIRON, "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        yield listening_at(service)
        service.terminate()
        said, _ = service.communicate(timeout=20)
        assert service.returncode == 0, said
        assert "Traceback" not in said, said
    finally:
        service.kill()
        service.wait()
        service.stdout.close()


class Client:
    """What holds a token."""

    def __init__(self, url, token):
        self._url, self._headers = url, {"Authorization": f"Bearer {token}"}

    def post(self, readings):
        done = requests.post(
            f"{self._url}/api/v1/observations", headers=self._headers, json=readings, timeout=10
        )
        assert done.status_code in (200, 201), done.text
        return done.json()

    def state(self):
        done = requests.get(f"{self._url}/api/v1/state", headers=self._headers, timeout=10)
        assert done.status_code == 200, done.text
        return done.json()


def token_for(folder):
    return command("token", "make", "logger", "--show", folder).splitlines()[0]


def counter(first, last, start_mm, step_mm, minutes=5):
    """Readings of a counter in a calm, oldest first."""
    count = round((last - first) / timedelta(minutes=minutes))
    return [
        {
            "station": "mast",
            "time": stamp(first + timedelta(minutes=minutes * n)),
            "rain_total_mm": round(start_mm + step_mm * n, 3),
            "wind_ms": 0.0,
        }
        for n in range(count + 1)
    ]


def mails(mailbox):
    """(subject, text) of each."""
    found = [email.message_from_bytes(m.content, policy=policy.default) for m in mailbox.mails]
    return [(m["Subject"], m.get_body(preferencelist=("plain",)).get_content()) for m in found]


class Report:
    """A report made now, read back."""

    def __init__(self, folder, out, **period):
        options = [part for name, at in period.items() for part in (f"--{name.strip('_')}", at)]
        command("report", "--show", folder, "--out", out, *options)
        self.page = (out / "report.html").read_text(encoding="utf-8")
        self._out = out

    def rows(self, name):
        text = (self._out / f"{name}.csv").read_text(encoding="utf-8-sig")
        return list(csv.DictReader(text.splitlines()))

    def measured(self):
        """(begin, minutes, mm) of every step that was measured."""
        return [
            (datetime.fromisoformat(row["starts_at"]), float(row["minutes"]), float(row["rain_mm"]))
            for row in self.rows("weather")
            if row["kind"] == "measured"
        ]

    def used(self):
        (fixture,) = self.rows("fixtures")
        return float(fixture["used"])
