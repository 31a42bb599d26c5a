"""python3 -m unittest, in this folder. What a feeder does when its card is full, read-only, damaged or failing."""

import errno
import json
import subprocess
import tempfile
import unittest
from pathlib import Path

import agent
import spool
import storage
import test_agent
from state_file import StateFile
from storage import Store


class Flaky:
    """A database whose commits fail as a test sets: before they are done, or after, with an unknown result."""

    def __init__(self, database):
        self.database, self.fails = database, []

    def execute(self, text, *values):
        fails = self.fails.pop(0) if text == "COMMIT" and self.fails else None
        if fails == "before":
            raise storage.sqlite3.OperationalError("disk I/O error")
        result = self.database.execute(text, *values)
        if fails == "after":
            raise storage.sqlite3.OperationalError("disk I/O error")
        return result

    def __getattr__(self, name):
        return getattr(self.database, name)


class Cards(test_agent.WithFeeder):
    def setUp(self):
        super().setUp()
        self.card = Path(self.folder.name)

    def portions(self):
        return [event for event in self.client.stored.values() if event["kind"] == "portion"]

    def assert_no_gap(self, boot):
        seqs = sorted(seq for its, seq in self.client.stored if its == boot)
        self.assertEqual(seqs, list(range(1, len(seqs) + 1)))

    def pause(self):
        self.client.orders = [self.order("p-1", "pause")]
        self.feeder.report_at = self.clock()
        self.live(6)
        self.assertTrue(self.feeder.paused)
        self.client.orders = []


class FailingCommits(Cards):
    def flaky(self, *fails):
        store = self.feeder.store
        store.spool.database = Flaky(store.spool.database)
        store.spool.database.fails = list(fails)

    def test_loses_and_repeats_nothing_when_commits_fail_in_the_middle(self):
        self.client.outcomes = ["unreachable"] * 8
        for fails in (["before"], ["after"], ["before", "after"], ["after", "before", "before", "before"]):
            self.flaky(*fails)
            self.hardware.happened = [("perch",), ("press",), ("perch",)]
            self.live(70)
        self.client.outcomes = []
        self.live(700)
        self.assert_no_gap("b-1")
        sent = [event["seq"] for report in self.client.reports[8:] for event in report["events"]]
        self.assertEqual(sorted(sent), sorted(set(sent)), "sent twice")
        self.assertEqual(self.client.kinds().count("visit"), 8)
        self.assertEqual(len(self.portions()), 4)
        self.assertEqual(self.feeder.store.waiting(), 0)
        self.assertIn("can't be written (disk I/O error)", self.trouble_texts())
        self.assertIn("can be written again", self.trouble_texts())

    def test_remembers_what_it_could_not_delete_and_sends_it_only_once(self):
        self.hardware.happened = [("perch",)] * 5
        self.flaky(*[None] * 5, *["before"] * 1_000)
        self.live(300)
        sent = [event["seq"] for report in self.client.reports for event in report["events"]]
        self.assertEqual(sent[:5], [1, 2, 3, 4, 5])
        self.assertEqual(len(sent), len(set(sent)))

    def test_drops_the_least_valuable_first_when_the_memory_is_full_too_and_reports_it(self):
        most, storage.MEMORY_MAX = storage.MEMORY_MAX, 40
        self.addCleanup(lambda: setattr(storage, "MEMORY_MAX", most))
        settle = self.feeder.store.spool.settle

        def full(*_):
            raise storage.sqlite3.OperationalError("database or disk is full")

        self.feeder.store.spool.settle = full
        self.pause()
        self.client.orders = [self.order("r-1", "resume")]
        self.feeder.report_at = self.clock()
        self.client.outcomes = ["fine", *["unreachable"] * 10]
        self.live(1)
        for _ in range(12):
            self.hardware.happened = [("perch",), ("press",), ("perch",), ("cap", 0.9, True, True)]
            self.live(6)
        memory = [event for _, event in self.feeder.store.memory]
        self.assertLessEqual(len(memory), 40)
        kinds = [event["kind"] for event in memory]
        self.assertIn("order", kinds)
        self.assertEqual(kinds.count("visit") + kinds.count("lid"), 0)
        self.assertGreater(kinds.count("portion"), kinds.count("press"))
        self.hardware.happened = [("cap", 0.9, True, True), *[("perch",)] * 200]
        self.live(0.2)
        owed = self.feeder.run["pays_for"]
        self.assertIn(owed, [event["seq"] for _, event in self.feeder.store.memory], "a deposit that is being paid")
        self.feeder.store.spool.settle = settle
        self.client.outcomes = []
        self.live(1_000)
        self.assertIn("from now on the least valuable", self.trouble_texts())
        self.assertRegex(self.trouble_texts(), r"Dropped for lack of memory: \d+ visit")
        self.assertEqual(self.hardware.read()["hopperGrams"], 800)
        self.assertEqual(self.feeder.counts["perch"], 224, "what is dropped is still counted")

    def test_renames_a_spool_that_is_damaged_while_it_runs(self):
        self.hardware.happened = [("perch",)]
        self.live(6)
        real = self.feeder.store.spool.settle

        def damaged(*_):
            raise storage.sqlite3.DatabaseError("database disk image is malformed")

        self.feeder.store.spool.settle = damaged
        self.hardware.happened = [("press",)]
        self.live(3)
        self.feeder.store.spool.settle = real
        (self.card / "spool.sqlite").write_bytes(b"this was a database once" * 500)
        self.live(30)
        self.hardware.happened = [("press",)]
        self.live(90)
        self.assertEqual(len(list(self.card.glob("*.damaged-??????"))), 1)
        self.assertIn("is renamed to spool.damaged-", self.trouble_texts())
        self.assertEqual(len(self.portions()), 2)
        self.assert_no_gap("b-1")

    def test_starts_a_new_spool_after_damage_stays_paused_and_removes_the_oldest_spools(self):
        self.pause()
        for number in range(4):
            self.feeder.store.close()
            (self.card / "spool.sqlite").write_bytes(b"this was a database once" * 500)
            self.start(f"b-{number + 2}")
            self.assertTrue(self.feeder.paused)
            self.hardware.happened = [("perch",)]
            self.live(12)
            kinds = [event["kind"] for (boot, _), event in self.client.stored.items() if boot == f"b-{number + 2}"]
            self.assertEqual(sorted(kinds), ["trouble", "visit"])
        self.assertEqual(len(list(self.card.glob("*.damaged-??????"))), spool.DAMAGED_SPOOLS_MAX)


