"""python3 -m unittest, in this folder. Packets and connection of MQTT, and reports over it; the time is handed in. MicroPython runs it, too."""

import binascii
import json
import unittest

import mqtt
from broker import BrokerReports
from identity import Identity
from mqtt import MqttClient, MqttError

FEEDER = "rowan-4f2a9c"
ANSWER = {"storedThrough": 3, "serverTime": "2026-01-15T09:00:00.000Z", "nextReportSeconds": 60, "orders": []}


def octets(text):
    return binascii.unhexlify(text.replace(" ", ""))


def own(name):
    return "pieward/feeders/%s/%s" % (FEEDER, name)


class Uptime:
    def __init__(self):
        self.now = 0

    def ms(self):
        return self.now


class Broker:
    """The other end of the line, in a few lines. `says`: what it does with each kind of packet."""

    def __init__(self):
        self.opened, self.is_away, self.is_deaf, self.code, self.granted = 0, False, False, 0, None
        self.seen, self.come, self.raw, self.acks = [], [], b"", True
        self.topics = 0

    def open(self):
        if self.is_away:
            raise OSError("connection refused")
        self.opened += 1
        self.come, self.raw = [], b""
        return self

    def write(self, data):
        self.raw += bytes(data)
        while True:
            found = mqtt.whole_packet(self.raw, 1_000_000)
            if found is None:
                return len(data)
            first, body = self.raw[0], self.raw[found[0] : found[1]]
            self.raw = self.raw[found[1] :]
            if not self.is_deaf:
                self.take(first, body)

    def take(self, first, body):
        self.seen.append((first, body))
        kind = first >> 4
        if kind == mqtt.CONNECT:
            self.come.append(bytes([0x20, 2, 0, self.code]))
        elif kind == mqtt.SUBSCRIBE:
            granted = self.granted or [1] * 3
            self.come.append(mqtt.packet(0x90, body[:2] + bytes(granted)))
        elif kind == mqtt.PUBLISH and self.acks:
            at = 2 + body[1]
            self.come.append(mqtt.packet(0x40, body[at : at + 2]))
        elif kind == mqtt.PINGREQ:
            self.come.append(b"\xd0\x00")

    def read(self, most):
        if not self.come:
            return None
        piece = self.come.pop(0)
        if len(piece) > most:
            self.come.insert(0, piece[most:])
        return piece[:most]

    def close(self):
        pass

    def send(self, name, message, retain=False, packet_id=7):
        payload = message if isinstance(message, bytes) else json.dumps(message).encode()
        body = mqtt.field(own(name)) + mqtt.number(packet_id) + payload
        self.come.append(mqtt.packet(0x33 if retain else 0x32, body))

    def published(self, name):
        """The payloads that came on this topic."""
        found = []
        for first, body in self.seen:
            end = 2 + body[1] if len(body) > 1 else 0
            if first >> 4 == mqtt.PUBLISH and body[2:end] == own(name).encode():
                found.append(body[end + 2 :])
        return found


class Packets(unittest.TestCase):
    def test_have_the_values_that_the_standard_prints(self):
        # OASIS MQTT 3.1.1: Table 2.4 and the examples of 2.2.3; Figure 1.2.
        for length, text in (
            (0, "00"),
            (64, "40"),
            (127, "7f"),
            (128, "8001"),
            (321, "c102"),
            (16_383, "ff7f"),
            (16_384, "808001"),
            (2_097_151, "ffff7f"),
            (2_097_152, "80808001"),
            (268_435_455, "ffffff7f"),
        ):
            self.assertEqual(mqtt.remaining_length(length), octets(text))
        self.assertEqual(mqtt.field(octets("41 f0aa9b94").decode()), octets("0005 41 f0aa9b94"))
        # From memory: its examples of 3.1.2 (user, password, will with QoS 1, clean session), 3.3.2 and 3.8.3.
        connect = mqtt.connect_packet("r", "u", "p", ("t", b"w"), keep_alive=10)
        self.assertEqual(connect, octets("10 19 0004 4d515454 04 ce 000a 0001 72 0001 74 0001 77 0001 75 0001 70"))
        self.assertEqual(mqtt.publish_packet("a/b", b"", 10), octets("32 07 0003 612f62 000a"))
        self.assertEqual(mqtt.subscribe_packet(10, [("a/b", 1), ("c/d", 2)]), octets("82 0e 000a 0003 612f62 01 0003 632f64 02"))
        self.assertEqual(mqtt.puback_packet(10), octets("40 02 000a"))

    def test_are_read_once_they_are_whole_and_refused_where_they_are_damaged(self):
        whole = octets("32 09 0003 612f62 000a 6869")
        for length in range(len(whole)):
            self.assertEqual(mqtt.whole_packet(whole[:length], 100), None)
        self.assertEqual(mqtt.whole_packet(whole + b"more", 100), (2, 11))
        self.assertEqual(mqtt.read_publish(whole, 2, 11), ("a/b", b"hi", False, 10))
        self.assertEqual(mqtt.read_publish(octets("31 07 0003 612f62 6869"), 2, 9), ("a/b", b"hi", True, None))
        for text, start, end in (("32 02 0003", 2, 4), ("32 05 0003 612f62", 2, 7), ("36 07 0003 612f62 000a", 2, 9), ("32 05 0001 ff 000a", 2, 7), ("32 00", 2, 2)):
            with self.assertRaises(MqttError):
                mqtt.read_publish(octets(text), start, end)
        for text in ("30 ffffffff01", "30 ffff7f"):
            with self.assertRaises(MqttError):
                mqtt.whole_packet(octets(text), 100)


