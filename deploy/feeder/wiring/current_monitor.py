"""A current monitor INA219 in the supply of the motor: its current, and the voltage behind it (drawings/current_monitor.svg).

Data sheet: Texas Instruments SBOS448. Shunt voltage register 01h: two's complement, 10 uV a bit. Bus voltage register 02h: bits 15 to 3,
4 mV a bit. Both work after power-on without programming ("Simple Current Shunt Monitor Usage"): 12 bits, each 532 us (from memory),
up to 320 mV over the shunt, which is 3.2 A with 0.1 Ohm. The bus voltage is at most 26 V.
"""

import time
from collections import deque

from .background import Background, in_thread
from .i2c import I2cChip

SHUNT_VOLTAGE, BUS_VOLTAGE = 0x01, 0x02
VOLTS_A_SHUNT_BIT, VOLTS_A_BUS_BIT = 10e-6, 4e-3
EVERY = 0.01  # seconds: a sag of the supply lasts a tenth of a second
MEAN_OVER = 0.05  # seconds: one value is noise of the motor's brushes
FRESH_FOR = 5.0
LOWEST_OVER = 10.0  # seconds that the lowest voltage looks back at most


class CurrentMonitor:
    """bus, address: see I2cChip. shunt_ohms: the resistor on the monitor's own board."""

    def __init__(self, bus=1, address=0x40, shunt_ohms=0.1, clock=time.monotonic, start=in_thread):
        self._chip = I2cChip(bus, address)
        self._shunt_ohms = shunt_ohms
        self._clock = clock
        self._currents = deque(maxlen=round(2 * MEAN_OVER / EVERY))  # (seconds, milliamperes)
        self._volts = deque(maxlen=round(LOWEST_OVER / EVERY))  # (seconds, volts) since they were last taken
        self._background = Background("the current monitor", self.measure, EVERY, FRESH_FOR, clock, start)

    def measure(self):
        """On the background's thread."""
        shunt = VOLTS_A_SHUNT_BIT * int.from_bytes(self._chip.read(SHUNT_VOLTAGE, 2), "big", signed=True)
        volts = round(VOLTS_A_BUS_BIT * (int.from_bytes(self._chip.read(BUS_VOLTAGE, 2), "big") >> 3), 3)
        now = self._clock()
        self._currents.append((now, 1_000 * shunt / self._shunt_ohms))
        self._volts.append((now, volts))
        return volts

    def milliamps(self):
        """The mean of the last 50 ms, or None without a value. Never negative: IN+ and IN- may be the wrong way round."""
        now = self._clock()
        fresh = [current for at, current in list(self._currents) if now - at <= MEAN_OVER]
        return round(abs(sum(fresh) / len(fresh)), 1) if fresh else None

    def volts(self):
        """The newest voltage, or None."""
        return self._background.value()

    def lowest_volts(self):
        """The lowest voltage since the last call, of the last ten seconds at most; None without a value."""
        now, lowest = self._clock(), None
        while self._volts:
            at, volts = self._volts.popleft()
            if now - at <= LOWEST_OVER:
                lowest = volts if lowest is None else min(volts, lowest)
        return lowest

    def poll(self):
        return self._background.poll()

    def close(self):
        self._background.close()
        self._chip.close()
