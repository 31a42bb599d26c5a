"""A slow measurement on a thread of its own, so that `poll` never waits for it.

The bus of a chip that hangs can block for a second, a 1-wire thermometer takes three quarters of one. The agent's loop only
looks at the newest value. A value that has become old is None: a broken sensor must not look like a steady one.
"""

import threading

from .trouble import Trouble

JOIN_WITHIN = 1.0  # seconds that the end of the program waits for a measurement under way


def in_thread(loop):
    """Starts `loop` and returns its thread. Tests pass a function that starts nothing and call `step` themselves."""
    thread = threading.Thread(target=loop, daemon=True)
    thread.start()
    return thread


class Background:
    """Calls `measure` every so many seconds. `measure` returns a value, or raises with words on what is wrong.

    name: the part in words, for the keeper. every, fresh_for: seconds. clock: seconds, never going back.
    """

    def __init__(self, name, measure, every, fresh_for, clock, start):
        self._name = name
        self._measure = measure
        self._every = every
        self._fresh_for = fresh_for
        self._clock = clock
        self._ended = threading.Event()
        self._newest = (clock(), None)  # when a measurement last succeeded (the start, before the first), and its value
        self._problem = None
        self._trouble = Trouble()
        self._thread = start(self._loop)

    def _loop(self):
        while not self._ended.is_set():
            self.step()
            self._ended.wait(self._every)

    def step(self):
        try:
            value = self._measure()
        except Exception as error:  # whatever a driver may throw: the thread must go on, and the keeper is told
            self._problem = str(error) or repr(error)
        else:
            self._newest = (self._clock(), value)
            self._problem = None

    def value(self):
        """The newest value, or None where it is older than `fresh_for`."""
        at, value = self._newest
        return value if self._clock() - at <= self._fresh_for else None

    def poll(self):
        """A trouble for the keeper where nothing was measured for `fresh_for`, at most once an hour."""
        now = self._clock()
        if now - self._newest[0] <= self._fresh_for:
            return []
        problem = self._problem or "the measurement hangs"
        return self._trouble.tell(now, f"{self._name}: nothing measured for {self._fresh_for:.0f} s: {problem}")

    def close(self):
        self._ended.set()
        if self._thread is not None:
            self._thread.join(JOIN_WITHIN)