class Connected(unittest.TestCase):
    def setUp(self):
        self.uptime, self.broker = Uptime(), Broker()
        self.client = MqttClient(
            self.broker.open,
            {"id": FEEDER, "user": FEEDER, "password": "p", "will": (own("status"), b"gone")},
            [own("answer"), own("orders"), own("plan")],
            self.uptime,
            lambda: 0,
        )

    def run_for(self, ms, step=100):
        messages = []
        for _ in range(ms // step):
            self.uptime.now += step
            message = self.client.step()
            if message is not None:
                messages.append(message)
        return messages

    def test_says_who_it_is_reads_its_own_topics_and_acknowledges_each_message(self):
        self.broker.send("plan", {"n": 1}, retain=True, packet_id=300)
        self.run_for(200)
        self.broker.send("plan", {"n": 1}, retain=True, packet_id=300)
        self.assertEqual(self.run_for(1_000), [(own("plan"), b'{"n": 1}', True)])
        self.assertTrue(self.client.is_up)
        kinds = [first >> 4 for first, _ in self.broker.seen]
        self.assertEqual(kinds, [mqtt.CONNECT, mqtt.SUBSCRIBE, mqtt.PUBACK])
        self.assertEqual(self.broker.seen[-1][1], mqtt.number(300))
        packet_id = self.client.publish(own("report"), b"x" * 2_000)  # longer than what is written at once
        self.run_for(1_000)
        self.assertEqual(self.broker.published("report"), [b"x" * 2_000])
        self.assertEqual(self.client.acknowledged, packet_id)

    def test_tells_in_words_why_the_broker_refuses(self):
        for code, words in ((1, "MQTT 3.1.1"), (2, "client's id"), (3, "not available"), (4, "password is wrong"), (5, "may not connect"), (9, "code 9")):
            self.setUp()
            self.broker.code = code
            self.run_for(500)
            self.assertTrue(words in self.client.problem, self.client.problem)
        self.setUp()
        self.broker.granted = [1, 0x80, 1]
        self.run_for(500)
        self.assertTrue("doesn't let user %s read %s" % (FEEDER, own("orders")) in self.client.problem, self.client.problem)
        self.setUp()
        self.broker.is_deaf = True
        self.run_for(16_000)
        self.assertTrue("doesn't answer" in self.client.problem, self.client.problem)

    def test_pings_and_notices_a_line_that_was_cut_without_a_word(self):
        self.run_for(100_000)
        self.assertEqual([first for first, _ in self.broker.seen].count(0xC0), 3)
        self.broker.is_deaf = True
        self.run_for(34_000)
        self.assertTrue(self.client.is_up)
        self.run_for(2_000)
        self.assertTrue("doesn't answer any more" in self.client.problem, self.client.problem)
        self.broker.is_deaf = False
        self.run_for(3_000)
        self.assertTrue(self.client.is_up)

    def test_comes_back_after_ever_longer_and_never_at_once(self):
        self.broker.is_away, tries = True, []
        opened = self.client.open_stream

        def counted():
            tries.append(self.uptime.now)
            return opened()

        self.client.open_stream, self.client.chance = counted, lambda: 128
        self.run_for(400_000)
        waits = [later - earlier for earlier, later in zip(tries, tries[1:])]
        self.assertEqual(waits, [1_500, 3_000, 6_000, 12_000, 24_000, 48_000, 90_000, 90_000, 90_000])
        self.broker.is_away = False
        self.run_for(90_000 + 61_000)
        self.broker.come.append(b"")  # it ends after more than a minute
        tries.clear()
        begun = self.uptime.now
        self.run_for(5_000)
        self.assertTrue(tries[0] - begun < 2_000, tries)

    def test_loses_the_connection_and_never_more_by_whatever_comes(self):
        state = 1
        for number in range(300):
            self.setUp()
            self.run_for(300)
            self.assertTrue(self.client.is_up)
            self.broker.send("orders", {"orders": []})
            damaged = bytearray(self.broker.come.pop())
            for _ in range(1 + number % 4):
                state = (state * 1_103_515_245 + 12_345) % 2_147_483_648  # a linear congruential generator: the same damage each time
                damaged[state // 65_536 % len(damaged)] = state // 256 % 256
            self.broker.come.append(bytes(damaged))
            self.run_for(200)
            self.assertTrue(self.client.is_up or len(self.client.problem) > 10, self.client.problem)
        for text in ("20 02 0000", "90 02 0001", "d0 01 00", "00 00", "f0 00", "62 02 0001", "40 01 00", "30 ffffff7f"):
            self.setUp()
            self.run_for(300)
            self.broker.come.append(octets(text))
            self.run_for(200)
            self.assertTrue("packet" in self.client.problem, text)


class Reports(unittest.TestCase):
    def setUp(self):
        self.uptime, self.broker, self.told = Uptime(), Broker(), []
        self.identity = Identity("pw_secret", FEEDER)
        self.reports = BrokerReports(self.broker.open, self.identity, (FEEDER, "p"), self.uptime, lambda: 0, self.told.append)
        self.run_for(500)

    def run_for(self, ms, step=100):
        """The outcome of a report, or None."""
        outcome = None
        for _ in range(ms // step):
            self.uptime.now += step
            self.reports.step()
            outcome = outcome or self.reports.take()
        return outcome

    def nonce(self, nonce="n-1", to=None):
        self.broker.send("answer", {"to": to, "nonce": nonce, "problem": {"status": 401, "detail": "no signature"}})

    def sent(self, body=b'{"boot": "b-1"}', nonce="n-1"):
        """The mac of a report that is under way."""
        self.reports.send(body)
        self.run_for(500)
        if nonce is not None:
            self.nonce(nonce)
        self.run_for(1_000)
        return self.broker.published("report")[-1].decode().split('mac="')[1].split('"')[0]

    def test_are_signed_with_the_servers_nonce_and_say_that_the_feeder_is_there(self):
        self.sent()
        first, second = self.broker.published("report")
        self.assertEqual(first, b"")
        header, body = second.split(b"\n")
        self.assertEqual((header, body), (self.identity.header(body).encode(), b'{"boot": "b-1"}'))
        self.assertEqual(self.broker.published("status"), [b'{"online": true}'])
        self.assertEqual(any(b"pw_secret" in body for _, body in self.broker.seen), False)
        connect = self.broker.seen[0][1]
        self.assertTrue(b'{"online": false}' in connect)

    def test_are_answered_by_the_answer_to_this_very_report_and_by_nothing_else(self):
        mac = self.sent()
        self.broker.send("answer", {"to": "another", "nonce": "n-2", "answer": ANSWER})
        self.broker.send("answer", b"{")
        self.broker.send("answer", b"[1]")
        self.assertEqual(self.run_for(2_000), None)  # the broker has acknowledged it long ago
        self.broker.send("answer", {"to": mac, "nonce": "n-3", "answer": ANSWER})
        self.assertEqual(self.run_for(500), ("answered", ANSWER))
        self.assertEqual((self.reports.busy, self.identity.nonce), (False, "n-3"))
        self.assertEqual(["no JSON" in text or "no object" in text for text in self.told].count(True), 2)
        self.broker.send("answer", {"to": mac, "nonce": "n-4", "answer": ANSWER})
        self.assertEqual(self.run_for(500), None)
        # The next one needs no other nonce.
        self.reports.send(b"{}")
        self.run_for(500)
        self.assertTrue(b'nonce="n-4"' in self.broker.published("report")[-1])

    def test_without_an_answer_say_whether_the_broker_has_it_and_next_ask_with_something_short(self):
        for acks, words in ((True, "the broker took the report"), (False, "the broker didn't take the report")):
            self.setUp()
            self.sent()
            self.broker.acks = acks
            self.reports.send(b'{"boot": "b-1"}')
            kind, text = self.run_for(31_000)
            self.assertEqual(kind, "unreachable")
            for part in (words, "no answer of the server", own("report"), FEEDER):
                self.assertTrue(part in text, text)
            self.reports.send(b'{"boot": "b-1"}')
            self.run_for(500)
            self.assertEqual(self.broker.published("report")[-1], b"")

    def test_with_an_old_nonce_are_signed_again_once(self):
        mac = self.sent()
        self.nonce("n-2", to=mac)
        self.assertEqual(self.run_for(500), None)
        again = self.broker.published("report")[-1].decode()
        self.assertTrue('nonce="n-2"' in again, again)
        self.nonce("n-3", to=again.split('mac="')[1].split('"')[0])
        kind, text = self.run_for(500)
        self.assertEqual((kind, text), ("unreachable", "401 no signature"))
        self.broker.seen.clear()
        self.uptime.now += 241_000  # its nonce is no good any more
        self.run_for(500)
        self.reports.send(b"{}")
        self.run_for(500)
        self.assertEqual(self.broker.published("report")[-1], b"")

    def test_are_refused_as_over_http(self):
        for status, kind in ((400, "unreadable"), (422, "unreadable"), (413, "tooMuch"), (429, "tooOften"), (403, "unreachable"), (503, "unreachable"), (None, "unreachable")):
            self.setUp()
            mac = self.sent()
            problem = {"status": status, "detail": "it says why", "errors": [{"field": "boot", "problem": "must be a text"}]}
            self.broker.send("answer", {"to": mac, "nonce": "n-2", "problem": problem})
            outcome = self.run_for(500)
            self.assertEqual(outcome[0], kind)
            if kind != "tooOften":
                self.assertTrue("it says why boot must be a text" in outcome[1], outcome)

    def test_wait_where_the_broker_is_away_and_are_told_in_words_once(self):
        self.broker.is_away = True
        self.broker.come.append(b"")
        self.run_for(60_000)
        self.reports.send(b"{}")
        kind, text = self.run_for(1_000)
        self.assertEqual((kind, "connection refused" in text), ("unreachable", True))
        self.assertEqual([text for text in self.told if "refused" in text][1:], [])
        self.assertEqual(self.reports.take_frame(), None)
        self.broker.is_away = False
        self.run_for(120_000)
        self.assertEqual(self.reports.take_frame(), {"connected": True})  # now is the time to report

    def test_that_were_under_way_when_the_broker_ended_come_back_at_once(self):
        self.sent()
        self.broker.come.append(b"")
        kind, text = self.run_for(500)
        self.assertEqual((kind, "closed the connection" in text), ("unreachable", True))

    def test_bring_the_newest_orders_and_plan_and_leave_out_what_is_none(self):
        until = "2026-01-15T10:00:00.000Z"
        self.broker.send("orders", {"until": until, "orders": [1]}, retain=True)
        self.broker.send("orders", {"until": until, "orders": [2]}, retain=True)
        self.broker.send("plan", {"until": until, "plan": None}, retain=True)
        self.run_for(2_000)
        self.assertEqual(self.reports.take_frame(), {"until": until, "orders": [2]})
        self.assertEqual(self.reports.take_frame(), {"until": until, "plan": None})
        self.broker.send("orders", {"until": until, "orders": [3]})
        self.broker.send("orders", b"")  # carried out, or taken back
        self.broker.send("plan", {"plan": None})
        self.run_for(2_000)
        self.assertEqual(self.reports.take_frame(), None)
        self.assertTrue("no end of its validity" in self.told[-1])
        body = mqtt.field("pieward/feeders/larch/orders") + mqtt.number(3) + b"{}"
        self.broker.come.append(mqtt.packet(0x32, body))
        self.run_for(1_000)
        self.assertTrue("isn't this feeder's own topic" in self.told[-1])


if __name__ == "__main__":
    unittest.main()
