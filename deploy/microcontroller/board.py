"""What touches the chip: Wi-Fi, sockets, pins. NOT TRIED ON A BOARD: the tests run it on modules made up from MicroPython's documentation.

Cautions, before any wire: see README.md.
"""

import socket
import ssl
import time

import machine
import network

STEP_TIMEOUT = 3  # seconds to connect, and as many to agree on TLS: together less than the watchdog waits
WATCHDOG = 8_000  # ms; the documentation allows 8388 at most on an RP2040
WIFI_AGAIN = 30_000  # ms
NO_ROUTE = 113


class Wifi:
    """Connects by itself again. Opens streams as report.py needs them."""

    def __init__(self, name, password, authority=None):
        """`authority`: the certificate in DER form by which the server's is checked; without it there is no TLS."""
        self.name, self.password, self.authority = name, password, authority
        self.lan = network.WLAN(network.STA_IF)
        self.lan.active(True)
        self.tried_at = None

    def step(self, now):
        if not self.lan.isconnected() and (self.tried_at is None or now - self.tried_at >= WIFI_AGAIN):
            self.tried_at = now
            try:
                self.lan.connect(self.name, self.password)
            except OSError as error:
                print("Wi-Fi:", error)

    def signal(self):
        """dBm, or None."""
        return self.lan.status("rssi") if self.lan.isconnected() else None

    def open(self, host, port, is_tls):
        if not self.lan.isconnected():
            raise OSError(NO_ROUTE)
        if is_tls and self.authority is None:
            raise OSError("TLS needs the file authority.der")
        plain = socket.socket()
        try:
            plain.settimeout(STEP_TIMEOUT)
            plain.connect(socket.getaddrinfo(host, port)[0][-1])
            stream = self._encrypted(plain, host) if is_tls else plain
            plain.setblocking(False)
        except BaseException:
            plain.close()
            raise
        return stream

    def _encrypted(self, plain, host):
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.verify_mode = ssl.CERT_REQUIRED  # without it any server would be taken for yours
        context.load_verify_locations(cadata=self.authority)
        return context.wrap_socket(plain, server_hostname=host)


class Button:
    """A contact to ground, counted by interrupt, so that none is missed while the network keeps the loop waiting."""

    def __init__(self, pin, quiet_ms=50):
        self.quiet_ms, self.count, self.last = quiet_ms, 0, time.ticks_ms()
        self.pin = machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP)
        self.pin.irq(self._pressed, machine.Pin.IRQ_FALLING)

    def _pressed(self, _):
        now = time.ticks_ms()
        if time.ticks_diff(now, self.last) >= self.quiet_ms:
            self.count += 1
        self.last = now  # a contact that bounces on stays one press

    def take(self):
        """How often since the last call."""
        count = self.count
        self.count -= count
        return count


class Motor:
    """Off at the start and in every error. A timer of the chip switches it off where the loop hangs; `timer`: -1 on an RP2040."""

    def __init__(self, pin, most_ms, timer):
        self.pin = machine.Pin(pin, machine.Pin.OUT, value=0)
        self.most_ms, self.timer = most_ms, machine.Timer(timer)

    def on(self):
        self.timer.init(mode=machine.Timer.ONE_SHOT, period=self.most_ms, callback=lambda _: self.pin.value(0))
        self.pin.value(1)

    def off(self):
        self.pin.value(0)
        self.timer.deinit()
