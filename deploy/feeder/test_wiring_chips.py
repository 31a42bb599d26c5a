"""What measures: load cell, current monitor, thermometers, battery. Each guard with its fault: absent, hanging, wrong checksum, 85 degrees."""

import tempfile
import threading
import unittest
from pathlib import Path

from wiring.background import Background, in_thread
from wiring.battery_divider import BatteryDivider
from wiring.calibrate import calibrate
from wiring.current_monitor import CurrentMonitor
from wiring.i2c_thermometer import I2cThermometer, crc8
from wiring.load_cell import LoadCell, calibration, signed
from wiring.one_wire_thermometer import OneWireThermometer, celsius_of
from wiring_bench import Amplifier, Bus, Chip, Clock, Pins, needs_packages, no_thread

DATA, CLOCK = 5, 6
MEASURED = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"


class InTheBackground(unittest.TestCase):
    def setUp(self):
        self.clock = Clock()
        self.results = []
        self.background = Background("the scale", self.measure, 1.0, 10.0, self.clock, no_thread)

    def measure(self):
        result = self.results.pop(0)
        if isinstance(result, Exception):
            raise result
        return result

    def step(self, result, seconds=0.0):
        self.results.append(result)
        self.background.step()
        self.clock.advance(seconds)

    def test_an_old_value_is_none_and_its_problem_is_told_once_an_hour(self):
        self.step(7, 5)
        self.step(OSError("no answer"))
        self.assertEqual((self.background.value(), self.background.poll()), (7, []))
        self.clock.advance(6)
        self.assertIsNone(self.background.value())
        self.assertEqual(self.background.poll(), [("trouble", "the scale: nothing measured for 10 s: no answer")])
        self.clock.advance(3_000)
        self.assertEqual(self.background.poll(), [])
        self.step(8)
        self.assertEqual((self.background.value(), self.background.poll()), (8, []))

    def test_a_measurement_that_hangs_is_told_too(self):
        self.clock.advance(11)
        self.assertEqual(self.background.poll(), [("trouble", "the scale: nothing measured for 10 s: the measurement hangs")])

    def test_runs_on_a_thread_of_its_own_until_it_is_closed(self):
        threads, measured = [], threading.Event()

        def measure():
            threads.append(threading.current_thread())
            measured.set()

        background = Background("x", measure, 1.0, 10.0, self.clock, in_thread)
        self.assertTrue(measured.wait(10))
        background.close()
        self.assertIsNot(threads[0], threading.current_thread())
        self.assertFalse(threads[0].is_alive())


class Bench(Pins):
    def scale(self, values, pulse_seconds=1e-6, **settings):
        self.amplifier = Amplifier(self, DATA, CLOCK, values, pulse_seconds)
        cell = LoadCell(DATA, CLOCK, now=self.clock, sleep=self.amplifier.sleep, start=no_thread, **settings)
        return self.opened(cell)


@needs_packages
class Scale(Bench):
    def refusal(self, cell):
        with self.assertRaises(OSError) as refused:
            cell.measure()
        return str(refused.exception)

    def test_reads_24_bits_with_25_pulses(self):
        cell = self.scale([0x012345, 0xFFFFFE])
        self.assertEqual(cell._read(), 0x012345)
        self.assertEqual(cell._read(), -2)
        self.assertEqual(self.amplifier.bursts, [25, 25])
        self.assertFalse(self.pins.pin(CLOCK).state)  # high would switch the chip off

    def test_takes_words_as_twos_complement(self):
        self.assertEqual([signed(word) for word in (0, 1, 0x7FFFFF, 0x800000, 0xFFFFFF)], [0, 1, 8_388_607, -8_388_608, -1])

    def test_weighs_with_the_median_so_that_a_gust_counts_little(self):
        tare, grams_per_count = calibration(1_000, 401_000, 1_000)
        cell = self.scale([201_000, 201_400, 200_600, 201_200, 4_000_000], tare=tare, grams_per_count=grams_per_count)
        for _ in range(5):
            cell._background.step()
        self.assertEqual(cell.counts(), 201_200)
        self.assertEqual(cell.grams(), 500.5)
        self.clock.advance(11)
        self.assertIsNone(cell.grams())

    def test_weighs_nothing_without_a_calibration(self):
        cell = self.scale([5])
        cell._background.step()
        self.assertEqual((cell.counts(), cell.grams()), (5, None))
        with self.assertRaisesRegex(ValueError, "got 7 both times"):
            calibration(7, 7, 500)

    def test_that_is_never_ready_is_given_up_after_a_second(self):
        cell = self.scale([])
        begin = self.clock()
        self.assertIn("never ready", self.refusal(cell))
        self.assertAlmostEqual(self.clock() - begin, 1.0, delta=0.02)
        self.assertEqual(self.amplifier.pulses, 0)

    def test_whose_data_line_lies_at_gnd_weighs_nothing(self):
        cell = self.scale([0x10])
        self.amplifier.pulse = lambda: None
        self.pins.pin(DATA).drive_low()
        self.assertIn("stays low", self.refusal(cell))

    def test_throws_a_reading_with_a_long_pulse_away_and_those_before(self):
        cell = self.scale([9, 10, 11])
        self.assertEqual(cell.measure(), 9)
        self.amplifier.pulse_seconds = 51e-6
        self.assertIn("a clock pulse took 51 us", self.refusal(cell))
        self.amplifier.pulse_seconds = 49e-6
        self.assertEqual(cell.measure(), 11)

    def test_refuses_the_ends_of_its_range(self):
        cell = self.scale([0x800000, 0x7FFFFF])
        self.assertIn("end of its range", self.refusal(cell))
        self.assertIn("end of its range", self.refusal(cell))


