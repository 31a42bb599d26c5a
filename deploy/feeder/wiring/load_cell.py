"""A load cell below the hopper with its amplifier HX711 (drawings/load_cell.svg).

Data sheet: HX711, Avia Semiconductor. DOUT low means that a value is ready. Each pulse on PD_SCK shifts a bit out, highest first; 24 bits,
two's complement; the 25th pulse sets channel A with gain 128 for the next one, and DOUT goes high with it. A pulse is high for 0.2 to
50 us; longer than 60 us switches the chip off, and it starts anew when PD_SCK goes low. 800000h and 7FFFFFh are the ends of the range.
Ten values a second with its RATE pin at GND. Power it from 3.3 V: from 5 V its DOUT would put 5 V on the pin.

Linux may hold the program up in the middle of a pulse. Each pulse is therefore timed, and a value with one that was too long is thrown
away. On a slow board this may be most of them.
"""

import statistics
import time
from collections import deque

from .background import Background, in_thread
from .packages import package

PULSES = 25
HIGH_MAX = 50e-6  # seconds
LOWEST, HIGHEST = -0x800000, 0x7FFFFF
READY_WITHIN = 1.0  # seconds: ten values a second, 0.4 s after a start (from memory)
LOOK_EVERY = 0.01
EVERY = 0.3
READINGS = 7  # of which the median is taken: a bird on the roof, or a gust
FRESH_FOR = 10.0


class LoadCell:
    """data, clock: GPIO numbers of DOUT and PD_SCK. tare: counts with an empty hopper. grams_per_count: see `calibration`.

    now, sleep: seconds; tests pass their own.
    """

    def __init__(self, data, clock, tare=0, grams_per_count=None, now=time.monotonic, sleep=time.sleep, start=in_thread):
        gpiozero = package("gpiozero")
        self._tare = tare
        self._grams_per_count = grams_per_count
        self._now = now
        self._sleep = sleep
        self._readings = deque(maxlen=READINGS)
        self._data = gpiozero.DigitalInputDevice(data, pull_up=True)  # a chip that is absent looks like one that is never ready
        try:
            self._clock = gpiozero.OutputDevice(clock, initial_value=False)
        except Exception:
            self._data.close()
            raise
        self._background = Background("the load cell", self.measure, EVERY, FRESH_FOR, now, start)

    def counts(self):
        """The median of the last readings as the chip counts, or None where it doesn't answer."""
        return self._background.value()

    def grams(self):
        """Without the tare, or None where the chip doesn't answer or isn't calibrated."""
        counts = self.counts()
        if counts is None or self._grams_per_count is None:
            return None
        return round((counts - self._tare) * self._grams_per_count, 1)

    def poll(self):
        return self._background.poll()

    def close(self):
        self._background.close()
        self._clock.close()
        self._data.close()

    def measure(self):
        """On the background's thread: one reading more, and the median of the last ones."""
        try:
            self._readings.append(self._read())
        except OSError:
            self._readings.clear()  # the chip may start anew: its next values are not those of before
            raise
        return statistics.median_low(self._readings)

    def _read(self):
        self._await_ready()
        word, longest = 0, 0.0
        data, clock, now = self._data.pin, self._clock.pin, self._now
        for _ in range(PULSES):
            rose = now()
            clock.state = True
            clock.state = False
            longest = max(longest, now() - rose)
            word = word << 1 | bool(data.state)  # the bit stays until the next pulse
        if longest > HIGH_MAX:
            raise OSError(f"a clock pulse took {1e6 * longest:.0f} us, more than the chip allows: the board was busy")
        if not data.state:
            raise OSError("its data line stays low after the last bit: no chip there, or a short to GND")
        counts = signed(word >> 1)  # the 25th pulse carries no bit
        if counts in (LOWEST, HIGHEST):
            raise OSError("its value is at the end of its range: overloaded, or a wire of the load cell is off")
        return counts

    def _await_ready(self):
        until = self._now() + READY_WITHIN
        while self._data.pin.state:
            if self._now() >= until:
                raise OSError("it is never ready: no chip there, no power, or a broken wire")
            self._sleep(LOOK_EVERY)


def signed(word):
    """24 bits as two's complement."""
    return word - 0x1000000 if word & 0x800000 else word


def calibration(empty_counts, loaded_counts, grams):
    """(tare, grams_per_count) from `counts()` with an empty hopper and with a known mass in it. ValueError where both are the same."""
    if loaded_counts == empty_counts:
        raise ValueError(f"expected other counts with {grams} g than without, got {loaded_counts} both times")
    return empty_counts, grams / (loaded_counts - empty_counts)
