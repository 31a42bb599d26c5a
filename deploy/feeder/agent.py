#!/usr/bin/env python3
"""The feeder's own program: watches the sensors, gives portions, and reports to a Pieward server.

It needs Python 3.9 or newer and nothing else. Everything that touches your wiring is in hardware.py; this file need not
be changed. Its duties:

- what happened is on the disk before anything else is done with it, and leaves the disk only when the server has
  answered that it is stored: a power cut or a week without network loses nothing;
- a pause stops the motor at once, also in the middle of a run, and holds through power cuts; the order's event is written
  only when the motor stands and the pause is on the disk;
- resuming never feeds what was left unpaid meanwhile.

    python3 agent.py --url https://pieward.example --key-file /etc/pieward/feeder.key --data /var/lib/pieward-feeder
"""

import argparse
import json
import logging
import queue
import random
import secrets
import signal
import sqlite3
import sys
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from datetime import datetime, timezone
from pathlib import Path

from hardware import DryRun, YourFeeder

log = logging.getLogger("feeder")

EVENTS_PER_REPORT = 2_000  # the server's own limit
BYTES_PER_REPORT = 900_000  # under its limit of 1 MiB, with room for the readings
SPOOL_MAX = 200_000  # events; about a season of a busy feeder
KNOWN_ORDERS_MAX = 16
OWED_MAX = 3  # a bird that drums on the button is not fed by the drum
ANSWER_WITHIN = 15.0  # seconds
BACK_OFF_FIRST, BACK_OFF_MAX = 2.0, 300.0
PIECES_SETTLE = 0.6  # seconds after the motor until the last piece has passed the chute sensor
INRUSH = 0.3  # seconds in which a starting motor draws as much as a stalled one


class Spool:
    """Events and orders on the disk. `synchronous=FULL`: a commit that returned is still there after a power cut."""

    def __init__(self, path):
        self.found_damaged = False
        self.path = Path(path)
        try:
            self.database = self._open()
        except sqlite3.DatabaseError as error:
            # A card that died is no reason to stop feeding or obeying from now on. What was there is kept for a look.
            log.error("The spool is damaged and is set aside: %s", error)
            self.path.rename(self.path.with_suffix(f".damaged-{secrets.token_hex(3)}"))
            for rest in ("-wal", "-shm"):
                Path(f"{self.path}{rest}").unlink(missing_ok=True)
            self.database = self._open()
            self.found_damaged = True

    def _open(self):
        database = sqlite3.connect(self.path, isolation_level=None)
        database.execute("PRAGMA journal_mode=WAL")
        database.execute("PRAGMA synchronous=FULL")
        (sound,) = database.execute("PRAGMA quick_check").fetchone()
        if sound != "ok":
            database.close()
            raise sqlite3.DatabaseError(sound)
        database.execute(
            "CREATE TABLE IF NOT EXISTS events (place INTEGER PRIMARY KEY, boot TEXT, seq INTEGER, body TEXT)"
        )
        database.execute("CREATE TABLE IF NOT EXISTS set_aside (boot TEXT, seq INTEGER, body TEXT, problem TEXT)")
        database.execute("CREATE TABLE IF NOT EXISTS memory (name TEXT PRIMARY KEY, value TEXT)")
        return database

    def write(self, boot, events, memory=None):
        """All of it or none of it: an order's proof and the pause itself are written together."""
        self.database.execute("BEGIN IMMEDIATE")
        try:
            for event in events:
                row = (boot, event["seq"], json.dumps(event))
                self.database.execute("INSERT INTO events (boot, seq, body) VALUES (?, ?, ?)", row)
            for name, value in (memory or {}).items():
                self.database.execute("INSERT OR REPLACE INTO memory VALUES (?, ?)", (name, json.dumps(value)))
            self.database.execute("COMMIT")
        except BaseException:
            self.database.execute("ROLLBACK")
            raise

    def recall(self, name, otherwise):
        row = self.database.execute("SELECT value FROM memory WHERE name = ?", (name,)).fetchone()
        return json.loads(row[0]) if row else otherwise

    def oldest(self, most):
        """The oldest events, all of one boot, as a report may speak for one boot only. None while nothing waits."""
        first = self.database.execute("SELECT boot FROM events ORDER BY place LIMIT 1").fetchone()
        if first is None:
            return None
        (boot,) = first
        bodies, size = [], 0
        rows = self.database.execute("SELECT boot, body FROM events ORDER BY place LIMIT ?", (most,))
        for its_boot, body in rows:
            size += len(body.encode()) + 1
            if its_boot != boot or (bodies and size > BYTES_PER_REPORT):
                break
            bodies.append(json.loads(body))
        return boot, bodies

    def forget(self, boot, stored_through):
        self.database.execute("DELETE FROM events WHERE boot = ? AND seq <= ?", (boot, stored_through))

    def set_aside(self, boot, event, problem):
        """For an event that no server will read: it must not block all that come after it, nor be lost."""
        row = (boot, event["seq"], json.dumps(event), problem)
        self.database.execute("BEGIN IMMEDIATE")
        self.database.execute("INSERT INTO set_aside VALUES (?, ?, ?, ?)", row)
        self.database.execute("DELETE FROM events WHERE boot = ? AND seq = ?", (boot, event["seq"]))
        self.database.execute("COMMIT")

    def drop_overflow(self):
        """How many of the oldest had to go."""
        over = len(self) - SPOOL_MAX
        if over <= 0:
            return 0
        self.database.execute(
            "DELETE FROM events WHERE place IN (SELECT place FROM events ORDER BY place LIMIT ?)", (over,)
        )
        return over

    def __len__(self):
        return self.database.execute("SELECT count(*) FROM events").fetchone()[0]

    def close(self):
        self.database.close()


