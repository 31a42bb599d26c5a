"""python3 -m unittest, in this folder. No sleeping: clock and report client are passed in; one real socket and one real kill."""

import base64
import hashlib
import hmac
import json
import signal
import subprocess
import sys
import tempfile
import threading
import unittest
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import agent
import report_client
import spool
from agent import Feeder, HttpReportClient
from hardware import Hardware
from identity import Identity
from storage import Store

SERVER_AHEAD = 1_800_000_000.0


class Clock:
    def __init__(self):
        self.now = 1_000.0

    def __call__(self):
        return self.now


class Bench(Hardware):
    """A motor whose switching is recorded, and sensors set by the test."""

    stall_milliamps = 600
    has_chute_sensor = True
    counted = ("button", "detector", "chute", "perch")

    def __init__(self, clock):
        self.clock = clock
        self.happened = []
        self.on_since = None
        self.runs = []
        self.milliamps = 240.0
        self.supply = []  # what the supply is read as, one after the other, and then `volts`
        self.volts = None

    def poll(self):
        happened, self.happened = self.happened, []
        return happened

    def read(self):
        return {"hopperGrams": 800.0, "airCelsius": None}

    def motor_on(self):
        self.on_since = self.clock()

    def motor_off(self):
        if self.on_since is not None:
            self.runs.append(round(self.clock() - self.on_since, 3))
            self.on_since = None

    def motor_milliamps(self):
        return self.milliamps

    def supply_volts(self):
        reading = self.supply.pop(0) if self.supply else self.volts
        if isinstance(reading, Exception):
            raise reading
        return reading


class StubReportClient:
    """A server in memory: stores what it is sent, and returns the outcomes that a test sets."""

    def __init__(self, clock):
        self.clock = clock
        self.busy = False
        self.reports, self.stored, self.orders, self.outcomes, self.outcome = [], {}, [], [], None
        self.beside = {}  # fields of the answer to be otherwise

    def send(self, report):
        report = json.loads(json.dumps(report, allow_nan=False))
        self.reports.append(report)
        self.busy = True
        kind = self.outcomes.pop(0) if self.outcomes else "fine"
        if kind in ("fine", "answerLost"):
            for event in report["events"]:
                self.stored[report["boot"], event["seq"]] = event
        if kind == "fine":
            last = report["events"][-1]["seq"] if report["events"] else None
            answer = {
                "storedThrough": last,
                "duplicates": 0,
                "refused": [],
                "serverTime": iso(self.clock() + SERVER_AHEAD),
                "nextReportSeconds": 5,
                "orders": self.orders,
            }
            self.outcome = ("answered", report, report_client.checked({**answer, **self.beside}))
        elif kind == "answerLost":
            self.outcome = ("unreachable", report, "connection reset")
        else:
            self.outcome = (kind, report, None if kind == "tooOften" else "no")

    def take(self):
        outcome, self.outcome = self.outcome, None
        if outcome is not None:
            self.busy = False
        return outcome

    def kinds(self):
        return [event["kind"] for event in self.stored.values()]

    def of(self, kind):
        return next(event for event in self.stored.values() if event["kind"] == kind)


def iso(seconds):
    return report_client.datetime.fromtimestamp(seconds, report_client.timezone.utc).isoformat().replace("+00:00", "Z")


class WithFeeder(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)
        self.clock = Clock()
        self.client = StubReportClient(self.clock)
        agent.log.setLevel("CRITICAL")
        self.start("b-1")

    def start(self, boot):
        self.hardware = Bench(self.clock)
        self.feeder = Feeder(Store(self.folder.name, self.clock), self.hardware, self.client, self.clock, boot)

    def power_cut(self, boot="b-2"):
        """The program ends without any cleanup; only the disk is left."""
        self.feeder.store.spool.close()
        self.client.busy, self.client.outcome = False, None
        self.start(boot)

    def tearDown(self):
        self.feeder.store.close()

    def live(self, seconds):
        for _ in range(round(seconds / 0.05)):
            self.clock.now += 0.05
            self.feeder.step()

    def trouble_texts(self):
        return " ".join(event["words"] for event in self.client.stored.values() if event["kind"] == "trouble")

    def order(self, id, kind, until=None):
        return {"id": id, "kind": kind, "until": None if until is None else iso(until + SERVER_AHEAD)}


