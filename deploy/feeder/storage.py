"""What must survive a power cut: events in a database, and a small state in a file that is overwritten in place.

A new event needs free space on the card. While there is none, events wait in memory and are written in order when there is
space again. The state needs no free space: its file has its full size from the first start on. So a pause, the portion that
is being given and the events that matter most survive a power cut on a full card too.
"""

import errno
import json
import logging
import os
import secrets
import sqlite3
import struct
import zlib
from pathlib import Path

log = logging.getLogger("feeder")

BYTES_PER_REPORT = 900_000  # under the server's limit of 1 MiB, with space for the readings
SPOOL_MAX = 200_000  # events; about a season of a busy feeder
MEMORY_MAX = 4_000  # events that wait while the card takes nothing; some 5 MB
TRY_AGAIN_EVERY = 10.0  # seconds between two tries to write to a card that refused
SOUND_AFTER = 60.0  # seconds without a failure until the card is called well again
SPACE_WANTED = 65_536  # bytes that must be free for that: a full card still takes a little, into pages freed before
DAMAGED_KEPT = 2  # spools that were set aside; more would fill the card themselves

STORAGE_ERRORS = (sqlite3.Error, OSError)

# What is dropped first when even the memory is full: least valuable first, the oldest of a kind first. Visits, presses and
# deposits go on in the running totals (`counts`). Whatever is not listed is never dropped: an order's answer above all.
# Readings are not kept at all: a report carries those of its own moment, so that they are always the first to go.
DROPPED_FIRST = ("visit", "lid", "press", "deposit", "trouble", "refill", "portion")
# What is copied into the state's file while the spool takes nothing.
KEPT_THROUGH_POWER_CUTS = ("order", "portion", "deposit", "refill")


