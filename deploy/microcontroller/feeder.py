"""The duties of a feeder on a microcontroller, one step of its loop at a time. Hardware, clock, flash and report client are handed in.

- Each event has a number and the uptime at which it happened. What a press or a cap earns, and the start of its portion, are in flash
  before the motor turns. A portion that a power cut ends is reported as cut short. Nothing that was owed then is paid later.
- A pause stops the motor at once, is in flash before it is confirmed, and holds through power cuts. Nothing of it is paid later.
- Flash and network are used while the motor stands alone: either may take a second, and the motor must not turn on meanwhile.

The report client is HttpReportClient in report.py, or BrokerReports in ../feeder/broker.py.
"""

import json

from answer import NO_PLAN_FIELD, checked, what_counts
from plan import PlanError
from portion import Portion
from stored_plan import progress_of, store_plan, stored_plan
from values import finite, is_number

EVENTS_PER_REPORT, KNOWN_ORDERS_MAX = 40, 8
OWED_MAX = 3  # presses that wait for their portion, and as many caps
BACK_OFF_FIRST, BACK_OFF_MAX = 2_000, 300_000  # ms
STALLS_MAX, HOUR = 3, 3_600_000  # so many stalls in a row, then an hour without the motor
ACTS = {"press": "button", "cap": "detector"}