class Planned(WithFeeder):
    """The time of the server is SERVER_AHEAD + the clock, which begins at 1,000 s."""

    def plan(self, version=1, **changes):
        begin = int(SERVER_AHEAD)
        day = {"from": begin, "to": begin + 86_400, "portionsMax": 4, "free": [1_060, 1_120], "frost": []}
        each = {"ratios": [1], "betweenSeconds": 0}
        plan = {"version": version, "portionsEach": 1, "frostBelowCelsius": None, "paysDepositsOverRation": True}
        return {**plan, "days": [day], "press": each, "deposit": each, **changes}

    def send(self, **changes):
        self.client.beside = {"plan": self.plan(**changes)}
        self.live(6)

    def test_confirms_the_plan_and_gives_free_food_at_its_times(self):
        self.send()
        self.assertEqual(self.client.reports[-1]["readings"]["planVersion"], 1)
        self.live(48)
        self.assertEqual(self.hardware.runs, [])
        self.live(90)
        self.assertEqual(len(self.hardware.runs), 2)
        portions = [event for event in self.client.stored.values() if event["kind"] == "portion"]
        self.assertEqual([(one["cause"], one["paysFor"]) for one in portions], [("timer", None), ("timer", None)])
        for portion, planned in zip(portions, (60_000, 120_000)):
            self.assertAlmostEqual(portion["uptimeMs"], planned, delta=200)

    def test_confirms_a_plan_at_once_however_seldom_it_reports(self):
        self.client.beside = {"plan": self.plan(), "nextReportSeconds": 60}
        self.live(3)
        self.assertEqual([one["readings"]["planVersion"] for one in self.client.reports], [None, 1])

    def test_gives_nothing_while_paused_and_does_not_make_up_for_it(self):
        self.client.orders = [self.order("p1", "pause")]
        self.send()
        self.live(60)
        self.client.orders = [self.order("r1", "resume")]
        self.live(60)
        self.assertEqual(len(self.hardware.runs), 1)  # the second time came after the resume

    def test_keeps_plan_and_ration_through_a_power_cut_in_the_middle_of_a_portion(self):
        self.send()
        while not self.feeder.run:
            self.live(0.05)
        self.client.beside = {}
        self.power_cut()
        self.assertEqual(self.feeder.plan.version, 1)
        self.assertEqual(self.feeder.plan.memory["given"], 1)
        self.live(20)
        self.assertEqual(self.hardware.runs, [])  # the portion that was cut is not given again
        self.live(60)
        self.assertEqual(len(self.hardware.runs), 1)

    def test_stops_free_food_and_presses_at_the_ration_and_pays_a_cap_all_the_same(self):
        self.send(days=[{**self.plan()["days"][0], "portionsMax": 1}])
        self.hardware.happened = [("press",)]
        self.live(3)
        self.hardware.happened = [("press",)]
        self.live(3)
        self.assertEqual(len(self.hardware.runs), 1)
        self.hardware.happened = [("cap", 0.8, True, True)]
        self.live(150)
        self.assertEqual(len(self.hardware.runs), 2)

    def test_reports_a_plan_that_it_cannot_carry_out_and_goes_on_with_the_one_before(self):
        self.send()
        self.send(version=2, portionsEach=-1)
        self.live(6)
        self.assertIn("plan.portionsEach", self.trouble_texts())
        self.assertEqual(self.client.reports[-1]["readings"]["planVersion"], 1)

    def test_follows_no_plan_any_more_once_the_keeper_has_removed_it(self):
        self.send(press=None)
        self.client.beside = {}
        self.live(6)
        self.assertEqual(self.feeder.plan.version, 1)  # nothing said changes nothing
        self.client.beside = {"plan": None}
        self.live(6)
        self.assertIsNone(self.client.reports[-1]["readings"]["planVersion"])
        self.power_cut()
        self.assertIsNone(self.feeder.plan.version)
        self.hardware.happened = [("press",)]
        self.live(3)
        self.assertEqual(len(self.hardware.runs), 1)

    def test_says_of_each_act_whether_it_earned_a_portion(self):
        self.send(deposit={"ratios": [2], "betweenSeconds": 0}, press=None)
        for _ in range(4):
            self.hardware.happened = [("cap", 0.8, True, True), ("press",)]
            self.live(4)
        self.live(6)
        events = list(self.client.stored.values())
        self.assertEqual([one["earns"] for one in events if one["kind"] == "deposit"], [False, True, False, True])
        self.assertEqual([one["earns"] for one in events if one["kind"] == "press"], [False] * 4)
        earned = [one["seq"] for one in events if one["kind"] == "deposit" and one["earns"]]
        self.assertEqual([one["paysFor"] for one in events if one.get("cause") == "deposit"], earned)

    def test_promises_no_portion_while_paused_nor_for_drumming(self):
        self.hardware.happened = [("press",)] * 50
        self.live(30)
        presses = [one for one in self.client.stored.values() if one["kind"] == "press"]
        self.assertEqual(sum(one["earns"] for one in presses), len(self.hardware.runs))
        self.client.orders = [self.order("p1", "pause")]
        self.live(6)
        self.hardware.happened = [("press",), ("cap", 0.9, True, True)]
        self.live(6)
        self.assertEqual([one["earns"] for one in self.client.stored.values() if "earns" in one][-2:], [False, False])

    def test_says_in_words_how_it_stands(self):
        self.assertEqual(dict(self.feeder.status())["Last answer of the server"], "none since the start")
        self.send()
        status = dict(self.feeder.status())
        self.assertEqual(status["Food"], "given by the plan and for presses and caps")
        self.assertEqual(status["Feeding plan"], "version 1, 0 portions today")
        self.assertRegex(status["Last answer of the server"], r"^\d s ago$")
        self.client.orders = [self.order("p1", "pause")]
        self.client.beside = {}
        self.live(6)
        self.assertEqual(dict(self.feeder.status())["Food"], "none: the feeder is paused")
        self.power_cut()
        self.assertIn("waits until the server has told the time", dict(self.feeder.status())["Feeding plan"])

    def test_pays_each_act_and_gives_nothing_free_without_a_plan(self):
        self.hardware.happened = [("press",)]
        self.live(200)
        self.assertEqual(len(self.hardware.runs), 1)
        self.assertIsNone(self.client.reports[-1]["readings"]["planVersion"])


