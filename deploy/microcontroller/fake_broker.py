"""A feeder that reports over a broker outside of this interpreter, for the tests. Not needed on the board."""

import binascii
import json

from broker import BrokerReports
from clock import Uptime
from fakes import PERIOD, FakeBoard, ticks_diff
from feeder import Feeder
from identity import Identity
from spool import Flash, Spool


class Line:
    """A stream whose bytes somebody outside carries, both ways."""

    def __init__(self):
        self.opened, self.sent, self.come, self.has_ended = 0, b"", b"", False

    def open(self):
        self.opened += 1
        self.sent, self.come, self.has_ended = b"", b"", False
        return self

    def write(self, data):
        self.sent += data
        return len(data)

    def read(self, most):
        data, self.come = self.come[:most], self.come[most:]
        return data or (b"" if self.has_ended else None)

    def close(self):
        self.has_ended = True


class BrokerRig:
    def __init__(self, boot, key, feeder_id, password):
        self.ticks, self.line, self.log, self.told = 0, Line(), [], []
        self.board = FakeBoard(self.log)
        uptime = Uptime(lambda: self.ticks, ticks_diff)
        login = feeder_id, password
        self.client = BrokerReports(self.line.open, Identity(key, feeder_id), login, uptime, lambda: 0, self.told.append)
        self.feeder = Feeder(Spool(Flash("/events"), boot), self.board, self.client, uptime, lambda: 0)

    def run(self, ms, step):
        """As JSON: how many connections were opened until now, and what the newest is to carry, in hexadecimal."""
        for _ in range(ms // step):
            self.ticks = (self.ticks + step) % PERIOD
            self.feeder.step()
        sent, self.line.sent = self.line.sent, b""
        return json.dumps([self.line.opened, binascii.hexlify(sent).decode()])

    def carry(self, text, has_ended):
        self.line.come += binascii.unhexlify(text)
        self.line.has_ended = self.line.has_ended or has_ended

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
                "told": self.told,
            }
        )
