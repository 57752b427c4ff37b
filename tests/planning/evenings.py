"""Large evenings, drawn at random: many places that close at their own times."""

from __future__ import annotations

import math

from monitor.planning.hands import Hand, Task
from monitor.planning.workable import Span

MINUTE = 60.0


def evening(rng, n_tasks, n_parties, load=0.7, places=20, hours=12, named=False):
    """Tasks within some hours, together so much of the parties' time; and the people."""
    blocked = []
    for _ in range(places):
        start = int(rng.integers(0, hours * 60))
        spans = [Span(start * MINUTE, (start + int(rng.integers(30, 150))) * MINUTE, "gust")]
        blocked.append(tuple(spans) if rng.random() < 0.5 else ())
    mean = load * hours * 60 * n_parties / n_tasks
    tickets = ("ladder", "platform", "rigger")
    tasks = tuple(
        Task(
            key=f"task {n}",
            minutes=float(max(5, round(mean * rng.uniform(0.4, 1.6)))),
            people=2 if named else int(rng.integers(1, 4)),
            tickets=frozenset(
                {tickets[int(rng.integers(3))]} if named and rng.random() < 0.5 else ()
            ),
            blocked=blocked[int(rng.integers(places))],
            do_by_s=float(rng.integers(hours * 30, hours * 60 + 1)) * MINUTE,
            value=float(rng.integers(1, 100)),
            alone_ok=False,
        )
        for n in range(n_tasks)
    )
    if not named:
        return tasks, n_parties
    hands = tuple(
        Hand(
            f"hand {n}",
            frozenset({tickets[n % 3]} | ({tickets[(n + 1) % 3]} if n % 4 == 0 else set())),
            ((-math.inf, math.inf),),
        )
        for n in range(2 * n_parties)
    )
    return tasks, hands