class Paying(WithFeeder):
    def test_pays_a_cap_with_one_portion_and_names_the_cap(self):
        self.hardware.happened = [("cap", 0.8, True, True)]
        self.live(0.5)
        self.hardware.happened = [("piece",), ("piece",), ("piece",)]
        self.live(8)
        deposit, portion = self.client.stored.values()
        self.assertEqual((deposit["kind"], portion["kind"]), ("deposit", "portion"))
        self.assertEqual((portion["cause"], portion["paysFor"], portion["chuteCount"]), ("deposit", deposit["seq"], 3))
        self.assertAlmostEqual(portion["motorMs"], 900, delta=60)
        self.assertEqual(portion["meanMilliamps"], 240)
        # Its time is the start of the motor's run, as the contract says, not when the last piece had fallen.
        self.assertLessEqual(portion["uptimeMs"] - deposit["uptimeMs"], 100)

    def test_reports_the_lowest_supply_voltage_while_the_motor_ran(self):
        self.hardware.supply = [5.02, 4.71, None, 4.98, float("nan"), -3.0, 700.0]
        self.hardware.happened = [("press",)]
        self.live(8)
        self.assertEqual(self.client.of("portion")["lowestVolts"], 4.71)

    def test_gives_its_portion_though_the_supply_cannot_be_read(self):
        self.hardware.supply = [OSError("no converter at 0x48")]
        self.hardware.happened = [("press",)]
        self.live(8)
        self.assertEqual(sorted(self.client.kinds()), ["portion", "press", "trouble"])
        self.assertIsNone(self.client.of("portion")["lowestVolts"])

    def test_rests_the_motor_after_three_stalls_in_a_row_and_promises_nothing_meanwhile(self):
        self.hardware.milliamps = 720.0
        for _ in range(6):
            self.hardware.happened = [("press",)]
            self.live(3)
        self.assertEqual(len(self.hardware.runs), agent.STALLS_MAX)
        self.live(6)
        presses = [one["earns"] for one in self.client.stored.values() if one["kind"] == "press"]
        self.assertEqual(presses, [True] * 3 + [False] * 3)
        self.hardware.milliamps = 240.0
        self.clock.now += agent.STALL_REST
        self.hardware.happened = [("press",)]
        self.live(3)
        self.assertEqual(len(self.hardware.runs), agent.STALLS_MAX + 1)
        self.assertEqual(self.feeder.stalls, 0)

    def test_tries_a_stalled_motor_again_once_somebody_has_resumed_it(self):
        self.hardware.milliamps = 720.0
        for _ in range(4):
            self.hardware.happened = [("press",)]
            self.live(3)
        self.hardware.milliamps = 240.0
        self.client.orders = [self.order("p1", "pause"), self.order("r1", "resume")]
        self.live(6)
        self.hardware.happened = [("press",)]
        self.live(3)
        self.assertEqual(len(self.hardware.runs), agent.STALLS_MAX + 1)

    def test_does_not_start_the_motor_at_a_low_supply_and_says_why(self):
        self.hardware.supply_volts_min = 4.8
        self.hardware.volts = 4.6
        self.hardware.happened = [("press",)]
        self.live(8)
        self.assertEqual(self.hardware.runs, [])
        self.assertEqual(self.feeder.why_not_run(), "the supply is at 4.60 V, and the motor needs 4.80 V")
        self.assertEqual([one["earns"] for one in self.client.stored.values() if one["kind"] == "press"], [False])
        self.hardware.volts = 5.0
        self.hardware.happened = [("press",)]
        self.live(3)
        self.assertEqual(len(self.hardware.runs), 1)

    def test_leaves_the_supply_of_a_running_motor_to_its_portion(self):
        self.hardware.supply_volts_min = 4.8
        self.hardware.volts = 5.0
        self.hardware.happened = [("press",)]
        self.live(0.3)
        self.assertIsNotNone(self.feeder.run)
        self.hardware.supply = [4.5]  # the lowest since the last call
        self.feeder.status()
        self.assertEqual(self.hardware.supply, [4.5])
        self.live(8)
        self.assertEqual(self.client.of("portion")["lowestVolts"], 4.5)

    def test_leaves_out_and_tells_what_was_promised_just_before_the_supply_fell(self):
        self.hardware.supply_volts_min = 4.8
        self.hardware.happened = [("press",), ("cap", 0.9, True, True)]
        self.live(0.2)
        self.hardware.volts = 4.6
        self.live(8)
        self.hardware.volts = 5.0
        self.live(8)
        self.assertEqual(len(self.hardware.runs), 1)  # the cap's portion is not given once the bird has gone
        self.assertIn("Portions left out: 1, since the supply is at 4.60 V", self.trouble_texts())

    def test_cuts_off_a_stalled_motor(self):
        self.hardware.milliamps = 720.0
        self.hardware.happened = [("press",)]
        self.live(3)
        self.assertEqual(len(self.hardware.runs), 1)
        self.assertLess(self.hardware.runs[0], 0.5)

    def test_limits_the_portions_of_a_drumming_bird(self):
        self.hardware.happened = [("press",)] * 50
        self.live(60)
        self.assertEqual(len(self.hardware.runs), agent.OWED_MAX)
        self.assertEqual(self.client.kinds().count("press"), 50)

    def test_leaves_out_what_is_not_measured(self):
        self.live(1)
        self.assertNotIn("airCelsius", self.client.reports[0]["readings"])
        self.assertEqual(self.client.reports[0]["readings"]["hopperGrams"], 800)


    def test_goes_on_when_a_sensor_fails_and_reports_it_once(self):
        def broken():
            raise OSError("remote I/O error")

        self.hardware.read = broken
        self.hardware.happened = [("press",)]
        self.live(30)
        self.assertEqual(sorted(self.client.kinds()), ["portion", "press", "trouble"])
        self.assertEqual(self.client.reports[-1]["readings"]["paused"], False)


