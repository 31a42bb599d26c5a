"""MQTT 3.1.1 (OASIS standard, 29 October 2014) as far as a feeder needs it, for Python 3 and MicroPython alike.

QoS 1 in both directions, a clean session, a last will, keep-alive, and a new connection after each end. Network and clock are handed in:
`open_stream()` gives a stream or raises OSError, and may take some seconds. The stream has `write(bytes)`, how many were taken or None,
`read(n)`, b"" at the end and None where nothing has come yet, and `close()`. `uptime.ms()` never goes back.
"""

CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK, PINGREQ, PINGRESP, DISCONNECT = 1, 2, 3, 4, 8, 9, 12, 13, 14  # 2.2.1
KEEP_ALIVE = 30  # seconds; the broker gives a client up after one and a half of it (3.1.2.10)
ANSWER_WITHIN = 15_000  # ms, for the broker itself
RETRY_FIRST, RETRY_MAX = 1_000, 60_000  # ms
HOLDS_AFTER = 60_000  # ms; a connection that ends sooner didn't hold: two clients with one id end each other's
NO_BROKER = "something else answered, not a broker with MQTT 3.1.1"
REFUSALS = {  # 3.2.2.3
    1: "it doesn't speak MQTT 3.1.1",
    2: "it doesn't take the client's id",
    3: "it is not available",
    4: "user or password is wrong",
    5: "user or password is wrong, or the user may not connect",
}


class MqttError(ValueError):
    """What the broker sent is no MQTT, or says no; in words."""


# --- packets ------------------------------------------------------------------------------------------------------------


def packet(first, body):
    """`first`: the octet with kind and flags (2.2)."""
    return bytes([first]) + remaining_length(len(body)) + body


def remaining_length(length):
    """2.2.3"""
    octets = b""
    while True:
        length, low = length >> 7, length & 0x7F
        octets += bytes([low | (0x80 if length else 0)])
        if not length:
            return octets


def field(value):
    """A text or octets with their length in front (1.5.3)."""
    octets = value.encode() if isinstance(value, str) else value
    if len(octets) > 65_535:
        raise ValueError("expected at most 65535 octets, got %d" % len(octets))
    return number(len(octets)) + octets


def number(value):
    return bytes([value >> 8, value & 0xFF])


def connect_packet(client_id, user, password, will, keep_alive=KEEP_ALIVE):
    """A clean session. `will`: (topic, payload), published with QoS 1 where the connection breaks (3.1)."""
    body = field("MQTT") + bytes([4, 0xCE]) + number(keep_alive)
    return packet(CONNECT << 4, body + field(client_id) + field(will[0]) + field(will[1]) + field(user) + field(password))


def publish_packet(topic, payload, packet_id):
    """QoS 1, not retained (3.3)."""
    return packet(PUBLISH << 4 | 2, field(topic) + number(packet_id) + payload)


def subscribe_packet(packet_id, topics):
    """`topics`: (topic, QoS) each (3.8)."""
    body = number(packet_id)
    for topic, qos in topics:
        body += field(topic) + bytes([qos])
    return packet(SUBSCRIBE << 4 | 2, body)


def puback_packet(packet_id):
    return packet(PUBACK << 4, number(packet_id))


def whole_packet(octets, most):
    """(where its body begins, where it ends) of the first packet, or None while it isn't whole. Raises MqttError."""
    length = 0
    for place in range(1, 5):
        if len(octets) <= place:
            return None
        length |= (octets[place] & 0x7F) << (7 * (place - 1))
        if not octets[place] & 0x80:
            break
    else:
        raise MqttError("damaged packet: its length has more than four octets")
    if length > most:
        raise MqttError("a packet of %d octets, and this feeder takes %d at most" % (length, most))
    end = place + 1 + length
    return (place + 1, end) if len(octets) >= end else None


def read_publish(octets, start, end):
    """(topic, payload, is retained, packet id or None) of a whole PUBLISH packet. Raises MqttError."""
    qos = octets[0] >> 1 & 3
    after_topic = start + 2 + (octets[start] << 8 | octets[start + 1]) if end - start >= 2 else end + 1
    payload_at = after_topic + (2 if qos else 0)
    if qos > 1 or payload_at > end:
        raise MqttError("damaged packet: a message that doesn't fit its own length or quality of service")
    view = memoryview(octets)
    try:
        topic = bytes(view[start + 2 : after_topic]).decode()
    except ValueError:
        raise MqttError("damaged packet: its topic is no UTF-8")
    packet_id = octets[after_topic] << 8 | octets[after_topic + 1] if qos else None
    return topic, bytes(view[payload_at:end]), bool(octets[0] & 1), packet_id


# --- the connection -----------------------------------------------------------------------------------------------------


