#!/usr/bin/env python3
"""The feeder's own program: watches the sensors, gives portions, and reports to a Pieward server.

It needs Python 3.9 or newer and nothing else. Everything that touches your wiring is in hardware.py; this file need not
be changed. Its duties:

- each event is stored on the card before anything else is done with it, and removed only when the server has answered that
  it is stored: a power cut or a week without network loses nothing;
- the start of a portion is on the card before the motor starts: a portion that a power cut ends is reported as cut short;
- a pause stops the motor at once, also in the middle of a run, and stays in force through power cuts; the order's event is
  written only when the motor stands and the pause is on the card;
- resuming never feeds what was left unpaid meanwhile;
- the portions of a bench run follow one order (see bench.py); a pause, a power cut and the motor's own limits end them, and it says so;
- free food and what a press or a cap earns follow the keeper's plan (see plan.py), which is on the card; without a plan each press
  and each cap is paid, and nothing is free;
- none of this ends if the card is full, read-only or damaged: events wait in memory (see storage.py), and it is reported.

    python3 agent.py --url https://pieward.example --key-file /etc/pieward/feeder.key --data /var/lib/pieward-feeder
"""

import argparse
import errno
import importlib
import logging
import os
import random
import secrets
import signal
import sys
import threading
import time
import urllib.parse
from pathlib import Path

from bench import REPORT_AFTER, BenchPortions
from broker_link import BrokerClient
from check import Check
from hardware import DryRun, YourFeeder
from identity import Identity
from lines import LineHardware
from link import LiveLink
from plan import FeedingPlan, PlanError
from report_client import ANSWER_WITHIN, NOTHING_NEW, HttpReportClient, listed, readable_order, seconds_of
from status_page import StatusPage
from stills import Stills
from storage import Store
from values import finite, is_number
from watchdog import Watchdog

try:
    import fcntl
except ImportError:  # not on every system; there, a second program is not prevented
    fcntl = None

log = logging.getLogger("feeder")

EVENTS_PER_REPORT = 2_000  # the server's own limit
KNOWN_ORDERS_MAX = 16
OWED_MAX = 3  # presses that wait for their portion, and as many caps: limits the portions for a bird that drums on the button
NO_READINGS_FOR = 3_600.0  # seconds in which readings that the server could not read are left out
UNKNOWN_NAMES_MAX = 64
BACK_OFF_FIRST, BACK_OFF_MAX = 2.0, 300.0
PIECES_SETTLE = 0.6  # seconds after the motor until the last piece has passed the chute sensor
STALLS_MAX, STALL_REST = 3, 3_600.0  # so many stalls in a row, then so many seconds without the motor: it would burn out
YOUR_FEEDER = "hardware:YourFeeder"
INRUSH = 0.3  # seconds in which a starting motor draws as much as a stalled one