class Linked(WithFeeder):
    """With a live link, of which a test sets the next frames."""

    def setUp(self):
        super().setUp()
        self.frames = []
        self.feeder.link = self

    def take(self):
        return self.frames.pop(0) if self.frames else None

    def test_carries_out_a_pause_at_once_and_confirms_it(self):
        self.client.beside = {"nextReportSeconds": 60}
        self.live(3)
        reports = len(self.client.reports)
        self.hardware.happened = [("press",)]
        self.live(0.3)
        self.assertIsNotNone(self.feeder.run)
        self.frames = [{"orders": [self.order("p1", "pause")]}]
        self.live(0.1)
        self.assertTrue(self.feeder.paused)
        self.assertIsNone(self.hardware.on_since)
        self.live(2)
        self.assertEqual(len(self.client.reports), reports + 1)
        self.assertEqual(self.client.of("order")["outcome"], "done")

    def test_asks_for_the_time_first_where_it_does_not_know_it(self):
        self.client.beside = {"nextReportSeconds": 60}
        self.live(3)
        self.feeder.server_ahead = None
        self.client.orders = [self.order("p1", "pause", until=self.clock() + 600)]
        self.live(3)
        self.assertFalse(self.feeder.paused)  # the next report is far away
        self.frames = [{"orders": self.client.orders}]
        self.live(1)
        self.assertTrue(self.feeder.paused)

    def test_takes_what_waited_at_a_broker_until_its_end_and_reports_once_it_is_back(self):
        self.client.beside = {"nextReportSeconds": 600}
        self.live(3)
        reports = len(self.client.reports)
        now = self.clock() + SERVER_AHEAD
        for until in (iso(now - 1), "soon", None):
            self.frames = [{"until": until, "orders": [self.order("p1", "pause")]}, {"until": until, "plan": None}]
            self.live(1)
            self.assertEqual((self.feeder.paused, len(self.client.reports)), (False, reports))
        self.frames = [{"until": iso(now + 60), "orders": [self.order("p1", "pause")]}]
        self.live(1)
        self.assertEqual((self.feeder.paused, len(self.client.reports)), (True, reports + 1))
        self.frames = [{"connected": True}]
        self.live(1)
        self.assertEqual(len(self.client.reports), reports + 2)

    def test_does_not_forget_an_order_that_comes_while_a_report_is_under_way(self):
        self.client.beside = {"nextReportSeconds": 600}
        for known in (False, True):
            with self.subTest(knows_the_time=known):
                if not known:
                    self.feeder.server_ahead = None
                self.feeder.report_at = self.clock()
                self.live(0.05)
                self.assertTrue(self.client.busy)
                answer, self.client.outcome = self.client.outcome, None  # it was made before the order
                self.client.orders = [self.order(f"p-{known}", "pause")]
                self.frames = [{"orders": self.client.orders}]
                self.live(0.2)
                self.client.outcome = answer
                self.live(2)
                self.assertEqual(self.feeder.held["order"], f"p-{known}")
                self.assertEqual([event["order"] for event in self.client.stored.values() if event["kind"] == "order"][-1], f"p-{known}")

    def test_goes_on_after_frames_that_cannot_be_read(self):
        self.live(3)
        self.frames = [{"orders": "p1"}, {"plan": 7}, {"orders": [3]}, {"answer": {}}, {"orders": [self.order("p2", "pause")]}]
        self.live(1)
        self.assertEqual(self.feeder.held["order"], "p2")


