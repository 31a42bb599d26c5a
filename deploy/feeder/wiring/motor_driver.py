"""The motor's switch: a GPIO that turns the motor while it is high (drawings/motor_driver.svg).

A logic-level MOSFET below the motor; or the enable input of an H-bridge, with its direction inputs wired to its logic supply and to GND.
10 kOhm from the control line to GND keep the motor off while the pin floats: as long as the board boots, and after this program has closed
the pin. Take a GPIO that many boards pull low at the start, not one of GPIO 0 to 8 (from memory). A flyback diode across the motor, unless
the H-bridge has its own. A fuse that a stall melts.

Off is assured four times: agent.py after each portion; `close`, also by an exception; the end of the Python program; and a timer of its
own if the loop hangs. A program that is killed (SIGKILL) can do nothing: the pin stays as it is until the service has started again,
some seconds later. Only the fuse is safe against that.
"""

import atexit
import threading
import time

from .packages import package
from .trouble import Trouble

LONGEST = 3.0  # seconds, whatever the loop does


class MotorDriver:
    """gpio: its GPIO number. longest: seconds after which it switches itself off; more than portion_seconds.

    `timer` is threading.Timer, or a test's: called as timer(seconds, function), with start() and cancel().
    """

    def __init__(self, gpio, longest=LONGEST, clock=time.monotonic, timer=threading.Timer):
        self._longest = longest
        self._clock = clock
        self._timer = timer
        self._running = None  # the timer, while the motor is on
        self._was_cut = False
        self._trouble = Trouble()
        self._line = package("gpiozero").OutputDevice(gpio, active_high=True, initial_value=False)
        atexit.register(self.close)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def on(self):
        if self._running is not None:
            return  # a second call must not prolong the first
        self._running = self._timer(self._longest, self._cut)
        self._running.daemon = True  # or the end of the program would wait for it, with the motor on
        self._running.start()  # before the motor: if it fails, the motor stays off
        self._line.on()

    def off(self):
        """Safe at any time, also after `close`."""
        if self._line.closed:
            return
        self._line.off()
        if self._running is not None:
            self._running.cancel()
            self._running = None

    def poll(self):
        was_cut, self._was_cut = self._was_cut, False
        text = f"the motor was on for {self._longest:.1f} s and switched itself off: the program was held up"
        return self._trouble.tell(self._clock(), text) if was_cut else []

    def close(self):
        self.off()
        self._line.close()
        atexit.unregister(self.close)

    def _cut(self):
        """On the timer's thread, while the loop hangs."""
        if not self._line.closed:
            self._line.off()
            self._was_cut = True
