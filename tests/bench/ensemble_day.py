"""A day of an invented ensemble service: 51 members, 168 h, 8 variables, a new run each hour."""

from __future__ import annotations

import json
import time
from contextlib import contextmanager
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import product
from threading import Thread

import numpy as np

MEMBERS, HOURS = 51, 168

SHEET = """
extends = "open-meteo-ensemble"
[feed]
id = "fifty-one"
use = "any"
[request]
poll = "5m"
jitter = "0s"
params = { models = "invented" }
[members]
expect = 51
at_least = 26
"""

_HEAD = """
format = 1

[site]
name = "Long meadow"
latitude = 52.0
longitude = -2.0
elevation_m = 40
timezone = "Europe/London"
terrain = "field"
ground = "grass"

[event]
load_in_at = "{load_in}"

[[roofs]]
id = "stage"
facing_deg = 0
width_m = 14
depth_m = 12
edge_height_m = 20

[crew]
parties = 2
call_out_minutes = 20

[[feeds]]
sheet = "fifty-one"
base_url = "{url}"
"""

_POSITION = """
[[positions]]
id = "p{n}"
name = "Place {n}"
height_m = {height}
access = "{access}"
access_limit_mps = 14
isolate_at = "Distribution {n}"
"""

_UNDER_ROOF = 'roof = "stage"\nin_from_front_m = {in_from_front}\nin_from_right_m = 6\n'

_CODES = ("IP20", "IP23", "IP33", "IP43", "IP44", "IP54", "IP55", "IP65", "IP66", "IP67")
_MOUNTS = ("upright", "any")
_CONDITIONS = ("hire", "new", "worn")


def write_folder(folder, url, load_in, positions=10, each=20, more=""):
    """Positions, one in five of them under a roof, with fixtures of which no two are alike.

    `more` is put behind the rest of show.toml.
    """
    (folder / "sheets").mkdir(parents=True)
    (folder / "sheets" / "fifty-one.toml").write_text(SHEET, encoding="utf-8")
    text = _HEAD.format(load_in=load_in.isoformat(timespec="minutes"), url=url)
    for n in range(positions):
        access = "ground" if n < positions // 2 else "platform"
        text += _POSITION.format(n=n, height=0.5 + 15.0 * n / positions, access=access)
        in_from_front = 1 + 1.25 * n / positions
        text += _UNDER_ROOF.format(in_from_front=in_from_front) if n % 5 == 4 else ""
    (folder / "show.toml").write_text(text + more, encoding="utf-8")
    kinds = [(c, m, k) for k, c, m in product(_CONDITIONS, _CODES, _MOUNTS)][:each]
    rows = [
        f"f{n}-{code}-{mount}-{condition},{code},p{n},1,{mount},{condition}"
        for n in range(positions)
        for code, mount, condition in kinds
    ]
    fixtures = "\n".join(["id,code,position,count,mount,condition", *rows]) + "\n"
    (folder / "fixtures.csv").write_text(fixtures, encoding="utf-8")
    return folder


# ---------------------------------------------------------------- weather that wanders


def _walk(rng, steps, each):
    """Random walks of the members (member, step) that return to nothing in a day or so."""
    walk = np.zeros((MEMBERS, steps))
    shocks = rng.normal(0.0, each, (MEMBERS, steps))
    walk[:, 0] = 3.0 * shocks[:, 0]
    for n in range(1, steps):
        walk[:, n] = 0.97 * walk[:, n - 1] + shocks[:, n]
    return walk


class Wandering:
    """What all runs have in common, and what each member of each run makes of it.

    Every run is a set of random walks of its own about one course of the weather, further off
    from it the later: nothing in one run but the rough course stands in the next one.
    """

    def __init__(self, first: datetime, seed: int = 1950):
        self._first = first
        self._rng = np.random.default_rng(seed)
        span = HOURS + 48
        self._course = {name: _walk(self._rng, span, each)[0] for name, each in _EACH.items()}
        # Fronts every 18 hours, the first of them coming in as the day begins.
        self._course["rain"] += 0.7 * np.sin((np.arange(span) + 1.0) / 18.0 * 2.0 * np.pi)

    def body(self, at: datetime) -> bytes:
        """The run of the hour of `at`: values rounded as the service rounds them."""
        begin = at.replace(minute=0, second=0, microsecond=0)
        offset = round((begin - self._first) / timedelta(hours=1))
        course = {n: v[offset : offset + HOURS] for n, v in self._course.items()}
        lead = np.sqrt(np.linspace(0.1, 1.0, HOURS))
        own = {n: course[n] + lead * _walk(self._rng, HOURS, each) for n, each in _EACH.items()}
        hour = (np.arange(HOURS) + begin.hour) % 24
        # wet where the walk is high: about a quarter of all hours
        rain = np.clip(own["rain"] - 0.9, 0.0, None) * self._rng.gamma(1.5, 0.6, own["rain"].shape)
        wind = np.abs(4.5 + own["wind"])
        temp = 15.0 + 4.0 * np.sin((hour - 9.0) / 24.0 * 2.0 * np.pi) + own["temp"]
        cloud = np.clip(60.0 + 40.0 * own["rain"], 0.0, 100.0)
        values = {
            "precipitation": np.round(rain, 1),
            "wind_speed_10m": np.round(wind, 1),
            "wind_gusts_10m": np.round(wind * (1.5 + 0.1 * np.abs(own["gust"])) + 0.1, 1),
            "wind_direction_10m": np.round(220.0 + 60.0 * own["direction"]) % 360,
            "temperature_2m": np.round(temp, 1),
            "dew_point_2m": np.round(temp - 1.0 - np.abs(3.0 * own["dew"]), 1),
            "cloud_cover": np.round(cloud),
            "weather_code": np.where(rain > 6.0, 95, np.where(rain > 0.0, 61, 3)),
        }
        whole = {"wind_direction_10m", "cloud_cover", "weather_code"}
        stamps = [(begin + timedelta(hours=n)).strftime("%Y-%m-%dT%H:%M") for n in range(HOURS)]
        hourly = {"time": stamps}
        for name, table in values.items():
            kept = table.astype(int) if name in whole else table
            for member, row in enumerate(kept.tolist()):
                hourly[name if member == 0 else f"{name}_member{member:02d}"] = row
        units = {name: unit for name, unit in _UNITS.items() if name in values}
        answer = {"utc_offset_seconds": 0, "hourly_units": units, "hourly": hourly}
        return json.dumps(answer, separators=(",", ":")).encode()


_EACH = {"rain": 0.25, "wind": 0.5, "gust": 0.5, "direction": 0.2, "temp": 0.4, "dew": 0.2}
_UNITS = {
    "precipitation": "mm",
    "wind_speed_10m": "m/s",
    "wind_gusts_10m": "m/s",
    "wind_direction_10m": "°",
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "cloud_cover": "%",
}


# ---------------------------------------------------------------- the server


class Office:
    """What is being served, and when its last byte was sent [s of time.perf_counter]."""

    url: str
    body: bytes = b""
    says_at: datetime
    sent_at: float = 0.0


@contextmanager
def office(says_at):
    """A server of runs on loopback; its own clock is that of the show."""
    serving = Office()
    serving.says_at = says_at

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def log_message(self, *said):
            pass

        def date_time_string(self, timestamp=None):
            return super().date_time_string(serving.says_at.timestamp())

        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(serving.body)))
            self.end_headers()
            self.wfile.write(serving.body)
            serving.sent_at = time.perf_counter()

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    serving.url = f"http://127.0.0.1:{server.server_address[1]}"
    try:
        yield serving
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
