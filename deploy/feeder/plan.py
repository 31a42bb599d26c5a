"""What the keeper's feeding plan lets this feeder give, and when: free food at its times, and what a press or a cap earns.

The plan comes from the server, a list of days of which each stands for itself, and is kept on the card: the feeder carries it out
without a network until its last day. It needs the time for free food only. After a power cut, a board without a clock of its own gives
no free food until it has heard the time from the server, and says so; a press and a cap are paid all the same.

Nothing here touches the motor or the card: `agent.py` asks, stores what has changed, and gives.
"""

from values import is_number

LATE_AT_MOST = 600.0  # seconds: free food that was missed for longer is not made up for, or it would all come at once
PORTIONS_AT_ONCE_MAX = 10  # whatever a plan says
RATIO_MAX = 100  # acts a portion, whatever a plan says
DAYS_MAX, TIMES_MAX = 21, 96  # so that each plan fits beside the rest of the state on the card
EARNING = ("press", "deposit")
NO_DAY = {"from": 0, "free": [], "frost": []}


class PlanError(ValueError):
    """The plan can't be carried out. The text names the field."""


class FeedingPlan:
    """`memory` is what must survive a power cut: a small dict, changed here and stored by the caller before the motor starts."""

    def __init__(self, memory=None):
        self.memory = memory if memory is not None else {"plan": None, "day": None, "given": 0, "free": 0, "frost": 0, "acts": {}}

    @property
    def version(self):
        return None if self.memory["plan"] is None else self.memory["plan"]["version"]

    def take(self, plan, now=None):
        """Whether it is another plan than the stored one, which it then replaces. What was given today still counts.

        Raises PlanError, and the stored plan stays in force.
        """
        plan = checked(plan)
        if plan["version"] == self.version:
            return False
        rules_before = None if self.memory["plan"] is None else [self.memory["plan"][kind] for kind in EARNING]
        self.memory["plan"] = plan
        if [plan[kind] for kind in EARNING] != rules_before:
            self.memory["acts"] = {}
        self._today(now)
        self.memory.update(free=0, frost=0)
        if now is not None:
            # What has passed belonged to the plan before, and mostly is in both.
            for name in ("free", "frost"):
                self._pass_times(self._today(now) or NO_DAY, name, now)
        return True

    def drop(self):
        """Whether there was a plan. Without one, each press and each cap is paid, and nothing is free."""
        had_one = self.memory["plan"] is not None
        self.memory.update(plan=None, acts={})
        return had_one

    # --- free food --------------------------------------------------------------------------------------------------

    def due(self, now, air_celsius=None):
        """How many portions of free food are to be given now, and takes their times as done. `now`: epoch seconds, or None."""
        day = self._today(now)
        if day is None:
            return 0
        portions = self.memory["plan"]["portionsEach"] * self._pass_times(day, "free", now)
        portions = min(portions, max(0, day["portionsMax"] - self.memory["given"]))
        below = self.memory["plan"]["frostBelowCelsius"]
        cold = self._pass_times(day, "frost", now)
        if below is not None and air_celsius is not None and air_celsius < below:
            portions += cold  # whatever the ration says
        return min(portions, PORTIONS_AT_ONCE_MAX)

    def _pass_times(self, day, name, now):
        """How many of the day's times have come since the last call, without those that were missed."""
        times, passed = day[name], self.memory[name]
        come = passed
        while come < len(times) and day["from"] + times[come] <= now:
            come += 1
        self.memory[name] = come
        return sum(1 for time in times[passed:come] if now - (day["from"] + time) <= LATE_AT_MOST)

    def waits_for_time(self, now):
        """Whether free food stands still since this board does not know the time."""
        return now is None and self.memory["plan"] is not None and any(day["free"] for day in self.memory["plan"]["days"])

    def is_over(self, now):
        """Whether the last planned day has passed: without a network for so long, no free food is given any more."""
        plan = self.memory["plan"]
        return now is not None and plan is not None and now >= plan["days"][-1]["to"]

    def in_words(self, now):
        if self.memory["plan"] is None:
            return "none: each press and each cap is paid"
        text = f"version {self.version}, {self.memory['given']} portions today"
        if self.waits_for_time(now):
            return text + "; free food waits until the server has told the time"
        return text + "; its last day has passed, so nothing is free" if self.is_over(now) else text

    # --- earned food ------------------------------------------------------------------------------------------------

    def earns(self, kind, uptime, now=None):
        """Whether this press or deposit earns a portion: by its ratio, its least interval and the ration. Counts the act."""
        plan = self.memory["plan"]
        if plan is None:
            return True  # without a plan each act is paid
        rule = plan[kind]
        if rule is None:
            return False
        acts = self.memory["acts"].setdefault(kind, {"done": 0, "next": 0, "paid_at": None})
        paid_at = acts["paid_at"]
        if paid_at is not None and 0 <= uptime - paid_at < rule["betweenSeconds"]:
            return False
        acts["done"] += 1
        if acts["done"] < rule["ratios"][acts["next"] % len(rule["ratios"])]:
            return False
        day = self._today(now)
        if day is not None and self.memory["given"] >= day["portionsMax"]:
            if kind != "deposit" or not plan["paysDepositsOverRation"]:
                return False
        acts.update(done=0, next=acts["next"] + 1, paid_at=uptime)
        return True

    def restarted(self):
        """Uptime begins anew: what was paid before is long enough ago."""
        for acts in self.memory["acts"].values():
            acts["paid_at"] = None

    # --- the ration -------------------------------------------------------------------------------------------------

    def count(self, portions=1, now=None):
        """Portions were begun: they count in today's ration, also those that a power cut ends."""
        self._today(now)
        self.memory["given"] += portions

    def _today(self, now):
        """The planned day of this moment, or None. A new day begins with nothing given."""
        plan = self.memory["plan"]
        if now is None or plan is None:
            return None
        day = _day_with(plan, now)
        if day is not None and day["from"] != self.memory["day"]:
            self.memory.update(day=day["from"], given=0, free=0, frost=0)
        return day