class Feeder:
    """The duties. `step` is called every few hundredths of a second; clock, hardware and report client are passed in."""

    def __init__(self, store, hardware, client, clock, boot=None, link=None, stills=None):
        self.stills = stills  # of a camera, or None
        self.last_deposit = None  # (boot, seq)
        self.link = link  # the live link, or None: then orders come with the answers alone
        self.store = store
        self.hardware = hardware
        self.client = client
        self.clock = clock
        self.boot = boot or f"b-{secrets.token_hex(8)}"
        self.booted_at = clock()
        self.seq = 0
        self.counts = {"button": 0, "detector": 0, "chute": 0, "perch": 0}
        self.owed = []
        self.run = None  # the portion that is being given
        self.held = store.state["held"]  # {"order", "until"} while paused
        self.known_orders = list(store.state["known_orders"])
        self.server_ahead = None  # server's seconds minus ours; None until the server has answered in this boot
        self.report_at = clock()
        self.soon = False  # somebody waits for the report after the one that may be under way
        self.back_off = BACK_OFF_FIRST
        self.events_at_once = EVENTS_PER_REPORT
        self.sensor_trouble_at = None
        self.motor_trouble_at = None
        self.motor_off_failed = False  # it could not be switched off: tried again at each step
        self.stalls, self.stalled_at = 0, None  # in a row, and the last one
        self.confirmation_waits_for = None  # the order whose "done" waits for a motor that can't be switched off
        self.answered_at = None  # the server's last answer
        self.has_reported = False  # the server has got a report of this start
        self.no_readings_until = None  # readings are left out until then
        self.unknown_names = set()
        self.plan = FeedingPlan(store.state["plan"])
        self.plan.restarted()
        self.bench = BenchPortions(store.state["bench"])
        self.air = None  # degrees Celsius, as last measured for a report
        store.is_owed = self._is_owed
        self._motor_off()  # whatever the last run left behind
        if self.bench.active:
            self._end_bench("refused", f"The feeder started again after {self.bench.in_words()}: a power cut, or its program ended.")

    # --- one step of the loop ---------------------------------------------------------------------------------------

    def step(self):
        self._end_pause_in_time()
        for sensed in self._call_hardware(self.hardware.poll, []):
            self._handle_event(*sensed)
        self._owe_free_food()
        self._run_bench()
        self._run_motor()
        if self.motor_off_failed:
            self._motor_off()
        if self.confirmation_waits_for is not None and not self.motor_off_failed:
            self._confirm_late()
        if self.run is None:
            self.store.maintain()  # may take a while, and the motor must not run on meanwhile
        for text in self.store.take_texts():
            self._write({"kind": "trouble", "words": text[:500]})
        outcome = self.client.take()
        if outcome is not None:
            self._handle_outcome(*outcome)
        frame = None if self.link is None else self.link.take()
        if frame is not None:
            self._take_frame(frame)
        if self.clock() >= self.report_at and not self.client.busy:
            self.report_at = self.clock() + ANSWER_WITHIN
            self.soon = False
            self.client.send(self.report())

    def stop(self):
        """Motor first; then the event of its portion is stored."""
        if self._motor_off() and self.run:
            self._finish_run()
        self.store.close()  # a run that could not be ended is reported as cut short by the next start

    @property
    def paused(self):
        return self.held is not None

    def status(self):
        """For somebody beside the feeder: (what, value) rows in words. Nothing in it is secret."""
        why_not = self.why_not_run()
        answered = "none since the start" if self.answered_at is None else f"{self.clock() - self.answered_at:.0f} s ago"
        return [
            ("Food", "given by the plan and for presses and caps" if why_not is None else f"none: {why_not}"),
            ("Feeding plan", self.plan.in_words(self._time())),
            *([("Bench run", self.bench.in_words())] if self.bench.active else []),
            ("Last answer of the server", answered),
            ("Events waiting for the server", self.store.waiting()),
            ("Started", f"{self._seconds_up() / 3600:.1f} hours ago"),
            *((f"Counted since then: {name}", self.counts[name]) for name in self.hardware.counted),
        ]

    # --- sensors ----------------------------------------------------------------------------------------------------

    def _handle_event(self, kind, *details):
        if kind == "perch":
            self.counts["perch"] += 1
            self._write({"kind": "visit"})
        elif kind == "press":
            self.counts["button"] += 1
            self._record_act({"kind": "press"}, self._earns("press"))
        elif kind == "cap":
            strength, metal, beam = finite(details[0]), *details[1:]
            self.counts["detector"] += 1
            deposit = {"kind": "deposit", "metal": metal, "signal": strength, "chute": beam}
            seq = self._record_act(deposit, metal is not False and self._earns("deposit"))
            self.last_deposit = (self.boot, seq)
            if self.stills is not None:
                self.stills.take(self.boot, seq)  # on another thread: the portion doesn't wait for it
        elif kind == "piece":
            self.counts["chute"] += 1
            if self.run:
                self.run["pieces"] += 1
        elif kind == "lid":
            self._write({"kind": "lid", "open": details[0]})
        elif kind == "filled":
            self._write({"kind": "refill", "grams": finite(details[0]), "full": True})
        elif kind == "trouble":
            self._write({"kind": "trouble", "words": str(details[0])[:500]})
        else:
            raise ValueError(f"expected an event that hardware.py documents, got {kind!r}")

    def _call_hardware(self, question, otherwise):
        """A loose wire on one sensor must not end feeding, reports and orders. It is reported once an hour."""
        try:
            return question()
        except Exception as error:  # whatever the keeper's own code for the hardware may throw
            log.debug("A sensor could not be read", exc_info=True)
            self._report_sensor_trouble(f"A sensor could not be read: {error!r}")
            return otherwise

    def _report_sensor_trouble(self, text):
        if self.sensor_trouble_at is None or self.clock() - self.sensor_trouble_at > 3_600:
            self.sensor_trouble_at = self.clock()
            log.error("%s", text)
            self._write({"kind": "trouble", "words": text[:500]})

    # --- motor ------------------------------------------------------------------------------------------------------

    def _record_act(self, event, earns):
        """A press or a cap: stored with its promise before its portion can begin."""
        seq = self._write({**event, "earns": earns})
        if earns:
            self.owed.append((event["kind"], seq))
        return seq

    def _earns(self, kind):
        """Whether this press or cap gets a portion: a promise, which the server judges. What comes while paused is never paid late."""
        waiting = sum(1 for cause, _ in self.owed if cause == kind)
        if self.why_not_run() is not None or waiting >= OWED_MAX:
            return False
        return self.plan.earns(kind, self._seconds_up(), self._time())

    def _owe_free_food(self):
        """Free food whose time has come. What comes while the motor must not turn is not made up for."""
        for _ in range(self.plan.due(self._time(), self.air)):
            if self.why_not_run() is None:
                self.owed.append(("timer", None))

    def _run_bench(self):
        """The next portion of a bench run, once the motor has rested and no act waits for its own."""
        if not self.bench.active or self.run is not None or self.owed or self.clock() < self.bench.next_at:
            return
        why_not = None if self.bench.all_given else self.why_not_run()
        if self.bench.all_given:
            self._end_bench("done", None)
        elif why_not is not None:
            self._end_bench("refused", f"It ended after {self.bench.in_words()}, since {why_not}.")
        else:
            self.bench.begin()
            self._start_run("bench", None)

    def _end_bench(self, outcome, problem):
        """The one answer to the order of a bench run; the card forgets the order with it."""
        order = self.bench.order
        self.bench.drop()
        self._write({"kind": "order", "order": order, "outcome": outcome, "problem": problem}, {"bench": None})
        log.info("Bench run %s: %s", order, outcome if problem is None else problem)
        self._report_soon()

    def _rest_on_bench(self, begun):
        """After a portion of a bench run the scale is read, and the motor rests."""
        if begun["cause"] == "bench" and self.bench.active:
            self.bench.rest_from(self.clock())
            self.report_at = min(self.report_at, self.clock() + REPORT_AFTER)

    def why_not_run(self):
        """None where the motor may turn; otherwise why not, in words. The ration is the plan's part: see plan.py."""
        if self.paused:
            return "the feeder is paused"
        if self.motor_off_failed:
            return "the motor could not be switched off"
        if self.stalls >= STALLS_MAX and self.clock() - self.stalled_at < STALL_REST:
            return f"the motor stalled {STALLS_MAX} times in a row and rests for an hour"
        # While it turns, each reading belongs to its portion: a converter may return the lowest since the last call.
        least = self.hardware.supply_volts_min if self.run is None else None
        supply = None if least is None else finite(self._call_hardware(self.hardware.supply_volts, None))
        if supply is not None and supply < least:
            return f"the supply is at {supply:.2f} V, and the motor needs {least:.2f} V"
        return None

    def _is_owed(self, boot, seq):
        """Whether this event still waits for its portion."""
        paying = [] if self.run is None else [self.run["pays_for"]]
        return boot == self.boot and seq in [pays_for for _, pays_for in self.owed] + paying

    def _run_motor(self):
        run = self.run
        if run is None:
            if self.owed and not self.paused and not self.motor_off_failed:
                self._start_next()
            return
        if run["stopped"] is None:
            current = finite(self._call_hardware(self.hardware.motor_milliamps, None))
            if current is not None:
                run["currents"].append(current)
            supply = finite(self._call_hardware(self.hardware.supply_volts, None))
            # A portion must not be refused for the reading of a broken converter.
            if supply is not None and 0 <= supply <= 60:
                run["lowest_volts"] = supply if run["lowest_volts"] is None else min(supply, run["lowest_volts"])
            now = self.clock()
            ran = now - run["started"]
            limit = self.hardware.stall_milliamps
            stalled = current is not None and limit is not None and ran > INRUSH and current > limit
            if stalled or ran >= self.hardware.portion_seconds:
                self.stalls, self.stalled_at = (self.stalls + 1, now) if stalled else (0, None)
                if self._motor_off():
                    run["stopped"] = now
                else:
                    self._abandon_run()
        elif self.clock() - run["stopped"] >= PIECES_SETTLE:
            self._finish_run()

    def _start_next(self):
        """What can't be given now is not given later, when the bird has gone: the keeper is told instead."""
        why_not = self.why_not_run()
        if why_not is None:
            self._start_run(*self.owed.pop(0))
        else:
            left, self.owed = len(self.owed), []
            self._report_motor_trouble(f"Portions left out: {left}, since {why_not}.")

    def _start_run(self, cause, pays_for):
        """Stores the start on the card before the motor turns, as the event that is reported if a power cut ends the portion."""
        self.seq += 1
        begun = {
            "seq": self.seq,
            "uptimeMs": self._uptime(),
            "kind": "portion",
            "cause": cause,
            "paysFor": pays_for,
            "motorMs": None,
            "meanMilliamps": None,
            "peakMilliamps": None,
            "chuteCount": None,
            "lowestVolts": None,
            "cutShort": True,
        }
        if cause != "bench":  # which is no bird's, and so uses up no ration
            self.plan.count(1, self._time())
        self.store.keep(run=[self.boot, begun], plan=self.plan.memory, bench=self.bench.memory)
        self.run = {
            "begun": begun,
            "pays_for": pays_for,
            "started": self.clock(),  # after the card has taken its time
            "stopped": None,
            "currents": [],
            "lowest_volts": None,
            "pieces": 0,
        }
        try:
            self.hardware.motor_on()
        except Exception as error:  # whatever the keeper's own code for the hardware may throw
            log.exception("The motor could not be switched on")
            self._report_motor_trouble(f"The motor could not be switched on: {error!r}")
            self._motor_off()
            self._abandon_run()

    def _abandon_run(self):
        """How long the motor turns is unknown: reported as it was begun, and at once, since all later events wait for it."""
        run, self.run = self.run, None
        self.store.write(self.boot, run["begun"], then={"run": None})
        self._rest_on_bench(run["begun"])

    def _finish_run(self):
        run, self.run = self.run, None
        now = self.clock()
        stopped = run["stopped"] if run["stopped"] is not None else now
        currents = run["currents"]
        settled = run["stopped"] is not None and now - run["stopped"] >= PIECES_SETTLE
        # If the chute was not watched to the end, "nothing fell" would be a guess.
        counts = self.hardware.has_chute_sensor and (settled or run["pieces"] > 0)
        portion = {
            **run["begun"],
            "uptimeMs": self._uptime(run["started"]),  # a portion's time is the start of its run
            "motorMs": round(1000 * (stopped - run["started"])),
            "meanMilliamps": round(sum(currents) / len(currents), 1) if currents else None,
            "peakMilliamps": max(currents) if currents else None,
            "chuteCount": run["pieces"] if counts else None,
            "lowestVolts": run["lowest_volts"],
        }
        if run["stopped"] is not None:
            del portion["cutShort"]  # otherwise a pause or the end of the program stopped it in the middle
        self.store.write(self.boot, portion, then={"run": None})
        self._rest_on_bench(run["begun"])

    def _motor_off(self):
        """Whether it could be switched off. If not, that is reported, and tried again at each step."""
        try:
            self.hardware.motor_off()
        except Exception as error:  # whatever the keeper's own code for the hardware may throw
            self.motor_off_failed = True
            self._report_motor_trouble(f"The motor could not be switched off: {error!r}")
            return False
        self.motor_off_failed = False
        return True

    def _report_motor_trouble(self, text):
        if self.motor_trouble_at is None or self.clock() - self.motor_trouble_at > 3_600:
            self.motor_trouble_at = self.clock()
            log.error("%s", text)
            self._write({"kind": "trouble", "words": text[:500]})

    def _confirm_late(self):
        """The motor that could not be switched off at a pause stands now."""
        order, self.confirmation_waits_for = self.confirmation_waits_for, None
        if self.held is not None and self.held["order"] == order:
            self._write({"kind": "order", "order": order, "outcome": "done", "problem": None})
            self._report_soon()

    # --- orders -----------------------------------------------------------------------------------------------------

    def _apply_orders(self, orders, server_time):
        """The newest counts, a repeat changes nothing. Orders come oldest first."""
        new_orders = [order for order in orders if order["id"] not in self.known_orders]
        if not new_orders:
            return
        newest = new_orders[-1]
        until = newest["until"]
        outcome, problem, held = "done", None, None
        if newest["kind"] == "bench":
            self._take_bench(newest, new_orders)
            return
        if newest["kind"] == "pause":
            if until is not None and until <= server_time:
                outcome, problem = "refused", "The pause had ended before it arrived."
            else:
                held = {"order": newest["id"], "until": until}
        elif newest["kind"] != "resume":
            outcome, problem, held = "refused", f"This feeder knows no order {newest['kind']!r}."[:500], self.held

        # In this order: this program's state, the motor, the card, then the report to the server.
        self.held = held
        if newest["kind"] in ("pause", "resume"):
            self.confirmation_waits_for = None
            self.stalls = 0  # somebody has looked at it
        if held is not None:
            self.owed = []
            if self._motor_off():
                if self.run:
                    self._finish_run()
            elif self.run:
                self._abandon_run()
            if self.motor_off_failed and newest["kind"] == "pause":
                outcome, problem = "refused", "No more portions are given, but the motor could not be switched off."
                self.confirmation_waits_for = newest["id"]
        known = (self.known_orders + [order["id"] for order in new_orders])[-KNOWN_ORDERS_MAX:]
        confirmation = {"kind": "order", "order": newest["id"], "outcome": outcome, "problem": problem}
        self._write(confirmation, {"held": held, "known_orders": known})
        self.known_orders = known
        if newest["kind"] == "pause" and self.bench.active:
            self._end_bench("refused", f"A pause ended it after {self.bench.in_words()}.")
        log.info("Order %s (%s): %s", newest["id"], newest["kind"], outcome)
        self._report_soon()  # the keeper waits for the confirmation

    def _take_bench(self, order, new_orders):
        """Portions for a bench run are answered when they are given; 0 of them end it at once."""
        known = (self.known_orders + [one["id"] for one in new_orders])[-KNOWN_ORDERS_MAX:]
        self.known_orders = known
        if order["portions"] == 0 and self.bench.active:
            self._end_bench("refused", f"It was stopped after {self.bench.in_words()}.")
        why_not = None if order["portions"] == 0 else self.why_not_run()
        problem = f"No bench run now, since {why_not}." if why_not is not None else None
        if problem is None and order["portions"] != 0:
            problem = self.bench.take(order)
        if problem is None and self.bench.active:
            self.store.keep(twice=True, known_orders=known, bench=self.bench.memory)
            log.info("Bench run %s: %s", order["id"], self.bench.in_words())
            return
        outcome = "done" if problem is None else "refused"
        self._write({"kind": "order", "order": order["id"], "outcome": outcome, "problem": problem}, {"known_orders": known})
        log.info("Order %s (bench): %s", order["id"], problem or outcome)
        self._report_soon()

    def _end_pause_in_time(self):
        """Without knowing the time a feeder stays paused: that is the safe side."""
        if self.held is None or self.held["until"] is None or self.server_ahead is None:
            return
        if self.clock() + self.server_ahead >= self.held["until"]:
            self.held = None
            self.store.keep(twice=True, held=None)
            log.info("The pause has ended by itself.")

    # --- reporting --------------------------------------------------------------------------------------------------

    def _report_soon(self):
        """Also where a report is under way: it was made before what is to be reported."""
        self.report_at = self.clock()
        self.soon = True

    def report(self):
        dropped = self.store.drop_overflow()
        if dropped:
            self._write({"kind": "trouble", "words": f"The spool was full: {dropped} old events are lost."})
        greeting = not self.has_reported and self.store.first_boot() not in (None, self.boot)
        # A start says first how it stands, paused above all; then what earlier starts left behind.
        before = None if self.run is None else (self.boot, self.run["begun"]["seq"])
        oldest = None if greeting else self.store.oldest(self.events_at_once, before)
        if oldest is not None and oldest[0] != self.boot:
            # Left behind by an earlier start, whose clock is gone: no uptime, and no readings of then.
            return {"boot": oldest[0], "sentUptimeMs": None, "events": oldest[1]}
        return {
            "boot": self.boot,
            "sentUptimeMs": self._uptime(),
            "readings": self._readings(),
            "events": [] if oldest is None else oldest[1],
        }

    def _readings(self):
        own = {"spooled": self.store.waiting(), "paused": self.paused, "planVersion": self.plan.version}
        if self.no_readings_until is not None:
            if self.clock() < self.no_readings_until:
                return own
            self.no_readings_until = None
        measured = {}
        for name, value in self._call_hardware(self.hardware.read, {}).items():
            if value is not None and not is_number(value):
                self._report_sensor_trouble(f"{name} is no number: {value!r}")
            elif value is not None:
                measured[name] = value
        self.air = measured.get("airCelsius")
        fitted = self.hardware.counted
        counts = {name: count for name, count in self.counts.items() if name in fitted}
        return {**measured, **own, "counts": counts}

    def _handle_outcome(self, kind, report, answer):
        events = report.get("events", [])
        if kind == "answered":
            self._answered(report, answer, events)
        elif kind == "unreadable" and self.no_readings_until is None and report.get("readings"):
            # The readings may be the cause: they are left out before any event is.
            self.no_readings_until = self.clock() + NO_READINGS_FOR
            self._report_sensor_trouble(f"The server could not read a report; its readings are left out for an hour: {answer}")
            self._later(f"{answer}; next time without readings")
        elif kind == "tooMuch" and len(events) > 1:
            self.events_at_once = max(1, len(events) // 2)
            self._later(f"too much at once, next time {self.events_at_once} events")
        elif kind == "unreadable" and len(events) > 1:
            self.events_at_once = max(1, len(events) // 2)
            self._later(f"{answer}; looking for the event that can't be read")
        elif kind in ("tooMuch", "unreadable") and len(events) == 1:
            self._reject(report["boot"], events[0], str(answer))
            self.no_readings_until = None  # it was the event, not the readings
            self._later(str(answer))
        elif kind == "tooOften":
            self._later("too often", answer)
        else:
            self._later(str(answer))

    def _reject(self, boot, event, problem):
        self.store.reject(boot, event, problem)
        text = f"The server did not take event {event['seq']} ({event['kind']}), which is stored apart on its card: {problem}"
        self._write({"kind": "trouble", "words": text[:500]})

    def _answered(self, report, answer, events):
        self.has_reported = self.has_reported or report["boot"] == self.boot
        through = answer["storedThrough"]
        if events and through is not None:
            through = min(through, events[-1]["seq"])  # nothing is removed that was not sent
            self.store.forget(report["boot"], through)
        gone = sum(1 for event in events if through is not None and event["seq"] <= through)
        gone += self._refused(report["boot"], answer["refused"], events, through)
        self._log_unknown(answer["unknown"])
        server_time = answer["serverTime"]
        self.server_ahead = server_time - self.clock()
        self.answered_at = self.clock()
        has_new_plan = self._take_plan(answer["plan"])
        if events and gone == 0:
            # The server answers, but stores nothing: frequent attempts would only make it slower for others.
            self._later("the server answered, but has stored nothing of it")
        else:
            self.back_off = BACK_OFF_FIRST
            # Also after the last report of an earlier start: only its own report has the state of this one.
            more = report["boot"] != self.boot or (len(events) == self.events_at_once and self.store.waiting() > 0)
            more = more or not events and self.store.first_boot() not in (None, self.boot)
            if len(events) == self.events_at_once:
                self.events_at_once = min(EVENTS_PER_REPORT, 2 * self.events_at_once)
            # The keeper waits for the confirmation of a plan, and of what came while this report was under way.
            more = more or has_new_plan or self.soon
            self.report_at = self.clock() + (0.5 if more else max(1.0, answer["nextReportSeconds"]))
        self._apply_orders(answer["orders"], server_time)

    def _take_frame(self, frame):
        """Orders or a plan, at once. Of a broker they have an end. What can't be read comes again with the next answer, where it is reported."""
        server_time = self._time()
        if server_time is None:
            self._report_soon()  # its answer tells the time, and has them too
            return
        if frame.get("connected"):
            self._report_soon()  # what waited while the broker was away
            return
        if "until" in frame and not self._counts(frame, server_time):
            return
        try:
            orders = [order for order in map(readable_order, listed(frame.get("orders"))) if order is not None]
        except TypeError as error:
            log.error("An order can't be read: %s", error)
            return
        if self._take_plan(frame.get("plan", NOTHING_NEW)):
            self._report_soon()
        self._apply_orders(orders, server_time)

    def _counts(self, frame, server_time):
        """A broker keeps orders and plans, also when the server is gone and can't take them back."""
        try:
            ends = seconds_of(frame["until"])
        except (ValueError, TypeError, OverflowError) as error:
            log.error("The end of a message of the broker can't be read, so it is left out: %s", error)
            return False
        if ends <= server_time:
            log.warning("What waits at the broker counted until %s: left out.", frame["until"])
        return ends > server_time

    def _take_plan(self, plan):
        """Whether another plan is in force now. One that can't be carried out is reported, and the one before stays in force."""
        if plan is NOTHING_NEW:
            return False
        try:
            if not (self.plan.drop() if plan is None else self.plan.take(plan, self._time())):
                return False
        except PlanError as error:
            self._report_sensor_trouble(f"The feeding plan can't be used, the one before stays in force: {error}")
            return False
        self.store.keep(twice=True, plan=self.plan.memory)
        log.info("Feeding plan in force: %s", self.plan.in_words(self._time()))
        return True

    def _refused(self, boot, refusals, events, through):
        """A refused event that the server does not count as done would be sent for ever: it is stored apart and reported.

        Returns how many.
        """
        aside = 0
        for refusal in refusals:
            log.error("The server refused %s", refusal)
            event = next((one for one in events if one["seq"] == refusal.get("seq")), None)
            if event is not None and (through is None or event["seq"] > through):
                self._reject(boot, event, f"{refusal.get('field')}: {refusal.get('problem')}")
                aside += 1
        return aside

    def _log_unknown(self, names):
        """Names that the server does not know, each logged once."""
        for name in names:
            if name not in self.unknown_names and len(self.unknown_names) < UNKNOWN_NAMES_MAX:
                self.unknown_names.add(name)
                log.warning("The server does not know %s. Is it misspelt in hardware.py?", name)

    def _later(self, text, requested=None):
        """The wait doubles, with a random part so that feeders that became silent together don't return at once."""
        wait = (requested if requested is not None else self.back_off) * random.uniform(1.0, 1.25)
        self.back_off = min(BACK_OFF_MAX, 2 * self.back_off)
        self.report_at = self.clock() + wait
        log.warning("No report got through: %s. Next try in %.0f s; %d events wait.", text, wait, self.store.waiting())

    # --- clock and events -------------------------------------------------------------------------------------------

    def _time(self):
        """Epoch seconds by the server's clock, or None while this start has not heard from it."""
        return None if self.server_ahead is None else self.clock() + self.server_ahead

    def _seconds_up(self):
        return self.clock() - self.booted_at

    def _uptime(self, at=None):
        return max(0, int(1000 * ((self.clock() if at is None else at) - self.booted_at)))

    def _write(self, content, memory=None):
        self.seq += 1
        event = {"seq": self.seq, "uptimeMs": self._uptime(), **content}
        self.store.write(self.boot, event, memory)
        return event["seq"]


def monotonic():
    """Includes the time of a suspend where the system can measure it; never goes back, whatever happens to the wall clock."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boottime is None else time.clock_gettime(boottime)


def read_arguments(args):
    parser = argparse.ArgumentParser(description="Runs one feeder and reports to a Pieward server.")
    parser.add_argument("--url", help="the server, such as https://pieward.example")
    parser.add_argument("--key-file", type=Path, help="a file that holds the feeder's key, readable by you alone")
    parser.add_argument("--sign", metavar="FEEDER", help="sign with the key instead of sending it, for a server without https: the feeder's id")
    parser.add_argument("--broker", metavar="ADDRESS", help="report over your own broker instead, such as mqtts://broker.example:8883; needs --sign")
    parser.add_argument("--broker-password", type=Path, metavar="FILE", help="a file that holds the broker's password of this feeder")
    parser.add_argument("--broker-ca", metavar="FILE", help="the certificate of the authority that signed the broker's; by default those of the system")
    parser.add_argument("--data", type=Path, help="a folder that survives power cuts")
    wired = "use YourFeeder of hardware.py instead of the dry run, or a class of another file, such as wiring.example:ExampleFeeder"
    parser.add_argument("--wired", nargs="?", const=YOUR_FEEDER, metavar="MODULE:CLASS", help=wired)
    parser.add_argument("--lines", metavar="SOCKET", help="sensors and motor are in a program of your own: see lines.py")
    parser.add_argument("--status", type=int, metavar="PORT", help="show a page about the feeder on the local network")
    parser.add_argument("--camera-command", metavar="COMMAND", help="takes a still after each deposit: writes a JPEG to its standard output; needs --url")
    parser.add_argument("--check", action="store_true", help="walk through sensors and motor by hand, without a server")
    arguments = parser.parse_args(args)
    needed = ("url", "key_file", "data") if arguments.broker is None else ("sign", "key_file", "data")
    missing = [name for name in needed if getattr(arguments, name) is None]
    if missing and not arguments.check:
        parser.error("missing: " + ", ".join("--" + name.replace("_", "-") for name in missing))
    if arguments.broker is not None and arguments.url is not None:
        parser.error("--url or --broker, not both: reports go one way")
    if arguments.camera_command is not None and arguments.url is None:
        parser.error("--camera-command needs --url: stills go over HTTP alone")
    for name, schemes in (("broker", ("mqtt", "mqtts")), ("url", ("http", "https"))):
        address = getattr(arguments, name)
        if address is not None and urllib.parse.urlsplit(address).scheme not in schemes:
            parser.error(f"expected --{name} with {schemes[1]}:// (or {schemes[0]}:// at home), got {address!r}")
    return arguments


def make_folder(folder):
    """The program starts even if the card can't be written, but not if the folder may not be used."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO):
            raise
        log.error("%s: events wait in memory.", error)


def owned(folder):
    """A lock on the folder until this program ends; None where another program has it. Two programs would pay each cap twice."""
    if fcntl is None:
        return "not locked"
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError as error:
        log.error("%s", error)
        return "not locked"
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return None
    except OSError as error:  # not every file system can
        log.warning("%s", error)
    return descriptor


class Beside:
    """What must not hold up the duties: the sign of life for systemd, and the page on the local network."""

    def __init__(self, feeder, clock, port):
        self.feeder = feeder
        self.clock = clock
        self.watchdog = Watchdog(clock)
        self.shown_at = None
        self.page = None
        if port is not None:
            try:
                self.page = StatusPage(port)
            except OSError as error:
                log.error("No status page on port %s: %s", port, error)
        self.watchdog.ready()

    def step(self):
        self.watchdog.alive()
        if self.page is not None and (self.shown_at is None or self.clock() - self.shown_at >= 1.0):
            self.shown_at = self.clock()
            self.page.show(self.feeder.status())


def wired_hardware(name):
    """The keeper's hardware. `name` is what came after --wired. Raises WiringError, and what the keeper's own code raises."""
    module, _, kind = name.partition(":")
    if not module or not kind:
        raise WiringError(f"expected --wired MODULE:CLASS, got {name!r}")
    try:
        own = importlib.import_module(module)
    except ModuleNotFoundError as error:
        if error.name is None or not f"{module}.".startswith(f"{error.name}."):
            raise
        raise WiringError(f"There is no file {module.replace('.', '/')}.py beside agent.py.") from error
    except ImportError as error:  # a package of the distribution that is missing: wiring/packages.py says which
        raise WiringError(str(error)) from error
    make = YourFeeder if name == YOUR_FEEDER else getattr(own, kind, None)
    if make is None:
        classes = ", ".join(found for found, one in vars(own).items() if isinstance(one, type) and one.__module__ == module)
        raise WiringError(f"{module.replace('.', '/')}.py has no class {kind}; it has: {classes or 'none'}.")
    try:
        return make()
    except (NotImplementedError, ImportError) as error:
        if type(error).__name__ != "BadPinFactory":  # of gpiozero, which is not there everywhere
            raise WiringError(str(error)) from error
        raise WiringError("No package reaches this board's pins: install python3-lgpio or python3-rpi.gpio (README.md, Wiring).") from error


class WiringError(ValueError):
    """What the keeper can put right, in words."""


def check_wiring(wired):
    try:
        hardware = wired_hardware(wired) if wired else DryRun()
    except WiringError as error:
        log.error("%s", error)
        return 2
    try:
        is_well = Check(hardware, print, input, time.monotonic, time.sleep).run()
    except (KeyboardInterrupt, EOFError):
        print("\nStopped. The motor is off.")
        is_well = False
    finally:
        hardware.close()
    return 0 if is_well else 1


def connections(address, identity, password="", authority=None):
    """(the report client, where orders and plans come from). `address`: the server, or a broker. Raises ValueError or OSError."""
    parts = urllib.parse.urlsplit(address)
    at_home = parts.hostname in ("localhost", "127.0.0.1", "::1")
    if parts.scheme in ("mqtt", "mqtts"):
        if parts.scheme == "mqtt" and not at_home:
            log.warning("Over plain mqtt everyone on this network can read the broker's password and change orders. Use mqtts wherever you can.")
        client = BrokerClient(address, identity, password, authority)
        return client, client.link
    if parts.scheme not in ("http", "https"):
        raise ValueError("--url must begin with https:// (or http:// at home), --broker with mqtts://")
    if parts.scheme == "http" and not at_home:
        log.warning("Over plain http everyone on this network can read the key. Use https wherever you can.")
    return HttpReportClient(address, identity), LiveLink(address, identity.other())


def main(args):
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s")
    arguments = read_arguments(args)
    if arguments.check:
        return check_wiring(arguments.wired)
    try:
        key = arguments.key_file.read_text().strip()
        if not key:
            raise ValueError(f"The key file {arguments.key_file} is empty.")
        make_folder(arguments.data)
        folder = owned(arguments.data)
        if folder is None:
            raise ValueError(f"Another program already runs this feeder from {arguments.data}.")
        password = "" if arguments.broker_password is None else arguments.broker_password.read_text().strip()
        client, link = connections(arguments.broker or arguments.url, Identity(key, arguments.sign), password, arguments.broker_ca)
    except (OSError, ValueError) as error:
        log.error("%s", error)
        return 2

    try:
        hardware = (
            LineHardware(arguments.lines) if arguments.lines else wired_hardware(arguments.wired) if arguments.wired else DryRun()
        )
    except WiringError as error:
        log.error("%s", error)
        return 2
    stopping = threading.Event()
    for name in (signal.SIGINT, signal.SIGTERM):
        signal.signal(name, lambda *_: stopping.set())
    try:
        stills = None
        if arguments.camera_command is not None:
            stills = Stills(arguments.url, Identity(key, arguments.sign), arguments.data / "stills", arguments.camera_command)
        feeder = Feeder(Store(arguments.data, monotonic), hardware, client, monotonic, link=link, stills=stills)
        log.info("Feeder is up, boot %s%s.", feeder.boot, "" if arguments.wired or arguments.lines else ", dry run: no motor turns")
        beside = Beside(feeder, monotonic, arguments.status)
        try:
            while not stopping.wait(0.02):
                feeder.step()
                beside.step()
        finally:
            feeder.stop()
    finally:
        # Whatever has failed, the motor must not stay on.
        hardware.motor_off()
        hardware.close()
    log.info("Feeder is off.")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
