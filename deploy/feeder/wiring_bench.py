"""For the tests of the wiring: simulated pins, an I2C bus with chips on it, a serial line, and a clock that the test moves."""

import importlib.util
import unittest
from unittest import mock

from wiring.packages import DEBIAN_PACKAGES

MISSING = [debian for name, debian in DEBIAN_PACKAGES.items() if importlib.util.find_spec(name) is None]
needs_packages = unittest.skipIf(MISSING, f"not installed for this Python: {', '.join(MISSING)}")


class Clock:
    def __init__(self):
        self.now = 1_000.0

    def __call__(self):
        return self.now

    def advance(self, seconds):
        self.now += seconds


class Pins(unittest.TestCase):
    """Simulated pins of gpiozero, and a clock."""

    def setUp(self):
        from gpiozero import Device
        from gpiozero.pins.mock import MockFactory

        self.clock = Clock()
        self.pins = MockFactory()
        before, Device.pin_factory = Device.pin_factory, self.pins
        self.addCleanup(setattr, Device, "pin_factory", before)
        self.addCleanup(self.pins.reset)

    def opened(self, part):
        self.addCleanup(part.close)
        return part

    def drive(self, gpio, high, seconds=0.0):
        """Sets an input, then lets so many seconds pass."""
        pin = self.pins.pin(gpio)
        (pin.drive_high if high else pin.drive_low)()
        self.clock.advance(seconds)


class Bus:
    """Stands in for smbus2.SMBus: chips by their address. An absent one is refused as the kernel refuses it."""

    def __init__(self):
        self.chips = {}
        self.calls = 0
        self.opened = 0

    def patched(self, test):
        patch = mock.patch("smbus2.SMBus", self._open)
        patch.start()
        test.addCleanup(patch.stop)
        return self

    def read_i2c_block_data(self, address, register, length):
        return list(self._chip(address).registers[register][:length])

    def write_i2c_block_data(self, address, first, rest):
        self._chip(address).written.append((first, tuple(rest)))

    def i2c_rdwr(self, message):
        for place, octet in enumerate(self._chip(message.addr).answer):
            message.buf[place] = bytes([octet])

    def close(self):
        pass

    def _open(self, number):
        self.opened += 1
        if number != 1:
            raise FileNotFoundError(2, "No such file or directory", f"i2c-{number}")
        return self

    def _chip(self, address):
        self.calls += 1
        if address not in self.chips:
            raise OSError(121, "Remote I/O error")
        return self.chips[address]


class Chip:
    def __init__(self, registers=None, answer=b""):
        self.registers = registers or {}
        self.answer = answer
        self.written = []


class SerialLine:
    """Stands in for serial.Serial: `arrived` is what the other side has sent."""

    def __init__(self, port, baud, timeout):
        self.settings = (port, baud, timeout)
        self.arrived = b""
        self.is_open = True

    def read(self, most):
        part, self.arrived = self.arrived[:most], self.arrived[most:]
        return part

    def close(self):
        self.is_open = False


class Amplifier:
    """An HX711 by its data sheet, on simulated pins: `values` are its next conversions, as 24-bit words."""

    def __init__(self, test, data, clock, values, pulse_seconds=1e-6):
        from gpiozero.pins.mock import MockPin

        amplifier = self

        class ClockPin(MockPin):
            def _set_state(self, value):
                was = self._state
                super()._set_state(value)
                if value and not was:
                    amplifier.pulse()

        self.values = values
        self.pulse_seconds = pulse_seconds
        self.pulses = 0
        self.bursts = []  # pulses of each reading
        self.test = test
        self.data = test.pins.pin(data)
        test.pins.pin(clock, pin_class=ClockPin)

    def sleep(self, seconds):
        """Time in which the next conversion ends."""
        self.test.clock.advance(seconds)
        if self.values and self.pulses == 0:
            self.data.drive_low()

    def pulse(self):
        self.test.clock.advance(self.pulse_seconds)
        self.pulses += 1
        if self.pulses <= 24:
            bit = self.values[0] >> (24 - self.pulses) & 1
            (self.data.drive_high if bit else self.data.drive_low)()
        else:
            self.data.drive_high()
            self.values.pop(0)
            self.bursts.append(self.pulses)
            self.pulses = 0


def no_thread(_):
    """For `start`: the test calls `measure` or `step` itself."""
