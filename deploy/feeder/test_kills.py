"""Real processes: the program is killed at random moments, and runs on a card that is really full.

    python3 -m unittest test_kills             # a short form
    FEEDER_KILLS=120 python3 -m unittest test_kills.Kills
"""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import unittest
from datetime import datetime, timezone
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

HERE = Path(__file__).parent


class Server:
    """Stores by (boot, seq), as Pieward does; may lose an answer, be away, and send orders."""

    def __init__(self, chance):
        self.stored, self.clashes, self.order, self.paused = {}, [], None, {}
        self.away, self.loses = False, 0.0
        self.chance = chance
        server = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                answer = None if server.away else server.take(json.loads(body))
                if answer is None or server.chance.random() < server.loses:
                    self.close_connection = True
                    return
                text = json.dumps(answer).encode()
                self.send_response(200)
                self.send_header("Content-Length", str(len(text)))
                self.end_headers()
                self.wfile.write(text)

            def log_message(self, *_):
                pass

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.http.server_port}"
        threading.Thread(target=self.http.serve_forever, daemon=True).start()

    def take(self, report):
        boot, events = report["boot"], report["events"]
        for event in events:
            before = self.stored.setdefault((boot, event["seq"]), event)
            if before != event:
                self.clashes.append((before, event))
        if "readings" in report:
            self.paused[boot] = report["readings"]["paused"]
        return {
            "storedThrough": events[-1]["seq"] if events else None,
            "duplicates": 0,
            "refused": [],
            "serverTime": datetime.now(timezone.utc).isoformat(),
            "nextReportSeconds": 1,
            "orders": [] if self.order is None else [self.order],
        }

    def of(self, boot, *kinds):
        return [event for (its, _), event in sorted(self.stored.items()) if its == boot and event["kind"] in kinds]

    def text(self):
        return " ".join(event["words"] for event in list(self.stored.values()) if event["kind"] == "trouble")

    def answer_to(self, order):
        return [event["outcome"] for event in list(self.stored.values()) if event.get("order") == order]

    def close(self):
        self.http.shutdown()
        self.http.server_close()


class Processes(unittest.TestCase):
    def setUp(self):
        self.chance = random.Random(int(os.environ.get("FEEDER_SEED", "20260101")))
        self.folder = Path(tempfile.mkdtemp(prefix="feeder-kills-"))
        self.addCleanup(shutil.rmtree, self.folder, ignore_errors=True)
        self.data = self.folder / "data"
        (self.folder / "feeder.key").write_text("the-key")
        self.server = Server(self.chance)
        self.addCleanup(self.server.close)
        self.child = None
        self.addCleanup(lambda: self.kill() if self.child else None)

    def start(self, boot):
        with open(self.folder / "text", "a") as text:
            self.child = subprocess.Popen(
                [sys.executable, "-B", __file__, "--feeder", boot, str(self.folder / f"{boot}.runs"), "--url", self.server.url]
                + ["--key-file", str(self.folder / "feeder.key"), "--data", str(self.data), "--wired"],
                stderr=text,
                cwd=HERE,
            )

    def kill(self, how=signal.SIGKILL):
        child, self.child = self.child, None
        child.send_signal(how)
        return child.wait(10)

    def until(self, holds, what, seconds=20):
        end = time.monotonic() + seconds
        while not holds():
            text = (self.folder / "text").read_text()[-2_000:]
            self.assertIsNone(self.child.poll(), f"the program ended; waited for {what}:\n{text}")
            self.assertLess(time.monotonic(), end, f"waited for {what}; it text:\n{text}\n{self.server.text()}")
            time.sleep(0.02)

    def runs(self, boot):
        log = self.folder / f"{boot}.runs"
        return log.read_text().count("on") if log.exists() else 0

    def assert_reported_once(self, boot):
        """Each run of the motor is one portion; beside them at most one that was about to begin at the kill."""
        runs, portions = self.runs(boot), self.server.of(boot, "portion")
        self.assertGreaterEqual(len(portions), runs, f"{boot}: a run of the motor was never reported")
        self.assertLessEqual(len(portions), runs + 1, f"{boot}: a portion was reported twice")
        if len(portions) > runs:
            self.assertTrue(portions[-1].get("cutShort"), f"{boot}: a portion that never began is called complete")
        paid = [portion["paysFor"] for portion in portions]
        self.assertEqual(len(set(paid)), len(paid), f"{boot}: paid twice")
        asked = {event["seq"] for event in self.server.of(boot, "press", "deposit")}
        self.assertEqual(set(paid) - asked, set(), f"{boot}: what a portion paid for is lost")
        return len([portion for portion in portions if portion.get("cutShort")])


