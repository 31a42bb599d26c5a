"""Inputs and motor on simulated pins, each guard with its fault: a bounce, a stuck pin, a line that is silent, a loop that hangs."""

import subprocess
import sys
import unittest
from unittest import mock

from wiring.beam_sensor import BeamSensor
from wiring.button import Button
from wiring.debounce import Debounce
from wiring.deposits import Deposits
from wiring.metal_detector import MetalDetector
from wiring.motor_driver import MotorDriver
from wiring.perch_switch import PerchSwitch
from wiring.serial_metal_detector import SerialMetalDetector, strength_of
from wiring_bench import Pins, SerialLine, needs_packages

PIN = 17
NOTHING_HAPPENED = []


class Package(unittest.TestCase):
    def test_that_is_missing_is_named_as_debian_names_it(self):
        for name, debian, build in (
            ("gpiozero", "python3-gpiozero", lambda: Button(PIN)),
            ("serial", "python3-serial", lambda: SerialMetalDetector("port")),
        ):
            with mock.patch.dict(sys.modules, {name: None}), self.assertRaisesRegex(ImportError, f"apt install {debian}"):
                build()

    def test_is_not_needed_to_load_the_agent(self):
        text = "import agent, wiring.example, sys; print([name for name in ('gpiozero', 'smbus2', 'serial') if name in sys.modules])"
        run = subprocess.run([sys.executable, "-B", "-c", text], capture_output=True, text=True, timeout=60)
        self.assertEqual(run.stdout.strip(), "[]", run.stderr)


class Bounces(unittest.TestCase):
    def count(self, debounce):
        for at in range(0, 40, 5):  # milliseconds: a contact that bounces for 40 ms, then holds
            debounce.edge(at / 1_000, at % 10 == 0)
        debounce.edge(0.04, True)
        return debounce.take(1.0)

    def test_are_one_press(self):
        self.assertEqual(self.count(Debounce(0.02, 0.05, -1.0, False)), 1)
        self.assertGreater(self.count(Debounce(0.0, 0.0, -1.0, False)), 1)  # without the guard the same edges are several

    def test_at_the_release_are_no_second_press(self):
        debounce = Debounce(0.02, 0.05, -1.0, False)
        for at, active in ((0, True), (0.5, False), (0.51, True), (0.54, False), (0.55, True), (0.58, False)):
            debounce.edge(at, active)
        self.assertEqual(debounce.take(1.0), 1)
        debounce.edge(1.0, True)
        self.assertEqual(debounce.take(1.1), 1)