def refused(*_, **__):
    raise OSError(errno.EROFS, "Read-only file system")


class ReadOnly(Cards):
    """A card that can only be read: mounted so where that is possible, else every way to write is refused."""

    def remount(self, how):
        self.feeder.store.close()
        self.client.busy, self.client.outcome = False, None
        if self.mounted:
            subprocess.run(["mount", "-o", f"remount,{how}", self.folder.name], check=True)
            return
        for where, (name, real) in self.real.items():
            setattr(where, name, real if how == "rw" else refused)

    def setUp(self):
        super().setUp()
        self.feeder.store.close()
        mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "feeder", self.folder.name]
        self.mounted = subprocess.run(mount, capture_output=True).returncode == 0
        if self.mounted:
            self.addCleanup(subprocess.run, ["umount", "-l", self.folder.name], check=True)
        self.real = {spool.Spool: ("open", spool.Spool.open), StateFile: ("_open", StateFile._open)}
        self.addCleanup(lambda: [setattr(where, name, real) for where, (name, real) in self.real.items()])
        self.start("b-1")

    def test_follows_orders_feeds_and_reports_and_sends_what_waits_later(self):
        self.client.outcomes = ["unreachable"]
        self.hardware.happened = [("perch",)]
        self.live(1)
        self.client.outcomes = []
        self.remount("ro")
        self.start("b-2")
        self.hardware.happened = [("press",)]
        self.live(12)
        self.assertEqual(len(self.hardware.runs), 1)
        self.assertEqual([portion["chuteCount"] for portion in self.portions()], [0])
        self.assertTrue("can only be read" in self.trouble_texts() or "can't be written" in self.trouble_texts())
        self.assertIn("would be forgotten in a power cut", self.trouble_texts())
        self.pause()
        self.assertEqual(self.client.of("order")["outcome"], "done")
        self.feeder.store.close()
        self.remount("rw")
        self.start("b-3")
        self.live(12)
        self.assertIn(("b-1", 1), self.client.stored)


