"""What comes from a server, a card or a keeper's own code may be anything."""

import math


def is_number(value):
    """A NaN is none, nor is true: a report with it could not be sent."""
    if isinstance(value, bool):
        return False
    return isinstance(value, int) or (isinstance(value, float) and math.isfinite(value))


def finite(value):
    """None for what is no number: with a NaN the whole report could not be read."""
    return value if is_number(value) else None