class Kills(Processes):
    def test_reports_each_run_of_the_motor_once_whenever_it_is_killed(self):
        kills = int(os.environ.get("FEEDER_KILLS", "15"))
        self.server.loses = 0.2
        for number in range(kills):
            self.start(f"b-{number}")
            time.sleep(self.chance.uniform(0.4, 1.8))
            self.kill()
        self.server.loses = 0.0
        self.start("b-last")
        left = lambda: [boot for boot in range(kills) if len(self.server.of(f"b-{boot}", "portion")) < self.runs(f"b-{boot}")]
        try:
            self.until(lambda: not left(), "all that was left behind", 10)
        except AssertionError:
            pass  # reported below, by boot
        self.until(lambda: self.runs("b-last") > 0, "a portion of the last start")
        self.assertEqual(self.kill(signal.SIGTERM), 0)
        self.start("b-quiet")
        self.until(lambda: len(self.server.of("b-last", "portion")) >= self.runs("b-last"), "the last portion")
        boots = [*(f"b-{number}" for number in range(kills)), "b-last"]
        cut = sum(self.assert_reported_once(boot) for boot in boots)
        self.assertEqual(self.server.clashes, [])
        runs = sum(self.runs(boot) for boot in boots)
        self.assertGreater(runs, kills / 2, "the killer must find motors that run")
        self.assertGreater(cut, 0, "the killer must hit runs")
        if os.environ.get("FEEDER_KILLS"):
            print(f"{kills} kills, {runs} runs of the motor, {cut} reported as cut short")


class FullCard(Processes):
    def setUp(self):
        super().setUp()
        self.data.mkdir()
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "feeder", str(self.data)], capture_output=True)
        self.mounted = mounted.returncode == 0
        if self.mounted:
            self.addCleanup(subprocess.run, ["umount", "-l", str(self.data)], check=True)
        # Where nothing may be mounted, the database's own commits fail instead: see `run_feeder`.
        self.limit = self.folder / "data-limit"

    def fill(self):
        if not self.mounted:
            self.limit.touch()
            return
        with open(self.data / "somebody-elses", "ab", buffering=0) as file:
            for size in (4_096, 1):
                try:
                    while True:
                        file.write(b"x" * size)
                except OSError:
                    pass

    def free(self):
        if self.mounted:
            (self.data / "somebody-elses").unlink()
        else:
            self.limit.unlink()

    def order(self, id, kind):
        self.server.order = {"id": id, "kind": kind, "until": None}
        self.until(lambda: self.server.answer_to(id), f"the answer to {kind}")
        self.assertEqual(self.server.answer_to(id), ["done"])

    def test_follows_orders_feeds_and_reports_on_a_full_card_also_from_the_start_and_recovers_by_itself(self):
        self.start("b-0")
        self.until(lambda: len(self.server.of("b-0", "portion")) > 0, "a portion")
        self.fill()
        had = self.runs("b-0")
        self.until(lambda: self.runs("b-0") > had + 1, "feeding with a full card")
        self.until(lambda: "card is full" in self.server.text(), "report of the full card")
        self.order("p-1", "pause")
        stood = self.runs("b-0")
        time.sleep(1)
        self.assertEqual(self.runs("b-0"), stood, "the motor ran while paused")
        self.kill()

        # The power went with a full card; the card is full when it comes back, and the server has forgotten its order.
        self.server.order = None
        self.start("b-1")
        self.until(lambda: "b-1" in self.server.paused, "the first report")
        self.assertTrue(self.server.paused["b-1"], "the pause is forgotten")
        time.sleep(1)
        self.assertEqual(self.runs("b-1"), 0, "the motor ran while paused")
        self.order("r-1", "resume")
        self.until(lambda: len(self.server.of("b-1", "portion")) > 1, "feeding after a start with a full card")

        # No network, no space, and the power goes: what matters most is not lost.
        self.server.away = True
        had = self.runs("b-1")
        self.until(lambda: self.runs("b-1") > had + 1, "feeding with neither card nor network")
        self.kill()
        self.server.away = False
        self.start("b-2")
        self.until(lambda: len(self.server.of("b-1", "portion")) >= self.runs("b-1"), "the portions of then")
        self.assert_reported_once("b-1")

        # There is space again while the server is away: the memory goes to the card, in order and once.
        self.server.away = True
        had = self.runs("b-2")
        self.until(lambda: self.runs("b-2") > had + 1, "more events")
        self.free()
        self.until(lambda: "can be written again" in self.spooled(), "the memory to be written", 30)
        self.kill()
        self.server.away = False
        self.server.order = {"id": "p-2", "kind": "pause", "until": None}
        self.start("b-3")
        self.until(lambda: "can be written again" in self.server.text(), "report of the recovery")
        self.until(lambda: len(self.server.of("b-2", "portion")) >= self.runs("b-2"), "the portions")
        self.assert_reported_once("b-2")
        seqs = [event["seq"] for event in self.server.of("b-2", "press", "deposit", "portion", "trouble", "visit", "order")]
        self.assertEqual(seqs, list(range(1, len(seqs) + 1)), "an event is lost")
        if self.mounted:  # where it is only pretended, the little that fits comes and goes
            self.assertEqual(self.server.text().count("card is full"), 3, "each episode is reported once: one a start")
        self.assertEqual(self.server.clashes, [])

    def spooled(self):
        return "".join(path.read_bytes().decode(errors="replace") for path in self.data.glob("spool.sqlite*"))


