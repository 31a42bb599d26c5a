"""What must survive a power cut: events in a database, and a small state in a file that is overwritten in place.

A new event needs free space on the card. While there is none, events wait in memory and are written in order when there is
space again. The state needs no free space: its file has its full size from the first start on. So a pause, the portion that
is being given and the events that matter most survive a power cut on a full card too.
"""

import json
import logging
import sqlite3
from pathlib import Path

from card import free_bytes, is_damage, size_of, trouble_text
from spool import DROPPED_FIRST, Spool
from state_file import StateFile

log = logging.getLogger("feeder")

BYTES_PER_REPORT = 900_000  # under the server's limit of 1 MiB, with space for the readings
MEMORY_MAX = 4_000  # events that wait while the card takes nothing; some 5 MB
TRY_AGAIN_EVERY = 10.0  # seconds between two attempts to write to a card that failed
SOUND_AFTER = 60.0  # seconds without a failure until the card counts as sound again
SPACE_WANTED = 65_536  # bytes that must be free for that: a full card still takes a little, into pages freed before

STORAGE_ERRORS = (sqlite3.Error, OSError)

# Events that are also stored in the state's file while the spool can't be written.
STORED_WITH_STATE = ("order", "portion", "deposit", "refill")


class Store:
    """Events and state, on the card as long as it can be written, else in memory. No failure of the card comes out of it.

    `take_texts` returns what the keeper must know about the card, once per episode and reason.
    """

    def __init__(self, folder, clock):
        self.folder = Path(folder)
        self.clock = clock
        self.spool = Spool(self.folder / "spool.sqlite")
        self.state_file = StateFile(self.folder / "state.slots")
        self.memory = []  # (boot, event), in order: not in the spool yet
        self.through = {}  # boot -> seq that the server has stored, still in the spool
        self.aside = []  # (boot, event, problem), still in the spool as ordinary events
        self.text = []
        self.episode = None  # {"reported": reasons, "sound_since"} from the first failure until the card is sound again
        self.try_again_at = None  # the spool failed: nothing is written to it before then
        self.state_again_at = None  # the same of the state's file
        self.failures = 0  # of the spool, in a row
        self.noted = False  # the spool knows that there is a state's file
        self.dropped = {}  # kind -> how many were dropped in this episode
        self.is_owed = lambda boot, seq: False
        self.state = {"held": None, "known_orders": [], "run": None, "kept": [], "unwritten": False, "plan": None, "bench": None}
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
            self.text.append(
                "Before this start the card could not be written. Some events of that time were only in memory and may be lost."
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
        """Whether a pause was in force is unknown. A keeper may have a hand in the tray, or a sick bird there: feeding could
        hurt, while a pause is reported at once and ended with one tap."""
        self.state["held"] = {"order": None, "until": None}
        self.text.append(
            "The last orders of this feeder can't be read on its card. It stays paused to be safe: "
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
        """Whether it is open. A damaged one is renamed, and a new one started."""
        try:
            try:
                self.spool.open()
            except sqlite3.DatabaseError as error:
                if not is_damage(error):
                    raise
                log.error("The spool is damaged and is renamed: %s", error)
                self.damaged = True
                name = self.spool.move_damaged_away()
                self.text.append(
                    f"The spool was damaged and is renamed to {name}. Events that waited in it are not sent."
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

    def reject(self, boot, event, problem):
        """For an event that the server rejects: it must neither block later events nor be lost."""
        self.memory = [(its, one) for its, one in self.memory if (its, one["seq"]) != (boot, event["seq"])]
        self.aside.append((boot, event, problem))
        if self.try_again_at is None:
            self._flush()

    def maintain(self):
        """Called while the motor stands: a card that failed is tried again, and counts as sound after a time without failures."""
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
            self.text.append(f"The card can be written again: events that waited in memory are stored.{self._dropped_text()}")
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
        """The most valuable events that wait in memory, as far as they fit; and whether any is left out."""
        if not self.memory:
            return [], False
        space = StateFile.MOST - len(json.dumps({**self.state, "kept": []})) - 100
        places = [place for place, (_, event) in enumerate(self.memory) if event["kind"] in STORED_WITH_STATE]
        kept = set()
        for place in sorted(places, key=lambda one: STORED_WITH_STATE.index(self.memory[one][1]["kind"])):
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
            # The newest stays: only after it is stored is it known whether it waits for its portion.
            for place, (boot, event) in enumerate(self.memory[:-1]):
                if len(going) < surplus and event["kind"] == kind and not self._is_held(boot, event):
                    going.append(place)
        if going and not self.dropped:
            self.text.append("The memory is full too: from now on the least valuable of the waiting events are dropped.")
        for place in going:
            kind = self.memory[place][1]["kind"]
            self.dropped[kind] = self.dropped.get(kind, 0) + 1
        gone = set(going)
        self.memory = [one for place, one in enumerate(self.memory) if place not in gone]

    def _is_held(self, boot, event):
        return bool(event.get("cutShort")) or self.is_owed(boot, event["seq"])

    def _dropped_text(self):
        if not self.dropped:
            return ""
        return " Dropped for lack of memory: " + ", ".join(f"{many} {kind}" for kind, many in self.dropped.items()) + "."

    # --- failures ---------------------------------------------------------------------------------------------------

    def _failed(self, error, what="spool"):
        again = self.clock() + TRY_AGAIN_EVERY
        if what == "state":
            self.state_again_at = again
        else:
            self.failures += 1
            self.try_again_at = again
        if self.episode is None:
            self.episode = {"reported": set()}
        self.episode["sound_since"] = None
        reason, text = trouble_text(error, what)
        if reason not in self.episode["reported"]:
            self.episode["reported"].add(reason)
            self.text.append(text)
            log.error("%s (%s)", text, error)
        if what == "spool" and (is_damage(error) or self.failures > 2):
            # Opened again at the next attempt, which also checks whether it is damaged.
            try:
                self.spool.close()
            except sqlite3.Error as closing:
                log.error("The spool could not be closed: %s", closing)
                self.spool.database = None

    def take_texts(self):
        text, self.text = self.text, []
        return text

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
        """The oldest events, all of one boot, as a report is of one boot only. None while nothing waits.

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
