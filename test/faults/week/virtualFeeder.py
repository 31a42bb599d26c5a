"""The feeder's own program in virtual time: its Feeder, its card and its HTTP client, and birds by daylight. week.ts drives it by lines of JSON.

It reads {"run": seconds}, and writes {"send": seconds since the start} when it is about to report, and waits for "go"; at the end {"done": ...}
with what truly happened. So the server's clock can be at the same moment.
"""

import json
import random
import sys
import time

sys.path.insert(0, sys.argv[1])

import agent
from hardware import Hardware
from identity import Identity
from report_client import HttpReportClient
from storage import Store

_, _, url, key, card, epoch, birds_a_day, seed = sys.argv
EPOCH, BIRDS_A_DAY = float(epoch), float(birds_a_day)  # seconds since 1970 at the start
DAY_BEGINS, DAY_ENDS = 8.5 * 3_600, 14.5 * 3_600  # UTC
STEP, STEP_MAX = 0.05, 50.0  # seconds
BOOTED = 5_000.0  # of its own clock, which knows no date


class Clock:
    now = BOOTED

    def __call__(self):
        return self.now


clock = Clock()
chance = random.Random(int(seed))


def say(**line):
    print(json.dumps(line), flush=True)


def wait_for_go():
    if sys.stdin.readline().strip() != "go":
        sys.exit(1)


class Birds(Hardware):
    portion_seconds = 0.9
    has_chute_sensor = True
    counted = ("button", "detector", "chute", "perch")

    def __init__(self):
        self.runs, self.sensed, self.is_on = [], [], False
        self.next_at = self.next_bird(clock())

    def next_bird(self, after):
        """The next one by daylight."""
        while True:
            after += chance.expovariate(BIRDS_A_DAY / (DAY_ENDS - DAY_BEGINS)) + 15
            of_day = (EPOCH + after - BOOTED) % 86_400
            if DAY_BEGINS <= of_day <= DAY_ENDS:
                return after
            after += (DAY_BEGINS - of_day) % 86_400 - chance.expovariate(1) if of_day > DAY_ENDS or of_day < DAY_BEGINS else 0

    def poll(self):
        sensed, self.sensed = self.sensed, []
        if clock() >= self.next_at:
            self.next_at = self.next_bird(clock())
            sensed += [("perch",), ("press",) if chance.random() < 0.5 else ("cap", 0.8, True, True)]
        return sensed

    def read(self):
        return {"airCelsius": 4.0, "supplyVolts": 5.05}

    def motor_on(self):
        self.runs.append(EPOCH + clock() - BOOTED)
        self.is_on = True

    def motor_off(self):
        if self.is_on:
            self.sensed += [("piece",)] * 3
        self.is_on = False

    def motor_milliamps(self):
        return 240.0 if self.is_on else 0.0


class Announced(HttpReportClient):
    """Real requests, each at a moment that the server knows."""

    reported = 0  # runs of the motor that are over, and so in this report or an earlier one

    def send(self, report):
        self.reported = len(hardware.runs) - (feeder.run is not None)
        say(send=clock() - BOOTED)
        wait_for_go()
        super().send(report)


hardware = Birds()
client = Announced(url, Identity(key), time.monotonic)
feeder = agent.Feeder(Store(card, clock), hardware, client, clock, boot="b-0")
agent.log.setLevel("CRITICAL")


def step_until(end):
    while clock() < end:
        feeder.step()
        while client.busy and client.outcomes.empty():
            time.sleep(0.0005)  # the network takes no virtual time
        if client.busy:
            continue
        moves = feeder.run is not None or feeder.owed
        wait = STEP if moves else min(STEP_MAX, hardware.next_at - clock(), feeder.report_at - clock())
        clock.now = min(end, clock() + max(STEP, wait))


for line in sys.stdin:
    step_until(clock() + json.loads(line)["run"])
    say(done=clock() - BOOTED, runs=hardware.runs[: client.reported], waiting=feeder.store.waiting())