def run_feeder(boot, runs, text):
    true_time, clock = time.time, None
    if "FEEDER_WALL_CLOCK" in os.environ:
        from jumping_clock import JumpingClock

        clock = JumpingClock()
    import agent
    import broker
    from hardware import Hardware

    broker.ANSWER_WITHIN = int(os.environ.get("FEEDER_ANSWER_MS", broker.ANSWER_WITHIN))

    try:
        import storage

        storage.TRY_AGAIN_EVERY, storage.SOUND_AFTER = 0.3, 0.5
    except ImportError:
        pass

    class Busy(Hardware):
        """Hungry birds, and a motor whose runs are recorded outside the card."""

        portion_seconds = 0.15
        counted = ("button", "detector")

        def __init__(self):
            self.next = time.monotonic() + 0.2
            self.runs = os.open(runs, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

        def poll(self):
            if boot.startswith("b-quiet") or time.monotonic() < self.next:
                return []
            self.next = time.monotonic() + random.uniform(0.05, 0.3)
            caps = os.environ.get("FEEDER_BIRDS") == "caps"
            return [("cap", 0.8, True, True) if caps else random.choice([("press",), ("cap", 0.8, True, True), ("perch",)])]

        def motor_on(self):
            os.write(self.runs, b"on %.3f\n" % true_time())
            self.jumps = clock and clock.move()

        def motor_off(self):
            if clock is not None and getattr(self, "jumps", None) not in (None, clock.move()):
                os.write(self.runs, b"jumped in a portion\n")
            self.jumps = None

    if clock is not None:
        watch_jumps(agent, clock, runs)
    agent.YourFeeder = Busy
    original = agent.Feeder
    agent.Feeder = lambda *parts, **more: original(*parts, boot=boot, **more)
    data = Path(text[text.index("--data") + 1])
    limit = Path(f"{data}-limit")
    import sqlite3

    connect = sqlite3.connect

    def watched(*parts, **named):
        """Stands in for a full file system where none may be mounted: no commit finds space."""
        database = connect(*parts, **named)

        class Limited:
            def execute(self, text, *values):
                if text == "COMMIT" and limit.exists():
                    database.execute("ROLLBACK")  # as SQLite does by itself
                    raise sqlite3.OperationalError("database or disk is full")
                return database.execute(text, *values)

            def __getattr__(self, name):
                return getattr(database, name)

        return Limited()

    if not os.path.ismount(data):
        sqlite3.connect = watched
    return agent.main(text)


def watch_jumps(agent, clock, runs):
    """Records that the wall clock has jumped while a report was under way. "trusted": a planted fault, a program that goes by the wall clock."""
    post = agent.HttpReportClient.post

    def watched(self, report):
        before = clock.move()
        clock.next_at = time.monotonic() + 0.001  # it is a matter of milliseconds
        outcome = post(self, report)
        if clock.move() != before:
            with open(runs, "ab", buffering=0) as file:
                file.write(b"jumped in a report\n")
        return outcome

    agent.HttpReportClient.post = watched
    if os.environ["FEEDER_WALL_CLOCK"] == "trusted":
        agent.monotonic = time.time


if __name__ == "__main__":
    if sys.argv[1:2] == ["--feeder"]:
        sys.exit(run_feeder(sys.argv[2], sys.argv[3], sys.argv[4:]))
    unittest.main()