class StateFile:
    """One JSON value in a file of fixed size, overwritten in place, which needs no free space.

    Two slots are written in turn, each with a generation and a checksum: a power cut in the middle of one leaves the other.
    """

    SLOT = 32_768  # bytes
    HEADER = struct.Struct(">8sQII")  # magic, generation, length and CRC-32 of what follows
    MAGIC = b"feeder01"
    MOST = SLOT - HEADER.size

    def __init__(self, path):
        self.path = Path(path)
        self.generation = 0
        self.descriptor = None

    def read(self):
        """("absent", None), ("unreadable", None) or ("read", value)."""
        try:
            raw = self.path.read_bytes()
        except FileNotFoundError:
            return "absent", None
        except OSError as error:
            log.error("The state can't be read: %s", error)
            return "unreadable", None
        found = [slot for slot in (self._slot(raw, 0), self._slot(raw, self.SLOT)) if slot is not None]
        if not found:
            return "unreadable", None
        self.generation, value = max(found, key=lambda slot: slot[0])
        return "read", value

    def _slot(self, raw, place):
        header = raw[place : place + self.HEADER.size]
        if len(header) < self.HEADER.size:
            return None
        magic, generation, length, checksum = self.HEADER.unpack(header)
        payload = raw[place + self.HEADER.size :][:length]
        if magic != self.MAGIC or len(payload) != length or zlib.crc32(payload) != checksum:
            return None
        return generation, json.loads(payload)

    def write(self, payload, twice=False):
        """Returns when it is on the card. Twice: into both slots, so that one bad block can't bring back what was before."""
        for _ in range(2 if twice else 1):
            try:
                generation = self.generation + 1
                block = self.HEADER.pack(self.MAGIC, generation, len(payload), zlib.crc32(payload)) + payload
                if self.descriptor is None:
                    self._open(block, generation % 2 * self.SLOT)
                if os.pwrite(self.descriptor, block, generation % 2 * self.SLOT) != len(block):
                    raise OSError(errno.EIO, "only a part of the state was written")
                os.fsync(self.descriptor)
            except OSError:
                self.close()
                raise
            self.generation = generation  # only now: a try that failed is repeated in the same slot

    def _open(self, block, place):
        if not self.path.exists() or self.path.stat().st_size != 2 * self.SLOT:
            self._take_up_space(block, place)
        self.descriptor = os.open(self.path, os.O_RDWR)

    def _take_up_space(self, block, place):
        """Real bytes, since a file of holes would need space later; and never a file without a state in it."""
        whole = bytearray(os.urandom(2 * self.SLOT))
        whole[place : place + len(block)] = block
        new = self.path.with_suffix(".new")
        try:
            with open(new, "wb") as file:
                file.write(whole)
                file.flush()
                os.fsync(file.fileno())
            new.replace(self.path)
            sync_folder(self.path.parent)
        except OSError:
            new.unlink(missing_ok=True)
            raise

    def close(self):
        if self.descriptor is not None:
            os.close(self.descriptor)
            self.descriptor = None


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
            database.execute("CREATE TABLE IF NOT EXISTS set_aside (boot TEXT, seq INTEGER, body TEXT, problem TEXT)")
            database.execute("CREATE TABLE IF NOT EXISTS memory (name TEXT PRIMARY KEY, value TEXT)")
        except BaseException:
            database.close()
            raise
        try:
            database.execute("CREATE INDEX IF NOT EXISTS events_by_seq ON events (boot, seq)")
        except sqlite3.OperationalError as error:
            log.warning("The spool has no index, which makes it slower: %s", error)  # an older spool on a full card
        self.database = database

    def set_damaged_aside(self):
        """Under another name, with its journal: somebody may want to look. Raises OSError where that can't be done."""
        self.close()
        aside = self.path.with_suffix(f".damaged-{secrets.token_hex(3)}")
        for rest in ("-wal", "-shm"):
            part = Path(f"{self.path}{rest}")
            if part.exists():
                part.rename(f"{aside}{rest}")
        self.path.rename(aside)
        earlier = [one for one in self.path.parent.glob(f"{self.path.stem}.damaged-??????") if one != aside]
        for old in sorted(earlier, key=lambda one: one.stat().st_mtime, reverse=True)[DAMAGED_KEPT - 1 :]:
            for rest in ("", "-wal", "-shm"):
                Path(f"{old}{rest}").unlink(missing_ok=True)
        return aside.name

    def shorten_journal(self):
        """What waits in the journal goes into the database, and the space of the journal is given back."""
        self.database.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()

    def settle(self, events, stored_through, aside, memory=None):
        """All of it or none of it. Repeating it after an error whose outcome is unknown changes nothing twice."""
        self.database.execute("BEGIN IMMEDIATE")
        try:
            for boot, seq in stored_through.items():
                self.database.execute("DELETE FROM events WHERE boot = ? AND seq <= ?", (boot, seq))
            for boot, event, problem in aside:
                row = (boot, event["seq"], json.dumps(event), problem)
                self.database.execute("DELETE FROM events WHERE boot = ? AND seq = ?", row[:2])
                self.database.execute("INSERT INTO set_aside VALUES (?, ?, ?, ?)", row)
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
        """How many had to go: by the same rule as in memory, and then the oldest of all."""
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
    """Leaves out what the server has stored or what is set aside, but could not be deleted yet."""
    wanted, values = ["1"], []
    for boot, seq in done["through"].items():
        wanted.append("NOT (boot = ? AND seq <= ?)")
        values += [boot, seq]
    for boot, seq in done["aside"]:
        wanted.append("NOT (boot = ? AND seq = ?)")
        values += [boot, seq]
    return " AND ".join(wanted), values


