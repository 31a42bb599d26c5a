"""A metal detector on a serial line that writes a strength a line, 0 (nothing) to 1 (full scale), such as "0.82" and a line feed.

Some twenty lines a second or more, always, also while there is nothing: then a detector that has died is noticed. Only its transmit
line goes to the board's receive line, at 3.3 V; from a 5 V detector through a divider (drawings/serial_metal_detector.svg).
The system's console must not use the same line. After a USB adapter was unplugged the program has to be started again.
"""

import time

from .beam_sensor import BeamSensor
from .deposits import Deposits
from .packages import package
from .trouble import Trouble

SILENT_AFTER = 5.0  # seconds
STUCK_AFTER = 10.0
UNREADABLE_MAX = 10  # lines in a row: another speed, or noise
LINE_MAX = 64  # octets
READ_MAX = 1_024  # octets a look: at 9600 baud some 20 come between two looks


class SerialMetalDetector:
    """port: such as "/dev/serial0". threshold: the strength from which it is metal. slot_beam_gpio: that of a beam behind it, or None."""

    def __init__(self, port, baud=9_600, threshold=0.3, slot_beam_gpio=None, clock=time.monotonic):
        self._name = f"the metal detector ({port})"
        self._threshold = threshold
        self._clock = clock
        self._port = package("serial").Serial(port, baud, timeout=0)  # 0: a read returns what is there, and never waits
        self._received = b""
        self._heard_at = clock()
        self._unreadable = 0
        self._peak, self._peak_since = None, None  # while something passes: the highest strength, and since when
        self._silent, self._garbled, self._stuck = Trouble(), Trouble(), Trouble()
        self._beam = None
        if slot_beam_gpio is not None:
            self._beam = BeamSensor(slot_beam_gpio, name="the slot's beam", clock=clock)
        self._deposits = Deposits(self._beam is not None)

    def poll(self):
        now = self._clock()
        for line in self._lines():
            self._take_line(line, now)
        for _ in range(0 if self._beam is None else self._beam.take()):
            self._deposits.fell(now)
        return self._deposits.take(now) + self._troubles(now) + ([] if self._beam is None else self._beam.troubles())

    def close(self):
        self._port.close()
        if self._beam is not None:
            self._beam.close()

    def _lines(self):
        self._received += self._port.read(READ_MAX)
        *lines, rest = self._received.split(b"\n")
        self._received = rest[-LINE_MAX:]  # no line is that long: its end alone can't be read, and counts as unreadable
        return lines

    def _take_line(self, line, now):
        strength = strength_of(line)
        if strength is None:
            self._unreadable += 1
            return
        self._unreadable = 0
        self._heard_at = now
        if strength >= self._threshold:
            self._peak_since = now if self._peak is None else self._peak_since
            self._peak = strength if self._peak is None else max(strength, self._peak)
        elif self._peak is not None and strength < self._threshold / 2:  # so that noise at the threshold is not two caps
            self._deposits.metal(now, self._peak)
            self._peak = None

    def _troubles(self, now):
        if now - self._heard_at > SILENT_AFTER:
            self._peak = None  # what passed then is not known
            if self._unreadable < UNREADABLE_MAX:
                return self._silent.tell(now, f"{self._name} has sent nothing for {SILENT_AFTER:.0f} s")
        if self._unreadable >= UNREADABLE_MAX:
            return self._garbled.tell(now, f"{self._name} sends what is no strength from 0 to 1: is the speed of the line right?")
        if self._peak is not None and now - self._peak_since > STUCK_AFTER:
            return self._stuck.tell(now, f"{self._name} has sensed metal for {STUCK_AFTER:.0f} s: does something lie in it?")
        return []


def strength_of(line):
    """0 to 1, or None where the line is anything else."""
    try:
        strength = float(line.strip())
    except ValueError:
        return None
    return strength if 0 <= strength <= 1 else None
