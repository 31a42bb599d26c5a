"""Reports of one feeder over the keeper's own broker, as the server's page at /api/docs#mqtt describes it; for Python 3 and MicroPython alike.

The report, its signature and its numbers are those of HTTP. What the server answers decides alone; that the broker has a report (PUBACK) proves
nothing. Orders and plan wait at the broker, and come as frames.
"""

import json

from mqtt import MqttClient

ANSWER_WITHIN = 30_000  # ms
NONCE_GOOD_FOR = 240_000  # ms, of the five minutes that the server gives
TEXT_MAX = 300
ASKING, ASKED, READY, SENT = 0, 1, 2, 3


def topic_of(feeder, name):
    return "pieward/feeders/%s/%s" % (feeder, name)


class BrokerReports:
    """`send(body)`, `step()`, `take()` and `busy` as the report client over HTTP on a microcontroller has them; `take_frame()`.

    `login`: (user, password) at the broker. `tell(text)`: for whoever reads the log, once for each change.
    """

    def __init__(self, open_stream, identity, login, uptime, chance, tell, **limits):
        self.identity, self.login, self.uptime, self.tell = identity, login, uptime, tell
        feeder = identity.feeder
        self._topics = {topic_of(feeder, name): name for name in ("answer", "orders", "plan")}
        self._report_topic, self._status_topic = topic_of(feeder, "report"), topic_of(feeder, "status")
        account = {"id": feeder, "user": login[0], "password": login[1], "will": (self._status_topic, b'{"online": false}')}
        self.mqtt = MqttClient(open_stream, account, list(self._topics), uptime, chance, **limits)
        self.busy = False
        self._body = self._outcome = self._mac = None
        self._stage, self._until, self._packet_id, self._asked_again = ASKING, 0, None, False
        self._nonce_at = 0
        self._frames, self._told, self._was_up = {}, None, False

    def send(self, body):
        self.busy, self._body, self._outcome, self._asked_again = True, body, None, False
        self._until = self.uptime.ms() + ANSWER_WITHIN
        is_fresh = self.identity.nonce is not None and self.uptime.ms() - self._nonce_at < NONCE_GOOD_FOR
        self._stage = READY if is_fresh else ASKING

    def take(self):
        """None, or once ("answered", JSON value) or (why not, text): unreachable, unreadable, tooMuch, tooOften."""
        outcome, self._outcome = self._outcome, None
        if outcome is not None:
            self.busy = False
        return outcome

    def take_frame(self):
        """None, or the newest of {"connected": True}, {"until", "orders"} and {"until", "plan"}, each as it came. Look at `until`."""
        for name in ("connected", "orders", "plan"):
            if name in self._frames:
                return self._frames.pop(name)
        return None

    def step(self):
        message = self.mqtt.step()
        self._note_state()
        if message is not None:
            self._take_message(message[0], message[1])
        if self.busy and self._outcome is None:
            self._go_on()

    def _note_state(self):
        is_up = self.mqtt.is_up
        if is_up and not self._was_up:
            self.mqtt.publish(self._status_topic, b'{"online": true}')
            if self._told is not None:  # it was away
                self._frames["connected"] = {"connected": True}
            self._say("The broker is connected.")
        elif not is_up and self.mqtt.problem is not None:
            self._say("The broker is not connected: %s. It goes on, and tries again." % self.mqtt.problem)
        self._was_up = is_up

    def _say(self, text):
        if text != self._told:
            self._told = text
            self.tell(text)

    # --- a report -------------------------------------------------------------------------------------------------------

    def _go_on(self):
        if not self.mqtt.is_up:
            if self._stage in (ASKED, SENT) or self.mqtt.problem is not None:
                self._end("unreachable", "the broker is not connected: %s" % (self.mqtt.problem or "not yet"))
            elif self.uptime.ms() > self._until:
                self._end("unreachable", "the broker could not be reached")
        elif self._stage == ASKING:
            self._stage = ASKED
            self._packet_id = self.mqtt.publish(self._report_topic, b"")  # refused, with a nonce
        elif self._stage == READY:
            self._publish()
        elif self.uptime.ms() > self._until:
            has_it = "the broker took the report" if self.mqtt.acknowledged == self._packet_id else "the broker didn't take the report"
            self.identity.nonce = None  # what is sent next may wait at the broker too: something short, and not the report
            self._end(
                "unreachable",
                "%s, and no answer of the server came within %d s. Is the server connected to this broker, and may user %s write to %s?"
                % (has_it, ANSWER_WITHIN // 1000, self.login[0], self._report_topic),
            )

    def _publish(self):
        header = self.identity.header(self._body)
        self._mac = header.split('mac="', 1)[1].split('"', 1)[0]
        self._stage = SENT
        self._packet_id = self.mqtt.publish(self._report_topic, header.encode() + b"\n" + self._body)

    def _end(self, kind, value):
        self._body = None
        self._outcome = kind, value

    # --- messages -------------------------------------------------------------------------------------------------------

    def _take_message(self, topic, payload):
        name = self._topics.get(topic)
        if name is None:
            self._say("The broker sent a message on %s, which isn't this feeder's own topic: left out." % topic[:100])
            return
        if name != "answer" and not payload:
            self._frames.pop(name, None)  # nothing waits any more
            return
        try:
            message = json.loads(payload)
        except (ValueError, RuntimeError) as error:  # RuntimeError: nested too deeply, on MicroPython
            self._say("A message on %s is no JSON: %s" % (topic, error))
            return
        if not isinstance(message, dict):
            self._say("A message on %s is no object." % topic)
        elif name == "answer":
            self._take_answer(message)
        elif isinstance(message.get("until"), str) and name in message:
            self._frames[name] = {"until": message["until"], name: message[name]}
        else:
            self._say("A message on %s has no end of its validity, or not what its topic says: left out." % topic)

    def _take_answer(self, message):
        nonce, to = message.get("nonce"), message.get("to")
        if isinstance(nonce, str):
            self.identity.takes_nonce('nonce="%s"' % nonce)
            self._nonce_at = self.uptime.ms()
        if not self.busy or self._outcome is not None:
            return
        if self._stage == ASKED and to is None and self.identity.nonce is not None:
            self._stage = READY
        elif self._stage == SENT and to == self._mac:
            if "answer" in message:
                self._end("answered", message["answer"])
            else:
                self._refused(message.get("problem"))

    def _refused(self, problem):
        problem = problem if isinstance(problem, dict) else {}
        status, text = problem.get("status"), words_of(problem)
        if status == 401 and not self._asked_again:
            self._asked_again, self._stage = True, READY  # it waited for longer than its nonce holds
        elif status == 413:
            self._end("tooMuch", text)
        elif status == 429:
            self._end("tooOften", None)
        else:
            # Only 400 and 422 are about the report itself; a wrong signature is not about the events.
            self._end("unreadable" if status in (400, 422) else "unreachable", text)


def words_of(problem):
    errors = problem.get("errors")
    first = errors[0] if isinstance(errors, list) and errors and isinstance(errors[0], dict) else {}
    parts = [problem.get("status"), problem.get("detail"), first.get("field"), first.get("problem")]
    return " ".join([str(one) for one in parts if one is not None])[:TEXT_MAX]