@needs_packages
class Calibrating(Bench):
    def walk(self, values, typed):
        cell = self.scale(values)
        self.said, self.typed = [], ["", typed]

        def sleep(seconds):
            for _ in range(7):
                cell._background.step()
            self.clock.advance(seconds)

        return calibrate(cell, self.said.append, lambda _: self.typed.pop(0), sleep)

    def test_says_the_two_numbers(self):
        self.assertTrue(self.walk([84_000] * 7 + [484_000] * 7, "960"))
        self.assertEqual(self.said, ["TARE, GRAMS_PER_COUNT = 84000, 0.0024"])

    def test_refuses_what_is_no_mass_and_a_cell_that_feels_none(self):
        values = [84_000] * 7 + [484_000] * 7
        for counts, typed, problem in (
            (values, "a bottle", "could not convert"),
            (values, "nan", "at least 50 g, got 'nan'"),
            (values, "-960", "at least 50 g"),
            ([84_000] * 14, "960", "got 84000 both times"),
            ([], "960", "never ready"),
        ):
            self.assertFalse(self.walk(list(counts), typed))
            self.assertIn(problem, self.said[-1])
            self.doCleanups()
            self.setUp()


@needs_packages
class OnTheBus(Pins):
    def setUp(self):
        super().setUp()
        self.bus = Bus().patched(self)

    # --- current ---

    def monitor(self, shunt, bus_volts):
        self.bus.chips[0x40] = Chip({1: shunt.to_bytes(2, "big", signed=True), 2: bus_volts.to_bytes(2, "big")})

    def test_current_and_voltage_by_the_data_sheets_bits(self):
        current = self.opened(CurrentMonitor(clock=self.clock, start=no_thread))
        self.monitor(2_400, 0x2728)  # 24 mV over 0.1 Ohm; 0x2728 >> 3 is 1253
        current._background.step()
        self.assertEqual((current.milliamps(), current.volts()), (240.0, 5.012))
        self.clock.advance(0.06)
        self.assertIsNone(current.milliamps())  # an old current says nothing of the motor now

    def test_current_through_a_monitor_the_wrong_way_round_still_counts(self):
        current = self.opened(CurrentMonitor(clock=self.clock, start=no_thread))
        self.monitor(-9_000, 0x2728)
        current._background.step()
        self.assertEqual(current.milliamps(), 900.0)

    def test_a_sag_between_two_looks_is_the_lowest_voltage_once(self):
        current = self.opened(CurrentMonitor(clock=self.clock, start=no_thread))
        for volts in (1_250, 1_100, 1_250):
            self.monitor(0, volts << 3)
            current._background.step()
        self.assertEqual(current.lowest_volts(), 4.4)
        self.assertIsNone(current.lowest_volts())

    def test_absent_chips_are_named_and_asked_again(self):
        quiet = {"clock": self.clock, "start": no_thread}
        parts = [CurrentMonitor(**quiet), I2cThermometer(**quiet), BatteryDivider(5.5, **quiet)]
        for part, address in zip(parts, ("0x40", "0x44", "0x48")):
            self.opened(part)
            part._background.step()
            self.clock.advance(100)
            self.assertIn(f"no answer at address {address} of I2C bus 1", part.poll()[0][1])
        self.assertIsNone(parts[0].milliamps())
        self.monitor(100, 8)
        opened = self.bus.opened
        parts[0]._background.step()
        self.assertEqual(parts[0].milliamps(), 10.0)
        self.assertEqual(self.bus.opened, opened + 1)  # anew, should the adapter have been plugged out and in

    def test_a_bus_that_is_not_there_does_not_stop_the_start(self):
        current = self.opened(CurrentMonitor(bus=7, clock=self.clock, start=no_thread))
        with self.assertRaisesRegex(OSError, "I2C bus 7"):
            current.measure()

    # --- thermometer ---

    def test_checksum_by_the_data_sheets_own_value(self):
        self.assertEqual(crc8(b"\xbe\xef"), 0x92)

    def thermometer(self, answer):
        self.slept = []
        self.bus.chips[0x44] = Chip(answer=answer)
        return self.opened(I2cThermometer(clock=self.clock, sleep=self.slept.append, start=no_thread))

    def test_temperature_and_humidity(self):
        raw = [b"\x66\x66", b"\x80\x00"]  # 26214 / 65535 is 0.4: 25 degrees
        air = self.thermometer(b"".join(word + bytes([crc8(word)]) for word in raw))
        air._background.step()
        self.assertEqual((air.celsius(), air.humidity_percent()), (25.0, 50.0))
        self.assertEqual(self.bus.chips[0x44].written, [(0x24, (0x00,))])
        self.assertEqual(self.slept, [0.02])

    def test_a_wrong_checksum_of_either_is_no_temperature(self):
        good, bad = b"\xbe\xef\x92", b"\xbe\xee\x92"
        for answer in (good + bad, bad + good, b"\xff" * 6, b"\x00" * 6):
            air = self.thermometer(answer)
            with self.assertRaisesRegex(OSError, "checksum"):
                air.measure()
        self.thermometer(good + good).measure()

    # --- battery ---

    def battery(self, value, config=0xC383, channel=0):
        self.bus.chips[0x48] = Chip({0: value.to_bytes(2, "big", signed=True), 1: config.to_bytes(2, "big")})
        ratio = (100 + 22) / 22
        quiet = {"clock": self.clock, "sleep": lambda _: None, "start": no_thread}
        return self.opened(BatteryDivider(ratio, channel, **quiet))

    def test_battery_by_the_data_sheets_bits(self):
        battery = self.battery(18_464)  # 2.308 V on the input
        battery._background.step()
        self.assertAlmostEqual(battery.volts(), 12.799, delta=0.001)
        self.assertEqual(self.bus.chips[0x48].written, [(1, (0xC3, 0x83))])
        self.battery(0, channel=3).measure()
        self.assertEqual(self.bus.chips[0x48].written, [(1, (0xF3, 0x83))])

    def test_battery_near_zero_is_never_negative_and_above_the_range_is_refused(self):
        self.assertEqual(self.battery(-3).measure(), 0.0)
        with self.assertRaisesRegex(OSError, "above 4.096 V"):
            self.battery(0x7FFF).measure()

    def test_battery_whose_conversion_does_not_end_is_refused(self):
        with self.assertRaisesRegex(OSError, "does not end"):
            self.battery(1_000, config=0x4383).measure()

    def test_battery_on_an_input_that_is_not_there_is_refused(self):
        with self.assertRaisesRegex(ValueError, "from 0 to 3, got 4"):
            BatteryDivider(5.5, channel=4)