class Orders(WithFeeder):
    def test_stops_the_motor_in_mid_run_and_then_confirms_the_pause(self):
        self.live(5.2)
        self.hardware.happened = [("press",)]
        self.live(0.1)
        self.assertIsNotNone(self.hardware.on_since)
        self.client.orders = [self.order("p-1", "pause")]
        self.feeder.report_at = self.clock()
        self.live(0.15)
        self.assertIsNone(self.hardware.on_since)
        self.assertLess(self.hardware.runs[0], 0.5)
        self.live(6)
        self.assertEqual(self.client.kinds(), ["press", "portion", "order"])
        self.assertTrue(self.client.reports[-1]["readings"]["paused"])

    def test_is_paused_before_the_pause_is_on_the_disk(self):
        self.live(5.2)
        self.hardware.happened = [("press",)]
        self.live(0.1)

        def gone(*_):
            raise OSError(5, "Input/output error")

        self.feeder.store.spool.settle = self.feeder.store.state_file.write = gone
        self.client.orders = [self.order("p-1", "pause")]
        self.feeder.report_at = self.clock()
        self.live(0.15)
        self.assertIsNone(self.hardware.on_since)
        self.assertTrue(self.feeder.paused)
        self.live(6)
        self.assertEqual(self.client.of("order")["outcome"], "done")
        self.assertIn("would be forgotten in a power cut", self.trouble_texts())

    def test_never_feeds_a_backlog_after_a_resume(self):
        self.client.orders = [self.order("p-1", "pause")]
        self.live(6)
        self.hardware.happened = [("press",), ("cap", 0.9, True, True)]
        self.live(6)
        self.client.orders = [self.order("r-1", "resume")]
        self.live(30)
        self.assertEqual(self.hardware.runs, [])
        self.assertEqual(self.client.kinds().count("press") + self.client.kinds().count("deposit"), 2)
        self.hardware.happened = [("press",)]
        self.live(3)
        self.assertEqual(len(self.hardware.runs), 1)

    def test_changes_nothing_on_a_repeat_and_follows_the_newest_order(self):
        self.client.orders = [self.order("p-1", "pause")]
        self.live(30)
        self.assertEqual(self.client.kinds(), ["order"])
        self.client.orders = [self.order("p-1", "pause"), self.order("r-1", "resume")]
        self.live(10)
        self.assertFalse(self.feeder.paused)
        self.client.orders = [self.order("p-1", "pause")]  # came late
        self.live(10)
        self.assertFalse(self.feeder.paused)
        self.assertEqual(self.client.kinds(), ["order", "order"])

    def test_ends_a_pause_at_its_end(self):
        self.client.orders = [self.order("p-1", "pause", until=self.clock() + 60)]
        self.live(50)
        self.assertTrue(self.feeder.paused)
        self.live(11)
        self.assertFalse(self.feeder.paused)

    def test_refuses_a_pause_that_was_over_before_it_arrived(self):
        self.client.orders = [self.order("p-1", "pause", until=self.clock() - 60)]
        self.live(10)
        self.assertFalse(self.feeder.paused)
        self.assertEqual([event["outcome"] for event in self.client.stored.values()], ["refused"])

    def test_stays_paused_through_a_power_cut_until_it_knows_the_time(self):
        self.client.orders = [self.order("p-1", "pause", until=self.clock() + 60)]
        self.live(10)
        self.power_cut()
        self.client.outcomes = ["unreachable"] * 10
        self.live(100)
        self.assertTrue(self.feeder.paused)
        self.client.outcomes = []
        self.live(300)
        self.assertFalse(self.feeder.paused)
        self.assertEqual(self.client.kinds(), ["order"])

    def test_turns_the_motor_off_when_it_is_stopped(self):
        self.hardware.happened = [("press",)]
        self.live(0.2)
        self.assertIsNotNone(self.hardware.on_since)
        self.feeder.stop()
        self.assertIsNone(self.hardware.on_since)
        self.power_cut()
        self.live(1)
        self.assertEqual(self.client.kinds(), ["press", "portion"])


