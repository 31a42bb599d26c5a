"""Sends reports to the server over HTTP, one at a time, and reads its answers with suspicion."""

import http.client
import json
import logging
import queue
import threading
import time
import urllib.error
import urllib.request
from datetime import datetime, timezone

from bench import readable as readable_bench
from identity import Identity

log = logging.getLogger("feeder")

ANSWER_WITHIN = 15.0  # seconds, for each step of an attempt
ANSWER_WITHIN_IN_ALL = 60.0  # seconds, for all of it: a server may also answer a byte at a time
ANSWER_BYTES_MAX = 1_048_576
REPORT_EVERY_MAX = 3_600.0  # seconds, whatever a server requests
NOTHING_NEW = object()  # of a plan: None says that there is none any more


class ReportClient:
    """One report at a time, on another thread: the motor must not wait for the network. `_begin` sends it, and puts (attempt, outcome)."""

    def __init__(self, clock=time.monotonic):
        self.clock = clock
        self.busy = False
        self.outcomes = queue.Queue()
        self.attempt = 0
        self.sent = None  # the report under way, and since when

    def send(self, report):
        self.busy = True
        self.attempt += 1
        self.sent = (report, self.clock())
        self._begin(report, self.attempt)

    def take(self):
        """None, or once (kind, report, answer or why not): answered, unreachable, unreadable, tooMuch, tooOften."""
        while True:
            try:
                attempt, outcome = self.outcomes.get_nowait()
            except queue.Empty:
                break
            if attempt == self.attempt:  # else it was given up before
                self.busy = False
                return outcome
        if self.busy and self.clock() - self.sent[1] > ANSWER_WITHIN_IN_ALL:
            self.attempt += 1
            self.busy = False
            return "unreachable", self.sent[0], f"no whole answer within {ANSWER_WITHIN_IN_ALL:.0f} s"
        return None


class HttpReportClient(ReportClient):
    """Each report on a thread of its own."""

    def __init__(self, url, key, clock=time.monotonic):
        super().__init__(clock)
        self.url = url.rstrip("/") + "/api/v1/report"
        self.identity = key if isinstance(key, Identity) else Identity(key)

    def _begin(self, report, attempt):
        threading.Thread(target=self._send, args=(report, attempt), daemon=True).start()

    def _send(self, report, attempt):
        try:
            self.outcomes.put((attempt, self.post(report)))
        except Exception as error:  # the loop must get an outcome, or it would wait for this answer for ever
            log.exception("Sending failed")
            self.outcomes.put((attempt, ("unreachable", report, repr(error))))

    def post(self, report):
        try:
            body = self._answer(json.dumps(report, allow_nan=False).encode())
            if len(body) > ANSWER_BYTES_MAX:
                raise ValueError(f"expected an answer of at most {ANSWER_BYTES_MAX} bytes")
            return "answered", report, checked(json.loads(body))
        except urllib.error.HTTPError as error:
            body = " ".join(error.read(2_000).decode(errors="replace").split())  # a proxy answers with a whole page
            text = f"{error.code} {body[:300]}"
            if error.code == 413:
                return "tooMuch", report, text
            if error.code == 429 or (error.code == 503 and error.headers.get("Retry-After")):
                return "tooOften", report, retry_after(error.headers.get("Retry-After"))
            # Only 400 and 422 are about the report itself; a wrong key or a proxy's error is not about the events.
            return ("unreadable" if error.code in (400, 422) else "unreachable"), report, text
        except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError, http.client.HTTPException) as error:
            return "unreachable", report, f"{type(error).__name__}: {error}"


    def _answer(self, body):
        """A server that wants another nonce signed gets the same report again at once."""
        try:
            return self._request(body if self.identity.can_sign else b"")
        except urllib.error.HTTPError as error:
            if error.code != 401 or not self.identity.takes_nonce(error.headers.get("WWW-Authenticate")):
                raise
            error.close()
        return self._request(body)

    def _request(self, body):
        headers = {"Authorization": self.identity.header(body), "Content-Type": "application/json"}
        request = urllib.request.Request(self.url, data=body, headers=headers, method="POST")
        with without_redirects.open(request, timeout=ANSWER_WITHIN) as response:
            self.identity.takes_nonce(response.headers.get("Authentication-Info"))
            return response.read(ANSWER_BYTES_MAX + 1)


class NoRedirect(urllib.request.HTTPRedirectHandler):
    """A redirect would send the key to another address. Enter the server's true address instead."""

    def redirect_request(self, *_):
        return None


without_redirects = urllib.request.build_opener(NoRedirect)


def checked(answer):
    """The checked answer, or ValueError, KeyError, TypeError: a captive portal answers 200, too.

    An order that can't be read does not affect the others, and unknown fields are ignored.
    """
    through = answer["storedThrough"]
    if through is not None and (isinstance(through, bool) or not isinstance(through, int)):
        raise TypeError(f"expected storedThrough as a number or null, got {through!r}")
    next_report = float(answer["nextReportSeconds"])
    if not next_report >= 0:
        raise ValueError(f"expected nextReportSeconds, got {answer['nextReportSeconds']!r}")
    return {
        "storedThrough": through,
        "serverTime": seconds_of(answer["serverTime"]),
        "nextReportSeconds": min(next_report, REPORT_EVERY_MAX),
        "refused": [one for one in listed(answer.get("refused")) if isinstance(one, dict)],
        "unknown": [str(name)[:200] for name in listed(answer.get("unknown"))],
        "orders": [order for order in map(readable_order, listed(answer["orders"])) if order is not None],
        "plan": answer.get("plan", NOTHING_NEW),
    }


def listed(value):
    if value is None:
        return []
    if not isinstance(value, list):
        raise TypeError(f"expected a list, got {value!r}"[:200])
    return value


def readable_order(order):
    """None where it has no id with which it could be answered. A pause whose end can't be read lasts until resumed."""
    if not isinstance(order, dict):
        order = {}
    name, kind, until = order.get("id"), order.get("kind"), order.get("until")
    if not isinstance(name, str) or not 0 < len(name) <= 64:
        log.error("An order without a usable id is left out: %s", repr(order)[:200])
        return None
    try:
        until = None if until is None else seconds_of(until)
    except (ValueError, TypeError, OverflowError):
        log.error("Order %s has an end that can't be read: %r", name, until)
        until = None
    readable = {"id": name, "kind": str(kind)[:40], "until": until}
    return {**readable, **readable_bench(order)} if kind == "bench" else readable


def seconds_of(iso):
    """Seconds since 1970 of an ISO 8601 time; Python before 3.11 doesn't read the Z."""
    if not isinstance(iso, str):
        raise TypeError(f"expected a time in ISO 8601, got {iso!r}")
    return datetime.fromisoformat(iso.replace("Z", "+00:00")).astimezone(timezone.utc).timestamp()


def retry_after(header):
    try:
        return min(max(float(header), 1.0), 3_600.0)
    except (TypeError, ValueError):
        return None