class MqttClient:
    """`account`: id, user, password, will (topic and payload). `topics`: read with QoS 1. `chance()`: 0 to 255.

    `is_up` from the moment on at which the broker has taken the topics. `problem`: why it is not up, in words; None before the first try.
    `has_moved`: whether the last step has sent, read or handled something, so that the next one may as well.
    """

    def __init__(self, open_stream, account, topics, uptime, chance, packet_max=32_768, chunk=512):
        self.open_stream, self.account, self.topics, self.uptime, self.chance = open_stream, account, topics, uptime, chance
        self.packet_max, self.chunk = packet_max, chunk
        self.is_up, self.problem, self.has_moved = False, None, False
        self.acknowledged = 0  # the packet id of the last PUBACK
        self._stream, self._retry, self._again_at = None, RETRY_FIRST, 0
        self._reset(0)

    def step(self):
        """Opens where it is time, sends and reads a little. Returns a message: (topic, payload, whether it was retained), or None."""
        now = self.uptime.ms()
        self.has_moved = False
        try:
            if self._stream is None:
                if now >= self._again_at:
                    self._open(now)
                return None
            self._send(now)
            message = self._receive(now)
            self._watch(now)
            return message
        except (OSError, ValueError, MemoryError) as error:
            self._lose(now, str(error) or repr(error))
            return None

    def publish(self, topic, payload):
        """The packet id by which it will be acknowledged. Only while `is_up`."""
        packet_id = self._next_id()
        self._put(publish_packet(topic, payload, packet_id))
        return packet_id

    def close(self):
        """Without a word: so the broker tells the last will, and it is true."""
        stream, self._stream, self.is_up = self._stream, None, False
        if stream is not None:
            try:
                stream.close()
            except OSError:
                pass  # it is gone already

    def _reset(self, now):
        self._out, self._sent, self._in = b"", 0, bytearray()
        self._packet_id, self._greeted, self._up_at = 0, False, None
        self._opened_at = self._written_at = self._moved_at = now  # moved: octets went or came
        self._asked = False

    def _open(self, now):
        self._stream = self.open_stream()
        now = self.uptime.ms()  # it may have taken seconds
        self._reset(now)
        account = self.account
        self._put(connect_packet(account["id"], account["user"], account["password"], account["will"]))

    def _lose(self, now, words):
        held = self._up_at is not None and now - self._up_at >= HOLDS_AFTER
        self.close()
        self.problem = words
        wait = RETRY_FIRST if held else self._retry
        self._retry = min(RETRY_MAX, 2 * wait)
        # With a random part, so that feeders that lost their broker together don't come back at once.
        self._again_at = self.uptime.ms() + wait + wait * self.chance() // 256
        self._reset(now)

    def _next_id(self):
        self._packet_id = self._packet_id % 65_535 + 1
        return self._packet_id

    def _put(self, octets):
        self._out = self._out[self._sent :] + octets
        self._sent = 0

    def _send(self, now):
        if not self._out:
            return
        taken = self._stream.write(self._out[self._sent : self._sent + self.chunk]) or 0
        self._sent += taken
        if taken:
            self._moved_at = self._written_at = now
            self.has_moved = True
        if self._sent >= len(self._out):
            self._out, self._sent = b"", 0

    def _receive(self, now):
        found = whole_packet(self._in, self.packet_max)
        if found is None:
            data = self._stream.read(self.chunk)
            if data is None:
                return None
            if not data:
                raise MqttError("the broker closed the connection" if self._greeted else "the broker closed the connection before it answered")
            self._in += data
            self._moved_at, self._asked, self.has_moved = now, False, True
            if not self._greeted and self._in[0] != CONNACK << 4:
                raise MqttError(NO_BROKER)
            found = whole_packet(self._in, self.packet_max)
            if found is None:
                return None
        self.has_moved = True
        start, end = found
        message = self._handle(self._in[0] >> 4, start, end)
        self._in = self._in[end:]
        return message

    def _handle(self, kind, start, end):
        octets = self._in
        if not self._greeted:
            self._greet(kind, octets[start:end])
        elif kind == PUBLISH:
            topic, payload, retained, packet_id = read_publish(octets, start, end)
            if packet_id is not None:
                self._put(puback_packet(packet_id))
            return topic, payload, retained
        elif kind == PUBACK and end - start == 2:
            self.acknowledged = octets[start] << 8 | octets[start + 1]
        elif kind == SUBACK and end - start == 2 + len(self.topics):
            self._subscribed(octets[start + 2 : end])
        elif kind != PINGRESP or end != start:
            raise MqttError("damaged packet: kind %d with %d octets" % (kind, end - start))
        return None

    def _greet(self, kind, body):
        if kind != CONNACK or len(body) != 2:
            raise MqttError(NO_BROKER)
        if body[1] != 0:
            raise MqttError("the broker refused the connection: " + REFUSALS.get(body[1], "code %d" % body[1]))
        self._greeted = True
        self._put(subscribe_packet(self._next_id(), [(topic, 1) for topic in self.topics]))

    def _subscribed(self, codes):
        for topic, code in zip(self.topics, codes):
            if code > 1:
                raise MqttError("the broker doesn't let user %s read %s; check its access list" % (self.account["user"], topic))
        self.is_up, self.problem, self._up_at = True, None, self.uptime.ms()

    def _watch(self, now):
        """A line that was cut somewhere on the way says nothing by itself."""
        if not self.is_up and now - self._opened_at > ANSWER_WITHIN:
            raise MqttError("the broker doesn't answer")
        if (self._out or self._asked) and now - self._moved_at > ANSWER_WITHIN:
            raise MqttError("the broker doesn't answer any more")
        if self.is_up and not self._out and now - self._written_at >= KEEP_ALIVE * 1_000:
            self._put(packet(PINGREQ << 4, b""))
            self._moved_at, self._asked = now, True
