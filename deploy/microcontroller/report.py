"""Sends one report at a time over HTTP/1.1 (RFC 9112), a little at each step. The network is handed in.

`network.open(host, port, is_tls)` gives a stream or raises OSError; it may take some seconds, so the motor must stand. The stream has
`write(bytes)`, how many were taken or None, `read(n)`, b"" at the end and None where nothing has come yet, and `close()`.
"""

import json

from address import parsed

HEAD_MAX, BODY_MAX = 4_096, 32_768  # bytes of an answer; the longest plan takes 18,000
ANSWER_WITHIN = 30_000  # ms, for all of it
CHUNK = 512


class HttpReportClient:
    """`address`: such as http://192.168.1.20:8080. Raises ValueError where it is none."""

    def __init__(self, address, identity, network, uptime):
        self.host, self.port, self.is_tls = parsed(address, {"http": 80, "https": 443})
        self.identity, self.network, self.uptime = identity, network, uptime
        self.busy = False
        self._body = self._outcome = self._stream = None
        self._out, self._in, self._head, self._asked_again, self._until = b"", b"", None, False, 0

    def send(self, body):
        self.busy, self._body, self._asked_again = True, body, False
        self._begin()

    def take(self):
        """None, or once ("answered", JSON value) or (why not, text): unreachable, unreadable, tooMuch, and tooOften with seconds."""
        outcome, self._outcome = self._outcome, None
        if outcome is not None:
            self.busy = False
        return outcome

    def take_frame(self):
        """None: over HTTP orders and plan come with the answers alone."""

    def step(self):
        if not self.busy or self._outcome is not None:
            return
        try:
            if self._stream is None:
                self._stream = self.network.open(self.host, self.port, self.is_tls)
            elif self.uptime.ms() > self._until:
                raise OSError("no whole answer within %d s" % (ANSWER_WITHIN // 1000))
            elif self._out:
                self._out = self._out[self._stream.write(self._out[:CHUNK]) or 0 :]
            else:
                self._read()
        except (OSError, ValueError, MemoryError, RuntimeError) as error:
            self._end("unreachable", repr(error))

    def _begin(self):
        body = self._body if self.identity.can_sign else b""
        host = self.host if self.port == (443 if self.is_tls else 80) else "%s:%d" % (self.host, self.port)
        head = "POST /api/v1/report HTTP/1.1\r\nHost: %s\r\nAuthorization: %s\r\n" % (host, self.identity.header(body))
        head += "Content-Type: application/json\r\nContent-Length: %d\r\nConnection: close\r\n\r\n" % len(body)
        self._out, self._in, self._head = head.encode() + body, b"", None
        self._until = self.uptime.ms() + ANSWER_WITHIN

    def _read(self):
        data = self._stream.read(CHUNK)
        if data is None:
            return
        self._in += data
        if self._head is None:
            self._read_head(is_end=not data)
        if self._head is not None:
            body = self._whole_body(is_end=not data)
            if body is not None:
                self._answer(body)

    def _read_head(self, is_end):
        head, separator, rest = self._in.partition(b"\r\n\r\n")
        if not separator:
            if is_end or len(self._in) > HEAD_MAX:
                raise ValueError("the answer has no head")
            return
        lines = head.decode().split("\r\n")
        version, status = lines[0].split(" ")[:2]
        if version[:5] != "HTTP/":
            raise ValueError("the answer is not HTTP")
        headers = {}
        for one in lines[1:]:
            name, _, value = one.partition(":")
            headers[name.strip().lower()] = value.strip()
        self._head, self._in = (int(status), headers), rest

    def _whole_body(self, is_end):
        """None while more of it is to come."""
        headers = self._head[1]
        if len(self._in) > BODY_MAX:
            raise ValueError("the answer has more than %d bytes" % BODY_MAX)
        if headers.get("transfer-encoding", "").lower() == "chunked":
            body = unchunked(self._in)
        elif "content-length" in headers:
            length = int(headers["content-length"])
            body = self._in[:length] if len(self._in) >= length else None
        else:
            body = self._in if is_end else None
        if body is None and is_end:
            raise ValueError("the answer was cut off")
        return body

    def _answer(self, body):
        status, headers = self._head
        self._in = b""  # the longest plan is read once it has its memory
        self.identity.takes_nonce(headers.get("authentication-info"))
        if status == 200:
            self._end("answered", json.loads(body))
            return
        if status == 401 and not self._asked_again and self.identity.takes_nonce(headers.get("www-authenticate")):
            self._close()
            self._asked_again = True
            self._begin()
            return
        text = "%d %s" % (status, body[:200].decode() if is_text(body[:200]) else "")
        wait = headers.get("retry-after", "")
        if status == 413:
            self._end("tooMuch", text)
        elif status == 429 or (status == 503 and wait):
            self._end("tooOften", max(1, min(int(wait), 3_600)) if wait.isdigit() else None)
        else:
            # Only 400 and 422 are about the report itself; a wrong key or a proxy's error is not about the events.
            self._end("unreadable" if status in (400, 422) else "unreachable", text)

    def _end(self, kind, value):
        self._close()
        self._out = self._in = b""
        self._outcome = kind, value

    def _close(self):
        stream, self._stream = self._stream, None
        if stream is not None:
            try:
                stream.close()
            except OSError:
                pass  # it is gone already


def unchunked(raw):
    """The body of chunks (RFC 9112, 7.1), or None while more is to come. Raises ValueError."""
    body = b""
    while True:
        size, separator, rest = raw.partition(b"\r\n")
        if not separator:
            return None
        length = int(size.split(b";")[0], 16)
        if length < 0:
            raise ValueError("a chunk of negative length")
        if length == 0:
            return body
        if len(rest) < length + 2:
            return None
        body, raw = body + rest[:length], rest[length + 2 :]


def is_text(raw):
    return all(32 <= one < 127 for one in raw)
