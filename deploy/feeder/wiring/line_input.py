"""A digital line into the board: what happened on it, without bounces, and whether it is stuck.

Edges come by interrupt, from a thread of the pin library, so that a piece of food that takes 5 ms to fall past is seen although
the agent looks only each 20 ms. When an edge happened is known to about a millisecond, by the time at which Python gets it.
3.3 V at most: a higher voltage destroys the pin. The board's own pull-up is on, so a broken wire reads as high.
"""

from collections import deque

from .debounce import Debounce
from .packages import package
from .trouble import Trouble

EDGES_MAX = 1_000  # that wait for the next look: a line that chatters must not fill the memory


class LineInput:
    """gpio: the pin's GPIO number. on_after, off_after: see Debounce. stuck_after: seconds. active_low: active at GND, else at 3.3 V.

    name: the part in words. clock: seconds, never going back.
    """

    def __init__(self, gpio, name, on_after, off_after, stuck_after, active_low, clock):
        self._name = f"{name} (GPIO {gpio})"
        self._stuck_after = stuck_after
        self._active_low = active_low
        self._clock = clock
        self._edges = deque(maxlen=EDGES_MAX)
        self._trouble = Trouble()
        self._line = package("gpiozero").DigitalInputDevice(gpio, pull_up=True)  # with a pull-up its "active" means low
        self._debounce = Debounce(on_after, off_after, clock(), self._is_active())
        self._line.when_activated = lambda: self._edges.append((clock(), active_low))
        self._line.when_deactivated = lambda: self._edges.append((clock(), not active_low))

    def take(self):
        """How many presses, landings or pieces since the last call."""
        while self._edges:
            self._debounce.edge(*self._edges.popleft())
        now = self._clock()
        self._debounce.edge(now, self._is_active())  # should an interrupt have been missed
        return self._debounce.take(now)

    def troubles(self):
        now = self._clock()
        held = self._debounce.active_for(now)
        if held < self._stuck_after:
            return []
        return self._trouble.tell(now, f"{self._name} has been active for {held:.0f} s: stuck, covered, or a broken wire")

    def close(self):
        self._line.close()

    def _is_active(self):
        return bool(self._line.is_active) == self._active_low
