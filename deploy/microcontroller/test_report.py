"""Each function is a test; test/deploy/microcontroller.test.ts runs them on MicroPython."""

import binascii
import json

from address import parsed
from answer import NO_PLAN_FIELD, checked, what_counts
from clock import Uptime, seconds_of
from fakes import PERIOD, equal, holds, ticks_diff
from identity import Identity, hmac_sha256
from report import HttpReportClient, unchunked

ANSWER = {"storedThrough": 3, "serverTime": "2026-01-15T09:00:00.000Z", "nextReportSeconds": 60, "orders": []}


class Stream:
    """Gives its pieces one by one, with nothing in between, and takes a little at a time."""

    def __init__(self, pieces):
        self.pieces, self.taken, self.is_closed, self.turn = list(pieces), b"", False, 0

    def write(self, data):
        self.turn += 1
        if self.turn % 3 == 0:
            return None
        self.taken += data[:100]
        return min(100, len(data))

    def read(self, most):
        self.turn += 1
        if self.turn % 2:
            return None
        if not self.pieces:
            return b""
        piece = self.pieces.pop(0)
        if len(piece) > most:
            self.pieces.insert(0, piece[most:])
        return piece[:most]

    def close(self):
        self.is_closed = True


class Network:
    def __init__(self, *answers):
        self.answers, self.streams, self.opened = list(answers), [], []

    def open(self, host, port, is_tls):
        self.opened.append((host, port, is_tls))
        if not self.answers:
            raise OSError(113)
        self.streams.append(Stream(self.answers.pop(0)))
        return self.streams[-1]


class Ticks:
    def __init__(self):
        self.now = 0


def asked(*answers, identity=None, address="http://192.168.1.20:8080", ms=20):
    """(outcome, network) of one report."""
    ticks, network = Ticks(), Network(*answers)
    client = HttpReportClient(address, identity or Identity("the-key"), network, Uptime(lambda: ticks.now, ticks_diff))
    client.send(b'{"boot": "b-1"}')
    for _ in range(4_000):
        ticks.now += ms
        client.step()
        outcome = client.take()
        if outcome is not None:
            equal(all(one.is_closed for one in network.streams), True)
            equal(client.busy, False)
            return outcome, network
    raise AssertionError("no outcome")


def http(status, body, *headers, length=True):
    lines = ["HTTP/1.1 %s" % status] + list(headers) + (["Content-Length: %d" % len(body)] if length else [])
    return ("\r\n".join(lines) + "\r\n\r\n").encode() + body


def test_sends_one_request_and_reads_an_answer_that_comes_in_pieces():
    raw = http("200 OK", json.dumps(ANSWER).encode())
    for size in (1, 7, 5_000):
        outcome, network = asked([raw[at : at + size] for at in range(0, len(raw), size)])
        equal(outcome, ("answered", ANSWER))
    head, _, body = network.streams[0].taken.partition(b"\r\n\r\n")
    equal(body, b'{"boot": "b-1"}')
    equal(network.opened, [("192.168.1.20", 8080, False)])
    for part in ("POST /api/v1/report HTTP/1.1", "Host: 192.168.1.20:8080", "Authorization: Bearer the-key", "Content-Length: 15"):
        holds(head.decode(), part)


def test_reads_an_answer_in_chunks_and_one_that_ends_with_the_connection():
    body = json.dumps(ANSWER).encode()
    chunks = b"%x\r\n%s\r\n%x;a=b\r\n%s\r\n0\r\n\r\n" % (10, body[:10], len(body) - 10, body[10:])
    equal(asked([http("200 OK", chunks, "Transfer-Encoding: chunked", length=False)])[0], ("answered", ANSWER))
    equal(asked([http("200 OK", body, length=False)])[0], ("answered", ANSWER))
    equal(unchunked(chunks[:-8]), None)


def test_says_why_a_report_did_not_get_through():
    for raw, kind in (
        (http("413 Too Large", b""), "tooMuch"),
        (http("400 Bad", b'{"field": "boot"}'), "unreadable"),
        (http("422 Bad", b""), "unreadable"),
        (http("401 No", b"", 'WWW-Authenticate: Signature nonce="abc"'), "unreachable"),
        (http("302 Found", b"", "Location: http://elsewhere.example/"), "unreachable"),
        (http("502 Bad", b"\xff\xfe"), "unreachable"),
        (http("200 OK", b"<html>"), "unreachable"),
        (b"SSH-2.0 hello\r\n\r\n", "unreachable"),
        (b"x" * 5_000, "unreachable"),
        (http("200 OK", b"{" * 40_000), "unreachable"),
        (http("200 OK", b"[" * 30_000), "unreachable"),
        (http("200 OK", b"{}")[:-1], "unreachable"),
        (http("200 OK", b"-5\r\nabc\r\n0\r\n\r\n", "Transfer-Encoding: chunked", length=False), "unreachable"),
        (b"", "unreachable"),
    ):
        equal(asked([raw])[0][0], kind)
    holds(asked([http("200 OK", b"{" * 40_000)])[0][1], "more than 32768 bytes")
    equal(asked()[0][0], "unreachable")
    equal(asked([http("429 Slow", b"", "Retry-After: 90")])[0], ("tooOften", 90))
    equal(asked([http("503 Down", b"", "Retry-After: Friday")])[0], ("tooOften", None))


