"""The button that a bird presses: a contact between a GPIO and GND (drawings/button.svg). No resistor: the board's pull-up is on.

For wires longer than about half a metre add 1 kOhm in series at the board and 100 nF from the GPIO to GND (common practice, no source).
"""

import time

from .line_input import LineInput

STEADY = 0.02  # seconds of contact that count: contacts bounce for some milliseconds (common practice, no source)
RELEASED = 0.05
STUCK_AFTER = 60.0


class Button:
    """gpio: its GPIO number. event: what poll() says of a press; ("filled", None) makes it the keeper's "filled" button."""

    def __init__(self, gpio, event=("press",), clock=time.monotonic):
        self._event = event
        self._line = LineInput(gpio, "the button", STEADY, RELEASED, STUCK_AFTER, True, clock)

    def poll(self):
        return [self._event] * self._line.take() + self._line.troubles()

    def close(self):
        self._line.close()