@needs_packages
class Inputs(Pins):
    def test_button_counts_a_press_and_no_glitch(self):
        button = self.opened(Button(PIN, clock=self.clock))
        self.drive(PIN, False, 0.005)  # 5 ms, as a motor's spark makes them
        self.drive(PIN, True, 0.2)
        self.assertEqual(button.poll(), NOTHING_HAPPENED)
        for high in (False, True, False, True, False):
            self.drive(PIN, high, 0.004)
        self.clock.advance(0.1)
        self.assertEqual(button.poll(), [("press",)])
        self.assertEqual(button.poll(), NOTHING_HAPPENED)

    def test_button_counts_presses_between_two_looks(self):
        button = self.opened(Button(PIN, event=("filled", None), clock=self.clock))
        for _ in range(3):
            self.drive(PIN, False, 0.1)
            self.drive(PIN, True, 0.1)
        self.assertEqual(button.poll(), [("filled", None)] * 3)

    def test_button_that_is_stuck_is_told_once_an_hour_and_presses_nothing(self):
        self.pins.pin(PIN)
        with mock.patch("gpiozero.pins.mock.MockPin._set_pull", lambda pin, _: pin.drive_low()):  # a short to GND from the start
            button = self.opened(Button(PIN, clock=self.clock))
        polled = []
        for _ in range(130):
            self.clock.advance(60)
            polled += button.poll()
        self.assertEqual([kind for kind, *_ in polled], ["trouble"] * 3)
        self.assertIn("the button (GPIO 17) has been active for 60 s", polled[0][1])
        self.drive(PIN, True, 1)
        self.drive(PIN, False, 1)
        self.assertEqual(button.poll(), [("press",)])

    def test_perch_counts_a_bird_that_hops_once_and_wind_never(self):
        perch = self.opened(PerchSwitch(PIN, clock=self.clock))
        for _ in range(20):
            self.drive(PIN, False, 0.05)
            self.drive(PIN, True, 0.3)
        self.assertEqual(perch.poll(), NOTHING_HAPPENED)
        for _ in range(3):
            self.drive(PIN, False, 2.0)
            self.drive(PIN, True, 0.5)
        self.assertEqual(perch.poll(), [("perch",)])

    def test_beam_counts_pieces_and_tells_that_it_is_blocked(self):
        beam = self.opened(BeamSensor(PIN, clock=self.clock))
        self.drive(PIN, False, 1.0)  # light
        for _ in range(3):
            self.drive(PIN, True, 0.004)
            self.drive(PIN, False, 0.004)
        self.drive(PIN, True, 0.0005)
        self.drive(PIN, False, 0.1)
        self.assertEqual(beam.poll(), [("piece",)] * 3)
        self.drive(PIN, True, 11.0)  # a piece that is stuck, a dead LED, a broken wire
        polled = beam.poll()
        self.assertEqual(polled[0], ("piece",))
        self.assertIn("the chute's beam (GPIO 17) has been active for 11 s", polled[1][1])

    def test_metal_detector_says_what_its_beam_saw(self):
        detector = self.opened(MetalDetector(PIN, slot_beam_gpio=18, clock=self.clock))
        self.drive(18, False, 1.0)
        self.drive(PIN, False, 0.01)
        self.drive(PIN, True, 0.01)
        self.drive(18, True, 0.01)
        self.drive(18, False, 0.01)
        self.assertEqual(detector.poll(), [("cap", None, True, True)])
        self.drive(18, True, 0.01)  # something without metal
        self.drive(18, False, 0.01)
        self.assertEqual(detector.poll(), NOTHING_HAPPENED)
        self.clock.advance(0.6)
        self.assertEqual(detector.poll(), [("cap", None, False, True)])
        self.drive(PIN, False, 11.0)
        self.assertEqual([kind for kind, *_ in detector.poll()], ["trouble"])

    def test_an_edge_that_was_missed_is_found_at_the_next_look(self):
        button = self.opened(Button(PIN, clock=self.clock))
        self.pins.pin(PIN)._state = False  # no interrupt came
        self.assertEqual(button.poll(), NOTHING_HAPPENED)
        self.clock.advance(0.1)
        self.assertEqual(button.poll(), [("press",)])


class Pairs(unittest.TestCase):
    def test_either_may_come_first_and_each_may_come_alone(self):
        deposits = Deposits(has_beam=True)
        deposits.fell(0.0)
        deposits.metal(0.2, 0.8)
        deposits.metal(1.0, 0.7)
        deposits.fell(1.3)
        self.assertEqual(deposits.take(1.3), [("cap", 0.8, True, True), ("cap", 0.7, True, True)])
        deposits.metal(5.0, 0.9)
        deposits.fell(6.0)
        self.assertEqual(deposits.take(5.4), NOTHING_HAPPENED)
        self.assertEqual(deposits.take(7.0), [("cap", 0.9, True, False), ("cap", None, False, True)])

    def test_what_is_a_second_apart_is_two_things(self):
        for first, second, expected in (
            ("fell", "metal", [("cap", None, False, True), ("cap", None, True, False)]),
            ("metal", "fell", [("cap", None, True, False), ("cap", None, False, True)]),
        ):
            deposits = Deposits(has_beam=True)
            getattr(deposits, first)(0.0)
            getattr(deposits, second)(1.0)
            self.assertEqual(deposits.take(1.0) + deposits.take(2.0), expected)

    def test_without_a_beam_metal_counts_at_once(self):
        deposits = Deposits(has_beam=False)
        deposits.metal(0.0, 0.4)
        self.assertEqual(deposits.take(0.0), [("cap", 0.4, True, None)])