class Feeder:
    """`chance()`: 0 to 255, by which feeders that became silent together don't return at once."""

    def __init__(self, spool, hardware, client, uptime, chance):
        self.spool, self.hardware, self.client, self.uptime, self.chance = spool, hardware, client, uptime, chance
        self.seq = 0
        self.counts = {"button": 0, "detector": 0, "chute": 0, "perch": 0}
        self.owed = []  # (cause, seq of what it pays)
        self.run = None  # the portion that is being given
        self.urgent = False  # something waits that must be in flash before this step ends
        self.told_at = {}  # by what it is about: when a trouble was told last
        self.motor_off_failed, self.confirm_later = False, None
        self.stalls, self.stalled_at = 0, 0
        self.server_seconds = None  # (seconds since 1970, uptime at which they held)
        self.report_at, self.soon, self.back_off = 0, False, BACK_OFF_FIRST
        self.events_at_once, self.sent = EVENTS_PER_REPORT, None
        self.no_readings_until = None
        self.has_reported = False
        self.air = None
        self._motor_off()  # whatever the last start left behind
        memory = spool.memory
        self.known_orders = memory.get("known", [])
        self.held = memory.get("held")  # {"order", "until"} while paused
        self.plan = stored_plan(spool.flash, memory.get("progress"))
        if spool.in_doubt:
            self.held = {"order": None, "until": None}
            self._trouble("flash", "The flash lost whether a pause was in force, so this feeder stays paused. Resume ends that.")
        self._remember("held", self.held)
        self._remember("known", self.known_orders)
        self._remember("progress", progress_of(self.plan))

    def step(self):
        now = self.uptime.ms()
        self._end_pause_in_time()
        for sensed in self._ask("sensors", self.hardware.poll, []):
            self._sense(*sensed)
        if self.run is None and not self.paused:
            for _ in range(self.plan.due(self._time(), self.air)):
                if self.why_not_run() is None:
                    self.owed.append(("timer", None))
        self._run_motor()
        if self.motor_off_failed and self._motor_off() and self.confirm_later is not None:
            self._confirm_late()
        if self.run is None or self.run.stopped is not None:
            if self.urgent or self.spool.wants_flush(now):
                self._flush()
            self._talk(now)

    @property
    def paused(self):
        return self.held is not None

    # --- sensors ----------------------------------------------------------------------------------------------------

    def _sense(self, kind, *details):
        """Events as the ones of `Hardware.poll` in ../feeder/hardware.py."""
        if kind in ACTS:
            self.counts[ACTS[kind]] += 1
            event = {"kind": "press"}
            if kind == "cap":
                event = {"kind": "deposit", "metal": details[1], "signal": finite(details[0]), "chute": details[2]}
            self._record_act(event)
        elif kind == "perch":
            self.counts["perch"] += 1
            self._write({"kind": "visit"})
        elif kind == "piece":
            self.counts["chute"] += 1
            if self.run is not None:
                self.run.pieces += 1
        elif kind == "lid":
            self._write({"kind": "lid", "open": details[0]})
        elif kind == "filled":
            self._write({"kind": "refill", "grams": finite(details[0]), "full": True})
        else:
            self._write({"kind": "trouble", "words": str(details[0] if kind == "trouble" else kind)[:500]})

    def _record_act(self, event):
        kind = event["kind"]
        waiting = sum(1 for cause, _ in self.owed if cause == kind)
        earns = event.get("metal") is not False and waiting < OWED_MAX and self.why_not_run() is None
        event["earns"] = earns and self.plan.earns(kind, self.uptime.ms() // 1000, self._time())
        seq = self._write(event, is_promise=event["earns"])
        self._remember("progress", progress_of(self.plan), urgent=False)
        if event["earns"]:
            self.owed.append((kind, seq))

    def _ask(self, what, question, otherwise):
        """A loose wire on one sensor must not end feeding, reports and orders."""
        try:
            return question()
        except Exception as error:  # whatever the maker's own code may throw
            self._trouble(what, "The %s can't be read: %r" % (what, error))
            return otherwise

    # --- motor ------------------------------------------------------------------------------------------------------

    def why_not_run(self):
        """None where the motor may turn; otherwise why not. The ration is the plan's part."""
        if self.paused:
            return "the feeder is paused"
        if self.motor_off_failed:
            return "the motor could not be switched off"
        if self.stalls >= STALLS_MAX and self.uptime.ms() - self.stalled_at < HOUR:
            return "the motor stalled %d times in a row and rests for an hour" % STALLS_MAX
        if self.spool.problem is not None:
            return "the flash can't be written: %s" % self.spool.problem
        return None

    def _run_motor(self):
        run, now = self.run, self.uptime.ms()
        if run is None:
            if self.owed:
                self._start_run(*self.owed.pop(0))
        elif run.stopped is None:
            current = finite(self._ask("motor current", self.hardware.motor_milliamps, None))
            run.measure(current)
            stalled = run.is_stalled(current, self.hardware.stall_milliamps, now)
            if stalled or now - run.started >= self.hardware.portion_ms:
                self.stalls, self.stalled_at = (self.stalls + 1, now) if stalled else (0, now)
                if self._motor_off():
                    run.stopped = self.uptime.ms()
                else:
                    self._abandon_run()
        elif run.has_settled(now):
            self._finish_run()

    def _start_run(self, cause, pays_for):
        """In flash first: the promise, the start of its portion as it is reported if a power cut ends it, and the ration."""
        begun = {"kind": "portion", "cause": cause, "paysFor": pays_for, "motorMs": None, "cutShort": True}
        why_not = self.why_not_run()
        if why_not is None:
            seq = self._write(begun, is_promise=True)
            self.plan.count(1, self._time())
            self._remember("progress", progress_of(self.plan))
            if not self._flush(may_begin=True):
                self.spool.forget(seq)
                why_not = self.why_not_run()
        if why_not is not None:
            left, self.owed = len(self.owed) + 1, []
            self._trouble("portion", "Portions left out: %d, since %s." % (left, why_not))
            return
        self.run = Portion(seq, begun, self.uptime.ms())  # after flash has taken its time
        try:
            self.hardware.motor_on()
        except Exception as error:  # whatever the maker's own code may throw
            self._trouble("motor", "The motor could not be switched on: %r" % (error,))
            self._motor_off()
            self._abandon_run()

    def _abandon_run(self):
        """How long the motor turned is unknown: what flash has already says all, and is reported."""
        self.run = None

    def _finish_run(self):
        run, self.run = self.run, None
        event = run.event(self.uptime.ms(), self.hardware.has_chute_sensor)
        self._write(event, is_promise=True, seq=run.seq, at=run.started)
        # At once: a power cut before it is written would report a portion as cut short that the server may have as whole.
        self._flush(may_begin=False)

    def _motor_off(self):
        """Whether it could be switched off; if not, it is tried again at each step."""
        try:
            self.hardware.motor_off()
        except Exception as error:  # whatever the maker's own code may throw
            self.motor_off_failed = True
            self._trouble("motor", "The motor could not be switched off: %r" % (error,))
            return False
        self.motor_off_failed = False
        return True

    def _confirm_late(self):
        order, self.confirm_later = self.confirm_later, None
        if self.held is not None and self.held["order"] == order:
            self._answer_order(order, "done", None)

    # --- orders and plan --------------------------------------------------------------------------------------------

    def _take_orders(self, orders, server_time):
        """The newest counts, and a repeat changes nothing. Motor first, then flash, then the report."""
        new = [order for order in orders if order["id"] not in self.known_orders]
        if not new:
            return
        newest = new[-1]
        outcome, problem = "done", None
        if newest["kind"] == "pause" and newest["until"] is not None and newest["until"] <= server_time:
            self.held, outcome, problem = None, "refused", "The pause had ended before it arrived."
        elif newest["kind"] == "pause":
            self.held = {"order": newest["id"], "until": newest["until"]}
        elif newest["kind"] == "resume":
            self.held = None
        else:
            outcome, problem = "refused", "This feeder knows no order of kind %s." % newest["kind"]
        if newest["kind"] in ("pause", "resume"):
            self.confirm_later, self.stalls = None, 0  # somebody has looked at it
        if self.paused and not self._stop_for_pause() and newest["kind"] == "pause":
            outcome, problem = "refused", "No more portions are given, but the motor could not be switched off."
            self.confirm_later = newest["id"]
        self.known_orders = (self.known_orders + [order["id"] for order in new])[-KNOWN_ORDERS_MAX:]
        self._remember("known", self.known_orders)
        self._remember("held", self.held)
        self._answer_order(newest["id"], outcome, problem)
        if not self._flush() and self.paused:
            self._trouble("pause", "A power cut would end this pause, since the flash can't be written: %s" % self.spool.problem)

    def _stop_for_pause(self):
        """Whether the motor stands."""
        self.owed = []
        stands = self._motor_off()
        if self.run is not None:
            self._finish_run() if stands else self._abandon_run()
        return stands

    def _answer_order(self, order, outcome, problem):
        self._write({"kind": "order", "order": order, "outcome": outcome, "problem": problem}, is_promise=True)
        self._report_soon()

    def _end_pause_in_time(self):
        """Without knowing the time a feeder stays paused: that is the safe side."""
        until, time = None if self.held is None else self.held["until"], self._time()
        if until is not None and time is not None and time >= until:
            self.held = None
            self._remember("held", None)

    def _take_plan(self, plan):
        """Whether another plan is in force now. One that can't be used is told, and the one before stays in force."""
        try:
            if not (self.plan.drop() if plan is None else self.plan.take(plan, self._time())):
                return False
            store_plan(self.spool.flash, self.plan)
        except (PlanError, OSError) as error:
            self._trouble("plan", "The feeding plan can't be used or stored: %s" % error)
            return False
        self._remember("progress", progress_of(self.plan))
        return True

    # --- reporting --------------------------------------------------------------------------------------------------

    def _talk(self, now):
        self.client.step()
        outcome = self.client.take()
        if outcome is not None:
            (boot, seqs, with_readings), self.sent = self.sent, None
            self._outcome(outcome[0], outcome[1], boot, seqs, with_readings)
        frame = self.client.take_frame()
        if frame is not None:
            self._take_frame(frame)
        if self.uptime.ms() >= self.report_at and not self.client.busy:
            self.soon = False
            self._report(now)

    def _take_frame(self, frame):
        """What waited at a broker. Without the time, or after it was away, the next answer is the one to ask for."""
        now = self._time()
        if now is None or frame.get("connected"):
            self._report_soon()
            return
        orders, plan = what_counts(frame, now)
        if plan is not NO_PLAN_FIELD and self._take_plan(plan):
            self._report_soon()
        self._take_orders(orders, now)

    def _report_soon(self):
        """Also where a report is under way: it was made before what is to be reported."""
        self.report_at, self.soon = self.uptime.ms(), True

    def _report(self, now):
        if self.spool.lost:
            lost, self.spool.lost = self.spool.lost, 0
            self._write({"kind": "trouble", "words": "Memory was full or damaged: %d old events are lost." % lost})
        # A start says first how it stands, paused above all; then what earlier starts left behind.
        greets = not self.has_reported and self.spool.first_boot() not in (None, self.spool.boot)
        before = None if self.run is None else self.run.seq
        oldest = None if greets else self.spool.oldest(self.events_at_once, before)
        boot, events = (self.spool.boot, []) if oldest is None else oldest
        is_own = boot == self.spool.boot
        with_readings = is_own and (self.no_readings_until is None or now >= self.no_readings_until)
        head = {"boot": boot, "sentUptimeMs": self.uptime.ms() if is_own else None}
        if is_own:
            head["readings"] = self._readings(with_readings)
        body = json.dumps(head)[:-1] + ', "events": [' + ", ".join(text for _, text in events) + "]}"
        self.sent = boot, [seq for seq, _ in events], with_readings
        self.client.send(body.encode())

    def _readings(self, with_measured):
        readings = self._ask("readings", self.hardware.read, {}) if with_measured else {}
        readings = {name: value for name, value in readings.items() if is_number(value)}
        self.air = readings.get("airCelsius")
        readings.update(spooled=self.spool.waiting(), paused=self.paused, planVersion=self.plan.version)
        if with_measured:
            readings["counts"] = {name: self.counts[name] for name in self.hardware.counted}
        return readings

    def _outcome(self, kind, answer, boot, seqs, with_readings):
        if kind == "answered":
            try:
                answer = checked(answer)
            except (ValueError, KeyError, TypeError) as error:  # a captive portal answers 200, too
                kind, answer = "unreachable", repr(error)
        if kind == "answered":
            self._answered(answer, boot, seqs)
            return
        if kind == "unreadable" and with_readings:
            self.no_readings_until = self.uptime.ms() + HOUR  # they may be the cause, and no event is dropped for them
            self._trouble("report", "The server could not read a report; its readings are left out for an hour: %s" % answer)
        elif kind in ("unreadable", "tooMuch") and len(seqs) > 1:
            self.events_at_once = max(1, len(seqs) // 2)
        elif kind in ("unreadable", "tooMuch") and len(seqs) == 1:
            self._give_up(boot, seqs[0], answer)
        self._later(answer if kind == "tooOften" else None)

    def _give_up(self, boot, seq, problem):
        self.spool.drop(boot, seq)
        self._write({"kind": "trouble", "words": ("The server did not take event %d of %s: %s" % (seq, boot, problem))[:500]})

    def _answered(self, answer, boot, seqs):
        self.has_reported = self.has_reported or boot == self.spool.boot
        self.server_seconds = answer["serverTime"], self.uptime.ms()
        through, refused = answer["storedThrough"], answer["refused"]
        gone = [seq for seq in seqs if through is not None and seq <= through]
        if gone:
            self.spool.confirm(boot, gone[-1])  # nothing is removed that was not sent
        elif seqs and seqs[0] in refused:
            self._give_up(boot, seqs[0], refused[seqs[0]])
        has_new_plan = answer["plan"] is not NO_PLAN_FIELD and self._take_plan(answer["plan"])
        if seqs and not gone:
            self._later(None)  # the server answers, but stores nothing
        else:
            self.back_off = BACK_OFF_FIRST
            more = has_new_plan or self.soon or boot != self.spool.boot
            more = more or (self.run is None and self.spool.waiting() > 0)
            self.events_at_once = min(EVENTS_PER_REPORT, 2 * self.events_at_once)
            self.report_at = self.uptime.ms() + (500 if more else answer["next_ms"])
        self._take_orders(answer["orders"], answer["serverTime"])

    def _later(self, seconds):
        wait = self.back_off if seconds is None else 1000 * seconds
        self.report_at = self.uptime.ms() + wait + wait * self.chance() // 1024
        self.back_off = min(BACK_OFF_MAX, 2 * self.back_off)

    # --- time, events and flash -------------------------------------------------------------------------------------

    def _time(self):
        """Whole seconds since 1970 by the server's clock, or None while this start has not heard from it."""
        if self.server_seconds is None:
            return None
        seconds, at = self.server_seconds
        return seconds + (self.uptime.ms() - at) // 1000

    def _write(self, content, is_promise=False, seq=None, at=None):
        """Into RAM; a promise is to be in flash before the step ends. Returns its number."""
        if seq is None:
            self.seq += 1
            seq = self.seq
        now = self.uptime.ms()
        event = dict(content)
        event.update(seq=seq, uptimeMs=now if at is None else at)
        self.spool.add(seq, json.dumps(event), is_promise, now)
        self.urgent = self.urgent or is_promise
        return seq

    def _remember(self, name, value, urgent=True):
        self.spool.remember(name, value)
        self.urgent = self.urgent or urgent

    def _flush(self, may_begin=None):
        self.urgent = False
        return self.spool.flush(self.uptime.ms(), self.run is None if may_begin is None else may_begin)

    def _trouble(self, about, words):
        """Told once an hour, or one bad contact would fill the flash."""
        now = self.uptime.ms()
        if about not in self.told_at or now - self.told_at[about] > HOUR:
            self.told_at[about] = now
            self._write({"kind": "trouble", "words": words[:500]})