class Feeder:
    """The duties. `step` is called every few hundredths of a second; time, hardware and door are handed in."""

    def __init__(self, spool, hardware, door, clock, boot=None):
        self.spool = spool
        self.hardware = hardware
        self.door = door
        self.clock = clock
        self.boot = boot or f"b-{secrets.token_hex(8)}"
        self.booted_at = clock()
        self.seq = 0
        self.counts = {"button": 0, "detector": 0, "chute": 0, "perch": 0}
        self.owed = []
        self.run = None  # the portion that is being given
        self.held = spool.recall("held", None)  # {"order", "until"} while paused
        self.known_orders = spool.recall("known_orders", [])
        self.server_ahead = None  # server's seconds less ours; None until it has told the time in this boot
        self.report_at = clock()
        self.back_off = BACK_OFF_FIRST
        self.events_at_once = EVENTS_PER_REPORT
        self.sensor_trouble_at = None
        hardware.motor_off()  # whatever the last run left behind
        if spool.found_damaged:
            self._write({"kind": "trouble", "words": "The spool was damaged: events of before this start may be lost."})

    # --- one turn of the loop ---------------------------------------------------------------------------------------

    def step(self):
        self._end_pause_in_time()
        for happening in self._asked(self.hardware.poll, []):
            self._sensed(*happening)
        self._turn_motor()
        outcome = self.door.take()
        if outcome is not None:
            self._heard(*outcome)
        if self.clock() >= self.report_at and not self.door.busy:
            self.report_at = self.clock() + ANSWER_WITHIN
            self.door.send(self.report())

    def stop(self):
        """Motor first; then what it gave is written down."""
        self.hardware.motor_off()
        if self.run:
            self._finish_run()
        self.spool.close()

    @property
    def paused(self):
        return self.held is not None

    # --- sensors ----------------------------------------------------------------------------------------------------

    def _sensed(self, kind, *details):
        if kind == "perch":
            self.counts["perch"] += 1
            self._write({"kind": "visit"})
        elif kind == "press":
            self.counts["button"] += 1
            self._owe("press", self._write({"kind": "press"}))
        elif kind == "cap":
            strength, metal, beam = details
            self.counts["detector"] += 1
            seq = self._write({"kind": "deposit", "metal": metal, "signal": strength, "chute": beam})
            if metal is not False:
                self._owe("deposit", seq)
        elif kind == "piece":
            self.counts["chute"] += 1
            if self.run:
                self.run["pieces"] += 1
        elif kind == "lid":
            self._write({"kind": "lid", "open": details[0]})
        elif kind == "filled":
            self._write({"kind": "refill", "grams": details[0], "full": True})
        elif kind == "trouble":
            self._write({"kind": "trouble", "words": str(details[0])[:500]})
        else:
            raise ValueError(f"expected a happening that hardware.py documents, got {kind!r}")

    def _asked(self, question, otherwise):
        """A loose wire on one sensor must not end the feeding, the reports and the obeying. It is told once an hour."""
        try:
            return question()
        except Exception as error:  # whatever the keeper's own code for the hardware may throw
            if self.sensor_trouble_at is None or self.clock() - self.sensor_trouble_at > 3_600:
                self.sensor_trouble_at = self.clock()
                log.exception("A sensor could not be read")
                self._write({"kind": "trouble", "words": f"A sensor could not be read: {error!r}"[:500]})
            return otherwise

    # --- motor ------------------------------------------------------------------------------------------------------

    def _owe(self, cause, pays_for):
        if self.paused:
            return  # written down, and never paid late
        if len(self.owed) < OWED_MAX:
            self.owed.append((cause, pays_for))

    def _turn_motor(self):
        now = self.clock()
        run = self.run
        if run is None:
            if self.owed and not self.paused:
                cause, pays_for = self.owed.pop(0)
                self.run = {
                    "cause": cause,
                    "pays_for": pays_for,
                    "started": now,
                    "stopped": None,
                    "currents": [],
                    "lowest_volts": None,
                    "pieces": 0,
                }
                self.hardware.motor_on()
            return
        if run["stopped"] is None:
            current = self.hardware.motor_milliamps()
            if current is not None:
                run["currents"].append(current)
            supply = self._asked(self.hardware.supply_volts, None)
            # A portion must not be refused for what a broken converter says beside it.
            if supply is not None and 0 <= supply <= 60:
                run["lowest_volts"] = supply if run["lowest_volts"] is None else min(supply, run["lowest_volts"])
            ran = now - run["started"]
            limit = self.hardware.stall_milliamps
            stalled = current is not None and limit is not None and ran > INRUSH and current > limit
            if stalled or ran >= self.hardware.portion_seconds:
                self.hardware.motor_off()
                run["stopped"] = now
        elif now - run["stopped"] >= PIECES_SETTLE:
            self._finish_run()

    def _finish_run(self):
        run, self.run = self.run, None
        stopped = run["stopped"] if run["stopped"] is not None else self.clock()
        currents = run["currents"]
        self._write(
            {
                "kind": "portion",
                "cause": run["cause"],
                "paysFor": run["pays_for"],
                "motorMs": round(1000 * (stopped - run["started"])),
                "meanMilliamps": round(sum(currents) / len(currents), 1) if currents else None,
                "peakMilliamps": max(currents) if currents else None,
                "chuteCount": run["pieces"] if self.hardware.has_chute_sensor else None,
                "lowestVolts": run["lowest_volts"],
            }
        )

    # --- orders -----------------------------------------------------------------------------------------------------

    def _obey(self, orders, server_time):
        """The newest wins, a repeat changes nothing. Orders stand oldest first."""
        fresh = [order for order in orders if order["id"] not in self.known_orders]
        if not fresh:
            return
        newest = fresh[-1]
        until = None if newest["until"] is None else seconds_of(newest["until"])
        outcome, problem, held = "done", None, None
        if newest["kind"] == "pause":
            if until is not None and until <= server_time:
                outcome, problem = "refused", "The pause had ended before it arrived."
            else:
                held = {"order": newest["id"], "until": until}
        elif newest["kind"] != "resume":
            outcome, problem, held = "refused", f"This feeder knows no order {newest['kind']!r}."[:500], self.held

        # In this order: the motor, then what this program believes, then the disk, then the proof's way to the server.
        if held is not None:
            self.hardware.motor_off()
            self.owed = []
        self.held = held
        if held is not None and self.run:
            self._finish_run()
        known = (self.known_orders + [order["id"] for order in fresh])[-KNOWN_ORDERS_MAX:]
        proof = {"kind": "order", "order": newest["id"], "outcome": outcome, "problem": problem}
        self._write(proof, {"held": held, "known_orders": known})
        self.known_orders = known
        log.info("Order %s (%s): %s", newest["id"], newest["kind"], outcome)
        self.report_at = self.clock()  # the keeper waits for the proof

    def _end_pause_in_time(self):
        """Without knowing the time a feeder stays paused: that is the safe side."""
        if self.held is None or self.held["until"] is None or self.server_ahead is None:
            return
        if self.clock() + self.server_ahead >= self.held["until"]:
            self.spool.write(self.boot, [], {"held": None})
            self.held = None
            log.info("The pause has ended by itself.")

    # --- reporting --------------------------------------------------------------------------------------------------

    def report(self):
        dropped = self.spool.drop_overflow()
        if dropped:
            self._write({"kind": "trouble", "words": f"The spool was full: {dropped} old events are lost."})
        oldest = self.spool.oldest(self.events_at_once)
        if oldest is not None and oldest[0] != self.boot:
            # Left behind by an earlier start, whose clock is gone: no uptime, and no readings of then.
            return {"boot": oldest[0], "sentUptimeMs": None, "events": oldest[1]}
        readings = {name: value for name, value in self._asked(self.hardware.read, {}).items() if value is not None}
        fitted = self.hardware.counted
        readings.update(
            spooled=len(self.spool),
            counts={name: count for name, count in self.counts.items() if name in fitted},
            paused=self.paused,
        )
        return {
            "boot": self.boot,
            "sentUptimeMs": self._uptime(),
            "readings": readings,
            "events": [] if oldest is None else oldest[1],
        }

    def _heard(self, kind, report, said):
        events = report.get("events", [])
        if kind == "answered":
            self._answered(report, said, events)
        elif kind == "tooMuch" and len(events) > 1:
            self.events_at_once = max(1, len(events) // 2)
            self._later(f"too much at once, next time {self.events_at_once} events")
        elif kind in ("tooMuch", "unreadable") and len(events) > 1:
            self.events_at_once = max(1, len(events) // 2)
            self._later(f"{said}; looking for the event that can't be read")
        elif kind == "tooMuch" or (kind == "unreadable" and len(events) == 1):
            self.spool.set_aside(report["boot"], events[0], str(said))
            self._write({"kind": "trouble", "words": f"An event could not be told and is set aside: {said}"[:500]})
            self._later(str(said))
        elif kind == "tooOften":
            self._later("too often", said)
        else:
            self._later(str(said))

    def _answered(self, report, answer, events):
        self.back_off = BACK_OFF_FIRST
        for refusal in answer.get("refused", []):
            log.error("The server refused event %s: %s %s", refusal["seq"], refusal["field"], refusal["problem"])
        if answer["storedThrough"] is not None:
            self.spool.forget(report["boot"], answer["storedThrough"])
        server_time = seconds_of(answer["serverTime"])
        self.server_ahead = server_time - self.clock()
        more = len(events) == self.events_at_once and len(self.spool) > 0
        if len(events) == self.events_at_once:
            self.events_at_once = min(EVENTS_PER_REPORT, 2 * self.events_at_once)
        self.report_at = self.clock() + (0.5 if more else max(1.0, float(answer["nextReportSeconds"])))
        self._obey(answer.get("orders", []), server_time)

    def _later(self, words, asked=None):
        """Doubling waits with some luck in them, so that feeders that fell silent together don't return as one."""
        wait = (asked if asked is not None else self.back_off) * random.uniform(1.0, 1.25)
        self.back_off = min(BACK_OFF_MAX, 2 * self.back_off)
        self.report_at = self.clock() + wait
        log.warning("No report got through: %s. Next try in %.0f s; %d events wait.", words, wait, len(self.spool))

    # --- clock and paper --------------------------------------------------------------------------------------------

    def _uptime(self):
        return max(0, int(1000 * (self.clock() - self.booted_at)))

    def _write(self, words, memory=None):
        self.seq += 1
        event = {"seq": self.seq, "uptimeMs": self._uptime(), **words}
        self.spool.write(self.boot, [event], memory)
        return self.seq


class HttpDoor:
    """Sends one report at a time, on a thread of its own: the motor must not wait for the network."""

    def __init__(self, url, key):
        self.url = url.rstrip("/") + "/api/v1/report"
        self.key = key
        self.busy = False
        self.outcomes = queue.Queue()

    def send(self, report):
        self.busy = True
        threading.Thread(target=self._send, args=(report,), daemon=True).start()

    def take(self):
        try:
            outcome = self.outcomes.get_nowait()
        except queue.Empty:
            return None
        self.busy = False
        return outcome

    def _send(self, report):
        try:
            self.outcomes.put(self.knock(report))
        except Exception as error:  # the loop must hear of it, or it would wait for this answer for ever
            log.exception("Sending stumbled")
            self.outcomes.put(("unreachable", report, repr(error)))

    def knock(self, report):
        request = urllib.request.Request(
            self.url,
            data=json.dumps(report, allow_nan=False).encode(),
            headers={"Authorization": f"Bearer {self.key}", "Content-Type": "application/json"},
            method="POST",
        )
        try:
            with without_redirects.open(request, timeout=ANSWER_WITHIN) as response:
                return "answered", report, checked(json.loads(response.read()))
        except urllib.error.HTTPError as error:
            body = " ".join(error.read(2_000).decode(errors="replace").split())  # a proxy answers with a whole page
            words = f"{error.code} {body[:300]}"
            if error.code == 413:
                return "tooMuch", report, words
            if error.code == 429:
                return "tooOften", report, retry_after(error.headers.get("Retry-After"))
            # Only 400 and 422 speak of the report itself; a wrong key or a proxy's error says nothing about the events.
            return ("unreadable" if error.code in (400, 422) else "unreachable"), report, words
        except (OSError, ValueError, KeyError, TypeError) as error:
            return "unreachable", report, f"{type(error).__name__}: {error}"


class NoRedirect(urllib.request.HTTPRedirectHandler):
    """A redirect would carry the key to wherever it points. Give the server's true address instead."""

    def redirect_request(self, *_):
        return None


without_redirects = urllib.request.build_opener(NoRedirect)


def checked(answer):
    """An answer in the agreed shape, or ValueError, KeyError, TypeError: a captive portal answers 200, too."""
    seconds_of(answer["serverTime"])
    if not float(answer["nextReportSeconds"]) >= 0:
        raise ValueError(f"expected nextReportSeconds, got {answer['nextReportSeconds']!r}")
    if answer["storedThrough"] is not None:
        int(answer["storedThrough"])
    for order in answer["orders"]:
        str(order["id"]), str(order["kind"])
        if order["until"] is not None:
            seconds_of(order["until"])
    return answer


def seconds_of(iso):
    """Seconds since 1970 of an ISO 8601 time; Python before 3.11 doesn't read the Z."""
    if not isinstance(iso, str):
        raise TypeError(f"expected a time in ISO 8601, got {iso!r}")
    return datetime.fromisoformat(iso.replace("Z", "+00:00")).astimezone(timezone.utc).timestamp()


def retry_after(header):
    try:
        return min(max(float(header), 1.0), 3_600.0)
    except (TypeError, ValueError):
        return None


def monotonic():
    """Counts on through a suspend where the system can say so; never goes back, whatever is done to the wall clock."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boottime is None else time.clock_gettime(boottime)


def read_arguments(words):
    parser = argparse.ArgumentParser(description="Runs one feeder and reports to a Pieward server.")
    parser.add_argument("--url", required=True, help="the server, such as https://pieward.example")
    parser.add_argument("--key-file", required=True, type=Path, help="a file that holds the feeder's key, readable by you alone")
    parser.add_argument("--data", required=True, type=Path, help="a folder that survives power cuts")
    parser.add_argument("--wired", action="store_true", help="use YourFeeder of hardware.py instead of the dry run")
    return parser.parse_args(words)


def main(words):
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s")
    arguments = read_arguments(words)
    parts = urllib.parse.urlsplit(arguments.url)
    if parts.scheme not in ("http", "https"):
        log.error("--url must begin with https:// (or http:// at home)")
        return 2
    if parts.scheme == "http" and parts.hostname not in ("localhost", "127.0.0.1", "::1"):
        log.warning("Over plain http everyone on this network can read the key. Use https wherever you can.")
    try:
        key = arguments.key_file.read_text().strip()
        arguments.data.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        log.error("%s", error)
        return 2
    if not key:
        log.error("The key file %s is empty.", arguments.key_file)
        return 2

    stopping = threading.Event()
    for name in (signal.SIGINT, signal.SIGTERM):
        signal.signal(name, lambda *_: stopping.set())
    hardware = YourFeeder() if arguments.wired else DryRun()
    try:
        feeder = Feeder(Spool(arguments.data / "spool.sqlite"), hardware, HttpDoor(arguments.url, key), monotonic)
        log.info("Feeder is up, boot %s%s.", feeder.boot, "" if arguments.wired else ", dry run: no motor turns")
        try:
            while not stopping.wait(0.02):
                feeder.step()
        finally:
            feeder.stop()
    finally:
        # Whatever went wrong, the motor must not be left on.
        hardware.motor_off()
        hardware.close()
    log.info("Feeder is off.")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