def test_gives_up_an_answer_that_does_not_end():
    outcome, _ = asked([b"H"] * 4_000, ms=100)
    equal(outcome[0], "unreachable")
    holds(outcome[1], "30 s")


def test_refuses_an_address_that_is_none():
    for address in ("192.168.1.20", "ftp://a.example", "http://", "http://a.example/sub/path"):
        try:
            HttpReportClient(address, None, None, None)
            raise AssertionError("it took " + address)
        except ValueError as error:
            holds(str(error), "expected an address")
    equal(asked([b""], address="https://pieward.example/")[1].opened, [("pieward.example", 443, True)])


def test_the_hmac_has_the_values_of_rfc_4231():
    """Test cases 1, 2 and 6 of RFC 4231."""
    for key, message, mac in (
        (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (b"Jefe", b"what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
        (
            b"\xaa" * 131,
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        ),
    ):
        equal(binascii.hexlify(hmac_sha256(key, message)).decode(), mac)


def test_signs_with_the_nonce_of_a_refusal_and_never_sends_the_key():
    identity = Identity("pw_secret", "rowan-4f2a9c")
    refusal = http("401 No", b"{}", 'WWW-Authenticate: Signature nonce="n-1"')
    good = http("200 OK", json.dumps(ANSWER).encode(), 'Authentication-Info: nextnonce="n-2"')
    outcome, network = asked([refusal], [good], identity=identity)
    equal(outcome[0], "answered")
    equal(network.streams[0].taken.split(b"\r\n\r\n")[1], b"")  # the body is not sent to be refused
    holds(network.streams[1].taken.decode(), 'nonce="n-1", mac="')
    equal(identity.nonce, "n-2")
    equal(any(b"pw_secret" in one.taken for one in network.streams), False)
    refusals = [[http("401 No", b"{}", 'WWW-Authenticate: Signature nonce="m-%d"' % number)] for number in range(5)]
    outcome, network = asked(*refusals, identity=identity)
    equal((outcome[0], len(network.streams)), ("unreachable", 2))  # asked once more, not for ever


def test_reads_a_time_and_refuses_what_is_none():
    for text, seconds in (
        ("1970-01-01T00:00:00Z", 0),
        ("2000-02-29T12:00:00.000Z", 951_825_600),
        ("2026-01-15T09:00:00.123Z", 1_768_467_600),
        ("2026-12-31T23:59:59Z", 1_798_761_599),
        ("2100-03-01T00:00:00Z", 4_107_542_400),
    ):
        equal(seconds_of(text), seconds)
    for text in (None, 5, "noon", "2026-01-15T09:00:00+01:00", "2026-13-15T09:00:00Z", "2026-01-15 09:00:00Z", "2026-01-15T09:00:0xZ"):
        try:
            seconds_of(text)
            raise AssertionError("it took %r" % (text,))
        except ValueError:
            pass


def test_uptime_only_grows_over_the_wrap_around():
    ticks = Ticks()
    ticks.now = PERIOD - 10
    uptime = Uptime(lambda: ticks.now, ticks_diff)
    ticks.now = 20
    equal(uptime.ms(), 30)
    ticks.now = 10  # a counter that went back
    equal(uptime.ms(), 30)
    for _ in range(40):
        ticks.now = (ticks.now + PERIOD // 4) % PERIOD
        uptime.ms()
    equal(uptime.ms(), 30 + 10 * PERIOD)


def test_leaves_out_orders_without_an_id_and_pauses_without_end_where_the_end_can_not_be_read():
    answer = dict(ANSWER)
    answer["orders"] = [5, {"kind": "pause"}, {"id": "x" * 65, "kind": "pause"}, {"id": "o-1", "kind": "pause", "until": "soon"}]
    equal(checked(answer)["orders"], [{"id": "o-1", "kind": "pause", "until": None}])


def test_takes_what_waited_at_a_broker_only_until_its_end():
    until, now = "2026-01-15T09:00:00.000Z", 1_768_467_600
    order = {"id": "o-1", "kind": "pause", "until": None}
    equal(what_counts({"until": until, "orders": [order]}, now - 1), ([order], NO_PLAN_FIELD))
    equal(what_counts({"until": until, "plan": None}, now - 1), ([], None))
    for frame in ({"until": until, "orders": [order]}, {"until": "soon", "plan": None}, {"until": None}, {"until": until, "orders": 5}):
        equal(what_counts(frame, now), ([], NO_PLAN_FIELD))


def test_an_address_names_scheme_host_and_port():
    ports = {"mqtt": 1883, "mqtts": 8883}
    equal(parsed("mqtts://broker.example", ports), ("broker.example", 8883, True))
    equal(parsed("mqtt://192.168.1.20:1884/", ports), ("192.168.1.20", 1884, False))
