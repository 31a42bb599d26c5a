"""Counts what happened from the edges of a line whose contacts bounce. Pure: times (seconds) are handed in."""


class Debounce:
    """Counts one each time the line has been active for `on_after` seconds without a break.

    It counts again only after the line has been inactive for `off_after` seconds without a break. A line that is active from
    the start counts only after it was released once: else a stuck button would be a press at each start.
    """

    def __init__(self, on_after, off_after, now, active):
        self._on_after = on_after
        self._off_after = off_after
        self._active = active
        self._since = now
        self._is_counted = active
        self._count = 0

    def edge(self, at, active):
        """The line became active or inactive. Edges come in order of time."""
        self._settle(at)
        if active != self._active:
            self._active, self._since = active, max(at, self._since)

    def take(self, now):
        """How many were counted since the last call."""
        self._settle(now)
        count, self._count = self._count, 0
        return count

    def active_for(self, now):
        """Seconds for which the line has been active without a break; 0 where it isn't."""
        return now - self._since if self._active else 0.0

    def _settle(self, now):
        held = now - self._since
        if self._active and not self._is_counted and held >= self._on_after:
            self._is_counted = True
            self._count += 1
        elif not self._active and self._is_counted and held >= self._off_after:
            self._is_counted = False
