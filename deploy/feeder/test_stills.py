"""Stills: taken by a fake camera, kept in a bounded folder, sent to a stub of the server."""

import http.server
import shlex
import sys
import tempfile
import threading
import time
import unittest
from pathlib import Path

import pieward_feeder
import stills
from agent import Feeder
from identity import Identity
from stills import Stills
from storage import Store
from test_agent import Bench, Clock, StubReportClient

JPEG = b"\xff\xd8\xff\xe0 a still"


class Server:
    """Keeps what it is sent, and answers with the statuses it is given, then with 200."""

    def __init__(self, test):
        self.got, self.statuses = [], []
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                outer.got.append((self.path, self.headers["Authorization"], body))
                status = outer.statuses.pop(0) if outer.statuses else 200
                self.send_response(status)
                if status == 401:
                    self.send_header("WWW-Authenticate", 'Bearer, Signature nonce="n-1"')
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_):
                pass

        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        test.addCleanup(server.server_close)
        test.addCleanup(server.shutdown)
        self.url = f"http://127.0.0.1:{server.server_port}"


def python(code):
    return f"{shlex.quote(sys.executable)} -c {shlex.quote(code)}"


CAMERA = python(f"import sys; sys.stdout.buffer.write({JPEG!r})")


class Sending(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name) / "stills"
        self.server = Server(self)

    def open(self, command=None, identity="pw_key", url=None):
        opened = Stills(url or self.server.url, identity, self.folder, command)
        self.addCleanup(lambda: [thread.join(5) for thread in opened.threads])
        self.addCleanup(opened.close)
        return opened

    def until(self, is_so, seconds=10):
        end = time.monotonic() + seconds
        while not is_so():
            self.assertLess(time.monotonic(), end, "expected it to happen in time")
            time.sleep(0.02)

    def test_a_command_takes_a_still_of_its_event(self):
        self.open(CAMERA).take("b-1", 7)
        self.until(lambda: self.server.got)
        self.assertEqual(self.server.got, [("/api/v1/stills?boot=b-1&seq=7", "Bearer pw_key", JPEG)])
        self.until(lambda: not list(self.folder.iterdir()))

    def test_a_still_is_signed_with_the_nonce_of_the_refusal(self):
        self.server.statuses = [401]
        self.open(identity=Identity("pw_key", "rowan")).add(JPEG, "b-1", 7)
        self.until(lambda: len(self.server.got) == 2)
        (_, first, empty), (_, second, whole) = self.server.got
        self.assertEqual((first, empty, whole), ('Signature feeder="rowan"', b"", JPEG))
        self.assertIn('nonce="n-1", mac="', second)

    def test_a_camera_that_hangs_is_ended_and_delays_nothing(self):
        before, stills.CAMERA_WITHIN = stills.CAMERA_WITHIN, 0.5
        self.addCleanup(setattr, stills, "CAMERA_WITHIN", before)
        opened = self.open(python("import time; time.sleep(60)"))
        begun = time.monotonic()
        with self.assertLogs("feeder", "WARNING") as said:
            opened.take("b-1", 7)
            self.assertLess(time.monotonic() - begun, 0.2)
            self.until(lambda: said.output)
        self.assertLess(time.monotonic() - begun, 8)
        self.assertIn("No still of the event 7", said.output[0])
        opened.add(JPEG, "b-1", 8)
        self.until(lambda: self.server.got)

    def test_a_camera_that_fails_or_writes_too_much_gives_no_still(self):
        for code, text in (
            ("raise SystemExit(3)", "ended with 3"),
            ("pass", "empty"),
            ("import sys\nwhile True: sys.stdout.buffer.write(bytes(65536))", "larger than 512 KiB"),
        ):
            with self.subTest(text), self.assertLogs("feeder", "WARNING") as said:
                self.open(python(code)).take("b-1", 7)
                self.until(lambda: said.output)
                self.assertIn(text, said.output[0])
        self.assertEqual(self.server.got, [])

    def test_the_oldest_go_where_the_folder_is_full_and_that_is_said(self):
        before, stills.FILES_MAX = stills.FILES_MAX, 2
        self.addCleanup(setattr, stills, "FILES_MAX", before)
        opened = self.open(url="http://127.0.0.1:9")
        opened.close()
        with self.assertLogs("feeder", "WARNING") as said:
            for seq in (1, 2, 3):
                opened.keep(JPEG, "b-1", seq)
                time.sleep(0.01)
        self.assertEqual(opened.waiting(), ["still-b-1.2.jpg", "still-b-1.3.jpg"])
        self.assertIn("still-b-1.1.jpg", said.output[0])

    def test_what_waits_is_sent_by_the_next_start_and_what_is_refused_for_good_is_dropped(self):
        self.folder.mkdir()
        (self.folder / "still-b-1.1.jpg").write_bytes(JPEG)
        (self.folder / "still-b-1.2.jpg.new").write_bytes(JPEG[:4])  # a power cut ended it
        self.server.statuses = [415]
        with self.assertLogs("feeder", "WARNING"):
            opened = self.open()
            self.until(lambda: opened.waiting() == [])
        self.server.statuses = [503]
        opened.keep(JPEG, "b-1", 3)
        self.until(lambda: len(self.server.got) == 2)
        self.assertEqual(opened.waiting(), ["still-b-1.3.jpg"])
        self.assertIsNone(opened.send("still-b-1.3.jpg"))


class Taking(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)

    def test_a_deposit_asks_for_a_still_and_its_portion_begins_all_the_same(self):
        class Recorder:
            asked = []

            def take(self, boot, seq):
                self.asked.append((boot, seq))

        clock = Clock()
        hardware = Bench(clock)
        feeder = Feeder(Store(self.folder, clock), hardware, StubReportClient(clock), clock, boot="b-1", stills=Recorder())
        hardware.happened = [("press",)]
        feeder.step()
        hardware.happened = [("cap", 0.8, True, None)]
        feeder.step()
        self.assertEqual(Recorder.asked, [feeder.last_deposit])
        self.assertIsNotNone(hardware.on_since)

    def test_a_program_of_ones_own_adds_a_still(self):
        server = Server(self)
        feeder = pieward_feeder.Feeder(server.url, "pw_key", self.folder, lambda: None, lambda: None)
        try:
            with self.assertRaisesRegex(ValueError, "no deposit"):
                feeder.still(JPEG)
            feeder.cap()
            feeder.step()
            path = self.folder / "picture.jpg"
            path.write_bytes(JPEG)
            feeder.still(path)
            boot, seq = feeder.last_deposit
            end = time.monotonic() + 10
            while not any(f"/stills?boot={boot}&seq={seq}" in path for path, _, _ in server.got):
                self.assertLess(time.monotonic(), end)
                time.sleep(0.02)
        finally:
            feeder.close()

    def test_over_a_broker_there_are_no_stills(self):
        feeder = pieward_feeder.Feeder("mqtt://127.0.0.1:9", "pw_key", self.folder, lambda: None, lambda: None, sign="rowan")
        try:
            with self.assertRaisesRegex(ValueError, "broker"):
                feeder.still(JPEG)
        finally:
            feeder.close()


if __name__ == "__main__":
    unittest.main()
