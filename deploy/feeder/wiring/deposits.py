"""Joins what metal detector and beam of the litter slot sense of one thing that falls. Pure: times (seconds) are handed in."""

WITHIN = 0.5  # seconds between the two, whichever comes first


class Deposits:
    """has_beam: whether the slot has a beam. Without one each metal is a deposit at once, and what isn't metal is not seen."""

    def __init__(self, has_beam):
        self._has_beam = has_beam
        self._metals = []  # (seconds, strength or None) that wait for the beam
        self._falls = []  # seconds
        self._caps = []

    def metal(self, at, strength=None):
        if not self._has_beam:
            self._caps.append(("cap", strength, True, None))
        elif self._falls and at - self._falls[0] <= WITHIN:
            self._falls.pop(0)
            self._caps.append(("cap", strength, True, True))
        else:
            self._metals.append((at, strength))

    def fell(self, at):
        if self._metals and at - self._metals[0][0] <= WITHIN:
            self._caps.append(("cap", self._metals.pop(0)[1], True, True))
        else:
            self._falls.append(at)

    def take(self, now):
        """The "cap" events since the last call: a metal that nothing fell with after half a second, and the other way round, too."""
        while self._metals and now - self._metals[0][0] > WITHIN:
            self._caps.append(("cap", self._metals.pop(0)[1], True, False))
        while self._falls and now - self._falls[0] > WITHIN:
            self._falls.pop(0)
            self._caps.append(("cap", None, False, True))
        caps, self._caps = self._caps, []
        return caps
