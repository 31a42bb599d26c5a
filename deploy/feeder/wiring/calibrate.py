"""Calibrates the load cell by hand, with the feeder's program stopped: `/usr/bin/python3 -m wiring.calibrate 5 6`, beside agent.py.

5 and 6 are the GPIO numbers of data and clock; without them it takes those of example.py. It asks for an empty hopper and for a known mass
in it, and says the two numbers for your copy of example.py.
"""

import sys
import time

from .example import LOAD_CLOCK, LOAD_DATA
from .load_cell import LoadCell, calibration

SETTLES_WITHIN = 5.0  # seconds in which the median has only readings of the new mass: seven, and some that were thrown away
GRAMS_MIN = 50.0


def calibrate(cell, say, ask, sleep):
    """Whether it found the two numbers. `say` shows a line, `ask` shows one and returns what was typed."""
    ask("Empty the hopper, let go of it, and press Enter: ")
    empty = settled(cell, sleep)
    typed = ask("Put a mass that you know in, such as a full bottle, let go of it, and type its grams: ")
    loaded = settled(cell, sleep)
    if empty is None or loaded is None:
        say("; ".join(text for _, text in cell.poll()) or "The load cell doesn't answer.")
        return False
    try:
        grams = float(typed)
        if not grams >= GRAMS_MIN:
            raise ValueError(f"expected at least {GRAMS_MIN:.0f} g, got {typed!r}")
        tare, grams_per_count = calibration(empty, loaded, grams)
    except ValueError as error:
        say(str(error))
        return False
    say(f"TARE, GRAMS_PER_COUNT = {tare}, {grams_per_count:.6g}")
    return True


def settled(cell, sleep):
    sleep(SETTLES_WITHIN)
    return cell.counts()


def main(args):
    data, clock = map(int, args) if args else (LOAD_DATA, LOAD_CLOCK)
    cell = LoadCell(data, clock)
    try:
        return 0 if calibrate(cell, print, input, time.sleep) else 1
    finally:
        cell.close()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