class Reporting(WithFeeder):
    def test_reports_the_events_of_an_earlier_start_under_its_own_boot(self):
        self.client.outcomes = ["unreachable"]
        self.hardware.happened = [("perch",)]
        self.live(0.1)
        self.power_cut()
        self.hardware.happened = [("perch",)]
        self.live(8)
        left, own = [report for report in self.client.reports if report["events"]][-2:]
        self.assertEqual((left["boot"], left["sentUptimeMs"]), ("b-1", None))
        self.assertNotIn("readings", left)
        self.assertEqual(own["boot"], "b-2")
        self.assertEqual(sorted(self.client.stored), [("b-1", 1), ("b-2", 1)])

    def test_loses_nothing_while_answers_get_lost(self):
        self.client.outcomes = ["unreachable", "answerLost", "tooOften", "answerLost", "unreachable"]
        for _ in range(40):
            self.hardware.happened = [("perch",)]
            self.live(10)
        self.live(400)
        self.assertEqual([seq for _, seq in sorted(self.client.stored)], list(range(1, 41)))
        self.assertEqual(self.feeder.store.waiting(), 0)

    def test_halves_what_is_too_much(self):
        self.hardware.happened = [("perch",)] * 100
        self.client.outcomes = ["tooMuch", "tooMuch"]
        self.live(60)
        self.assertEqual([len(report["events"]) for report in self.client.reports[:3]], [100, 50, 25])
        self.assertEqual(len(self.client.stored), 100)

    def test_stores_apart_the_one_event_that_the_server_can_not_read(self):
        send = self.client.send

        def picky(report):
            if any(event["seq"] == 3 and event["kind"] == "visit" for event in report["events"]):
                self.client.outcomes = ["unreadable"]
            send(report)

        self.client.send = picky
        self.hardware.happened = [("perch",)] * 8
        self.live(2_000)
        self.assertEqual([seq for _, seq in sorted(self.client.stored)], [1, 2, 4, 5, 6, 7, 8, 9, 10])
        self.assertIn("stored apart", self.client.stored["b-1", 10]["words"])
        (rejected,) = self.feeder.store.spool.database.execute("SELECT count(*) FROM rejected_events").fetchone()
        self.assertEqual(rejected, 1)

    def test_backs_off_from_a_server_that_stays_away(self):
        self.client.outcomes = ["unreachable"] * 1_000
        self.live(3_600)
        self.assertLess(len(self.client.reports), 25)
        self.assertGreater(len(self.client.reports), 12)

    def test_reports_that_its_spool_was_full(self):
        most, spool.SPOOL_MAX = spool.SPOOL_MAX, 10
        self.addCleanup(lambda: setattr(spool, "SPOOL_MAX", most))
        self.client.outcomes = ["unreachable"]
        self.live(0.1)
        self.hardware.happened = [("perch",)] * 15
        self.live(20)
        self.assertIn("5 old events are lost", [e for e in self.client.stored.values() if e["kind"] == "trouble"][0]["words"])


