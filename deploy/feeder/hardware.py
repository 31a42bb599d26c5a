"""The only file of the feeder's program that depends on your wiring. Fill in `YourFeeder`; `DryRun` shows what is expected.

Cautions, before any wire: see README.md. Have anything on mains done by somebody licensed for it, by your local code.
"""

import random
import time


class Hardware:
    """What agent.py needs of a feeder. Every method must return at once: `poll` is called some fifty times a second."""

    portion_seconds = 0.9  # how long the motor runs for one portion
    stall_milliamps = None  # the motor is switched off above this; None where its current is not measured
    supply_volts_min = None  # the motor doesn't start below this; None where the supply is not measured
    has_chute_sensor = False
    counted = ()  # which of "button", "detector", "chute", "perch" are fitted

    def poll(self):
        """What the sensors detected since the last call, as a list of:

        ("perch",)                      a bird has landed
        ("press",)                      the button was pressed (debounced)
        ("cap", strength, metal, beam)  something fell past the detector: 0..1 or None, True/False/None, True/False/None
        ("piece",)                      a piece of food passed the chute sensor
        ("lid", is_open)
        ("filled", grams_or_None)       the keeper pressed "filled"
        ("trouble", text)              anything that the keeper should know
        """
        return []

    def read(self):
        """Readings by the names of the report (hopperGrams, airCelsius, batteryVolts, ...). None: not measured now."""
        return {}

    def motor_on(self):
        raise NotImplementedError

    def motor_off(self):
        """Must be safe to call at any time and any number of times. Wire it so that the motor is off when the program is."""
        raise NotImplementedError

    def motor_milliamps(self):
        return None

    def supply_volts(self):
        """The voltage of the board's own supply, read some fifty times a second while the motor runs; None where it is not measured.

        The lowest value is reported with the portion: a weak supply shows in a sag of a tenth of a second. A converter that is
        read in the background should return the lowest value since the last call.
        """
        return None

    def close(self):
        pass


class YourFeeder(Hardware):
    """Fill this in, or start from wiring/example.py. Until you do, a start with --wired fails with a clear error."""

    def __init__(self):
        raise NotImplementedError("hardware.py: YourFeeder is not filled in yet; start without --wired for a dry run")


class DryRun(Hardware):
    """Invented birds and an invented hopper: for a test of the whole path to the server before any wiring."""

    stall_milliamps = 600
    has_chute_sensor = True
    counted = ("button", "detector", "chute", "perch")

    def __init__(self, seed=None):
        self._chance = random.Random(seed)
        self._grams = 900.0
        self._on_since = None
        self._pieces = 0
        self._next_bird = time.monotonic() + self._chance.uniform(1, 3)

    def poll(self):
        happened = [("piece",)] * self._pieces
        self._pieces = 0
        if time.monotonic() >= self._next_bird:
            self._next_bird = time.monotonic() + self._chance.uniform(10, 30)
            happened.append(("perch",))
            happened.append(("press",) if self._chance.random() < 0.6 else ("cap", 0.8, True, True))
        return happened

    def read(self):
        return {"hopperGrams": round(self._grams + self._chance.gauss(0, 0.8), 1), "airCelsius": 4.0, "supplyVolts": 5.05}

    def motor_on(self):
        self._on_since = time.monotonic()

    def motor_off(self):
        if self._on_since is None:
            return
        share = min(1.0, (time.monotonic() - self._on_since) / self.portion_seconds)
        self._on_since = None
        fell = min(self._grams, 1.2 * share)
        self._grams -= fell
        self._pieces += round(fell / 0.35)

    def motor_milliamps(self):
        return 0.0 if self._on_since is None else round(self._chance.gauss(240, 8), 1)

    def supply_volts(self):
        return 5.05 if self._on_since is None else round(self._chance.gauss(4.97, 0.01), 2)