@needs_packages
class SerialDetector(Pins):
    def setUp(self):
        super().setUp()
        with mock.patch("serial.Serial", SerialLine):
            self.detector = self.opened(SerialMetalDetector("port", clock=self.clock))
        self.line = self.detector._port

    def send(self, text, seconds=0.05):
        self.line.arrived += text.encode()
        self.clock.advance(seconds)
        return self.detector.poll()

    def test_never_waits_for_the_line(self):
        self.assertEqual(self.line.settings, ("port", 9_600, 0))

    def test_reports_the_peak_of_what_passed_also_in_broken_lines(self):
        self.assertEqual(self.send("0.01\r\n0.3"), NOTHING_HAPPENED)
        self.assertEqual(self.send("5\n0.82\n0.4"), NOTHING_HAPPENED)
        self.assertEqual(self.send("1\n0.02\n"), [("cap", 0.82, True, None)])

    def test_noise_at_the_threshold_is_one_cap(self):
        self.assertEqual(self.send("0.31\n0.29\n0.31\n0.28\n0.32\n0.01\n"), [("cap", 0.32, True, None)])

    def test_tells_that_it_is_silent_garbled_or_stuck(self):
        self.assertIn("has sent nothing for 5 s", self.send("", 6)[0][1])
        self.assertEqual(self.send("", 60), NOTHING_HAPPENED)
        self.assertIn("no strength from 0 to 1", self.send("\x00\xff\n" * 10)[0][1])
        self.assertEqual(self.send("0.9\n"), NOTHING_HAPPENED)
        polled = []
        for _ in range(250):
            polled += self.send("0.9\n")
        self.assertEqual(len(polled), 1)
        self.assertIn("does something lie in it?", polled[0][1])

    def test_what_never_ends_a_line_fills_no_memory(self):
        for _ in range(100):
            self.send("7" * 1_000, 0)
        self.assertLess(len(self.detector._received), 100)

    def test_takes_only_strengths(self):
        given = [b"0", b" 1.0\r", b"1.1", b"-0.1", b"nan", b"inf", b"", b"cap"]
        self.assertEqual([strength_of(line) for line in given], [0.0, 1.0, None, None, None, None, None, None])


class Timer:
    """Stands in for threading.Timer: the test lets it end."""

    started = []

    def __init__(self, seconds, function):
        self.seconds, self.function, self.is_on = seconds, function, False

    def start(self):
        self.is_on = True
        Timer.started.append(self)

    def cancel(self):
        self.is_on = False


@needs_packages
class Motor(Pins):
    def setUp(self):
        super().setUp()
        Timer.started = []
        self.motor = self.opened(MotorDriver(PIN, longest=2.0, clock=self.clock, timer=Timer))

    def is_on(self):
        return self.pins.pin(PIN).state

    def test_is_off_until_it_is_switched_on_and_after_it_is_switched_off(self):
        self.assertFalse(self.is_on())
        self.motor.on()
        self.assertTrue(self.is_on())
        self.motor.off()
        self.assertFalse(self.is_on())
        self.assertFalse(Timer.started[0].is_on)
        self.assertEqual(self.motor.poll(), NOTHING_HAPPENED)

    def test_is_off_after_close_and_may_be_switched_off_again(self):
        self.motor.on()
        self.motor.close()
        self.assertFalse(self.is_on())
        self.motor.off()
        self.motor.close()

    def test_is_off_after_an_exception(self):
        with self.assertRaises(ZeroDivisionError), self.motor:
            self.motor.on()
            self.assertTrue(self.is_on())
            1 / 0  # noqa: B018
        self.assertFalse(self.is_on())

    def test_switches_itself_off_when_the_loop_hangs_and_tells_it(self):
        self.motor.on()
        self.motor.on()
        self.assertEqual([timer.seconds for timer in Timer.started], [2.0])  # a second call must not prolong the first
        Timer.started[0].function()
        self.assertFalse(self.is_on())
        self.assertIn("switched itself off", self.motor.poll()[0][1])
        self.motor.off()
        self.motor.on()
        self.assertTrue(self.is_on())

    def test_stays_off_where_its_timer_cannot_start(self):
        with mock.patch.object(Timer, "start", side_effect=RuntimeError("can't start new thread")), self.assertRaises(RuntimeError):
            self.motor.on()
        self.assertFalse(self.is_on())

    def test_is_off_at_the_end_of_a_program_that_fails(self):
        self.assertEqual(self.last_state("pass"), "False")
        self.assertEqual(self.last_state("atexit.unregister(motor.close)"), "True")  # without the guard it stays on

    def last_state(self, plant):
        program = f"""
import atexit
atexit.register(lambda: print(pin.states[-1].state))
from gpiozero import Device
from gpiozero.pins.mock import MockFactory
from wiring.motor_driver import MotorDriver
Device.pin_factory = MockFactory()
motor = MotorDriver(17)
pin = Device.pin_factory.pin(17)
motor.on()
{plant}
raise RuntimeError("planted")
"""
        run = subprocess.run([sys.executable, "-B", "-c", program], capture_output=True, text=True, timeout=60)
        self.assertIn("planted", run.stderr)
        return run.stdout.strip()


if __name__ == "__main__":
    unittest.main()