class PowerCuts(unittest.TestCase):
    def test_loses_no_stored_event_when_the_program_is_killed(self):
        with tempfile.TemporaryDirectory() as folder:
            writing = (
                "import sys, time; from storage import Store; store = Store(sys.argv[1], time.monotonic); seq = 0\n"
                "while True:\n"
                "    seq += 1; store.write('b-1', {'seq': seq, 'kind': 'visit'}); print(seq, flush=True)\n"
            )
            child = subprocess.Popen(
                [sys.executable, "-B", "-c", writing, folder], stdout=subprocess.PIPE, cwd=Path(__file__).parent, text=True
            )
            written = 0
            for line in child.stdout:
                written = int(line)
                if written == 25:
                    child.send_signal(signal.SIGKILL)
            child.stdout.close()
            child.wait()
            store = Store(folder, Clock())
            boot, events = store.oldest(10_000)
            store.close()
            self.assertGreaterEqual(written, 25)
            self.assertGreaterEqual(len(events), written)
            self.assertEqual([event["seq"] for event in events], list(range(1, len(events) + 1)))

    def test_has_the_pause_on_the_card_before_its_confirmation(self):
        with tempfile.TemporaryDirectory() as folder:
            store = Store(folder, Clock())
            store.spool.database.execute("DROP TABLE events")  # the proof can't be written
            store.write("b-1", {"seq": 1, "kind": "order"}, first={"held": {"order": "p-1", "until": None}})
            store.spool.close()
            after = Store(folder, Clock())
            self.assertEqual(after.state["held"], {"order": "p-1", "until": None})
            self.assertEqual(after.oldest(10), ("b-1", [{"seq": 1, "kind": "order"}]))
            after.close()


class InTime(WithFeeder):
    """A cap is paid within two seconds by the feeder alone: one that comes later teaches little. No server answers in these tests."""

    def seconds_to_pay(self, waits):
        """From a cap until the motor starts for it; `waits`: so long after a press, whose portion may still run."""
        self.client.outcomes = ["unreachable"] * 100
        self.hardware.happened.append(("press",))
        self.live(waits)
        before = len(self.hardware.runs) + (self.hardware.on_since is not None)
        dropped = self.clock.now
        self.hardware.happened.append(("cap", 0.9, True, True))
        while len(self.hardware.runs) + (self.hardware.on_since is not None) == before:
            self.live(0.05)
            self.assertLess(self.clock.now - dropped, 10, "the cap was never paid")
        return self.clock.now - dropped

    def test_pays_a_cap_within_two_seconds_also_while_another_portion_runs(self):
        for waits in (0.05, 0.5, 1.0, 1.5, 2.0, 30.0):
            self.assertLessEqual(self.seconds_to_pay(waits), 2.0, f"{waits} s after a press")
            self.live(10)

    def test_pays_late_where_a_portion_takes_longer_than_that(self):
        self.hardware.portion_seconds = 3.0  # proves that the measure can tell
        self.assertGreater(self.seconds_to_pay(0.05), 2.0)


