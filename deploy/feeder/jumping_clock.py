"""A wall clock that jumps, for the tests: forwards, backwards, and 1970 after each start, as on boards without a clock of their own."""

import datetime
import random
import time

OFFSETS = (0.0, 3_600.0, -3_600.0, 30 * 86_400.0, -400 * 86_400.0, 7.0, -7.0)  # seconds
EVERY = (0.05, 0.25)  # seconds between two jumps


class JumpingClock:
    """Replaces time.time and its relatives in this process. `true_time` and what counts monotonic time stay."""

    def __init__(self, chance=None):
        self.chance = chance or random.Random()
        self.true_time, self.jumps = time.time, 0
        self.offset = -self.true_time()  # 1970
        self.next_at = time.monotonic() + 0.5
        time.time = self.now
        time.time_ns = lambda: int(self.now() * 1e9)
        datetime.datetime = jumping_datetime(self.now)

    def now(self):
        self.move()
        return self.true_time() + self.offset

    def move(self):
        """How often it has jumped until now."""
        if time.monotonic() >= self.next_at:
            self.next_at = time.monotonic() + self.chance.uniform(*EVERY)
            self.offset = self.chance.choice([one for one in OFFSETS if one != self.offset])
            self.jumps += 1
        return self.jumps


def jumping_datetime(now):
    class Jumping(datetime.datetime):
        @classmethod
        def now(cls, tz=None):
            return cls.fromtimestamp(now(), tz)

        @classmethod
        def utcnow(cls):
            return cls.now(datetime.timezone.utc).replace(tzinfo=None)

    return Jumping
