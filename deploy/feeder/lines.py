"""The feeder's hardware in a program of your own, in any language: one JSON object a line, over a socket on this computer.

    python3 agent.py ... --lines /run/pieward-feeder/lines.sock

Your program connects and writes what its sensors detect, and reads when the motor is to turn:

    {"kind": "fitted", "counted": ["button", "detector"], "chute": false}    first, what there is
    {"kind": "press"}                                                         and what is detected, as hardware.py has it
    {"kind": "cap", "strength": 0.8, "metal": true, "beam": true}
    {"kind": "perch"}  {"kind": "piece"}  {"kind": "lid", "open": true}  {"kind": "filled", "grams": 400}  {"kind": "trouble", "text": "..."}
    {"kind": "readings", "hopperGrams": 812.4, "airCelsius": -6.2}            the newest ones are reported
    {"kind": "motor", "milliamps": 240, "volts": 4.97}                        while it turns, if you measure it

    {"motor": "on"}   {"motor": "off"}                                        what you read
    {"problem": "line 3: strength: must be a number from 0 to 1 or null"}

Switch the motor off by yourself when the connection ends, and after two seconds in any case: then nobody else can.
"""

import json
import os
import socket

from hardware import Hardware
from values import is_number

LINE_MAX = 10_000  # octets
SENSORS = ("button", "detector", "chute", "perch")
LINES_A_STEP = 200  # so that a program that never stops writing doesn't hold up the motor


class LineError(ValueError):
    """The text names the field."""


class LineHardware(Hardware):
    def __init__(self, path):
        try:
            os.unlink(path)  # left over from a power cut
        except FileNotFoundError:
            pass
        self._path = path
        self._listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listening.bind(path)
        os.chmod(path, 0o660)
        self._listening.listen(1)
        self._listening.setblocking(False)
        self._program = None
        self._forget()

    def _forget(self):
        """What the last program has said holds no more."""
        self._received = b""
        self._line = 0
        self._readings = {}
        self._milliamps = None
        self._volts = None
        self.counted = ()
        self.has_chute_sensor = False

    # --- what agent.py asks ----------------------------------------------------------------------------------------

    def poll(self):
        self._accept()
        happened = []
        for line in self._new_lines():
            self._line += 1
            try:
                happened += self._read_line(line)
            except LineError as error:
                self._write({"problem": f"line {self._line}: {error}"})
        return happened

    def read(self):
        return dict(self._readings)

    def motor_on(self):
        if self._program is None:
            raise ConnectionError("no program is connected")
        self._milliamps = self._volts = None
        if not self._write({"motor": "on"}):
            raise ConnectionError("the program went away")

    def motor_off(self):
        self._write({"motor": "off"})  # without a connection the program has switched it off by itself

    def motor_milliamps(self):
        return self._milliamps

    def supply_volts(self):
        return self._volts

    def close(self):
        self._leave()
        self._listening.close()
        try:
            os.unlink(self._path)
        except OSError:
            pass

    # --- the connection ----------------------------------------------------------------------------------------------

    def _accept(self):
        """The newest program is the one: an old connection may hang after its program has ended."""
        try:
            program, _ = self._listening.accept()
        except (BlockingIOError, InterruptedError):
            return
        self._leave()
        program.setblocking(False)
        self._program = program

    def _leave(self):
        if self._program is not None:
            self._program.close()
        self._program = None
        self._forget()

    def _new_lines(self):
        if self._program is None:
            return []
        try:
            while len(self._received) < LINES_A_STEP * 100:
                part = self._program.recv(65_536)
                if not part:
                    self._leave()
                    return []
                self._received += part
        except (BlockingIOError, InterruptedError):
            pass
        except OSError:
            self._leave()
            return []
        *lines, rest = self._received.split(b"\n", LINES_A_STEP)
        if len(rest) > LINE_MAX and b"\n" not in rest:
            self._write({"problem": f"line {self._line + len(lines) + 1}: must have at most {LINE_MAX} octets"})
            self._leave()
            return []
        self._received = rest
        return lines

    def _write(self, message):
        """Whether it was written. A program that doesn't read its lines is taken for gone."""
        if self._program is None:
            return False
        try:
            self._program.sendall(json.dumps(message).encode() + b"\n")
            return True
        except OSError:
            self._leave()
            return False

    # --- lines -------------------------------------------------------------------------------------------------------

    def _read_line(self, line):
        try:
            said = json.loads(line)
        except ValueError:
            raise LineError("must be one JSON object") from None
        if not isinstance(said, dict):
            raise LineError("must be one JSON object")
        kind = said.get("kind")
        if kind in ("perch", "press", "piece"):
            return [(kind,)]
        if kind == "cap":
            strength = number(said, "strength", 0, 1)
            return [("cap", strength, flag(said, "metal"), flag(said, "beam"))]
        if kind == "lid":
            return [("lid", flag(said, "open"))]
        if kind == "filled":
            return [("filled", number(said, "grams", 0, 100_000))]
        if kind == "trouble":
            if not isinstance(said.get("text"), str) or not said["text"]:
                raise LineError("text: must be a text")
            return [("trouble", said["text"])]
        return self._read_state(kind, said)

    def _read_state(self, kind, said):
        if kind == "readings":
            self._readings = {name: value for name, value in said.items() if name != "kind"}
        elif kind == "motor":
            self._milliamps = number(said, "milliamps", 0, 100_000)
            self._volts = number(said, "volts", 0, 60)
        elif kind == "fitted":
            counted = said.get("counted")
            if not isinstance(counted, list) or any(name not in SENSORS for name in counted):
                raise LineError(f"counted: must be a list of {', '.join(SENSORS)}")
            self.counted = tuple(counted)
            self.has_chute_sensor = flag(said, "chute") is True
        else:
            raise LineError(f"kind: {kind!r} is not known")
        return []


def number(said, name, least, most):
    value = said.get(name)
    if value is None:
        return None
    if not is_number(value) or not least <= value <= most:
        raise LineError(f"{name}: must be a number from {least} to {most} or null")
    return value


def flag(said, name):
    value = said.get(name)
    if value is not None and not isinstance(value, bool):
        raise LineError(f"{name}: must be true, false or null")
    return value
