"""The tables, as a list of steps; a database remembers how many it has taken.

A step that has been released is never edited: a change of the tables is a new step at the
end of `STEPS`.

What came in and what was said (`weather_runs`, `readings`, `official_warnings`, `revisions`,
`log_entries`, `alert_changes`, `messages`, `outcomes`, `handovers`, `declarations`, `answers`,
`turns`), who was let in when (`access_changes`) and who described the rig anew
(`set_up_changes`), the bytes they name (`contents`) and the
chain over them are only ever added to, which triggers hold.
What merely steers the work may change: `weather_seen` (when a run was last offered again),
`outbox` (next try, lease, state), `tokens` (who may write from outside), `links` and `devices`
(who may use the duty page) and `notes` (ETags, consents, next-try times).
"""

from __future__ import annotations

_TABLES = """
CREATE TABLE contents (
    sha256 TEXT PRIMARY KEY NOT NULL,
    packed BLOB NOT NULL
) STRICT;

CREATE TABLE chain (
    n INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    kind TEXT NOT NULL,
    row INTEGER NOT NULL,
    content TEXT NOT NULL,
    link TEXT NOT NULL,
    UNIQUE (kind, row)
) STRICT;

CREATE TABLE weather_runs (
    id INTEGER PRIMARY KEY,
    received_at TEXT NOT NULL,
    source TEXT NOT NULL,
    issued_at TEXT,
    fetched_at TEXT,
    weather_sha256 TEXT NOT NULL REFERENCES contents (sha256),
    body_sha256 TEXT REFERENCES contents (sha256)
) STRICT;
CREATE INDEX weather_runs_by_source ON weather_runs (source, id);

CREATE TABLE weather_seen (
    run INTEGER PRIMARY KEY REFERENCES weather_runs (id),
    last_at TEXT NOT NULL,
    times INTEGER NOT NULL
) STRICT;

CREATE TABLE revisions (
    id INTEGER PRIMARY KEY,
    revision TEXT NOT NULL,
    from_time TEXT NOT NULL,
    recorded_at TEXT NOT NULL,
    files TEXT NOT NULL
) STRICT;

CREATE TABLE log_entries (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    at TEXT NOT NULL,
    received_at TEXT NOT NULL,
    replaces TEXT UNIQUE REFERENCES log_entries (key),
    entry TEXT NOT NULL
) STRICT;
CREATE INDEX log_entries_by_time ON log_entries (at, id);

CREATE TABLE alert_changes (
    id INTEGER PRIMARY KEY,
    alert TEXT NOT NULL,
    at TEXT NOT NULL,
    stage TEXT NOT NULL,
    reason TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX alert_changes_by_alert ON alert_changes (alert, id);
CREATE INDEX alert_changes_by_time ON alert_changes (at, id);

CREATE TABLE messages (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    change INTEGER REFERENCES alert_changes (id),
    contact TEXT NOT NULL,
    recipient TEXT NOT NULL,
    thread TEXT NOT NULL,
    queued_at TEXT NOT NULL,
    expires_at TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX messages_by_thread ON messages (thread, contact, recipient);
CREATE INDEX messages_by_change ON messages (change);

CREATE TABLE outbox (
    message INTEGER PRIMARY KEY REFERENCES messages (id),
    state TEXT NOT NULL CHECK (state IN ('queued', 'sent', 'given-up', 'cancelled')),
    urgent INTEGER NOT NULL,
    attempts INTEGER NOT NULL,
    next_try_at TEXT NOT NULL,
    leased_until TEXT
) STRICT;
CREATE INDEX outbox_due ON outbox (state, urgent DESC, next_try_at, message);

CREATE TABLE outcomes (
    id INTEGER PRIMARY KEY,
    message INTEGER NOT NULL REFERENCES messages (id),
    at TEXT NOT NULL,
    attempt INTEGER NOT NULL,
    result TEXT NOT NULL CHECK (result IN ('sent', 'retry', 'given-up', 'cancelled')),
    detail TEXT NOT NULL
) STRICT;
CREATE INDEX outcomes_by_message ON outcomes (message, id);

CREATE TABLE notes (
    key TEXT PRIMARY KEY NOT NULL,
    value TEXT NOT NULL
) STRICT;

CREATE TRIGGER chain_in_order BEFORE INSERT ON chain
WHEN NEW.n IS NOT (SELECT coalesce(max(n), 0) + 1 FROM chain)
BEGIN
    SELECT raise(ABORT, 'the chain is only added to at its end');
END;
"""

