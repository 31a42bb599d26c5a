"""python3 -m unittest, in this folder. Portions that a power cut or a pause ends, and what the next start does."""

import unittest
from pathlib import Path

import agent
import test_cards
from state_file import StateFile


class CutShort(test_cards.Cards):
    def test_has_the_start_of_a_portion_on_the_card_before_the_motor_turns(self):
        seen = []
        motor_on = self.hardware.motor_on

        def watched():
            seen.append(StateFile(self.card / "state.slots").read()[1]["run"])
            motor_on()

        self.hardware.motor_on = watched
        self.client.outcomes = ["unreachable"] * 3
        self.hardware.happened = [("cap", 0.8, True, True)]
        self.live(0.1)
        boot, begun = seen[0]
        self.assertEqual((boot, begun["kind"], begun["cutShort"], begun["paysFor"]), ("b-1", "portion", True, 1))
        self.assertEqual(self.feeder.store.spool.bodies("b-1", self.feeder.store._done(), 9)[0][0], 1, "its deposit")

    def test_reports_what_a_power_cut_ended_as_cut_short_under_its_own_boot_and_number(self):
        self.hardware.happened = [("cap", 0.8, True, True), ("perch",)]
        self.live(0.4)
        self.assertIsNotNone(self.hardware.on_since)
        self.power_cut()
        self.live(12)
        (portion,) = self.portions()
        self.assertEqual((portion["cutShort"], portion["motorMs"], portion["paysFor"]), (True, None, 1))
        self.assertEqual(self.client.stored["b-1", 3], portion)
        cut_short = next(report for report in self.client.reports if portion in report["events"])
        self.assertEqual((cut_short["boot"], cut_short["sentUptimeMs"]), ("b-1", None))
        self.assertEqual(self.hardware.runs, [], "what was cut short is reported, and not paid again by itself")

    def test_reports_a_portion_that_had_ended_as_it_was(self):
        self.client.outcomes = ["unreachable"] * 3
        self.hardware.happened = [("press",)]
        self.live(2)
        self.power_cut()
        self.live(12)
        (portion,) = self.portions()
        self.assertNotIn("cutShort", portion)
        self.assertAlmostEqual(portion["motorMs"], 900, delta=60)

    def test_reports_how_long_a_portion_ran_that_a_pause_ended(self):
        self.live(5.2)
        self.hardware.happened = [("press",)]
        self.live(0.4)
        self.pause()
        (portion,) = self.portions()
        self.assertTrue(portion["cutShort"])
        self.assertGreater(portion["motorMs"], 200)
        self.assertLess(portion["motorMs"], 800)
        self.assertIsNone(portion["chuteCount"], "the chute was not watched to the end")

    def test_sends_what_came_during_a_portion_after_it_so_that_numbers_leave_in_order(self):
        self.live(5.2)
        self.hardware.happened = [("press",)]
        self.live(0.2)
        self.hardware.happened = [("perch",)]
        self.feeder.report_at = self.clock()
        self.live(0.3)
        self.assertEqual([event["seq"] for event in self.client.reports[-1]["events"]], [1])
        self.live(8)
        sent = [event["seq"] for report in self.client.reports for event in report["events"]]
        self.assertEqual(sent, [1, 2, 3])

    def test_reports_a_motor_that_could_not_be_switched_on_and_goes_on(self):
        def broken():
            raise OSError("no such pin")

        self.hardware.motor_on = broken
        self.hardware.happened = [("press",)]
        self.live(12)
        self.assertTrue(self.portions()[0]["cutShort"])
        self.assertIn("could not be switched on", self.trouble_texts())


class Pauses(test_cards.Cards):
    def test_reports_that_it_is_paused_before_anything_else_after_a_power_cut(self):
        self.pause()
        self.client.outcomes = ["unreachable"] * 5
        self.hardware.happened = [("press",)] * 3
        self.live(6)
        self.power_cut()
        before = len(self.client.reports)
        self.hardware.happened = [("press",)] * 3
        self.live(300)
        first = self.client.reports[before]
        self.assertEqual((first["boot"], first["readings"]["paused"]), ("b-2", True))
        self.assertEqual(self.hardware.runs, [])
        self.assert_no_gap("b-1")

    def test_stays_paused_though_one_block_of_its_file_is_damaged(self):
        self.pause()
        for place in (100, StateFile.SLOT + 100):
            state = self.card / "state.slots"
            sound = state.read_bytes()
            state.write_bytes(sound[:place] + b"\xff" * 50 + sound[place + 50 :])
            self.power_cut(f"b-{place}")
            self.assertTrue(self.feeder.paused)
            self.assertEqual(self.feeder.held["order"], "p-1")
            self.feeder.store.close()
            state.write_bytes(sound)

    def test_stays_paused_and_reports_why_when_its_orders_are_unknown(self):
        for spoil in (lambda state: state.write_bytes(b"\xff" * 65_536), lambda state: state.unlink(), lambda state: state.write_bytes(b"")):
            self.client.orders = []
            self.hardware.happened = [("perch",)]
            self.live(6)
            spoil(self.card / "state.slots")
            self.power_cut(f"b-{self.clock()}")
            self.hardware.happened = [("press",)]
            self.live(12)
            self.assertEqual(self.hardware.runs, [])
            self.assertTrue(self.client.reports[-1]["readings"]["paused"])
            self.assertIn("press Resume", self.trouble_texts())
            self.client.orders = [self.order(f"r-{self.clock()}", "resume")]
            self.live(6)
            self.hardware.happened = [("press",)]
            self.live(12)
            self.assertEqual(len(self.hardware.runs), 1)
            self.client.stored.clear()

    def test_takes_over_the_pause_of_an_earlier_version_which_stored_it_in_the_spool(self):
        self.feeder.store.spool.settle([], {}, [], {"held": {"order": "p-0", "until": None}, "known_orders": ["p-0"]})
        self.feeder.store.spool.database.execute("DELETE FROM memory WHERE name = 'state_file'")
        (self.card / "state.slots").unlink()
        self.power_cut()
        self.assertEqual(self.feeder.held, {"order": "p-0", "until": None})
        self.assertEqual(self.feeder.store.take_texts(), [])
        self.power_cut("b-3")
        self.assertTrue(self.feeder.paused)

    def test_answers_done_only_when_the_motor_stands(self):
        self.live(5.2)
        self.hardware.happened = [("press",)]
        self.live(0.2)
        motor_off = self.hardware.motor_off

        def stuck():
            raise OSError("the relay does not answer")

        self.hardware.motor_off = stuck
        self.client.orders = [self.order("p-1", "pause")]
        self.feeder.report_at = self.clock()
        self.live(8)
        self.assertEqual([e["outcome"] for e in self.client.stored.values() if e["kind"] == "order"], ["refused"])
        self.assertIn("could not be switched off", self.client.of("order")["problem"])
        self.assertIn("could not be switched off", self.trouble_texts())
        self.hardware.motor_off = motor_off
        self.live(8)
        self.assertIsNone(self.hardware.on_since)
        self.assertEqual([e["outcome"] for e in self.client.stored.values() if e["kind"] == "order"], ["refused", "done"])
        self.power_cut()
        self.assertTrue(self.feeder.paused)

    def test_reads_no_wall_clock(self):
        for name in ("time", "localtime", "gmtime"):
            self.assertNotIn(f"time.{name}(", Path(agent.__file__).read_text())


if __name__ == "__main__":
    unittest.main()
