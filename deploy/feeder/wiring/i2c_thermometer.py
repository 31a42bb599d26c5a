"""A thermometer and hygrometer SHT31 on the I2C bus (drawings/i2c_thermometer.svg).

Data sheet: Sensirion SHT3x-DIS. Command 2400h measures once with high repeatability, without holding the clock, in at most 15 ms (from
memory). Then six octets: temperature, its checksum, humidity, its checksum. Checksum: CRC-8, polynomial 31h, begins with FFh; BEEFh
gives 92h. Celsius = -45 + 175 * raw / (2^16 - 1), percent = 100 * raw / (2^16 - 1).
Its opening needs air and no water: below the roof, in the shade.
"""

import time

from .background import Background, in_thread
from .i2c import I2cChip

MEASURE_ONCE = (0x24, 0x00)
MEASURES_WITHIN = 0.02  # seconds
EVERY = 10.0
FRESH_FOR = 60.0


class I2cThermometer:
    """bus: see I2cChip. address: 44h with its ADDR pin at GND, 45h at 3.3 V. sleep: tests pass their own."""

    def __init__(self, bus=1, address=0x44, clock=time.monotonic, sleep=time.sleep, start=in_thread):
        self._chip = I2cChip(bus, address)
        self._sleep = sleep
        self._background = Background("the thermometer on the I2C bus", self.measure, EVERY, FRESH_FOR, clock, start)

    def celsius(self):
        """The newest temperature, or None."""
        newest = self._background.value()
        return None if newest is None else newest[0]

    def humidity_percent(self):
        """The newest relative humidity, or None."""
        newest = self._background.value()
        return None if newest is None else newest[1]

    def poll(self):
        return self._background.poll()

    def close(self):
        self._background.close()
        self._chip.close()

    def measure(self):
        """(Celsius, percent), on the background's thread."""
        self._chip.write(MEASURE_ONCE[0], MEASURE_ONCE[1:])
        self._sleep(MEASURES_WITHIN)
        octets = self._chip.receive(6)
        temperature, humidity = checked_word(octets[:3]), checked_word(octets[3:])
        return round(-45 + 175 * temperature / 0xFFFF, 2), round(100 * humidity / 0xFFFF, 1)


def checked_word(octets):
    """16 bits, or OSError where the third octet is not their checksum."""
    if crc8(octets[:2]) != octets[2]:
        raise OSError("its checksum is wrong: a long or loose wire")
    return int.from_bytes(octets[:2], "big")


def crc8(octets):
    crc = 0xFF
    for octet in octets:
        crc ^= octet
        for _ in range(8):
            crc = (crc << 1 ^ 0x31 if crc & 0x80 else crc << 1) & 0xFF
    return crc