class OneWire(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)
        self.clock = Clock()

    def thermometer(self, device=None):
        return OneWireThermometer(device, str(self.folder / "28-*" / "w1_slave"), self.clock, no_thread)

    def plug(self, device, text=MEASURED):
        (self.folder / device).mkdir(exist_ok=True)
        (self.folder / device / "w1_slave").write_text(text)

    def test_reads_what_the_kernel_writes(self):
        self.plug("28-a")
        lid = self.thermometer()
        lid._background.step()
        self.assertEqual(lid.celsius(), 23.125)
        self.assertEqual(celsius_of(MEASURED.replace("t=23125", "t=-10125")), -10.125)

    def test_refuses_what_is_no_measurement(self):
        zeros = " ".join(["00"] * 9)
        for text, problem in (
            (MEASURED.replace("YES", "NO"), "checksum"),
            (MEASURED.replace("t=23125", "t=85000"), "lost its power"),
            (f"{zeros} : crc=00 YES\n{zeros} t=0\n", "zeros only"),
            (MEASURED.replace("t=23125", "t=127937"), "beyond its range"),
            (MEASURED.partition("\n")[0], "no temperature"),
            ("", "checksum"),
        ):
            with self.assertRaisesRegex(OSError, problem):
                celsius_of(text)
        self.assertEqual(celsius_of(MEASURED.replace("t=23125", "t=84937")), 84.937)

    def test_names_that_none_or_several_answer(self):
        with self.assertRaisesRegex(OSError, "none answers"):
            self.thermometer().measure()
        self.plug("28-a")
        self.plug("28-b", MEASURED.replace("t=23125", "t=1000"))
        with self.assertRaisesRegex(OSError, "2 answer"):
            self.thermometer().measure()
        self.assertEqual(self.thermometer("28-b").measure(), 1.0)


if __name__ == "__main__":
    unittest.main()
