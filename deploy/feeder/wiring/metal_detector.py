"""A metal detector with a digital output, and the beam of its slot where there is one (drawings/metal_detector.svg).

An inductive proximity switch runs on 6 to 36 V and is no 3.3 V part: take one with an open collector (NPN, normally open) and let it
pull the GPIO to GND, with 10 kOhm from the GPIO to 3.3 V; its supply and the board share GND, and nothing else (common practice, no
source). A PNP output would put the sensor's supply on the pin and destroy the board.
"""

import time

from .beam_sensor import BeamSensor
from .deposits import Deposits
from .line_input import LineInput

STEADY = 0.002  # seconds: a cap of 26 mm that falls at 1.4 m/s is before the coil for some 18 ms
GONE = 0.05
STUCK_AFTER = 10.0


class MetalDetector:
    """gpio: its GPIO number. slot_beam_gpio: that of a beam behind it, or None. active_low: whether it pulls its line low at metal."""

    def __init__(self, gpio, slot_beam_gpio=None, active_low=True, clock=time.monotonic):
        self._clock = clock
        self._line = LineInput(gpio, "the metal detector", STEADY, GONE, STUCK_AFTER, active_low, clock)
        self._beam = None
        if slot_beam_gpio is not None:
            self._beam = BeamSensor(slot_beam_gpio, name="the slot's beam", clock=clock)
        self._deposits = Deposits(self._beam is not None)

    def poll(self):
        now = self._clock()
        for _ in range(self._line.take()):
            self._deposits.metal(now)
        for _ in range(0 if self._beam is None else self._beam.take()):
            self._deposits.fell(now)
        troubles = self._line.troubles() + ([] if self._beam is None else self._beam.troubles())
        return self._deposits.take(now) + troubles

    def close(self):
        self._line.close()
        if self._beam is not None:
            self._beam.close()