_GUARD = """
CREATE TRIGGER {table}_kept BEFORE DELETE ON {table}
BEGIN
    SELECT raise(ABORT, 'history is never deleted');
END;
CREATE TRIGGER {table}_unaltered BEFORE UPDATE ON {table}
BEGIN
    SELECT raise(ABORT, 'history is never altered');
END;
"""

_FROM_OUTSIDE = """
CREATE TABLE readings (
    id INTEGER PRIMARY KEY,
    station TEXT NOT NULL,
    at TEXT NOT NULL,
    received_at TEXT NOT NULL,
    body TEXT NOT NULL,
    UNIQUE (station, at)
) STRICT;

CREATE TABLE official_warnings (
    id INTEGER PRIMARY KEY,
    service TEXT NOT NULL,
    identifier TEXT NOT NULL,
    received_at TEXT NOT NULL,
    body TEXT NOT NULL,
    raw_sha256 TEXT NOT NULL REFERENCES contents (sha256),
    UNIQUE (service, identifier)
) STRICT;

CREATE TABLE tokens (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    digest TEXT NOT NULL UNIQUE,
    made_at TEXT NOT NULL,
    withdrawn_at TEXT,
    last_used_at TEXT
) STRICT;
"""

_HANDOVERS = """
CREATE TABLE handovers (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    given_by TEXT NOT NULL,
    taken_by TEXT NOT NULL
) STRICT;
"""

_DECLARATIONS = """
CREATE TABLE declarations (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    at TEXT NOT NULL,
    received_at TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX declarations_by_time ON declarations (at, id);
"""

_ANSWERS = """
CREATE TABLE answers (
    id INTEGER PRIMARY KEY,
    alert TEXT NOT NULL,
    at TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX answers_by_alert ON answers (alert, id);

CREATE TABLE turns (
    id INTEGER PRIMARY KEY,
    alert TEXT NOT NULL,
    at TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX turns_by_alert ON turns (alert, id);
"""

_HELD = """
ALTER TABLE outbox ADD COLUMN not_before TEXT;
ALTER TABLE outbox ADD COLUMN joined_to INTEGER REFERENCES messages (id);
CREATE INDEX outbox_joined ON outbox (joined_to) WHERE joined_to IS NOT NULL;
"""

_DEVICES = """
CREATE TABLE links (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    role TEXT NOT NULL CHECK (role IN ('crew', 'chief', 'guest')),
    digest TEXT NOT NULL UNIQUE,
    made_at TEXT NOT NULL,
    withdrawn_at TEXT
) STRICT;

CREATE TABLE devices (
    id INTEGER PRIMARY KEY,
    link INTEGER NOT NULL REFERENCES links (id),
    name TEXT NOT NULL,
    digest TEXT NOT NULL UNIQUE,
    came_at TEXT NOT NULL,
    left_at TEXT,
    last_said_at TEXT
) STRICT;
CREATE UNIQUE INDEX devices_in ON devices (name) WHERE left_at IS NULL;

CREATE TABLE access_changes (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    what TEXT NOT NULL
        CHECK (what IN ('link-made', 'link-withdrawn', 'came-in', 'went-out')),
    role TEXT NOT NULL,
    link TEXT NOT NULL,
    device TEXT,
    given_by TEXT
) STRICT;
"""

_SET_UP = """
CREATE TABLE set_up_changes (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
"""

_ONLY_ADDED_TO = (
    "contents",
    "chain",
    "weather_runs",
    "revisions",
    "log_entries",
    "alert_changes",
    "messages",
    "outcomes",
)

STEPS: tuple[str, ...] = (
    _TABLES + "".join(_GUARD.format(table=table) for table in _ONLY_ADDED_TO),
    _FROM_OUTSIDE
    + "".join(_GUARD.format(table=table) for table in ("readings", "official_warnings")),
    _HANDOVERS + _GUARD.format(table="handovers"),
    _DECLARATIONS + _GUARD.format(table="declarations"),
    _ANSWERS + "".join(_GUARD.format(table=table) for table in ("answers", "turns")),
    _HELD,
    _DEVICES + _GUARD.format(table="access_changes"),
    _SET_UP + _GUARD.format(table="set_up_changes"),
)
