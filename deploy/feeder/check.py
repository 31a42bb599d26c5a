"""Walks through the wiring by hand, without a server: each reading, each sensor, then one turn of the motor.

    python3 agent.py --check --wired

Stop the feeder's program first, since both would read the same pins. Nothing is stored and nothing is reported.
"""

from values import is_number

SENSED_WITHIN = 30.0  # seconds to do what is asked
QUIET_FOR = 10.0  # seconds in which nobody touches anything
POLL_EVERY = 0.02
AFTER_MOTOR = 0.6  # seconds until the last piece has passed the chute sensor
STILL_TURNS = 0.2  # share of its running current: a motor that is off draws less

SENSORS = {  # what poll() names it, and what to do
    "button": ("press", "Press the button."),
    "perch": ("perch", "Touch the perch as a bird does."),
    "detector": ("cap", "Drop a bottle cap into the slot."),
    "chute": ("piece", "Drop a piece of food past the chute sensor."),
}


class Check:
    """`say` shows a line, `ask` shows one and returns what was typed; clock (seconds) and sleep are passed in."""

    def __init__(self, hardware, say, ask, clock, sleep):
        self.hardware = hardware
        self.say = say
        self.ask = ask
        self.clock = clock
        self.sleep = sleep
        self.problems = []

    def run(self):
        """Whether nothing was found wrong. The motor is off at the end, whatever happens."""
        try:
            self.hardware.motor_off()
            self._quiet()
            self._readings()  # after the quiet, in which slow sensors have had the time to measure
            for name in self.hardware.counted:
                self._sensor(name)
            if "detector" in self.hardware.counted:
                self._no_metal()
            self._motor()
        finally:
            self.hardware.motor_off()
        self.say("")
        if not self.problems:
            self.say("Nothing found wrong. What was skipped is not known.")
            return True
        self.say("To be looked at:")
        for problem in self.problems:
            self.say(f"- {problem}")
        return False

    def _problem(self, text):
        self.problems.append(text)
        self.say(f"  {text}")

    def _readings(self):
        readings = self.hardware.read()
        self.say("Readings:" if readings else "Readings: none. That is fine for a feeder without such sensors.")
        for name, value in readings.items():
            if value is None:
                self._problem(f"{name}: nothing measured")
            elif not is_number(value):
                self._problem(f"{name}: {value!r} is no number")
            else:
                self.say(f"  {name}: {value}")

    def _sensed(self, seconds, wanted=None):
        """All that was sensed in so many seconds, or until something of the wanted kind came."""
        sensed, end = [], self.clock() + seconds
        while self.clock() < end:
            new = self.hardware.poll()
            sensed += new
            for event in new:
                if event[0] == "trouble":
                    self.say(f"  Trouble: {event[1]}")
            if any(event[0] == wanted for event in new):
                break
            self.sleep(POLL_EVERY)
        return sensed

    def _quiet(self):
        self.say(f"\nTouch nothing for {QUIET_FOR:.0f} seconds.")
        sensed = self._sensed(QUIET_FOR)
        if sensed:
            self._problem(f"sensed though nobody touched anything: {counted(sensed)}")
        else:
            self.say("  Quiet.")

    def _sensor(self, name):
        kind, request = SENSORS[name]
        self.say(f"\n{request} ({SENSED_WITHIN:.0f} seconds)")
        sensed = self._sensed(SENSED_WITHIN, kind)
        found = [event for event in sensed if event[0] == kind]
        others = [event for event in sensed if event[0] != kind]
        if not found:
            self._problem(f"{name}: not sensed")
        elif kind == "cap":
            self._cap(*found[0][1:])
        else:
            self.say("  Sensed.")
        if others:
            self._problem(f"{name}: something else was sensed with it: {counted(others)}")

    def _cap(self, strength, metal, beam):
        said = ["metal" if metal else "no metal" if metal is False else "metal or not is unknown"]
        said += [] if strength is None else [f"signal {strength:.2f} of 1"]
        said += [] if beam is None else ["the beam saw it fall" if beam else "the beam saw nothing fall"]
        self.say(f"  Sensed: {', '.join(said)}.")
        if metal is False:
            self._problem("detector: took a cap for no metal")
        if beam is False:
            self._problem("detector: its beam saw nothing fall")

    def _no_metal(self):
        self.say(f"\nDrop something without metal, such as a piece of bark. ({SENSED_WITHIN:.0f} seconds; or wait)")
        caps = [event for event in self._sensed(SENSED_WITHIN, "cap") if event[0] == "cap"]
        if any(metal for _, _, metal, _ in caps):
            self._problem("detector: took something without metal for a cap")
        else:
            self.say("  Not taken for a cap." if caps else "  Nothing sensed, which earns nothing either.")

    def _motor(self):
        seconds = self.hardware.portion_seconds
        self.say(f"\nThe motor turns for {seconds} seconds. Take hands and tools out of tray and hopper.")
        if self.ask("Type yes to turn it, anything else to skip: ").strip().lower() != "yes":
            self.say("  Skipped.")
            return
        currents, pieces = [], 0
        try:
            self.hardware.motor_on()
            end = self.clock() + seconds
            while self.clock() < end:
                current = self.hardware.motor_milliamps()
                currents += [] if current is None else [current]
                pieces += sum(1 for event in self.hardware.poll() if event[0] == "piece")
                self.sleep(POLL_EVERY)
        finally:
            self.hardware.motor_off()
        pieces += sum(1 for event in self._sensed(AFTER_MOTOR) if event[0] == "piece")
        self._motor_result(currents, pieces, self.hardware.motor_milliamps())

    def _motor_result(self, currents, pieces, afterwards):
        limit = self.hardware.stall_milliamps
        if currents:
            mean = sum(currents) / len(currents)
            self.say(f"  It drew {mean:.0f} mA on average, {max(currents):.0f} mA at most.")
            if limit is not None and mean > limit:
                self._problem(f"motor: draws more than the {limit:.0f} mA at which it counts as stalled")
            if afterwards is not None and mean > 0 and afterwards > STILL_TURNS * mean:
                self._problem(f"motor: still draws {afterwards:.0f} mA after it was switched off. Unplug it.")
            if mean <= 0:
                self._problem("motor: drew no current. Is its wire on?")
        if self.hardware.has_chute_sensor:
            self.say(f"  {pieces} pieces fell past the chute sensor.")
            if pieces == 0:
                self._problem("chute: saw nothing fall. Is there food on the tray?")
        if not currents and not self.hardware.has_chute_sensor:
            self.say("  Only you can see whether it turned: neither its current nor what falls is measured.")


def counted(events):
    kinds = [event[0] for event in events]
    return ", ".join(f"{kind} {kinds.count(kind)} times" if kinds.count(kind) > 1 else f"{kind} once" for kind in dict.fromkeys(kinds))
