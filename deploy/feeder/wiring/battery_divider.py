"""The battery's voltage through a divider and an ADC ADS1115 (drawings/battery_divider.svg).

Data sheet: Texas Instruments SBAS444. Config register 01h: bit 15 starts a single conversion, and reads 1 when it is done; bits 14 to 12
choose the input (100b: AIN0 to GND); bits 11 to 9 the range (001b: 4.096 V, 125 uV a bit); bit 8 single-shot; bits 7 to 5 the rate
(100b: 128 a second); bits 1 to 0 (11b) leave the comparator off. Conversion register 00h: two's complement. No input may be above the
chip's supply: with 3.3 V and a divider of 100 kOhm and 22 kOhm the battery may have 18.3 V.

The fuse belongs at the battery's terminal, before the divider: its wire is as long as any other. 100 nF across the lower resistor.
"""

import time

from .background import Background, in_thread
from .i2c import I2cChip

CONVERSION, CONFIG = 0x00, 0x01
START_SINGLE = 0b1_100_001_1_100_00011  # with input 0; the input's number is added at bit 12
IS_DONE = 0x8000
VOLTS_A_BIT = 4.096 / 32_768
FULL_SCALE = 0x7FFF
CONVERTS_WITHIN = 0.01  # seconds: 1/128 s, and a tenth more for its clock
EVERY = 5.0
FRESH_FOR = 30.0


class BatteryDivider:
    """ratio: (upper + lower resistor) / lower resistor, such as (100 + 22) / 22. channel: the input AIN0 to AIN3.

    bus: see I2cChip. address: 48h with its ADDR pin at GND. sleep: tests pass their own.
    """

    def __init__(self, ratio, channel=0, bus=1, address=0x48, clock=time.monotonic, sleep=time.sleep, start=in_thread):
        if not 0 <= channel <= 3:
            raise ValueError(f"expected a channel from 0 to 3, got {channel}")
        self._ratio = ratio
        self._config = START_SINGLE | channel << 12
        self._chip = I2cChip(bus, address)
        self._sleep = sleep
        self._background = Background("the battery's voltage", self.measure, EVERY, FRESH_FOR, clock, start)

    def volts(self):
        """Between the battery's terminals, or None."""
        return self._background.value()

    def poll(self):
        return self._background.poll()

    def close(self):
        self._background.close()
        self._chip.close()

    def measure(self):
        """Volts, on the background's thread."""
        self._chip.write(CONFIG, self._config.to_bytes(2, "big"))
        self._sleep(CONVERTS_WITHIN)
        if not int.from_bytes(self._chip.read(CONFIG, 2), "big") & IS_DONE:
            raise OSError("its conversion does not end")
        value = int.from_bytes(self._chip.read(CONVERSION, 2), "big", signed=True)
        if value >= FULL_SCALE:
            raise OSError("its input is above 4.096 V: disconnect it; the lower resistor may be off")
        return round(max(0, value) * VOLTS_A_BIT * self._ratio, 3)
