"""Tells systemd that the program still works, so that one that hangs is started again (sd_notify(3)). Elsewhere it does nothing."""

import os
import socket

EVERY = 10.0  # seconds; the service's WatchdogSec is several times that


class Watchdog:
    def __init__(self, clock, address=None):
        self.clock = clock
        self.address = os.environ.get("NOTIFY_SOCKET") if address is None else address
        self.told_at = None

    def ready(self):
        self._tell("READY=1")

    def alive(self):
        """Called at each step of the loop."""
        now = self.clock()
        if self.told_at is None or now - self.told_at >= EVERY:
            self.told_at = now
            self._tell("WATCHDOG=1")

    def _tell(self, text):
        if not self.address:
            return
        path = "\0" + self.address[1:] if self.address.startswith("@") else self.address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sending:
                sending.sendto(text.encode(), path)
        except OSError:
            pass  # then systemd starts the program again, which is what it is for
