"""The walk through the wiring, with sensors and hands made up, and time handed in."""

import unittest

from check import Check
from hardware import Hardware


class Bench(Hardware):
    """Senses what a test has laid out: a list of events for each request, in order of the requests."""

    portion_seconds = 1.0
    stall_milliamps = 600
    has_chute_sensor = True
    counted = ("button", "perch", "detector", "chute")

    def __init__(self):
        self.readings = {"hopperGrams": 812.4, "airCelsius": -6.2}
        self.on = False
        self.milliamps = {True: 240.0, False: 0.0}
        self.waiting = []
        self.turns = 0

    def poll(self):
        waiting, self.waiting = self.waiting, []
        return waiting

    def read(self):
        return self.readings

    def motor_on(self):
        self.on = True
        self.turns += 1
        self.waiting = [("piece",)] * 3

    def motor_off(self):
        self.on = False

    def motor_milliamps(self):
        return self.milliamps[self.on]


HANDS = {
    "Touch nothing": [],
    "Press the button": [("press",)],
    "Touch the perch": [("perch",)],
    "Drop a bottle cap": [("cap", 0.8, True, True)],
    "Drop a piece of food": [("piece",)],
    "Drop something without metal": [("cap", 0.1, False, True)],
}


class Walk(unittest.TestCase):
    def setUp(self):
        self.hardware = Bench()
        self.hands = dict(HANDS)
        self.now = 0.0
        self.lines = []
        self.typed = "yes"

    def say(self, line):
        self.lines.append(line)
        for request, events in self.hands.items():
            if line.strip().startswith(request):
                self.hardware.waiting = list(events)

    def sleep(self, seconds):
        self.now += seconds

    def walk(self):
        check = Check(self.hardware, self.say, lambda _: self.typed, lambda: self.now, self.sleep)
        self.is_well = check.run()
        return check.problems

    def test_finds_nothing_wrong_with_a_feeder_that_senses_all(self):
        self.assertEqual(self.walk(), [])
        self.assertTrue(self.is_well)
        text = "\n".join(self.lines)
        for part in ("hopperGrams: 812.4", "signal 0.80 of 1", "240 mA", "3 pieces fell", "Not taken for a cap"):
            self.assertIn(part, text)
        self.assertFalse(self.hardware.on)

    def test_names_each_sensor_that_senses_nothing(self):
        for request, name in (
            ("Press the button", "button"),
            ("Touch the perch", "perch"),
            ("Drop a bottle cap", "detector"),
            ("Drop a piece of food", "chute"),
        ):
            self.hands = {**HANDS, request: []}
            self.assertEqual(self.walk(), [f"{name}: not sensed"])
            self.assertFalse(self.is_well)

    def test_names_what_counts_without_a_hand_or_with_another(self):
        self.hands["Touch nothing"] = [("press",), ("press",), ("perch",)]
        self.hands["Press the button"] = [("perch",), ("press",)]
        problems = self.walk()
        self.assertEqual(problems[0], "sensed though nobody touched anything: press 2 times, perch once")
        self.assertEqual(problems[1], "button: something else was sensed with it: perch once")

    def test_names_a_detector_that_takes_one_for_the_other(self):
        self.hands["Drop a bottle cap"] = [("cap", 0.2, False, False)]
        self.hands["Drop something without metal"] = [("cap", 0.9, True, True)]
        self.assertEqual(
            self.walk(),
            [
                "detector: took a cap for no metal",
                "detector: its beam saw nothing fall",
                "detector: took something without metal for a cap",
            ],
        )

    def test_names_readings_that_are_none(self):
        self.hardware.readings = {"hopperGrams": None, "airCelsius": float("nan"), "lidCelsius": "cold"}
        self.assertEqual(
            self.walk(), ["hopperGrams: nothing measured", "airCelsius: nan is no number", "lidCelsius: 'cold' is no number"]
        )

    def test_reads_sensors_that_need_some_seconds_for_their_first_value(self):
        read = self.hardware.read
        self.hardware.read = lambda: read() if self.now >= 5 else {"hopperGrams": None}
        self.assertEqual(self.walk(), [])

    def test_shows_a_trouble_in_its_own_words(self):
        self.hands["Touch nothing"] = [("trouble", "the load cell: no answer")]
        self.assertEqual(self.walk(), ["sensed though nobody touched anything: trouble once"])
        self.assertIn("  Trouble: the load cell: no answer", self.lines)

    def test_turns_the_motor_only_after_a_yes(self):
        for typed in ("", "no", "y"):
            self.typed = typed
            self.walk()
        self.assertEqual(self.hardware.turns, 0)
        self.typed = " Yes "
        self.walk()
        self.assertEqual(self.hardware.turns, 1)

    def test_names_a_motor_that_stalls_that_has_no_wire_and_that_stays_on(self):
        self.hardware.milliamps = {True: 900.0, False: 0.0}
        self.assertIn("motor: draws more than the 600 mA at which it counts as stalled", self.walk())
        self.hardware.milliamps = {True: 0.0, False: 0.0}
        self.assertIn("motor: drew no current. Is its wire on?", self.walk())
        self.hardware.milliamps = {True: 240.0, False: 240.0}
        self.assertIn("motor: still draws 240 mA after it was switched off. Unplug it.", self.walk())

    def test_says_what_it_cannot_know(self):
        self.hardware.has_chute_sensor = False
        self.hardware.counted = ()
        self.hardware.milliamps = {True: None, False: None}
        self.assertEqual(self.walk(), [])
        self.assertIn("  Only you can see whether it turned: neither its current nor what falls is measured.", self.lines)

    def test_leaves_the_motor_off_whatever_fails(self):
        def broken():
            raise OSError("no such pin")

        self.hardware.motor_milliamps = broken
        with self.assertRaises(OSError):
            self.walk()
        self.assertEqual(self.hardware.turns, 1)
        self.assertFalse(self.hardware.on)


if __name__ == "__main__":
    unittest.main()
