"""One thing that may go wrong with a part, told at most once an hour: each trouble is an event that the keeper reads."""

TELL_EVERY = 3_600.0  # seconds


class Trouble:
    def __init__(self):
        self._told_at = None

    def tell(self, now, text):
        """A list for poll(): the trouble, or nothing if it was told within the last hour."""
        if self._told_at is not None and now - self._told_at < TELL_EVERY:
            return []
        self._told_at = now
        return [("trouble", text)]
