"""Stills of a camera: taken by a command after a deposit, kept in a small folder, sent one at a time.

All of it happens on a thread of its own, so that no portion, pause or report ever waits for a camera or a slow line. A still is a
nicety: where the folder is full the oldest go first, and that is said. Stills go over HTTP alone, never over a broker: a message of
half a megabyte would hold up reports and orders there.
"""

import hashlib
import http.client
import logging
import os
import queue
import shlex
import signal
import subprocess
import threading
import urllib.error
import urllib.parse
import urllib.request

from identity import Identity
from report_client import ANSWER_WITHIN, retry_after, without_redirects

log = logging.getLogger("feeder")

STILL_BYTES_MAX = 512 * 1024  # what the server takes
FILES_MAX = 60  # at most 30 MiB on the card
CAMERA_WITHIN = 20.0  # seconds for a camera's command, then it is ended
WAITING_MAX = 8  # pictures that are asked for while one is taken
TRY_AGAIN, TRY_AGAIN_MAX = 30.0, 1_800.0  # seconds
KEPT = "still-"  # how the names of its files begin; no other file in the folder is touched


class Stills:
    """`folder` survives power cuts. `command`: writes a JPEG to its standard output. Both methods return at once."""

    def __init__(self, url, identity, folder, command=None):
        self.url = url.rstrip("/") + "/api/v1/stills"
        self.identity = identity.other() if isinstance(identity, Identity) else Identity(identity)
        self.folder = folder
        self.command = command
        self.asked = queue.Queue(WAITING_MAX)
        self.arrived = threading.Event()
        self.ending = threading.Event()
        self.threads = []
        for work in (self._take_all, self._send_all):
            thread = threading.Thread(target=work, daemon=True)
            thread.start()
            self.threads.append(thread)

    def take(self, boot, seq):
        """A picture by the camera's command, of this event."""
        if self.command is not None:
            self._ask((boot, seq, None))

    def add(self, picture, boot, seq):
        """A picture that is there already: its octets, or the path of a file, which is read soon."""
        self._ask((boot, seq, picture))

    def close(self):
        self.ending.set()
        self.arrived.set()

    def _ask(self, asked):
        try:
            self.asked.put_nowait(asked)
        except queue.Full:
            log.warning("A still is left out: %d others are being taken.", WAITING_MAX)

    # --- taking -----------------------------------------------------------------------------------------------------

    def _take_all(self):
        while not self.ending.is_set():
            try:
                boot, seq, picture = self.asked.get(timeout=0.5)
            except queue.Empty:
                continue
            try:
                self.keep(self._octets(picture), boot, seq)
            except (OSError, ValueError, subprocess.SubprocessError) as error:
                log.warning("No still of the event %s: %s", seq, error)

    def _octets(self, picture):
        if isinstance(picture, (bytes, bytearray)):
            octets = bytes(picture)
        elif picture is not None:
            with open(picture, "rb") as file:
                octets = file.read(STILL_BYTES_MAX + 1)
        else:
            octets = self._run_camera()
        if not octets:
            raise ValueError("the picture is empty")
        if len(octets) > STILL_BYTES_MAX:
            raise ValueError(f"the picture is larger than {STILL_BYTES_MAX // 1024} KiB: choose a smaller size or quality")
        return octets

    def _run_camera(self):
        """In a group of its own, so that a command that hangs is ended with all that it has started."""
        with subprocess.Popen(
            shlex.split(self.command), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True
        ) as camera:
            too_late = threading.Timer(CAMERA_WITHIN, end_group, (camera,))
            too_late.start()
            try:
                octets = camera.stdout.read(STILL_BYTES_MAX + 1)
                status = 0 if len(octets) > STILL_BYTES_MAX else camera.wait()  # who asked says that it is too large
            finally:
                too_late.cancel()
                end_group(camera)  # also one that goes on writing
        if status != 0:
            raise ValueError(f"the camera's command ended with {status} (it has {CAMERA_WITHIN:.0f} s)")
        return octets

    def keep(self, octets, boot, seq):
        """Whole under its name, or not at all. Raises OSError where the card can't be written."""
        os.makedirs(self.folder, exist_ok=True)
        name = f"{KEPT}{boot}.{seq}.jpg"
        unfinished = os.path.join(self.folder, name + ".new")
        with open(unfinished, "wb") as file:
            file.write(octets)
            file.flush()
            os.fsync(file.fileno())
        os.replace(unfinished, os.path.join(self.folder, name))
        waiting = self.waiting()
        for old in waiting[: max(0, len(waiting) - FILES_MAX)]:
            log.warning("The folder of stills is full: the oldest one (%s) is left out.", old)
            self._remove(old)
        self.arrived.set()

    def waiting(self):
        """The names of the files that wait, the oldest first."""
        try:
            found = [entry for entry in os.scandir(self.folder) if entry.name.startswith(KEPT) and entry.name.endswith(".jpg")]
            return [entry.name for entry in sorted(found, key=lambda entry: (entry.stat().st_mtime_ns, entry.name))]
        except OSError:
            return []

    def _remove(self, name):
        try:
            os.remove(os.path.join(self.folder, name))
        except OSError as error:
            log.warning("%s", error)

    # --- sending ----------------------------------------------------------------------------------------------------

    def _send_all(self):
        pause = TRY_AGAIN
        while not self.ending.is_set():
            self.arrived.clear()
            names = self.waiting()
            if not names:
                self.arrived.wait(60.0)
                continue
            wait = self.send(names[0])
            if wait is None:
                pause = TRY_AGAIN
                continue
            self.ending.wait(max(wait, pause))
            pause = min(2 * pause, TRY_AGAIN_MAX)

    def send(self, name):
        """None: it is done with, stored or refused for good. Otherwise the seconds to wait before the next try."""
        path = os.path.join(self.folder, name)
        boot, seq = name[len(KEPT) : -len(".jpg")].rsplit(".", 1)
        query = urllib.parse.urlencode({"boot": boot, "seq": seq})
        try:
            with open(path, "rb") as file:
                octets = file.read(STILL_BYTES_MAX + 1)
            self._post(query, octets)
        except urllib.error.HTTPError as error:
            return self._refused(name, error)
        except (OSError, ValueError, http.client.HTTPException) as error:
            log.info("A still is not sent yet: %s", error)
            return 0.0
        self._remove(name)
        return None

    def _refused(self, name, error):
        text = " ".join(error.read(500).decode(errors="replace").split())
        wait = retry_after(error.headers.get("Retry-After"))
        error.close()
        if error.code in (400, 409, 413, 415, 422):  # about this still: it would be refused again
            log.warning("The server refused the still %s: %s %s", name, error.code, text)
            self._remove(name)
            return None
        log.info("A still is not sent yet: %s %s", error.code, text)
        return wait or 0.0

    def _post(self, query, octets):
        """A server that wants another nonce signed gets the same still again at once."""
        try:
            return self._request(query, octets if self.identity.can_sign else b"")
        except urllib.error.HTTPError as error:
            if error.code != 401 or not self.identity.takes_nonce(error.headers.get("WWW-Authenticate")):
                raise
            error.close()
        return self._request(query, octets)

    def _request(self, query, octets):
        signed = f"still\n{query}\n{hashlib.sha256(octets).hexdigest()}".encode()
        headers = {"Authorization": self.identity.header(signed), "Content-Type": "image/jpeg"}
        request = urllib.request.Request(f"{self.url}?{query}", data=octets, headers=headers, method="POST")
        with without_redirects.open(request, timeout=ANSWER_WITHIN) as response:
            self.identity.takes_nonce(response.headers.get("Authentication-Info"))
            response.read(65_536)


def end_group(camera):
    try:
        os.killpg(camera.pid, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        pass  # it has ended
