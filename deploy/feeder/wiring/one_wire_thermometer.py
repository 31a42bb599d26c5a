"""A thermometer DS18B20 on the 1-wire bus, as the Linux kernel reads it (drawings/one_wire_thermometer.svg).

Kernel documentation w1/slaves/w1_therm: each read of `w1_slave` makes a measurement (up to 750 ms with 12 bits) and returns two lines:

    72 01 4b 46 7f ff 0e 10 57 : crc=57 YES
    72 01 4b 46 7f ff 0e 10 57 t=23125

YES where the checksum is right; t in thousandths of a degree Celsius. Data sheet of the DS18B20: after power-on its register holds 85
degrees until the first measurement (from memory), so exactly 85 is a thermometer that lost its power, and not a hot day.
The bus has to be switched on in the board's settings; its pin is often GPIO 4, with 4.7 kOhm to 3.3 V.
"""

import glob
import re
import time

from .background import Background, in_thread

DEVICES = "/sys/bus/w1/devices/28-*/w1_slave"  # 28 is the family of the DS18B20
POWER_ON = 85_000
RANGE = (-55_000, 125_000)
EVERY = 10.0  # seconds
FRESH_FOR = 60.0


class OneWireThermometer:
    """device: such as "28-0123456789ab"; needed where there are several. devices: the pattern of their files, for tests."""

    def __init__(self, device=None, devices=DEVICES, clock=time.monotonic, start=in_thread):
        self._device = device
        self._devices = devices if device is None else devices.replace("28-*", device)
        self._background = Background(f"the thermometer {device or 'on the 1-wire bus'}", self.measure, EVERY, FRESH_FOR, clock, start)

    def celsius(self):
        """The newest temperature, or None."""
        return self._background.value()

    def poll(self):
        return self._background.poll()

    def close(self):
        self._background.close()

    def measure(self):
        """On the background's thread, since the kernel's file takes most of a second."""
        found = glob.glob(self._devices)
        if len(found) != 1:
            problem = "none answers" if not found else f"{len(found)} answer: say in the code which one is meant"
            raise OSError(problem)
        with open(found[0]) as file:
            return celsius_of(file.read())


def celsius_of(text):
    """Degrees Celsius from the two lines. OSError where they hold no measurement."""
    lines = text.split("\n")
    octets = lines[0].partition(":")[0].split()
    if not lines[0].rstrip().endswith("YES"):
        raise OSError("its checksum is wrong: a long or loose wire, or no pull-up")
    if all(octet == "00" for octet in octets):
        raise OSError("it sends zeros only, whose checksum is right: its data wire lies at GND")
    found = re.search(r" t=(-?\d+)", text)
    if found is None:
        raise OSError("its second line has no temperature")
    thousandths = int(found[1])
    if thousandths == POWER_ON:
        raise OSError("it has lost its power and not measured since: 85 degrees")
    if not RANGE[0] <= thousandths <= RANGE[1]:
        raise OSError(f"{thousandths / 1_000} degrees is beyond its range")
    return thousandths / 1_000
