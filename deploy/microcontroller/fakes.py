"""A board, its flash, a network and a server, made up for the tests. Not needed on the board."""

import json

from clock import Uptime
from feeder import Feeder
from identity import Identity
from report import HttpReportClient
from spool import Flash, Spool

PERIOD = 2**30  # ticks, then the counter begins again, as on most ports


class PowerCut(BaseException):
    """Caught by nothing in the program."""


class FakeFlash:
    """`power_for`: after so many more written bytes the power fails; a file keeps what it got until then."""

    def __init__(self):
        self.files = {}
        self.power_for, self.fails, self.writes_half = None, False, False
        self.log = []  # shared with the board: what was written, switched and sent, in order

    def names(self):
        return sorted(self.files)

    def read(self, name):
        if name not in self.files:
            raise OSError(2)
        return self.files[name]

    def append(self, name, data):
        written = self._write(data)
        if self.writes_half:
            written = written[: len(data) // 2]
        self.files[name] = self.files.get(name, b"") + written
        if self.writes_half:
            raise OSError(5)
        self._end(written, data)

    def replace(self, name, data):
        written = self._write(data)
        self._end(written, data)
        self.files[name] = data

    def remove(self, name):
        if self.fails:
            raise OSError(5)
        del self.files[name]

    def _write(self, data):
        if self.fails:
            raise OSError(5)
        self.log.append(("flash", data))
        if self.power_for is None:
            return data
        written = data[: self.power_for]
        self.power_for -= len(written)
        return written

    def _end(self, written, data):
        if len(written) < len(data):
            raise PowerCut()

    def size(self):
        return sum(len(one) for one in self.files.values())


class FakeBoard:
    portion_ms = 900
    stall_milliamps = 600
    has_chute_sensor = True
    counted = ("button", "detector", "chute", "perch")

    def __init__(self, log):
        self.log, self.sensed, self.readings = log, [], {}
        self.is_on, self.milliamps, self.off_fails = False, 240, False

    def poll(self):
        sensed, self.sensed = self.sensed, []
        return sensed

    def read(self):
        return self.readings

    def motor_on(self):
        self.is_on = True
        self.log.append(("on",))

    def motor_off(self):
        if self.off_fails:
            raise OSError("the pin is stuck")
        if self.is_on:
            self.log.append(("off",))
        self.is_on = False

    def motor_milliamps(self):
        return self.milliamps


class FakeServer:
    """As much of the server as a feeder meets. It refuses what it has already under another content."""

    def __init__(self):
        self.stored = {}  # (boot, seq): event
        self.conflicts, self.reports = [], []
        self.orders, self.plan = [], None
        self.epoch = 1_768_467_600  # 2026-01-15T09:00:00Z, at uptime_ms 0
        self.now_ms = 0

    def answer(self, report):
        self.reports.append(report)
        for event in report["events"]:
            name = report["boot"], event["seq"]
            if name in self.stored and self.stored[name] != event:
                self.conflicts.append((self.stored[name], event))
            self.stored.setdefault(name, event)
        readings = report.get("readings")
        if readings is not None and self.orders:
            newest = self.orders[-1]
            if readings["paused"] == (newest["kind"] == "pause") and self.outcome_of(newest["id"]):
                self.orders = []
        answer = {
            "storedThrough": report["events"][-1]["seq"] if report["events"] else None,
            "duplicates": 0,
            "refused": [],
            "unknown": [],
            "serverTime": iso(self.epoch + self.now_ms // 1000),
            "nextReportSeconds": 60,
            "orders": self.orders,
        }
        if readings is not None and self.plan is not None and readings["planVersion"] != self.plan["version"]:
            answer["plan"] = self.plan
        return answer

    def outcome_of(self, order):
        found = [one["outcome"] for one in self.of_kind("order") if one["order"] == order]
        return found[0] if found else None

    def of_kind(self, kind):
        return [self.stored[name] for name in sorted(self.stored) if self.stored[name]["kind"] == kind]

    def words(self):
        return " | ".join(one["words"] for one in self.of_kind("trouble"))


class FakeClient:
    """`way`: what becomes of a report: through, lost (it never arrives), answerLost, or an outcome to give instead."""

    def __init__(self, server, log):
        self.server, self.log, self.way = server, log, "through"
        self.busy, self.outcome, self.frame = False, None, None

    def send(self, body):
        self.busy, report = True, json.loads(body)
        self.log.append(("sent", report))
        if self.way in ("through", "answerLost"):
            self.outcome = "answered", json.loads(json.dumps(self.server.answer(report)))
        if self.way in ("lost", "answerLost"):
            self.outcome = "unreachable", "no answer"
        if isinstance(self.way, tuple):
            self.outcome = self.way

    def step(self):
        pass

    def take_frame(self):
        frame, self.frame = self.frame, None
        return frame

    def take(self):
        outcome, self.outcome = self.outcome, None
        self.busy = self.busy and outcome is None
        return outcome


class World:
    """One feeder with all that is around it. `restart` is a power cut: all but flash and server is new."""

    def __init__(self):
        self.flash, self.server, self.starts = FakeFlash(), FakeServer(), 0
        self.log, self.ticks, self.total_ms = self.flash.log, PERIOD - 5_000, 0  # the counter wraps around soon
        self.way = "through"
        self.restart()

    def restart(self):
        self.starts += 1
        self.board = FakeBoard(self.log)
        self.client = FakeClient(self.server, self.log)
        self.client.way = self.way
        self.uptime = Uptime(lambda: self.ticks, ticks_diff)
        self.spool = Spool(self.flash, "b-%d" % self.starts)
        self.feeder = Feeder(self.spool, self.board, self.client, self.uptime, lambda: 0)

    def run(self, ms, step=50):
        for _ in range(max(1, ms // step)):
            self.ticks = (self.ticks + step) % PERIOD
            self.total_ms += step
            self.server.now_ms = self.total_ms
            self.feeder.step()

    def set_way(self, way):
        self.way = self.client.way = way

    def sense(self, *event):
        self.board.sensed.append(event)

    def cap(self):
        self.sense("cap", 0.8, True, True)

    def order(self, name, kind, until=None):
        self.server.orders = self.server.orders + [{"id": name, "kind": kind, "until": until}]

    def times_on(self):
        return sum(1 for one in self.log if one[0] == "on")

    def settle(self):
        """Until all that waits has reached the server."""
        self.set_way("through")
        for _ in range(60):
            self.run(10_000)
            if self.spool.waiting() == 0 and not self.server.orders:
                return
        raise AssertionError("%d events still wait" % self.spool.waiting())


def ticks_diff(a, b):
    return ((a - b + PERIOD // 2) % PERIOD) - PERIOD // 2


def iso(seconds):
    """2026-01-15 and the days after it, which is all that the tests use."""
    day, rest = divmod(seconds - 1_768_435_200, 86_400)
    return "2026-01-%02dT%02d:%02d:%02dZ" % (15 + day, rest // 3600, rest // 60 % 60, rest % 60)


def equal(got, wanted):
    if got != wanted:
        raise AssertionError("expected %r, got %r" % (wanted, got))


def holds(text, part):
    if part not in text:
        raise AssertionError("expected %r in %r" % (part, text))


class Wire:
    """A network whose bytes somebody outside carries. `come`: pieces for the feeder, b"" ends it."""

    def __init__(self):
        self.sent, self.come = b"", []

    def open(self, host, port, is_tls):
        self.sent, self.come = b"", []
        return self

    def write(self, data):
        self.sent += data
        return len(data)

    def read(self, most):
        if not self.come:
            return None
        piece = self.come.pop(0)
        if len(piece) > most:
            self.come.insert(0, piece[most:])
        return piece[:most]

    def close(self):
        self.sent = b""

    def request(self):
        """A whole request that waits to be carried, once."""
        head, separator, body = self.sent.partition(b"\r\n\r\n")
        if not separator or len(body) < int(head.split(b"Content-Length: ")[1].split(b"\r\n")[0]):
            return None
        whole, self.sent = self.sent, b""
        return whole


class Rig:
    """A feeder with the files of a real folder, for a server outside of this interpreter."""

    def __init__(self, boot, key, feeder_id=None):
        self.ticks, self.wire, log = 0, Wire(), []
        self.log = log
        self.board = FakeBoard(log)
        uptime = Uptime(lambda: self.ticks, ticks_diff)
        client = HttpReportClient("http://127.0.0.1:8080", Identity(key, feeder_id), self.wire, uptime)
        self.feeder = Feeder(Spool(Flash("/events"), boot), self.board, client, uptime, lambda: 0)

    def run(self, ms, step):
        """As JSON: how many ms it ran until it has something to send, or until the end, and the request that is to be carried."""
        for ran in range(step, ms + 1, step):
            self.ticks = (self.ticks + step) % PERIOD
            self.feeder.step()
            request = self.wire.request()
            if request is not None:
                return json.dumps([ran, request.decode()])
        return json.dumps([ms, None])

    def respond(self, text):
        self.wire.come = [text.encode(), b""]

    def sense(self, *event):
        self.board.sensed.append(event)

    def state(self):
        return json.dumps(
            {
                "isOn": self.board.is_on,
                "timesOn": sum(1 for one in self.log if one[0] == "on"),
                "paused": self.feeder.paused,
                "waiting": self.feeder.spool.waiting(),
                "planVersion": self.feeder.plan.version,
            }
        )
