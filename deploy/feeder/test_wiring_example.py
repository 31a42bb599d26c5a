"""The example's parts together, and below the agent: on simulated pins, with chips on a simulated bus."""

import contextlib
import io
import tempfile
import unittest
from unittest import mock

import agent
from storage import Store
from test_agent import StubReportClient
from wiring.example import BUTTON, CHUTE_BEAM, LOAD_CLOCK, LOAD_DATA, METAL, MOTOR, PERCH, SLOT_BEAM, ExampleFeeder
from wiring.i2c_thermometer import crc8
from wiring_bench import Amplifier, Bus, Chip, Pins, needs_packages

RUNNING, STALLED = 2_400, 9_000  # 240 and 900 mA as bits of 10 uV over 0.1 Ohm


class NoTimer:
    seconds = []

    def __init__(self, seconds, _):
        NoTimer.seconds.append(seconds)

    def start(self):
        pass

    def cancel(self):
        pass


class Built(Pins):
    def setUp(self):
        super().setUp()
        self.bus = Bus().patched(self)
        word = b"\x66\x66" + bytes([crc8(b"\x66\x66")])
        self.bus.chips = {
            0x40: Chip({1: RUNNING.to_bytes(2, "big"), 2: (1_250 << 3).to_bytes(2, "big")}),
            0x44: Chip(answer=word * 2),
            0x48: Chip({0: (18_464).to_bytes(2, "big"), 1: (0xC383).to_bytes(2, "big")}),
        }
        self.amplifier = Amplifier(self, LOAD_DATA, LOAD_CLOCK, [484_000] * 1_000)
        for name, value in (("TARE", 84_000), ("GRAMS_PER_COUNT", 0.0024)):
            calibrated = mock.patch(f"wiring.example.{name}", value)
            calibrated.start()
            self.addCleanup(calibrated.stop)
        self.loops = []
        self.feeder = self.opened(self.build())
        for gpio in (CHUTE_BEAM, SLOT_BEAM):
            self.drive(gpio, False, 1.0)  # light
        self.assertEqual(self.feeder.poll(), [])

    def build(self):
        return ExampleFeeder(self.clock, self.amplifier.sleep, self.loops.append, NoTimer)

    def measure(self):
        """One round of all background measurements."""
        for loop in self.loops:
            loop.__self__.step()


@needs_packages
class Example(Built):
    def test_reads_what_is_there_and_none_for_what_is_not(self):
        self.assertEqual(set(self.feeder.read().values()), {None})
        self.measure()
        self.assertEqual(
            self.feeder.read(),
            {
                "hopperGrams": 960.0,
                "airCelsius": 25.0,
                "humidityPercent": 40.0,
                "lidCelsius": None,  # no thermometer on the 1-wire bus
                "supplyVolts": 5.0,
                "batteryVolts": 12.799,
            },
        )

    def test_senses_all_that_it_says_it_counts(self):
        for gpio in (BUTTON, PERCH, METAL):
            self.drive(gpio, False, 0.2)
            self.drive(gpio, True, 0.2)
        for gpio in (CHUTE_BEAM, SLOT_BEAM):
            self.drive(gpio, True, 0.01)
            self.drive(gpio, False, 0.01)
        self.assertEqual(sorted(self.feeder.poll()), [("cap", None, True, True), ("perch",), ("piece",), ("press",)])

    def test_never_waits_for_a_bus_or_the_scale_where_the_agent_calls(self):
        self.measure()
        calls, pulses = self.bus.calls, len(self.amplifier.bursts)
        self.assertGreater(min(calls, pulses), 0)
        self.feeder.motor_on()
        for _ in range(100):
            self.clock.advance(0.02)
            self.feeder.poll()
            self.feeder.read()
            self.feeder.motor_milliamps()
            self.feeder.supply_volts()
        self.feeder.motor_off()
        self.assertEqual((self.bus.calls, len(self.amplifier.bursts)), (calls, pulses))

    def test_a_part_that_fails_costs_its_own_events_alone(self):
        self.drive(BUTTON, False, 0.2)
        self.feeder._parts._parts[2][1]._line.close()  # the perch switch
        happened = self.feeder.poll()
        self.assertEqual(happened[0], ("press",))
        self.assertIn("the perch switch could not be read", happened[1][1])
        self.assertEqual(self.feeder.poll(), [])

    def test_a_start_that_fails_in_the_middle_leaves_the_motor_off_and_its_pin_free(self):
        self.feeder.close()
        with mock.patch("wiring.example.LoadCell", side_effect=OSError("planted")), self.assertRaisesRegex(OSError, "planted"):
            self.build()
        self.assertFalse(self.pins.pin(MOTOR).state)
        self.opened(self.build())  # no pin is still taken

    def test_closes_all_parts_although_one_fails(self):
        self.feeder.motor_on()
        with mock.patch.object(self.feeder._parts._parts[1][1], "close", side_effect=OSError("planted")):
            with self.assertRaisesRegex(OSError, "planted"):
                self.feeder.close()
        self.assertFalse(self.pins.pin(MOTOR).state)
        self.assertTrue(self.feeder._cell._data.closed)


