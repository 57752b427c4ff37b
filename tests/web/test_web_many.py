"""Many at once, many wrong ones, and no token in clear anywhere."""

from __future__ import annotations

import base64
import http.client
import random
import secrets
import threading
from collections import Counter
from contextlib import closing
from urllib.parse import urlsplit

import requests
from service_site import wait_for
from web_site import bearer, listening_at, now, raise_alert, run_service, served, show_folder, stamp

from monitor.store.answers import answers
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.tokens import PREFIX, holder_of, make_token

CLIENTS = 20
GUESSES = 2000


def test_twenty_clients_at_random_lose_and_double_nothing(folder):
    """Each says its own things in random order, some of them twice, and looks in between."""
    seed = random.randrange(2**32)
    with served(folder) as site:
        raise_alert(site)
        with site.db() as db:
            tokens = [make_token(db, f"phone-{n}", now()) for n in range(CLIENTS)]
        faults, sent = [], Counter()
        sent_lock, start = threading.Lock(), threading.Barrier(CLIENTS)
        minute = stamp(now())[:-3]

        def client(n):
            dice = random.Random(seed + n)
            jobs = []
            for k in range(6):
                word = {"id": f"client-{n:02d}-{k}", "entry": "wet", "position": "wash"}
                answer = {"id": f"answer-{n:02d}-{k}", "alert": "wash-1", "answer": "doing"}
                at = f"{minute}{k:02d}.{n:02d}Z"
                reading = {"station": "mast", "time": at, "temp_c": 15.0}
                jobs += [("/api/v1/log", word), ("/api/v1/answers", answer)]
                jobs += [("/api/v1/observations", reading)]
            jobs += dice.sample(jobs, 6)
            jobs += [(path, None) for path in ("/health", "/metrics", "/api/v1/state")]
            dice.shuffle(jobs)
            start.wait(10)
            with requests.Session() as session:
                session.headers.update(bearer(tokens[n]))
                for path, body in jobs:
                    if body is None:
                        answer = session.get(site.url + path, timeout=20)
                        wanted = (200, 503) if path == "/health" else (200,)
                    else:
                        answer = session.post(site.url + path, json=body, timeout=20)
                        wanted = (200, 201)
                        with sent_lock:
                            sent[path, answer.status_code] += 1
                    if answer.status_code not in wanted:
                        faults.append((seed, path, answer.status_code, answer.text))

        threads = [threading.Thread(target=client, args=(n,)) for n in range(CLIENTS)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        assert faults == []
        # every word is new once
        each = CLIENTS * 6
        assert {path: count for (path, status), count in sent.items() if status == 201} == {
            "/api/v1/log": each,
            "/api/v1/answers": each,
            "/api/v1/observations": each,
        }
        assert sum(sent.values()) == CLIENTS * (18 + 6)
        keys = [row["key"] for row in site.rows("log_entries")]
        assert sorted(keys) == [f"client-{n:02d}-{k}" for n in range(CLIENTS) for k in range(6)]
        assert len(site.rows("readings")) == each
        with site.db() as db:
            assert verify(db).ok
            assert len(answers(db)) == each


def shapes_of_wrong(n, token, digest, name):
    """What somebody would try who has seen the database, or half of a token."""
    return [
        PREFIX + secrets.token_urlsafe(32),
        token[:-2] + secrets.token_urlsafe(1),
        token[:-1],
        token.upper(),
        digest,
        PREFIX + digest[:43],
        name,
        "' OR 1=1 --",
        base64.b64encode(token.encode()).decode(),
        f"{n}",
    ][n % 10]


def test_ten_thousand_wrong_tokens_are_nobodys(folder):
    with closing(open_database(folder / "dryspell.db")) as db:
        token = make_token(db, "mast", now())
        digest = db.execute("SELECT digest FROM tokens").fetchone()[0]
        for n in range(10_000):
            wrong = shapes_of_wrong(n, token, digest, "mast")
            if wrong != token:
                assert holder_of(db, wrong) is None, wrong
        assert holder_of(db, token).name == "mast"


def test_thousands_of_wrong_tokens_let_nobody_in_and_lock_nobody_out(folder):
    """Tries in every shape, while the right token goes on working beside them."""
    with served(folder) as site:
        parts, statuses = urlsplit(site.url), Counter()
        right, done = Counter(), threading.Event()
        digest = site.rows("tokens")[0]["digest"]
        name = site.rows("tokens")[0]["name"]

        def guess(first):
            line = http.client.HTTPConnection(parts.hostname, parts.port, timeout=20)
            with closing(line):
                for n in range(first, first + GUESSES // 4):
                    wrong = shapes_of_wrong(n, site.token, digest, name)
                    if wrong == site.token:
                        continue
                    line.request("GET", "/api/v1/state", headers=bearer(wrong))
                    answer = line.getresponse()
                    answer.read()
                    statuses[answer.status] += 1

        def work():
            while not done.is_set():
                right[site.get("/api/v1/state").status_code] += 1
                done.wait(0.05)

        worker = threading.Thread(target=work)
        worker.start()
        guessers = [threading.Thread(target=guess, args=(n * GUESSES // 4,)) for n in range(4)]
        for thread in guessers:
            thread.start()
        for thread in guessers:
            thread.join(60)
        done.set()
        worker.join(10)
        assert set(statuses) == {401, 429}
        assert sum(statuses.values()) > 0.99 * GUESSES
        # after the first twenty there is one try every two seconds
        assert statuses[401] < 100
        assert set(right) == {200}
        assert right[200] >= 3
        assert len(site.place.failures) == 1


def test_no_token_stands_in_clear_in_what_is_written_or_said(tmp_path):
    folder = show_folder(tmp_path / "show")
    with closing(open_database(folder / "dryspell.db")) as db:
        token, gone = make_token(db, "mast", now()), PREFIX + secrets.token_urlsafe(32)
    process = run_service(folder)
    try:
        url = listening_at(process)
        for one in (token, gone):
            requests.get(f"{url}/api/v1/state", headers=bearer(one), timeout=10)
            gateway = f"{url}/api/v1/observations/gateway/{one}"
            for body in (b"tempf=59.0&totalrainin=1.0", b"\xff", b"x" * 70_000):
                requests.post(gateway, data=body, timeout=10)
            requests.get(gateway, timeout=10)
            requests.get(f"{url}/{one}", timeout=10)
            requests.post(f"{url}/api/v1/log", json={"token": one}, headers=bearer(one), timeout=10)
            # a client that leaves while it is answered: the library has a line for that
            parts = urlsplit(url)
            for _ in range(5):
                line = http.client.HTTPConnection(parts.hostname, parts.port, timeout=10)
                line.request("POST", f"/api/v1/observations/gateway/{one}", b"tempf=1")
                line.close()
        wait_for(lambda: requests.get(f"{url}/metrics", timeout=10).status_code == 200)
    finally:
        process.terminate()
        out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    written = {file: file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    assert any(file.name == "dryspell.db" for file in written)
    for one in (token, gone):
        raw = base64.urlsafe_b64decode(one.removeprefix(PREFIX) + "=")
        assert one not in out + err
        for file, content in written.items():
            assert one.encode() not in content, file
            assert raw not in content, file
    # and yet the readings that came under it are there
    with closing(open_database(folder / "dryspell.db")) as db:
        assert db.execute("SELECT count(*) FROM readings").fetchone()[0] >= 1