class Posting(unittest.TestCase):
    """One real socket on the loopback."""

    def setUp(self):
        replies = self.replies = []
        seen = self.seen = []

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                seen.append((self.path, self.headers["Authorization"], self.rfile.read(int(self.headers["Content-Length"]))))
                status, headers, body = replies.pop(0)
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_):
                pass

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        self.client = HttpReportClient(f"http://127.0.0.1:{self.server.server_port}/", "the-key")

    def tearDown(self):
        self.server.shutdown()
        self.server.server_close()

    def post(self, status, body=b"{}", headers=None):
        self.replies.append((status, headers or {}, body))
        kind, _, text = self.client.post({"boot": "b-1", "sentUptimeMs": 1, "events": []})
        return kind, text

    def test_understands_every_answer(self):
        fine = b'{"storedThrough": null, "serverTime": "2026-01-15T09:00:00.000Z", "nextReportSeconds": 5, "orders": []}'
        self.assertEqual(self.post(200, fine)[0], "answered")
        self.assertEqual(self.seen[0][:2], ("/api/v1/report", "Bearer the-key"))
        self.assertEqual(self.post(200, b"<html>a captive portal</html>")[0], "unreachable")
        self.assertEqual(self.post(200, b'{"serverTime": "soon"}')[0], "unreachable")
        self.assertEqual(self.post(200, b'["a list"]')[0], "unreachable")
        self.assertEqual(self.post(200, fine.replace(b"null", b'"all of it"'))[0], "unreachable")
        self.assertEqual(self.post(200, fine.replace(b": 5,", b": -1,"))[0], "unreachable")
        self.assertEqual(self.post(200, fine.replace(b": 5,", b": Infinity,"))[0], "answered")
        self.assertEqual(report_client.checked({**json.loads(fine), "nextReportSeconds": 1e9})["nextReportSeconds"], 3_600)
        self.assertEqual(self.post(200, fine + b" " * 1_100_000)[0], "unreachable")
        self.assertEqual(self.post(200, b"[" * 200_000)[0], "unreachable")
        self.assertEqual(self.post(500, b"<html>" + b"x" * 100_000)[0], "unreachable")
        self.assertEqual(self.post(400)[0], "unreadable")
        self.assertEqual(self.post(401)[0], "unreachable")
        self.assertEqual(self.post(413)[0], "tooMuch")
        self.assertEqual(self.post(429, headers={"Retry-After": "7"}), ("tooOften", 7.0))
        self.assertEqual(self.post(429, headers={"Retry-After": "Wed, 21 Oct 2026 07:28:00 GMT"}), ("tooOften", None))
        self.assertEqual(self.post(503)[0], "unreachable")
        self.assertEqual(self.post(503, headers={"Retry-After": "9"}), ("tooOften", 9.0))

    def test_signs_with_the_nonce_that_the_server_gave_last(self):
        fine = b'{"storedThrough": null, "serverTime": "2026-01-15T09:00:00.000Z", "nextReportSeconds": 5, "orders": []}'
        self.client.identity = Identity("pw_key", "rowan-1")
        self.replies.append((401, {"WWW-Authenticate": 'Bearer, Signature nonce="n-1"'}, b"{}"))
        self.assertEqual(self.post(200, fine, {"Authentication-Info": 'nextnonce="n-2"'})[0], "answered")
        self.assertEqual(self.post(200, fine)[0], "answered")
        heads = [authorization for _, authorization, _ in self.seen]
        bodies = [body for _, _, body in self.seen]
        self.assertEqual((heads[0], bodies[0]), ('Signature feeder="rowan-1"', b""))  # no report before it can be signed
        for head, body, nonce in ((heads[1], bodies[1], b"n-1"), (heads[2], bodies[2], b"n-2")):
            secret = hashlib.sha256(b"pw_key").hexdigest().encode()
            mac = base64.urlsafe_b64encode(hmac.new(secret, nonce + b"\n" + body, "sha256").digest()).decode().rstrip("=")
            self.assertEqual(head, f'Signature feeder="rowan-1", nonce="{nonce.decode()}", mac="{mac}"')
        self.assertNotIn("pw_key", "".join(heads))

    def test_is_content_with_one_more_try_where_a_signature_is_refused(self):
        self.client.identity = Identity("wrong", "rowan-1")
        self.replies.append((401, {"WWW-Authenticate": 'Bearer, Signature nonce="n-1"'}, b"{}"))
        kind, text = self.post(401, b"no", {"WWW-Authenticate": 'Bearer, Signature nonce="n-2"'})
        self.assertEqual((kind, text, len(self.seen)), ("unreachable", "401 no", 2))

    def test_reads_the_orders_that_it_can_read(self):
        def orders(*listed):
            answer = {"storedThrough": None, "serverTime": iso(0), "nextReportSeconds": 5, "orders": list(listed)}
            return report_client.checked(answer)["orders"]

        agent.log.setLevel("CRITICAL")
        pause = {"id": "p-1", "kind": "pause", "until": None}
        self.assertEqual(orders("dance", {"kind": "pause"}, {"id": 7, "kind": "pause"}, pause), [pause])
        self.assertEqual(orders({"id": "p-1", "kind": "pause"}), [pause])
        self.assertEqual(orders({"id": "p-1", "kind": "pause", "until": "the cows come home"}), [pause])

    def test_gives_up_an_answer_that_never_ends(self):
        clock = Clock()
        client = HttpReportClient("http://127.0.0.1:9", "k", clock)
        client._send = lambda *_: None  # the thread that would wait
        client.send({"events": []})
        self.assertIsNone(client.take())
        clock.now += report_client.ANSWER_WITHIN_IN_ALL + 1
        self.assertEqual(client.take()[0], "unreachable")
        self.assertFalse(client.busy)
        client.outcomes.put((1, ("answered", {}, {})))  # and then it comes after all
        self.assertIsNone(client.take())

    def test_sends_the_key_to_no_other_address(self):
        elsewhere = {"Location": f"http://127.0.0.1:{self.server.server_port}/elsewhere"}
        self.assertEqual(self.post(302, headers=elsewhere)[0], "unreachable")
        self.assertEqual(self.post(307, headers=elsewhere)[0], "unreachable")
        self.assertEqual([path for path, _, _ in self.seen], ["/api/v1/report"] * 2)

    def test_treats_a_server_that_is_off_as_ordinary(self):
        nobody = HttpReportClient("http://127.0.0.1:9", "k")
        self.assertEqual(nobody.post({"events": []})[0], "unreachable")

    def test_reads_times_as_the_server_writes_them(self):
        self.assertEqual(report_client.seconds_of("1970-01-01T00:01:00.000Z"), 60)
        self.assertEqual(report_client.seconds_of("1970-01-01T02:01:00+02:00"), 60)


if __name__ == "__main__":
    unittest.main()
