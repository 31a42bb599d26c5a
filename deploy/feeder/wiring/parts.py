"""The parts of one feeder together: a part that fails costs its own events, and not those of the others."""

from .trouble import Trouble


class Parts:
    def __init__(self, clock):
        self._clock = clock
        self._parts = []  # (name, part, its trouble)

    def add(self, name, part):
        """The part. They are closed in the order in which they were added: the motor comes first."""
        self._parts.append((name, part, Trouble()))
        return part

    def poll(self):
        happened = []
        for name, part, trouble in self._parts:
            try:
                happened += part.poll()
            except Exception as error:  # whatever a driver may throw
                happened += trouble.tell(self._clock(), f"{name} could not be read: {error!r}")
        return happened

    def close(self):
        """Closes all of them, also if one fails; then raises the first error."""
        errors = []
        for _, part, _ in self._parts:
            try:
                part.close()
            except Exception as error:
                errors.append(error)
        if errors:
            raise errors[0]
