"""The portions of a bench run, which the keeper starts from the server before the box goes outdoors.

The server orders a number of portions. They are given one after the other, with a rest for the motor, and each is reported with a cause
of its own, so that it counts as no bird's. The order is answered once: "done" after the last portion and its rest, or "refused" with the reason as
soon as no more can be given. Nothing here touches the motor or the card: `agent.py` asks, stores what has changed, and gives.
"""

from values import is_number

PORTIONS_MAX = 100  # whatever an order says
REST_MIN, REST_MAX, REST_USUAL = 4.0, 120.0, 6.0  # seconds
REPORT_AFTER = 2.0  # seconds after a portion: the scale has come to rest, and the next portion has not begun


class BenchPortions:
    """`memory` is what must survive a power cut: a small dict, or None while there is nothing to give."""

    def __init__(self, memory=None):
        self.memory = memory
        self.next_at = 0.0

    @property
    def active(self):
        return self.memory is not None

    @property
    def order(self):
        return self.memory["order"]

    @property
    def all_given(self):
        return self.memory["given"] >= self.memory["portions"]

    def take(self, order):
        """Why the order can't be carried out, or None. `order` as `readable` made it."""
        if self.active:
            return "A bench run is under way already."
        if order["portions"] is None:
            return f"This feeder gives 1 to {PORTIONS_MAX} portions in a bench run."
        self.memory = {"order": order["id"], "portions": order["portions"], "given": 0, "rest": order["rest"]}
        return None

    def begin(self):
        """A portion begins: it counts also if a power cut ends it."""
        self.memory = {**self.memory, "given": self.memory["given"] + 1}

    def rest_from(self, now):
        self.next_at = now + self.memory["rest"]

    def drop(self):
        self.memory = None

    def in_words(self):
        return f"{self.memory['given']} of {self.memory['portions']} portions"


def readable(order):
    """Portions and rest of an order of this kind; None for portions that can't be given. 0 portions end a bench run."""
    portions, rest = order.get("portions"), order.get("restSeconds")
    whole = isinstance(portions, int) and not isinstance(portions, bool) and 0 <= portions <= PORTIONS_MAX
    return {
        "portions": portions if whole else None,
        "rest": min(max(rest, REST_MIN), REST_MAX) if is_number(rest) else REST_USUAL,
    }
