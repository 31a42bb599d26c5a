"""The live link, against a server of a few lines. The handshake's values are those of RFC 6455, 1.3."""

import base64
import hashlib
import json
import socket
import struct
import threading
import time
import unittest

import link
from identity import Identity


def frame(kind, octets, final=True):
    head = bytes([(0x80 if final else 0) | kind])
    if len(octets) < 126:
        return head + bytes([len(octets)]) + octets
    return head + bytes([126]) + struct.pack(">H", len(octets)) + octets


class Pair(unittest.TestCase):
    """Both ends of a connection in one test."""

    def setUp(self):
        self.here, self.there = socket.socketpair()
        self.addCleanup(self.here.close)
        self.addCleanup(self.there.close)
        self.here.settimeout(5)
        self.there.settimeout(5)

    def messages(self, *frames):
        self.there.sendall(b"".join(frames))
        self.there.shutdown(socket.SHUT_WR)
        seen = []
        try:
            for message in link.messages(self.here):
                seen.append(message)
        except link.LinkBroken as error:
            seen.append(error)
        return seen

    def test_reads_whole_messages_also_long_ones_and_in_parts(self):
        long = "å" * 500
        seen = self.messages(
            frame(link.TEXT, b"one"),
            frame(link.TEXT, long.encode()),
            frame(link.TEXT, b"tw", final=False),
            frame(link.PING, b"still there?"),
            frame(link.MORE, b"o"),
            frame(link.CLOSE, struct.pack(">H", 1001)),
        )
        self.assertEqual(seen, ["one", long, "two"])

    def test_answers_a_ping_with_its_own_octets_masked(self):
        self.messages(frame(link.PING, b"abc"), frame(link.CLOSE, b""))
        first, second, *mask = self.there.recv(6)
        self.assertEqual((first, second), (0x80 | link.PONG, 0x80 | 3))
        self.assertEqual(bytes(octet ^ mask[at] for at, octet in enumerate(self.there.recv(3))), b"abc")

    def test_ends_at_what_no_server_sends(self):
        for octets in (b"\x81\x80\x00\x00\x00\x00", b"\x81\x7f" + struct.pack(">Q", 2**40), b"\x81\x05ab"):
            self.setUp()
            (error,) = self.messages(octets)
            self.assertIsInstance(error, link.LinkBroken)

    def test_takes_no_other_answer_for_a_live_link(self):
        accept = link.accept_of(b"dGhlIHNhbXBsZSBub25jZQ==")
        self.assertEqual(accept, "s3pPLMBiTxaQ9kYGzzhZRbK+xOo=")
        link.check_answer(f"HTTP/1.1 101 Switching Protocols\r\nSEC-WebSocket-accept: {accept}\r\n\r\n", accept)
        for head in (
            "HTTP/1.1 200 OK\r\n\r\n",
            "HTTP/1.1 401 Unauthorized\r\n\r\n",
            "HTTP/1.1 101 Switching Protocols\r\nSec-WebSocket-Accept: other\r\n\r\n",
            "nonsense",
        ):
            with self.assertRaises(link.LinkBroken):
                link.check_answer(head, accept)


class Connected(unittest.TestCase):
    def setUp(self):
        self.server = socket.create_server(("127.0.0.1", 0))
        self.addCleanup(self.server.close)
        self.heads = []
        self.script = []  # for each connection: what is sent after the handshake, or None for a refusal
        threading.Thread(target=self._serve, daemon=True).start()
        self.slept = []

    def _serve(self):
        while True:
            try:
                connection, _ = self.server.accept()
            except OSError:
                return
            with connection:
                head = link.read_head(connection)
                self.heads.append(head)
                sent = self.script.pop(0) if self.script else None
                if isinstance(sent, str):
                    connection.sendall(f"HTTP/1.1 401 Unauthorized\r\nWWW-Authenticate: {sent}\r\n\r\n".encode())
                    continue
                if sent is None:
                    connection.sendall(b"HTTP/1.1 503 Service Unavailable\r\n\r\n")
                    continue
                key = next(line.split(": ")[1] for line in head.split("\r\n") if line.startswith("Sec-WebSocket-Key"))
                accept = base64.b64encode(hashlib.sha1(key.encode() + link.GUID).digest()).decode()
                connection.sendall(f"HTTP/1.1 101 Switching Protocols\r\nSec-WebSocket-Accept: {accept}\r\n\r\n".encode() + sent)

    def sleep(self, seconds):
        self.slept.append(seconds)
        if len(self.slept) > 3:
            threading.Event().wait()  # no more tries in this test
        time.sleep(0.01)

    def open(self, key="pw_key"):
        live = link.LiveLink(f"http://127.0.0.1:{self.server.getsockname()[1]}/", key, self.sleep)
        self.addCleanup(live.close)
        return live

    def next(self, live):
        end = time.monotonic() + 5
        while time.monotonic() < end:
            taken = live.take()
            if taken is not None:
                return taken
            time.sleep(0.01)
        self.fail("no frame came")

    def test_brings_orders_at_once_and_shows_the_key_in_the_head_alone(self):
        order = {"orders": [{"id": "p1", "kind": "pause", "until": None}]}
        self.script = [frame(link.TEXT, json.dumps(order).encode())]
        self.assertEqual(self.next(self.open()), order)
        self.assertIn("GET /api/v1/link HTTP/1.1\r\n", self.heads[0])
        self.assertIn("Authorization: Bearer pw_key\r\n", self.heads[0])

    def test_signs_a_nonce_of_its_own_for_each_socket(self):
        refused = ['Bearer, Signature nonce="n-1"', 'Bearer, Signature nonce="n-2"']
        self.script = [refused[0], frame(link.CLOSE, b""), refused[1], frame(link.TEXT, b'{"orders": []}')]
        self.assertEqual(self.next(self.open(Identity("pw_key", "rowan-1"))), {"orders": []})
        signed = [head.split("Authorization: ")[1].split("\r\n")[0] for head in self.heads]
        self.assertEqual(signed[0], 'Signature feeder="rowan-1"')
        self.assertIn('nonce="n-1", mac="', signed[1])
        self.assertIn('nonce="n-2", mac="', signed[3])

    def test_comes_back_after_an_end_a_refusal_and_nonsense_ever_less_often(self):
        self.script = [frame(link.CLOSE, b""), None, frame(link.TEXT, b"no json"), frame(link.TEXT, b'{"orders": []}')]
        self.assertEqual(self.next(self.open()), {"orders": []})
        self.assertEqual(len(self.heads), 4)
        for slept, wait in zip(self.slept, (10.0, 20.0, 40.0)):
            self.assertTrue(wait / 2 <= slept <= wait, self.slept)


if __name__ == "__main__":
    unittest.main()