def _day_with(plan, moment):
    return next((day for day in plan["days"] if day["from"] <= moment < day["to"]), None)


# --- what comes from outside ----------------------------------------------------------------------------------------


def checked(plan):
    """The plan with exactly the fields that are used here. Raises PlanError."""
    _need(isinstance(plan, dict), "plan", "must be an object")
    days = plan.get("days")
    _need(isinstance(days, list) and 1 <= len(days) <= DAYS_MAX, "plan.days", f"must be a list of 1 to {DAYS_MAX} days")
    frost = plan.get("frostBelowCelsius")
    _need(frost is None or (is_number(frost) and abs(frost) < 1e12), "plan.frostBelowCelsius", "must be a number or null")
    over = plan.get("paysDepositsOverRation")
    _need(isinstance(over, bool), "plan.paysDepositsOverRation", "must be true or false")
    return {
        "version": _whole(plan.get("version"), 1, 2**53, "plan.version"),
        "portionsEach": _whole(plan.get("portionsEach"), 0, PORTIONS_AT_ONCE_MAX, "plan.portionsEach"),
        "frostBelowCelsius": frost,
        "paysDepositsOverRation": over,
        "days": [_checked_day(day, f"plan.days[{index}]") for index, day in enumerate(days)],
        "press": _checked_rule(plan.get("press"), "plan.press"),
        "deposit": _checked_rule(plan.get("deposit"), "plan.deposit"),
    }


def _checked_day(day, field):
    _need(isinstance(day, dict), field, "must be an object")
    begin = _whole(day.get("from"), 0, 2**40, f"{field}.from")
    end = _whole(day.get("to"), begin + 1, begin + 200_000, f"{field}.to")
    return {
        "from": begin,
        "to": end,
        "portionsMax": _whole(day.get("portionsMax"), 0, 100_000, f"{field}.portionsMax"),
        "free": _checked_times(day.get("free"), end - begin, f"{field}.free"),
        "frost": _checked_times(day.get("frost"), end - begin, f"{field}.frost"),
    }


def _checked_times(times, length, field):
    _need(isinstance(times, list) and len(times) <= TIMES_MAX, field, f"must be a list of at most {TIMES_MAX} seconds")
    times = [_whole(time, 0, length - 1, field) for time in times]
    _need(times == sorted(times), field, "must be in order")
    return times


def _checked_rule(rule, field):
    if rule is None:
        return None
    _need(isinstance(rule, dict), field, "must be an object or null")
    ratios = rule.get("ratios")
    _need(isinstance(ratios, list) and 1 <= len(ratios) <= 100, f"{field}.ratios", "must be a list of 1 to 100 numbers")
    between = rule.get("betweenSeconds")
    _need(is_number(between) and 0 <= between <= 86_400, f"{field}.betweenSeconds", "must be 0 to 86400 seconds")
    return {"ratios": [_whole(ratio, 1, RATIO_MAX, f"{field}.ratios") for ratio in ratios], "betweenSeconds": between}


def _whole(value, least, most, field):
    whole = isinstance(value, int) and not isinstance(value, bool)
    _need(whole and least <= value <= most, field, f"must be a whole number from {least} to {most}")
    return value


def _need(holds, field, problem):
    if not holds:
        raise PlanError(f"{field}: {problem}")
