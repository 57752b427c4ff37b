"""A crew on its phones: pages asked for and gear logged while forecasts come in and are judged.

Run on its own it is a soak of any length: `python tests/bench/crowd.py 120` from the checkout.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections import defaultdict
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import cycle
from pathlib import Path

if str(Path(__file__).resolve().parents[1] / "page") not in sys.path:
    sys.path[:0] = [str(Path(__file__).resolve().parents[1] / part) for part in (".", "page")]

from browser_site import comes_in, open_browser, tap, until, waiting
from browser_site import phone as browsing
from duty_site import Phone
from ensemble_day import Wandering, office, write_folder
from service_site import free_port, wait_for

from monitor.service.evaluated import last_evaluated
from monitor.store.database import open_database
from monitor.store.devices import make_link
from monitor.store.history import stored_log

RUN = [sys.executable, "-c", "from monitor.cli import main; main()", "run", "--show"]
REFRESH_S = 10.0
LOOK_S = 5.0
"""How often the service looks whether something came in"""
PAGES = ("/", "/rig", "/rig/p1", "/sky", "/history", "/feeds", "/print", "/you")
SHEETS = ("/sheet/handover", "/sheet/daily")
ENTRIES = ("covered", "uncovered", "isolated")
ROLES = ("guest", "guest", "chief", "chief")
"""Of the first phones; the others are the crew's."""
BROWSER = "a real browser"


@dataclass
class Site:
    """A service of its own on a show folder, and where it answers."""

    folder: Path
    url: str
    process: subprocess.Popen

    @contextmanager
    def db(self):
        with closing(open_database(self.folder / "dryspell.db")) as db:
            yield db

    def phone(self, name, role="crew"):
        with self.db() as db:
            secret = make_link(db, role, name, datetime.now(UTC))
        return Phone(self).comes_in(secret, name)

    def link(self, role="crew"):
        """The path of a link that a browser comes in by."""
        with self.db() as db:
            return f"/in/{make_link(db, role, BROWSER, datetime.now(UTC))}"

    def size_mb(self):
        """What the process holds in memory [MB], and its open files."""
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        resident = next(line for line in status.splitlines() if line.startswith("VmRSS"))
        files = len(list(Path(f"/proc/{self.process.pid}/fd").iterdir()))
        return int(resident.split()[1]) / 1024.0, files


