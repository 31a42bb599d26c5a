"""What stands beside the duties: the page for a phone beside the feeder, and the sign of life for systemd."""

import socket
import tempfile
import unittest
import urllib.error
import urllib.request
from pathlib import Path

import watchdog
from status_page import StatusPage, page


class Page(unittest.TestCase):
    def setUp(self):
        self.page = StatusPage(0, "127.0.0.1")
        self.addCleanup(self.page.close)

    def get(self, path="/"):
        with urllib.request.urlopen(f"http://127.0.0.1:{self.page.port}{path}", timeout=10) as response:
            return response.read().decode()

    def test_shows_what_it_was_last_given(self):
        self.assertIn("starting", self.get())
        self.page.show([("State", "paused"), ("Waiting events", 12)])
        self.assertIn("<dt>State</dt><dd>paused</dd><dt>Waiting events</dt><dd>12</dd>", self.get())

    def test_has_no_other_page_and_takes_no_orders(self):
        for path, data in (("/pause", None), ("/../feeder.key", None), ("/", b"pause=1")):
            with self.assertRaises(urllib.error.HTTPError) as refused:
                urllib.request.urlopen(f"http://127.0.0.1:{self.page.port}{path}", data, timeout=10)
            self.assertIn(refused.exception.code, (404, 501))

    def test_shows_text_as_text(self):
        self.assertIn(b"&lt;script&gt;", page([("Trouble", "<script>")]))
        self.assertNotIn(b"<script>", page([("Trouble", "<script>")]))


class SignOfLife(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.path = str(Path(folder.name) / "notify")
        self.systemd = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.addCleanup(self.systemd.close)
        self.systemd.bind(self.path)
        self.systemd.setblocking(False)
        self.now = 0.0

    def heard(self):
        texts = []
        while True:
            try:
                texts.append(self.systemd.recv(100).decode())
            except BlockingIOError:
                return texts

    def test_comes_at_the_start_and_every_ten_seconds_and_not_more_often(self):
        dog = watchdog.Watchdog(lambda: self.now, self.path)
        dog.ready()
        for _ in range(350):
            dog.alive()
            self.now += 0.1
        self.assertEqual(self.heard(), ["READY=1"] + ["WATCHDOG=1"] * 4)

    def test_is_nothing_without_systemd(self):
        for address in ("", str(self.path) + ".gone"):
            dog = watchdog.Watchdog(lambda: self.now, address)
            dog.ready()
            dog.alive()
        self.assertEqual(self.heard(), [])


if __name__ == "__main__":
    unittest.main()
