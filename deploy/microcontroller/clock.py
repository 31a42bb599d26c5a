"""Time on a board without a clock: milliseconds since the start, and the server's time, in whole numbers.

Whole numbers alone: most boards have floats of single precision, which at today's seconds since 1970 are only exact to two minutes.
"""


class Uptime:
    """Milliseconds since the start that only grow. The board's counter wraps around after some days (2**30 ms on most ports), so
    `ms` has to be called at least every six days; the loop does it some hundred times a second."""

    def __init__(self, ticks_ms, ticks_diff):
        self._ticks_ms, self._ticks_diff = ticks_ms, ticks_diff
        self._last, self._sum = ticks_ms(), 0

    def ms(self):
        now = self._ticks_ms()
        self._sum += max(0, self._ticks_diff(now, self._last))
        self._last = now
        return self._sum


def seconds_of(text):
    """Whole seconds since 1970 of a UTC time such as 2026-01-15T09:00:00.000Z. Raises ValueError.

    The days are counted by the rules of the Gregorian calendar: the epoch of the board's own `time` differs from port to port.
    """
    if not isinstance(text, str) or len(text) < 20 or text[4] + text[7] + text[10] + text[13] + text[16] != "--T::" or text[-1] != "Z":
        raise ValueError("expected a time in UTC, got %r" % (text,))
    year, month, day = int(text[:4]), int(text[5:7]), int(text[8:10])
    hour, minute, second = int(text[11:13]), int(text[14:16]), int(text[17:19])
    if not (1970 <= year <= 2200 and 1 <= month <= 12 and 1 <= day <= 31 and hour < 24 and minute < 60 and second <= 60):
        raise ValueError("expected a time in UTC, got %r" % (text,))
    before = year if month > 2 else year - 1  # a year from March on: the leap day is its last
    days = 365 * before + before // 4 - before // 100 + before // 400 + (153 * ((month + 9) % 12) + 2) // 5 + day - 719_469
    return ((days * 24 + hour) * 60 + minute) * 60 + second