class Store:
    """Events and state, on the card as long as it can be written, else in memory. No failure of the card comes out of it.

    `take_words` hands out what the keeper must be told about the card, once per episode and reason.
    """

    def __init__(self, folder, clock):
        self.folder = Path(folder)
        self.clock = clock
        self.spool = Spool(self.folder / "spool.sqlite")
        self.state_file = StateFile(self.folder / "state.slots")
        self.memory = []  # (boot, event), in order: not in the spool yet
        self.through = {}  # boot -> seq that the server has stored, still in the spool
        self.aside = []  # (boot, event, problem), still in the spool as ordinary events
        self.words = []
        self.episode = None  # {"told": reasons, "sound_since"} from the first failure until the card is well again
        self.try_again_at = None  # the spool refused: nothing is written to it before then
        self.state_again_at = None  # the same of the state's file
        self.failures = 0  # of the spool, in a row
        self.noted = False  # the spool knows that there is a state's file
        self.dropped = {}  # kind -> how many had to go in this episode
        self.is_owed = lambda boot, seq: False
        self.state = {"held": None, "known_orders": [], "run": None, "kept": [], "unwritten": False}
        self.state_written = None
        self._start()

    # --- start ------------------------------------------------------------------------------------------------------

    def _start(self):
        spool_was_there = size_of(self.spool.path) > 0
        self.damaged = False
        spool_opened = self._open_spool()
        outcome, found = self.state_file.read()
        if outcome == "read":
            self.state.update(found)
        elif outcome == "unreadable" or self.damaged or (spool_was_there and not spool_opened):
            self._stay_paused()
        elif spool_opened:
            self._recall_from_spool()
        if self.state.pop("unwritten", False):
            self.words.append(
                "Before this start the card took nothing. Some events of that time were only in memory and may be lost."
            )
        self.state["unwritten"] = False
        self.memory = [(boot, event) for boot, event in self.state["kept"]]
        self._recover_run()
        if self.try_again_at is None and self.memory:
            self._flush()
        self._save_state()

    def _recall_from_spool(self):
        """The state's file is absent: either an earlier version kept the state in the spool, or the file was lost."""
        try:
            if self.spool.recall("state_file", False):
                self._stay_paused()
                return
            self.state["held"] = self.spool.recall("held", None)
            self.state["known_orders"] = self.spool.recall("known_orders", [])
        except STORAGE_ERRORS as error:
            self._failed(error)
            self._stay_paused()

    def _stay_paused(self):
        """Nobody knows whether a pause was in force. Whoever asked for one may have a hand in the tray or a sick bird there:
        feeding would do harm, and standing still is told at once and ended by one tap."""
        self.state["held"] = {"order": None, "until": None}
        self.words.append(
            "What this feeder was told last can't be read on its card. It stays paused to be safe: "
            "press Resume if it may feed."
        )

    def _recover_run(self):
        """A portion that was begun and not ended is reported as cut short, unless its end is stored already."""
        run = self.state["run"]
        if run is None:
            return
        boot, event = run
        known = any(kept_boot == boot and kept["seq"] == event["seq"] for kept_boot, kept in self.memory)
        try:
            known = known or (self.spool.database is not None and self.spool.has(boot, event["seq"]))
        except STORAGE_ERRORS as error:
            self._failed(error)
        if not known:
            self.memory.append((boot, event))
            if self.try_again_at is None:
                self._flush()  # into the spool first: the state forgets the run only then
        self.state["run"] = None

    def _open_spool(self):
        """Whether it is open. A damaged one is set aside and begun anew."""
        try:
            try:
                self.spool.open()
            except sqlite3.DatabaseError as error:
                if not is_damage(error):
                    raise
                log.error("The spool is damaged and is set aside: %s", error)
                self.damaged = True
                name = self.spool.set_damaged_aside()
                self.words.append(
                    f"The spool was damaged and is set aside as {name}. Events that waited in it are not sent."
                )
                self.spool.open()
            return True
        except STORAGE_ERRORS as error:
            self._failed(error)
            return False

    # --- writing ----------------------------------------------------------------------------------------------------

    def write(self, boot, event, first=None, then=None):
        """`first`: changes of the state that must be on the card before the event is, such as a pause before its proof.
        `then`: those that must not be there before it, such as that a portion has ended."""
        self.memory.append((boot, event))
        if first:
            self.state.update(first)
            self._save_state(twice=True)
        if self.try_again_at is None:
            self._flush()
        if then:
            self.state.update(then)
        self._trim()
        self._save_state()

    def keep(self, twice=False, **changes):
        self.state.update(changes)
        self._save_state(twice)

    def forget(self, boot, stored_through):
        self.memory = [(its, event) for its, event in self.memory if its != boot or event["seq"] > stored_through]
        self.through[boot] = max(stored_through, self.through.get(boot, 0))
        if self.try_again_at is None:
            self._flush()
        self._save_state()

    def set_aside(self, boot, event, problem):
        """For an event that the server will not take: it must not block all that come after it, nor be lost."""
        self.memory = [(its, one) for its, one in self.memory if (its, one["seq"]) != (boot, event["seq"])]
        self.aside.append((boot, event, problem))
        if self.try_again_at is None:
            self._flush()

    def look_after(self):
        """Called while the motor stands: a card that refused is tried again, and is called well when it stays well."""
        if self.episode is None:
            return
        now = self.clock()
        if self.try_again_at is not None and now >= self.try_again_at:
            if (self.spool.database is not None or self._open_spool()) and self._shorten_journal() and self._flush():
                self.try_again_at, self.failures = None, 0
                self._save_state()
        if self.state_again_at is not None and now >= self.state_again_at:
            self._save_state(twice=True)
        if self.try_again_at is not None or self.state_again_at is not None:
            self.episode["sound_since"] = None
        elif self.episode["sound_since"] is None or free_bytes(self.folder) < SPACE_WANTED:
            self.episode["sound_since"] = now
        elif now - self.episode["sound_since"] >= SOUND_AFTER:
            self.episode = None
            self.words.append(f"The card takes everything again: what waited in memory is written.{self._dropped_words()}")
            self.dropped = {}

    def drop_overflow(self):
        if self.try_again_at is not None:
            return 0
        try:
            return self.spool.drop_overflow()
        except STORAGE_ERRORS as error:
            self._failed(error)
            return 0

    def _shorten_journal(self):
        try:
            self.spool.shorten_journal()
        except STORAGE_ERRORS as error:
            self._failed(error)
            return False
        return True

    def _flush(self):
        """Memory into the spool. Whether that was done."""
        note = {"state_file": True} if self.state_written is not None and not self.noted else None
        try:
            self.spool.settle(self.memory, self.through, self.aside, note)
        except STORAGE_ERRORS as error:
            self._failed(error)
            return False
        self.memory, self.through, self.aside = [], {}, []
        self.noted = self.noted or note is not None
        return True

    def _save_state(self, twice=False):
        """Whether it is on the card. Writes only what has changed."""
        self.state["kept"], self.state["unwritten"] = self._kept()
        payload = json.dumps(self.state).encode()
        if payload == self.state_written:
            return True
        if self.state_again_at is not None and self.clock() < self.state_again_at and not twice:
            return False
        try:
            self.state_file.write(payload, twice)
        except OSError as error:
            self._failed(error, "state")
            return False
        self.state_written = payload
        self.state_again_at = None
        return True

    def _kept(self):
        """The most valuable of what waits in memory, as far as it fits beside the rest; and whether anything is left out."""
        if not self.memory:
            return [], False
        space = StateFile.MOST - len(json.dumps({**self.state, "kept": []})) - 100
        places = [place for place, (_, event) in enumerate(self.memory) if event["kind"] in KEPT_THROUGH_POWER_CUTS]
        kept = set()
        for place in sorted(places, key=lambda one: KEPT_THROUGH_POWER_CUTS.index(self.memory[one][1]["kind"])):
            space -= len(json.dumps(self.memory[place])) + 2
            if space < 0:
                break
            kept.add(place)
        return [list(self.memory[place]) for place in sorted(kept)], len(kept) < len(self.memory)

    def _trim(self):
        if len(self.memory) <= MEMORY_MAX:
            return
        surplus = max(1, MEMORY_MAX // 40)  # more than one, so that it is seldom done
        going = []
        for kind in DROPPED_FIRST:
            # The newest stays: only after it is written is it known whether somebody waits for its pay.
            for place, (boot, event) in enumerate(self.memory[:-1]):
                if len(going) < surplus and event["kind"] == kind and not self._is_held(boot, event):
                    going.append(place)
        if going and not self.dropped:
            self.words.append("The memory is full too: from now on the least valuable of the waiting events are dropped.")
        for place in going:
            kind = self.memory[place][1]["kind"]
            self.dropped[kind] = self.dropped.get(kind, 0) + 1
        gone = set(going)
        self.memory = [one for place, one in enumerate(self.memory) if place not in gone]

    def _is_held(self, boot, event):
        return bool(event.get("cutShort")) or self.is_owed(boot, event["seq"])

    def _dropped_words(self):
        if not self.dropped:
            return ""
        return " Dropped for want of memory: " + ", ".join(f"{many} {kind}" for kind, many in self.dropped.items()) + "."

    # --- failures ---------------------------------------------------------------------------------------------------

    def _failed(self, error, what="spool"):
        again = self.clock() + TRY_AGAIN_EVERY
        if what == "state":
            self.state_again_at = again
        else:
            self.failures += 1
            self.try_again_at = again
        if self.episode is None:
            self.episode = {"told": set()}
        self.episode["sound_since"] = None
        reason, words = words_for(error, what)
        if reason not in self.episode["told"]:
            self.episode["told"].add(reason)
            self.words.append(words)
            log.error("%s (%s)", words, error)
        if what == "spool" and (is_damage(error) or self.failures > 2):
            # Opened anew at the next try, which also finds out whether it is damaged.
            try:
                self.spool.close()
            except sqlite3.Error as closing:
                log.error("The spool could not be closed: %s", closing)
                self.spool.database = None

    def take_words(self):
        words, self.words = self.words, []
        return words

    # --- reading ----------------------------------------------------------------------------------------------------

    def _done(self):
        return {"through": self.through, "aside": [(boot, event["seq"]) for boot, event, _ in self.aside]}

    def _read(self, question, otherwise):
        if self.spool.database is None:
            return otherwise
        try:
            return question()
        except STORAGE_ERRORS as error:
            self._failed(error)
            return otherwise

    def first_boot(self):
        boot = self._read(lambda: self.spool.first_boot(self._done()), None)
        return boot if boot is not None else self.memory[0][0] if self.memory else None

    def oldest(self, most, before=None):
        """The oldest events, all of one boot, as a report may speak for one boot only. None while nothing waits.

        `before`: (boot, seq) of a portion that is being given. What came after it waits, so that numbers leave in order.
        """
        boot = self.first_boot()
        if boot is None:
            return None
        rows = self._read(lambda: self.spool.bodies(boot, self._done(), most), [])
        bodies = dict(rows)
        for its, event in self.memory:
            if its == boot:
                bodies.setdefault(event["seq"], json.dumps(event))
        events, size = [], 0
        for seq, body in sorted(bodies.items())[:most]:
            size += len(body.encode()) + 1
            if (events and size > BYTES_PER_REPORT) or (before is not None and before[0] == boot and seq >= before[1]):
                break
            events.append(json.loads(body))
        return boot, events

    def waiting(self):
        return self._read(lambda: self.spool.waiting(self._done()), 0) + len(self.memory)

    def close(self):
        self._save_state()
        try:
            self.spool.close()
        except sqlite3.Error as error:
            log.error("The spool could not be closed: %s", error)
        self.state_file.close()


def is_damage(error):
    """Python before 3.11 tells no error codes, so it goes by SQLite's own words for SQLITE_CORRUPT and SQLITE_NOTADB."""
    return isinstance(error, sqlite3.DatabaseError) and any(
        words in str(error) for words in ("malformed", "not a database")
    )


def words_for(error, what):
    """A reason, by which an episode tells each thing once, and plain words for the keeper."""
    said = str(error)
    on = getattr(error, "errno", None)
    if what == "state":
        return "state", (
            "The card can't store what this feeder was told: a pause holds, but would be forgotten if the power goes."
        )
    if on in (errno.ENOSPC, errno.EDQUOT) or "full" in said:
        return "full", (
            "The card is full: events wait in memory, and some of them would be lost if the power goes. "
            "Make space on the card."
        )
    if on == errno.EROFS or "readonly" in said:
        return "readonly", (
            "The card can only be read: events wait in memory, and would be lost if the power goes. Replace the card soon."
        )
    if is_damage(error):
        return "damaged", "The spool on the card is damaged. It is set aside, and begun anew as soon as the card allows."
    return "unwritable", (
        f"The card can't be written ({said[:100]}): events wait in memory, and would be lost if the power goes."
    )


def size_of(path):
    """0 where there is nothing; a path that can't even be asked is taken for something."""
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0
    except OSError:
        return 1


def free_bytes(folder):
    try:
        space = os.statvfs(folder)
    except (AttributeError, OSError):  # not on every system
        return SPACE_WANTED
    return space.f_bavail * space.f_frsize


def sync_folder(folder):
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
