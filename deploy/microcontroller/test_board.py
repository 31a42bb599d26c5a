"""board.py and main.py on made-up chip modules. It shows that they fit together, not that they run on a board."""

import json
import os
import sys

from fakes import FakeServer, equal, holds, ticks_diff


class Pin:
    IN, OUT, PULL_UP, IRQ_FALLING = 0, 1, 2, 3
    made = {}

    def __init__(self, number, mode, pull=None, value=None):
        self.state, self.handler = value, None
        Pin.made[number] = self

    def irq(self, handler, trigger):
        self.handler = handler

    def value(self, state):
        self.state = state


class Timer:
    ONE_SHOT = 0
    running = None

    def __init__(self, _):
        pass

    def init(self, mode, period, callback):
        Timer.running = callback

    def deinit(self):
        Timer.running = None


class Watchdog:
    fed = 0

    def __init__(self, timeout):
        equal(timeout <= 8_388, True)

    def feed(self):
        Watchdog.fed += 1


class Lan:
    is_up = True
    tries = 0

    def __init__(self, _):
        pass

    def active(self, _):
        pass

    def isconnected(self):
        return Lan.is_up

    def connect(self, name, password):
        Lan.tries += 1

    def status(self, _):
        return -61


class Socket:
    """A server on the other side of the socket."""

    server = FakeServer()
    log = []

    def __init__(self):
        self.sent, self.answer = b"", None

    def settimeout(self, seconds):
        Socket.log.append("timeout %d" % seconds)

    def setblocking(self, blocks):
        equal(blocks, False)

    def connect(self, address):
        equal(address, ("192.168.1.20", 8080))

    def write(self, data):
        self.sent += data
        return len(data)

    def read(self, most):
        if self.answer is None:
            report = json.loads(self.sent.split(b"\r\n\r\n", 1)[1])
            answer = Socket.server.answer(report)
            answer["nextReportSeconds"] = 1
            body = json.dumps(answer).encode()
            self.answer = b"HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n" % len(body) + body
        data, self.answer = self.answer[:most], self.answer[most:]
        return data

    def close(self):
        Socket.log.append("closed")


class Context:
    def __init__(self, _):
        self.verify_mode = None

    def load_verify_locations(self, cadata):
        equal(cadata, b"der")

    def wrap_socket(self, plain, server_hostname):
        equal((self.verify_mode, server_hostname), ("required", "pieward.example"))
        return "encrypted"


class Module:
    def __init__(self, **names):
        for name, value in names.items():
            setattr(self, name, value)


class Time:
    """It passes while the program sleeps."""

    now = 0

    def ticks_ms(self):
        return Time.now

    def ticks_diff(self, a, b):
        return ticks_diff(a, b)

    def sleep_ms(self, ms):
        Time.now += ms


def program():
    """main.py with a chip, a clock and randomness that are made up."""
    chip_modules()
    import board
    import main

    board.time = main.time = Time()
    main.os = Module(urandom=lambda count: bytes(range(count)))
    return main


def chip_modules():
    sys.modules["machine"] = Module(Pin=Pin, Timer=Timer, WDT=Watchdog)
    sys.modules["network"] = Module(WLAN=Lan, STA_IF=0)
    sys.modules["ssl"] = Module(SSLContext=Context, PROTOCOL_TLS_CLIENT=0, CERT_REQUIRED="required")
    sys.modules["socket"] = Module(socket=Socket, getaddrinfo=lambda host, port: [(0, 0, 0, "", (host, port))])


def test_pays_a_press_from_pin_to_server_and_leaves_the_motor_off():
    main = program()
    settings = {"wifi": "yard", "password": "birds", "server": "http://192.168.1.20:8080", "key": "the-key"}
    with open("settings.json", "w") as file:
        json.dump(settings, file)
    main.MyFeeder.portion_ms = 30
    states, turns = [], [0]

    def goes_on():
        turns[0] += 1
        if turns[0] == 10:
            Time.now += 60
            for _ in range(3):  # it bounces
                Pin.made[14].handler(None)
        states.append((Pin.made[16].state, Timer.running is not None))
        return turns[0] < 250

    main.main(goes_on)
    equal((1, False) in states, False)  # never on without the timer that ends it
    equal((states.count((1, True)) > 0, Pin.made[16].state), (True, 0))
    presses, portions = Socket.server.of_kind("press"), Socket.server.of_kind("portion")
    equal(([one["earns"] for one in presses], [one["cause"] for one in portions]), ([True], ["press"]))
    equal((Socket.log[:2], Watchdog.fed > 200), (["timeout 3", "closed"], True))
    equal(Socket.server.reports[0]["readings"]["signalDbm"], -61)
    equal(len([name for name in os.listdir("/events") if name[0] == "s"]), 1)


def test_the_motor_is_off_when_the_program_ends_in_an_error():
    main = program()

    def fails():
        Pin.made[16].state = 1
        raise KeyError("a bug")

    try:
        main.main(fails)
        raise AssertionError("the error is gone")
    except KeyError:
        equal(Pin.made[16].state, 0)


def test_the_timer_of_the_chip_ends_a_motor_whose_loop_hangs():
    chip_modules()
    from board import Motor

    motor = Motor(16, 2_000, -1)
    motor.on()
    Timer.running(None)
    equal(Pin.made[16].state, 0)


def test_opens_https_with_the_authority_alone_and_nothing_without_wifi():
    chip_modules()
    from board import Wifi

    for wifi, host, wanted in ((Wifi("a", "b", b"der"), "pieward.example", "encrypted"), (Wifi("a", "b"), "pieward.example", "authority.der")):
        Socket.connect = lambda _, address: None
        try:
            equal(wifi.open(host, 443, True), wanted)
        except OSError as error:
            holds(str(error), wanted)
    wifi = Wifi("a", "b")
    Lan.is_up, Lan.tries = False, 0
    for now in (0, 29_999, 30_000):
        wifi.step(now)
    equal((Lan.tries, wifi.signal()), (2, None))
    try:
        wifi.open("192.168.1.20", 80, False)
        raise AssertionError("it opened a stream without Wi-Fi")
    except OSError:
        Lan.is_up = True


def test_reports_over_the_broker_that_the_settings_name():
    main = program()
    opened = []
    wifi = Module(open=lambda *where: opened.append(where) or Socket())
    settings = {"key": "k", "feeder": "rowan-1", "server": "http://192.168.1.20:8080", "broker": "mqtts://broker.example", "brokerPassword": "p"}
    client = main.report_client(settings, wifi, Module(ms=lambda: 1_000))
    client.step()
    equal((opened, client.login), ([("broker.example", 8883, True)], ("rowan-1", "p")))
    settings["broker"] = None
    equal(main.report_client(settings, wifi, None).port, 8080)