class RejectedReports(Cards):
    def refuse(self, *seqs, through):
        refused = [{"seq": seq, "field": "seq", "problem": "is stored already with other content"} for seq in seqs]
        self.client.beside = {"storedThrough": through, "refused": refused, "unknown": ["readings.hoperGrams"]}

    def test_stores_apart_what_is_refused_and_not_done_and_goes_on(self):
        self.hardware.happened = [("perch",)] * 3
        self.refuse(2, through=1)
        with self.assertLogs("feeder", "WARNING") as logged:
            agent.log.setLevel("WARNING")
            self.live(3)
            self.client.beside = {"unknown": ["readings.hoperGrams"]}
            self.live(30)
        self.assertEqual(len([line for line in logged.output if "hoperGrams" in line]), 1)
        (rejected,) = self.feeder.store.spool.database.execute("SELECT seq FROM rejected_events").fetchall()
        self.assertEqual(rejected, (2,))
        self.assertEqual(self.feeder.store.waiting(), 0)
        self.assertEqual(len([event for event in self.client.stored.values() if event["kind"] == "trouble"]), 1)

    def test_slows_down_for_a_server_that_answers_but_stores_nothing(self):
        self.client.beside = {"storedThrough": None}
        self.hardware.happened = [("perch",)] * 2_500
        self.live(1_800)
        self.assertLess(len(self.client.reports), 25)
        self.assertGreater(len(self.client.reports), 8)
        self.assertEqual(self.feeder.store.waiting(), 2_500)

    def test_removes_nothing_that_it_has_not_sent(self):
        self.hardware.happened = [("perch",)]
        self.client.beside = {"storedThrough": 900}
        self.live(0.05)
        self.hardware.happened = [("perch",)]
        self.live(20)
        self.assertEqual(sorted(self.client.stored), [("b-1", 1), ("b-1", 2)])

    def test_leaves_out_a_reading_that_is_no_number(self):
        self.hardware.read = lambda: {"hopperGrams": float("nan"), "airCelsius": "cold", "lidCelsius": -4}
        self.hardware.milliamps = float("nan")
        self.hardware.happened = [("cap", float("inf"), True, None)]
        self.live(12)
        readings = self.client.reports[-1]["readings"]
        self.assertEqual(readings["lidCelsius"], -4)
        self.assertNotIn("hopperGrams", readings)
        self.assertNotIn("airCelsius", readings)
        self.assertIn("is no number", self.trouble_texts())
        self.assertIsNone(self.client.of("deposit")["signal"])
        self.assertIsNone(self.portions()[0]["meanMilliamps"])

    def test_leaves_out_its_readings_before_its_events(self):
        send = self.client.send

        def picky(report):
            if "airCelsius" in report.get("readings", {}):
                self.client.outcomes = ["unreadable"]
            send(report)

        self.client.send = picky
        self.hardware.read = lambda: {"airCelsius": 5_000}
        self.hardware.happened = [("perch",)] * 5
        self.live(60)
        self.assertEqual(self.client.kinds().count("visit"), 5)
        self.assertEqual(self.client.reports[-1]["readings"]["paused"], False)
        (aside,) = self.feeder.store.spool.database.execute("SELECT count(*) FROM rejected_events").fetchone()
        self.assertEqual(aside, 0)


class Folders(unittest.TestCase):
    def test_allows_no_second_program_in_the_same_folder(self):
        with tempfile.TemporaryDirectory() as folder:
            first = agent.owned(folder)
            self.assertIsNone(agent.owned(folder))
            agent.os.close(first)
            self.assertIsNotNone(agent.owned(folder))

    def test_is_not_paused_on_its_first_start(self):
        with tempfile.TemporaryDirectory() as folder:
            store = Store(folder, test_agent.Clock())
            self.assertIsNone(store.state["held"])
            store.close()
            self.assertEqual(json.loads(json.dumps(store.state))["run"], None)


if __name__ == "__main__":
    unittest.main()