@needs_packages
class BelowTheAgent(Built):
    """Press, portion, stall: agent.py with the example's pins."""

    def setUp(self):
        super().setUp()
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        agent.log.setLevel("CRITICAL")
        self.client = StubReportClient(self.clock)
        self.agent = agent.Feeder(Store(folder.name, self.clock), self.feeder, self.client, self.clock, "b-1")
        self.addCleanup(self.agent.stop)

    def live(self, seconds):
        """Seconds for which the motor was on."""
        on = 0.0
        for _ in range(round(seconds / 0.02)):
            self.clock.advance(0.02)
            self.loops[0].__self__.step()  # the current monitor
            self.agent.step()
            on += 0.02 if self.pins.pin(MOTOR).state else 0.0
        return on

    def press(self):
        self.drive(BUTTON, False, 0.1)
        self.drive(BUTTON, True, 0.1)

    def portion(self):
        self.live(3)
        portions = [event for event in self.client.stored.values() if event["kind"] == "portion"]
        return portions[-1]

    def test_a_press_turns_the_motor_for_one_portion(self):
        self.press()
        self.assertAlmostEqual(self.live(3), 0.9, delta=0.03)
        self.assertEqual(self.portion()["meanMilliamps"], 240.0)
        self.assertEqual(NoTimer.seconds[-1], 1.9)  # a longer portion must not be cut as if the loop hung

    def test_a_current_above_the_stall_limit_stops_the_motor(self):
        self.bus.chips[0x40].registers[1] = STALLED.to_bytes(2, "big")
        self.press()
        self.assertAlmostEqual(self.live(3), agent.INRUSH, delta=0.05)
        self.assertEqual(self.portion()["peakMilliamps"], 900.0)

    def test_a_supply_that_is_too_low_leaves_the_motor_off(self):
        self.bus.chips[0x40].registers[2] = (1_150 << 3).to_bytes(2, "big")
        self.live(0.1)
        self.press()
        self.assertEqual(self.live(3), 0.0)

    def test_an_absent_monitor_is_told_and_does_not_stop_the_portions(self):
        del self.bus.chips[0x40]
        self.live(6)
        self.press()
        self.assertAlmostEqual(self.live(3), 0.9, delta=0.03)
        texts = [event["words"] for event in self.client.stored.values() if event["kind"] == "trouble"]
        self.assertTrue(any("the current monitor: nothing measured" in text for text in texts), texts)


class Option(unittest.TestCase):
    def wired(self, *args):
        return agent.read_arguments(["--check", *args]).wired

    def test_names_a_class_of_another_file(self):
        self.assertIs(type(agent.wired_hardware("hardware:DryRun")), agent.DryRun)
        self.assertEqual(self.wired("--wired", "wiring.example:ExampleFeeder"), "wiring.example:ExampleFeeder")

    def test_is_yours_without_a_name(self):
        self.assertIsNone(self.wired())
        with self.assertRaisesRegex(agent.WiringError, "YourFeeder is not filled in"):
            agent.wired_hardware(self.wired("--wired"))

    def test_refuses_what_names_none(self):
        for name, words in (
            ("nonsense", "expected --wired MODULE:CLASS"),
            ("nowhere:X", "no file nowhere.py"),
            ("wiring.nowhere:X", "no file wiring/nowhere.py"),
            ("hardware:Nothing", "hardware.py has no class Nothing; it has: Hardware, YourFeeder, DryRun"),
        ):
            with self.assertRaisesRegex(agent.WiringError, words):
                agent.wired_hardware(name)
        with contextlib.redirect_stderr(io.StringIO()):
            self.assertEqual(agent.main(["--check", "--wired", "nowhere:X"]), 2)

    @needs_packages
    def test_starts_the_example(self):
        built = []
        with mock.patch("wiring.example.ExampleFeeder", lambda: built.append(1) or agent.DryRun()):
            with mock.patch("builtins.input", side_effect=EOFError), contextlib.redirect_stdout(io.StringIO()):
                with mock.patch("agent.Check", side_effect=EOFError):
                    self.assertEqual(agent.main(["--check", "--wired", "wiring.example:ExampleFeeder"]), 1)
        self.assertEqual(built, [1])


if __name__ == "__main__":
    unittest.main()
