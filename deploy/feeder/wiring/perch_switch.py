"""A contact below the perch that a bird's weight closes, between a GPIO and GND (drawings/perch_switch.svg)."""

import time

from .line_input import LineInput

LANDED = 0.1  # seconds of contact that count as a landing: wind and rain only shake it
LEFT = 1.0  # a bird that hops on the perch is one visit
STUCK_AFTER = 1_800.0  # half an hour: birds do rest, ice does not leave


class PerchSwitch:
    """gpio: its GPIO number. It senses a bird, not which: two birds one after the other within a second are one visit."""

    def __init__(self, gpio, clock=time.monotonic):
        self._line = LineInput(gpio, "the perch switch", LANDED, LEFT, STUCK_AFTER, True, clock)

    def poll(self):
        return [("perch",)] * self._line.take() + self._line.troubles()

    def close(self):
        self._line.close()
