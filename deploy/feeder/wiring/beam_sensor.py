"""A light beam across the chute that counts pieces of food (drawings/beam_sensor.svg).

An infrared LED on one side; on the other a phototransistor with its emitter at GND and its collector at the GPIO. In the light it
pulls the line low; a piece in the beam, a dead LED and a broken wire let it go high, so a beam that fails tells the keeper.
"""

import time

from .line_input import LineInput

BROKEN = 0.001  # seconds: a piece of 5 mm that has fallen 10 cm takes 3.6 ms (v = sqrt(2 g h) = 1.4 m/s)
CLEAR = 0.002
BLOCKED_AFTER = 10.0


class BeamSensor:
    """gpio: its GPIO number. blocked_low: True for a sensor that pulls its line low while the beam is blocked.

    Counts a piece each time the beam was broken for a millisecond. Pieces closer than two milliseconds are one.
    """

    def __init__(self, gpio, blocked_low=False, name="the chute's beam", clock=time.monotonic):
        self._line = LineInput(gpio, name, BROKEN, CLEAR, BLOCKED_AFTER, blocked_low, clock)

    def take(self):
        """How many pieces since the last call."""
        return self._line.take()

    def troubles(self):
        return self._line.troubles()

    def poll(self):
        return [("piece",)] * self.take() + self.troubles()

    def close(self):
        self._line.close()