@contextmanager
def rig_of(folder, positions, each):
    """`positions` times `each` fixtures out in an ensemble's rain; another run every few looks."""
    port, now = free_port(), datetime.now(UTC)
    weather = Wandering(now.replace(minute=0, second=0, microsecond=0))
    with office(now) as serving:
        bodies = [weather.body(now) for _ in range(3)]
        serving.body = bodies[0]
        page = f'\n[page]\nlisten = "127.0.0.1:{port}"\n'
        write_folder(folder, serving.url, now - timedelta(hours=6), positions, each, page)
        sheet = folder / "sheets" / "fifty-one.toml"
        sheet.write_text(
            sheet.read_text(encoding="utf-8").replace('poll = "5m"', 'poll = "15s"'),
            encoding="utf-8",
        )
        with subprocess.Popen(
            [*RUN, str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.STDOUT
        ) as process:
            site = Site(folder, f"http://127.0.0.1:{port}", process)
            ended = threading.Event()

            def changes():
                while not ended.wait(7.0):
                    serving.body = random.choice(bodies)
                    serving.says_at = datetime.now(UTC)

            changing = threading.Thread(target=changes, daemon=True)
            try:
                wait_for(lambda: _evaluated(site), seconds=60)
                changing.start()
                yield site
            finally:
                ended.set()
                process.terminate()


def _evaluated(site):
    assert site.process.poll() is None
    if not (site.folder / "dryspell.db").exists():
        return False
    with site.db() as db:
        return last_evaluated(db) is not None


@dataclass
class Told:
    """What a crowd met with; times in seconds."""

    took: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    errors: list[str] = field(default_factory=list)
    said: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    """Phone -> what it logged in turn, marked with a note of its own"""
    again: int = 0
    """Words that were sent a second time"""
    late: list[float] = field(default_factory=list)
    """From a word that was kept to the evaluation that knows it, beyond one look"""
    evaluations: int = 0
    sizes: list[tuple[float, int]] = field(default_factory=list)
    """Memory and files of the process, every few seconds"""


def crowd(site, seconds, phones=20, refresh_s=REFRESH_S, between_s=6.0, seed=1950):
    """`phones` for `seconds`: each asks for the first page every `refresh_s`, for another now and
    then, and all but the guests log at random about every `between_s`; one word in five is sent
    twice, one of those while the first is on its way. A browser lies open beside them.
    """
    told = Told()
    roles = [*ROLES, *["crew"] * phones][:phones]
    carried = [site.phone(f"phone {n}", role) for n, role in enumerate(roles)]
    kept: list[float] = []
    evaluated: list[tuple[float, float]] = []
    ends = time.monotonic() + seconds

    def asks(phone, path):
        begin = time.perf_counter()
        answer = phone.get(path)
        told.took[path].append(time.perf_counter() - begin)
        if answer.status_code != 200:
            told.errors.append(f"{path}: {answer.status_code}")

    def sends(phone, word):
        begin = time.perf_counter()
        answer = phone.say("log", **word)
        told.took["/say/log"].append(time.perf_counter() - begin)
        if answer.status_code not in (200, 201):
            told.errors.append(f"/say/log: {answer.status_code} {answer.text[:200]}")

    def says(phone, name, rng):
        word = {"id": uuid.uuid4().hex, "entry": rng.choice(ENTRIES)}
        word |= {"position": f"p{rng.randrange(10)}", "note": f"{len(told.said[name])}"}
        word |= {"at": f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"}
        also = []
        if rng.random() < 0.2:
            told.again += 1
            also = [threading.Thread(target=sends, args=(phone, word))]
        if rng.random() < 0.5:
            for one in also:
                one.start()
            sends(phone, word)
        else:
            sends(phone, word)
            for one in also:
                one.start()
        for one in also:
            one.join()
        told.said[name].append(f"{word['entry']} {word['note']}")
        kept.append(time.time())

    def carries(phone, role, name, rng):
        refresh = time.monotonic() + rng.random() * refresh_s
        word = time.monotonic() + rng.random() * between_s if role != "guest" else ends
        try:
            while (now := time.monotonic()) < ends:
                if now >= refresh:
                    refresh += refresh_s
                    asks(phone, "/")
                    if rng.random() < 0.3:
                        asks(phone, rng.choice(PAGES))
                    if rng.random() < 0.02:
                        asks(phone, rng.choice(SHEETS))
                elif now >= word:
                    word = now + 1.0 + rng.expovariate(1.0 / between_s)
                    says(phone, name, rng)
                time.sleep(max(0.0, min(refresh, word, ends) - time.monotonic()))
        except Exception as fault:
            told.errors.append(f"{name}: {fault!r}")

    def watches(stop):
        seen, sized = None, 0.0
        with site.db() as db:
            while not stop.wait(0.05):
                found = last_evaluated(db)
                if found is not None and found.at != seen:
                    seen = found.at
                    evaluated.append((seen.timestamp(), time.time()))
                if time.monotonic() >= sized:
                    sized = time.monotonic() + seconds / 12.0
                    told.sizes.append(site.size_mb())

    def lies_open():
        """A browser with the script on, at a position's page; somebody taps now and then."""
        with open_browser() as browser, browsing(browser, site.url) as context:
            page = comes_in(context, site, BROWSER)
            page.goto(f"{site.url}/rig/p3")
            context.on("requestfinished", came)
            for entry in cycle(ENTRIES):
                if time.monotonic() >= ends:
                    break
                tap(page, entry.capitalize())
                told.said[BROWSER].append(f"{entry} None")
                page.wait_for_timeout(3000)
            until(page, lambda: not waiting(page).is_visible())

    def came(request):
        if request.url.endswith(("/rig/p3", "/say/log")):
            told.took[f"browser {request.method}"].append(request.timing["responseEnd"] / 1e3)

    stop = threading.Event()
    watching = threading.Thread(target=watches, args=(stop,), daemon=True)
    watching.start()
    crew = [
        threading.Thread(target=carries, args=(phone, role, f"phone {n}", random.Random(seed + n)))
        for n, (phone, role) in enumerate(zip(carried, roles, strict=True))
    ]
    for one in crew:
        one.start()
    lies_open()
    for one in crew:
        one.join()
    wait_for(lambda: evaluated and evaluated[-1][0] >= kept[-1], seconds=30)
    stop.set()
    watching.join()
    for moment in kept:
        known = min(done for at, done in evaluated if at >= moment)
        told.late.append(known - moment - LOOK_S)
    told.evaluations = len(evaluated)
    return told


def stand_once(site, told):
    """Whether everything each phone said stands once, in the order in which it was said."""
    with site.db() as db:
        log = [row.entry for row in sorted(stored_log(db), key=lambda row: row.id)]
    return all(
        [f"{entry.entry} {entry.note}" for entry in log if entry.by == name] == said
        for name, said in told.said.items()
    )


def shares(times):
    """Median, 99 of 100, and the longest."""
    ordered = sorted(times)
    return ordered[len(ordered) // 2], ordered[int(len(ordered) * 0.99)], ordered[-1]


def in_words(told):
    lines = [
        f"{path:16} {len(took):5}  median {shares(took)[0] * 1e3:6.1f}  "
        f"p99 {shares(took)[1] * 1e3:6.1f}  longest {shares(took)[2] * 1e3:6.1f} ms"
        for path, took in sorted(told.took.items())
    ]
    every = [one for took in told.took.values() for one in took]
    lines.append(f"{'all':16} {len(every):5}  p99 {shares(every)[1] * 1e3:.1f} ms")
    lines.append(f"{sum(map(len, told.said.values()))} words, {told.again} of them sent twice")
    lines.append(f"{told.evaluations} evaluations, beyond one look: ")
    lines[-1] += f"median {shares(told.late)[0]:.2f}, "
    lines[-1] += f"p99 {shares(told.late)[1]:.2f}, longest {shares(told.late)[2]:.2f} s"
    lines.append("memory " + " ".join(f"{mb:.0f}" for mb, _ in told.sizes) + " MB")
    lines.append("files " + " ".join(str(files) for _, files in told.sizes))
    lines += [f"error: {one}" for one in told.errors[:10]]
    return "\n".join(lines)


if __name__ == "__main__":
    with (
        tempfile.TemporaryDirectory() as scratch,
        rig_of(Path(scratch) / "show", 10, 20) as site,
    ):
        met = crowd(site, float(sys.argv[1]))
        print(in_words(met))
        print("each stands once, in order:", stand_once(site, met))
