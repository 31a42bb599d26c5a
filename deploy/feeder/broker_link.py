"""The agent's reports over a broker: the connection runs on a thread of its own, since the motor must not wait for the network."""

import json
import logging
import queue
import random
import select
import socket
import ssl
import threading
import time
import urllib.parse

from broker import BrokerReports
from report_client import ANSWER_BYTES_MAX, ReportClient, checked

log = logging.getLogger("feeder.broker")

CONNECT_WITHIN = 15.0  # seconds
CHUNK = 16_384  # octets
WAIT = 0.05  # seconds; what arrives meanwhile ends the wait


class BrokerClient(ReportClient):
    """`address`: mqtts://broker.example:8883, or mqtt: at home; before the host the user's name and an @ where it isn't the feeder's id.

    `authority`: a file with the certificates that sign the broker's; None: those that the system trusts. Raises ValueError where the
    address is none, and OSError or ssl.SSLError where the file can't be read.
    """

    def __init__(self, address, identity, password, authority=None, clock=time.monotonic):
        super().__init__(clock)
        self.network = Network(address, authority)
        if identity.feeder is None:
            raise ValueError("over a broker a report is signed, with the feeder's id")
        login = (self.network.user or identity.feeder, password)
        limits = {"packet_max": ANSWER_BYTES_MAX, "chunk": CHUNK}
        uptime, chance = Uptime(clock), lambda: random.randrange(256)
        self.reports = BrokerReports(self.network.open, identity, login, uptime, chance, log.warning, **limits)
        self.inbox = queue.Queue()
        self.link = Frames()
        self.stopping = threading.Event()
        threading.Thread(target=self._run, daemon=True).start()

    def _begin(self, report, attempt):
        self.inbox.put((report, attempt))

    def close(self):
        """The broker then tells the last will."""
        self.stopping.set()

    def _run(self):
        under_way = None
        while not self.stopping.is_set():
            try:
                under_way = self._step(under_way)
            except Exception as error:  # the loop must get an outcome, or it would wait for this answer for ever
                log.exception("The broker's connection failed")
                if under_way is not None:
                    self.outcomes.put((under_way[1], ("unreachable", under_way[0], repr(error))))
                under_way = None
                time.sleep(1.0)
        self.reports.mqtt.close()

    def _step(self, under_way):
        """The report under way and its attempt, or None."""
        while not self.inbox.empty():
            under_way = self.inbox.get_nowait()  # the newest: one before was given up
            self.reports.send(json.dumps(under_way[0], allow_nan=False).encode())
        self.reports.step()
        outcome = self.reports.take()
        if outcome is not None and under_way is not None:
            report, attempt = under_way
            self.outcomes.put((attempt, (outcome[0], report, outcome[1]) if outcome[0] != "answered" else answered(report, outcome[1])))
            under_way = None
        frame = self.reports.take_frame()
        if frame is not None:
            self.link.put(frame)
        if self.inbox.empty() and not self.reports.mqtt.has_moved:
            self.network.wait(WAIT)
        return under_way


def answered(report, answer):
    try:
        return "answered", report, checked(answer)
    except (ValueError, KeyError, TypeError, OverflowError) as error:
        return "unreachable", report, f"{type(error).__name__}: {error}"


class Frames:
    """As the live link has it: `take` returns the next frame as a dict, or None."""

    def __init__(self):
        self.frames = queue.Queue(maxsize=100)

    def put(self, frame):
        if not self.frames.full():  # what is left out comes with the next answer
            self.frames.put(frame)

    def take(self):
        try:
            return self.frames.get_nowait()
        except queue.Empty:
            return None


class Uptime:
    def __init__(self, clock):
        self.clock = clock

    def ms(self):
        return int(self.clock() * 1_000)


class Network:
    """Opens the connection to the one broker."""

    def __init__(self, address, authority=None):
        parts = urllib.parse.urlsplit(address)
        if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or parts.path.strip("/"):
            raise ValueError(f"expected --broker as mqtts://broker.example:8883, got {address!r}")
        if parts.password is not None:
            raise ValueError("--broker: the password belongs into a file (--broker-password)")
        self.host, self.is_secure = parts.hostname, parts.scheme == "mqtts"
        self.port = parts.port or (8883 if self.is_secure else 1883)
        self.user = None if parts.username is None else urllib.parse.unquote(parts.username)
        self.authority = authority
        try:
            self.context = ssl.create_default_context(cafile=authority) if self.is_secure else None
        except OSError as error:
            raise OSError(f"--broker-ca {authority} can't be read as certificates in PEM: {error}") from error
        self.stream = None

    def open(self):
        self.stream = None
        connection = socket.create_connection((self.host, self.port), timeout=CONNECT_WITHIN)
        try:
            if self.context is not None:
                connection = self.context.wrap_socket(connection, server_hostname=self.host)
            connection.setblocking(False)
        except ssl.SSLCertVerificationError as error:
            connection.close()
            by = "an authority that this computer trusts" if self.authority is None else f"the authority in {self.authority}"
            raise OSError(f"the broker's certificate is not signed by {by}, or not for {self.host}: {error.verify_message}") from error
        except BaseException:
            connection.close()
            raise
        self.stream = Stream(connection)
        return self.stream

    def wait(self, seconds):
        """Until something arrives, or the time is over."""
        stream = self.stream
        if stream is None or stream.is_closed:
            time.sleep(seconds)
        elif not stream.has_more():
            select.select([stream.connection], [], [], seconds)


class Stream:
    """A socket as mqtt.py needs it: nothing waits."""

    def __init__(self, connection):
        self.connection = connection
        self.is_closed = False

    def write(self, octets):
        try:
            return self.connection.send(octets)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return None

    def read(self, most):
        try:
            return self.connection.recv(most)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return None

    def has_more(self):
        """What TLS has decrypted already; the socket doesn't show it."""
        return isinstance(self.connection, ssl.SSLSocket) and self.connection.pending() > 0

    def close(self):
        self.is_closed = True
        self.connection.close()
