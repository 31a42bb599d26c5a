"""The events that wait for the server, in a database on the card."""

import json
import logging
import secrets
import sqlite3
from pathlib import Path

log = logging.getLogger("feeder")

SPOOL_MAX = 200_000  # events; about a season of a busy feeder
DAMAGED_SPOOLS_MAX = 2  # damaged spools that stay on the card; more would fill it

# What is dropped first when even the memory is full: least valuable first, the oldest of a kind first. Visits, presses and
# deposits still count in the running totals (`counts`). What is not listed is never dropped: above all the answer to an order.
# Readings are never stored: a report has those of its own moment.
DROPPED_FIRST = ("visit", "lid", "press", "deposit", "trouble", "refill", "portion")


class Spool:
    """Events in a database. `synchronous=FULL`: a commit that returned is still there after a power cut."""

    def __init__(self, path):
        self.path = Path(path)
        self.database = None

    def open(self):
        """Raises sqlite3.Error: see `is_damage` for whether the file itself is bad."""
        database = sqlite3.connect(self.path, isolation_level=None)
        try:
            # One program owns the spool. Without sharing, no -shm file is needed, which a full card could not hold.
            database.execute("PRAGMA locking_mode=EXCLUSIVE")
            database.execute("PRAGMA journal_mode=WAL")
            database.execute("PRAGMA synchronous=FULL")
            # The journal must not fill a small card itself: left alone it grows to 4 MB.
            database.execute("PRAGMA wal_autocheckpoint=16")
            database.execute("PRAGMA journal_size_limit=65536")
            (sound,) = database.execute("PRAGMA quick_check").fetchone()
            if sound != "ok":
                raise sqlite3.DatabaseError(f"malformed: {sound}")
            database.execute(
                "CREATE TABLE IF NOT EXISTS events (place INTEGER PRIMARY KEY, boot TEXT, seq INTEGER, body TEXT)"
            )
            database.execute("CREATE TABLE IF NOT EXISTS rejected_events (boot TEXT, seq INTEGER, body TEXT, problem TEXT)")
            database.execute("CREATE TABLE IF NOT EXISTS memory (name TEXT PRIMARY KEY, value TEXT)")
        except BaseException:
            database.close()
            raise
        try:
            database.execute("CREATE INDEX IF NOT EXISTS events_by_seq ON events (boot, seq)")
        except sqlite3.OperationalError as error:
            log.warning("The spool has no index, which makes it slower: %s", error)  # an older spool on a full card
        self.database = database

    def move_damaged_away(self):
        """Renames it with its journal, for a later analysis. Raises OSError where that fails."""
        self.close()
        aside = self.path.with_suffix(f".damaged-{secrets.token_hex(3)}")
        for rest in ("-wal", "-shm"):
            part = Path(f"{self.path}{rest}")
            if part.exists():
                part.rename(f"{aside}{rest}")
        self.path.rename(aside)
        earlier = [one for one in self.path.parent.glob(f"{self.path.stem}.damaged-??????") if one != aside]
        for old in sorted(earlier, key=lambda one: one.stat().st_mtime, reverse=True)[DAMAGED_SPOOLS_MAX - 1 :]:
            for rest in ("", "-wal", "-shm"):
                Path(f"{old}{rest}").unlink(missing_ok=True)
        return aside.name

    def shorten_journal(self):
        """Moves the journal's content into the database, and frees its space."""
        self.database.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()

    def settle(self, events, stored_through, aside, memory=None):
        """All or nothing. A repeat after an error with unknown result changes nothing twice."""
        self.database.execute("BEGIN IMMEDIATE")
        try:
            for boot, seq in stored_through.items():
                self.database.execute("DELETE FROM events WHERE boot = ? AND seq <= ?", (boot, seq))
            for boot, event, problem in aside:
                row = (boot, event["seq"], json.dumps(event), problem)
                self.database.execute("DELETE FROM events WHERE boot = ? AND seq = ?", row[:2])
                self.database.execute("INSERT INTO rejected_events VALUES (?, ?, ?, ?)", row)
            for boot, event in events:
                row = (boot, event["seq"], json.dumps(event), boot, event["seq"])
                self.database.execute(
                    "INSERT INTO events (boot, seq, body) SELECT ?, ?, ?"
                    " WHERE NOT EXISTS (SELECT 1 FROM events WHERE boot = ? AND seq = ?)",
                    row,
                )
            for name, value in (memory or {}).items():
                self.database.execute("INSERT OR REPLACE INTO memory VALUES (?, ?)", (name, json.dumps(value)))
            self.database.execute("COMMIT")
        except BaseException:
            # SQLite itself rolls back on a full card and on some I/O errors; a second rollback would be an error.
            if self.database.in_transaction:
                self.database.execute("ROLLBACK")
            raise

    def recall(self, name, otherwise):
        row = self.database.execute("SELECT value FROM memory WHERE name = ?", (name,)).fetchone()
        return json.loads(row[0]) if row else otherwise

    def has(self, boot, seq):
        row = self.database.execute("SELECT 1 FROM events WHERE boot = ? AND seq = ?", (boot, seq)).fetchone()
        return row is not None

    def first_boot(self, done):
        wanted, values = without(done)
        row = self.database.execute(f"SELECT boot FROM events WHERE {wanted} ORDER BY place LIMIT 1", values).fetchone()
        return None if row is None else row[0]

    def bodies(self, boot, done, most):
        """(seq, body) of one boot by seq."""
        wanted, values = without(done)
        return self.database.execute(
            f"SELECT seq, body FROM events WHERE boot = ? AND {wanted} ORDER BY seq LIMIT ?", (boot, *values, most)
        ).fetchall()

    def waiting(self, done):
        wanted, values = without(done)
        return self.database.execute(f"SELECT count(*) FROM events WHERE {wanted}", values).fetchone()[0]

    def drop_overflow(self):
        """How many were dropped: by the same rule as in memory."""
        (held,) = self.database.execute("SELECT count(*) FROM events").fetchone()
        if held <= SPOOL_MAX:
            return 0
        over = held - SPOOL_MAX + SPOOL_MAX // 100  # more than needed, so that it is seldom done
        gone = 0
        for kind in DROPPED_FIRST:
            gone += self.database.execute(
                "DELETE FROM events WHERE place IN (SELECT place FROM events WHERE body LIKE ? ORDER BY place LIMIT ?)",
                (f'%"kind": "{kind}"%', over - gone),
            ).rowcount
            if gone >= over:
                break
        return gone

    def close(self):
        if self.database is not None:
            self.database.close()
            self.database = None


def without(done):
    """Leaves out events that the server has stored or rejected, but that could not be deleted yet."""
    wanted, values = ["1"], []
    for boot, seq in done["through"].items():
        wanted.append("NOT (boot = ? AND seq <= ?)")
        values += [boot, seq]
    for boot, seq in done["aside"]:
        wanted.append("NOT (boot = ? AND seq = ?)")
        values += [boot, seq]
    return " AND ".join(wanted), values
