"""The portions of a bench run, with the agent's own motor, card and reports. Run with: python3 -m unittest, in this folder."""

import unittest

import agent
from bench import PORTIONS_MAX, REST_MIN, readable
from test_agent import WithFeeder

CYCLE = 0.9 + 0.6 + 6.0  # seconds: motor, pieces, rest


class BenchRun(WithFeeder):
    def bench(self, portions=3, id="run-1", rest=6):
        return {"id": id, "kind": "bench", "until": None, "portions": portions, "restSeconds": rest}

    def begin(self, portions=3, **changes):
        self.client.orders = [self.bench(portions, **changes)]
        self.live(3)

    def portions(self):
        return [event for _, event in sorted(self.client.stored.items()) if event["kind"] == "portion"]

    def answers(self):
        return [(event["order"], event["outcome"], event["problem"]) for _, event in sorted(self.client.stored.items()) if event["kind"] == "order"]

    def test_gives_so_many_portions_with_a_cause_of_their_own_and_then_answers_once(self):
        self.begin(3)
        self.assertEqual(self.answers(), [])  # it is answered when it is done
        self.live(4 * CYCLE)
        self.assertEqual([event["cause"] for event in self.portions()], ["bench"] * 3)
        self.assertTrue(all(event["paysFor"] is None and "cutShort" not in event for event in self.portions()))
        self.assertEqual(self.answers(), [("run-1", "done", None)])
        self.live(60)  # the order still comes with each answer
        self.assertEqual(len(self.portions()), 3)
        self.assertEqual(len(self.answers()), 1)

    def test_rests_the_motor_after_each_portion_and_reports_in_each_rest(self):
        self.client.beside = {"nextReportSeconds": 600}
        self.begin(4)
        self.live(5 * CYCLE)
        starts = [event["uptimeMs"] for event in self.portions()]
        self.assertTrue(all(later - earlier >= 1000 * (CYCLE - 0.2) for earlier, later in zip(starts, starts[1:])))
        having = [report for report in self.client.reports if any(event["kind"] == "portion" for event in report["events"])]
        self.assertEqual([len([event for event in report["events"] if event["kind"] == "portion"]) for report in having], [1] * 4)
        self.assertTrue(all("hopperGrams" in report["readings"] for report in having))

    def test_uses_up_no_ration(self):
        self.begin(3)
        self.live(4 * CYCLE)
        self.assertEqual(self.feeder.plan.memory["given"], 0)

    def test_pays_a_cap_between_its_portions(self):
        self.begin(3)
        self.hardware.happened = [("cap", 0.8, True, True)]
        self.live(4 * CYCLE)
        self.assertEqual(sorted(event["cause"] for event in self.portions()), ["bench", "bench", "bench", "deposit"])

    def test_is_ended_by_a_pause_in_the_middle_of_a_portion(self):
        self.begin(20)
        self.live(CYCLE)
        self.client.orders = [self.order("p1", "pause")]
        self.feeder.report_at = self.clock()
        self.live(3 * CYCLE)
        self.assertTrue(self.feeder.paused)
        given = len(self.portions())
        self.assertIn(("run-1", "refused", f"A pause ended it after {given} of 20 portions."), self.answers())
        self.client.orders = [self.order("r1", "resume")]
        self.live(3 * CYCLE)
        self.assertEqual(len(self.portions()), given)  # a resume goes on with nothing

    def test_is_not_begun_while_paused(self):
        self.client.orders = [self.order("p1", "pause")]
        self.live(3)
        self.begin(3)
        self.live(10)
        self.assertEqual(self.portions(), [])
        self.assertEqual(self.answers()[-1], ("run-1", "refused", "No bench run now, since the feeder is paused."))
        self.assertTrue(self.feeder.paused)

    def test_is_ended_by_a_power_cut_and_says_so(self):
        self.begin(20)
        while self.feeder.run is None or self.feeder.bench.memory["given"] < 2:
            self.live(0.05)
        self.power_cut()
        self.live(60)
        self.assertEqual(len(self.portions()), 2)
        self.assertTrue(self.portions()[-1]["cutShort"])
        ((order, outcome, problem),) = self.answers()
        self.assertEqual((order, outcome), ("run-1", "refused"))
        self.assertIn("started again after 2 of 20 portions", problem)
        self.assertFalse(self.feeder.bench.active)

    def test_is_ended_by_the_motors_own_limits(self):
        self.hardware.milliamps = 900.0  # stalled
        self.begin(20)
        self.live(5 * CYCLE)
        self.assertEqual(len(self.portions()), agent.STALLS_MAX)
        ((_, outcome, problem),) = self.answers()
        self.assertEqual(outcome, "refused")
        self.assertIn("3 of 20 portions", problem)
        self.assertIn("stalled", problem)

    def test_is_ended_by_a_weak_supply(self):
        self.hardware.supply_volts_min = 4.6
        self.hardware.volts = 5.0
        self.begin(20)
        self.live(CYCLE)
        self.hardware.volts = 4.4
        self.live(2 * CYCLE)
        self.assertIn("the supply is at 4.40 V", self.answers()[0][2])

    def test_is_stopped_by_an_order_of_no_portions(self):
        self.begin(20)
        self.live(CYCLE)
        self.client.orders = [self.bench(0, id="run-1.stop")]
        self.feeder.report_at = self.clock()
        self.live(3 * CYCLE)
        self.assertEqual([(order, outcome) for order, outcome, _ in self.answers()], [("run-1", "refused"), ("run-1.stop", "done")])
        given = len(self.portions())
        self.live(5 * CYCLE)
        self.assertEqual(len(self.portions()), given)

    def test_answers_an_order_to_stop_what_never_began(self):
        self.client.orders = [self.bench(0, id="run-1.stop")]
        self.live(5)
        self.assertEqual(self.answers(), [("run-1.stop", "done", None)])

    def test_refuses_a_second_one_and_what_it_can_not_give(self):
        self.begin(20)
        self.client.orders = [self.bench(3, id="run-2")]
        self.feeder.report_at = self.clock()
        self.live(5)
        self.assertEqual(self.answers(), [("run-2", "refused", "A bench run is under way already.")])
        for portions in (PORTIONS_MAX + 1, -1, 2.5, True, None, "3"):
            self.assertIsNone(readable({"portions": portions})["portions"])
        self.assertEqual(readable({"portions": 3, "restSeconds": 0})["rest"], REST_MIN)  # the motor's rest is not the server's choice

    def test_shows_somebody_beside_it_how_far_it_is(self):
        self.begin(20)
        self.live(CYCLE)
        self.assertIn(("Bench run", self.feeder.bench.in_words()), self.feeder.status())


if __name__ == "__main__":
    unittest.main()
