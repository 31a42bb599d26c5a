"""An open WebSocket to the server (RFC 6455): orders and plans come at once, not with the next answer. Reports go over HTTP all the same.

Nothing depends on it: while it is broken, orders come with the answers, as without it. It runs on a thread of its own, and `take` never waits.
"""

import base64
import hashlib
import json
import logging
import os
import queue
import random
import socket
import ssl
import struct
import threading
import time
import urllib.parse

from identity import Identity

log = logging.getLogger("feeder.link")

GUID = b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11"  # RFC 6455, 1.3
SILENT_MAX = 90.0  # seconds; the server pings every 30
FRAME_MAX = 262_144  # octets
HEAD_MAX = 16_384
RETRY_FIRST, RETRY_MAX = 5.0, 300.0
TEXT, CLOSE, PING, PONG, MORE = 1, 8, 9, 10, 0


class LinkBroken(OSError):
    pass


class Unproven(LinkBroken):
    """The server wants a key, or a signature of the nonce that its text brings."""


def accept_of(key):
    """What the server must answer to the Sec-WebSocket-Key."""
    return base64.b64encode(hashlib.sha1(key + GUID).digest()).decode()


class LiveLink:
    """`take` returns the next frame as a dict, or None."""

    def __init__(self, url, key, sleep=time.sleep):
        self.url = urllib.parse.urlsplit(url)
        self.identity = key if isinstance(key, Identity) else Identity(key)
        self.sleep = sleep
        self.frames = queue.Queue(maxsize=100)
        self.stopping = False
        threading.Thread(target=self._run, daemon=True).start()

    def take(self):
        try:
            return self.frames.get_nowait()
        except queue.Empty:
            return None

    def close(self):
        self.stopping = True

    def _run(self):
        wait = RETRY_FIRST
        while not self.stopping:
            began = time.monotonic()
            try:
                with self._connect() as connection:
                    for frame in messages(connection):
                        self._put(frame)
            except (OSError, ValueError) as error:
                log.debug("The live link ended: %s", error)
            # One that held for a while ended with its server; one that never opened is asked for ever less often.
            wait = RETRY_FIRST if time.monotonic() - began > 60 else min(2 * wait, RETRY_MAX)
            self.sleep(wait * random.uniform(0.5, 1.0))

    def _put(self, text):
        frame = json.loads(text)
        if not isinstance(frame, dict):
            raise ValueError("expected an object")
        if not self.frames.full():  # what is left out comes with the next answer
            self.frames.put(frame)

    def _connect(self):
        """A signature opens one socket only, so a server that wants another nonce signed is asked once more."""
        try:
            return self._open()
        except Unproven as refused:
            if not self.identity.takes_nonce(str(refused)):
                raise
        return self._open()

    def _open(self):
        secure = self.url.scheme == "https"
        host, port = self.url.hostname, self.url.port or (443 if secure else 80)
        connection = socket.create_connection((host, port), timeout=SILENT_MAX)
        try:
            if secure:
                connection = ssl.create_default_context().wrap_socket(connection, server_hostname=host)
            key = base64.b64encode(os.urandom(16))
            path = self.url.path.rstrip("/") + "/api/v1/link"
            connection.sendall(
                (
                    f"GET {path} HTTP/1.1\r\nHost: {self.url.netloc.rsplit('@', 1)[-1]}\r\nAuthorization: {self.identity.header()}\r\n"
                    f"Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
                    f"Sec-WebSocket-Key: {key.decode()}\r\n\r\n"
                ).encode()
            )
            check_answer(read_head(connection), accept_of(key))
        except BaseException:
            connection.close()
            raise
        return connection


def read_head(connection):
    head = b""
    while not head.endswith(b"\r\n\r\n"):
        octet = connection.recv(1)  # the first frame may follow at once, and must not be taken with it
        if not octet or len(head) >= HEAD_MAX:
            raise LinkBroken("no answer of a server")
        head += octet
    return head.decode("latin-1")


def check_answer(head, accept):
    status, *lines = head.split("\r\n")
    fields = {name.strip().lower(): value.strip() for name, _, value in (line.partition(":") for line in lines)}
    if status.split(" ")[1:2] == ["401"]:
        raise Unproven(fields.get("www-authenticate", ""))
    if status.split(" ")[1:2] != ["101"]:
        raise LinkBroken(f"refused: {status[:100]}")
    if fields.get("sec-websocket-accept") != accept:
        raise LinkBroken("something else answered, not a server with a live link")


def messages(connection):
    """Each whole text message, as it comes; ends where the server closes. Pings are answered."""
    whole = b""
    while True:
        final, kind, octets = read_frame(connection)
        if kind == PING:
            connection.sendall(masked(PONG, octets))
        elif kind == CLOSE:
            connection.sendall(masked(CLOSE, octets[:2]))
            return
        elif kind in (TEXT, MORE):
            whole += octets
            if len(whole) > FRAME_MAX:
                raise LinkBroken("a message is too long")
            if final:
                yield whole.decode()
                whole = b""


def read_frame(connection):
    first, second = receive(connection, 2)
    if second & 0x80:
        raise LinkBroken("a server's frame must not be masked")
    length = second & 0x7F
    if length == 126:
        (length,) = struct.unpack(">H", receive(connection, 2))
    elif length == 127:
        (length,) = struct.unpack(">Q", receive(connection, 8))
    if length > FRAME_MAX:
        raise LinkBroken("a frame is too long")
    return bool(first & 0x80), first & 0x0F, receive(connection, length)


def receive(connection, count):
    octets = b""
    while len(octets) < count:
        part = connection.recv(count - len(octets))
        if not part:
            raise LinkBroken("the connection ended")
        octets += part
    return octets


def masked(kind, octets):
    """A frame of a client; what we send is short (RFC 6455, 5.5: at most 125 octets in a control frame)."""
    mask = os.urandom(4)
    return bytes([0x80 | kind, 0x80 | len(octets)]) + mask + bytes(octet ^ mask[at % 4] for at, octet in enumerate(octets))
