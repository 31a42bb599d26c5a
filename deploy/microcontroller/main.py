"""The program of one feeder on a microcontroller. Edit MyFeeder for your pins, and settings.json for your network; see README.md."""

import binascii
import gc
import json
import os
import time

import machine

from board import WATCHDOG, Button, Motor, Wifi
from clock import Uptime
from feeder import Feeder
from identity import Identity
from spool import Flash, Spool


class MyFeeder:
    """As `Hardware` in ../feeder/hardware.py describes it. Every method returns at once."""

    portion_ms = 900  # how long the motor runs for one portion
    stall_milliamps = None  # the motor is switched off above this; None where its current is not measured
    has_chute_sensor = False
    counted = ("button", "detector")  # which of button, detector, chute, perch are fitted

    def __init__(self, wifi):
        self.wifi = wifi
        self.button = Button(pin=14)
        self.detector = Button(pin=15, quiet_ms=300)  # a metal detector with a switching output of at most 3.3 V
        self.motor = Motor(pin=16, most_ms=2_000, timer=-1)  # -1 on an RP2040, 0 on an ESP32

    def poll(self):
        return [("press",)] * self.button.take() + [("cap", None, True, None)] * self.detector.take()

    def read(self):
        return {"signalDbm": self.wifi.signal()}

    def motor_on(self):
        self.motor.on()

    def motor_off(self):
        self.motor.off()

    def motor_milliamps(self):
        return None


def read_settings():
    with open("settings.json") as file:
        return json.load(file)


def read_authority():
    try:
        with open("authority.der", "rb") as file:
            return file.read()
    except OSError:
        return None  # then there is no TLS


def report_client(settings, wifi, uptime):
    """Over the broker where settings.json names one, otherwise over HTTP. Only one of the two takes RAM."""
    identity = Identity(settings["key"], settings.get("feeder"))
    if settings.get("broker") is None:
        from report import HttpReportClient

        return HttpReportClient(settings["server"], identity, wifi, uptime)
    from address import parsed
    from broker import BrokerReports

    where = parsed(settings["broker"], {"mqtt": 1883, "mqtts": 8883})
    login = settings["feeder"], settings["brokerPassword"]
    return BrokerReports(lambda: wifi.open(*where), identity, login, uptime, lambda: os.urandom(1)[0], print)


def main(should_go_on=lambda: True):
    settings = read_settings()
    uptime = Uptime(time.ticks_ms, time.ticks_diff)
    wifi = Wifi(settings["wifi"], settings["password"], read_authority())
    hardware = MyFeeder(wifi)
    try:
        client = report_client(settings, wifi, uptime)
        spool = Spool(Flash("/events"), "b-" + binascii.hexlify(os.urandom(8)).decode())
        feeder = Feeder(spool, hardware, client, uptime, lambda: os.urandom(1)[0])
        watchdog = machine.WDT(timeout=WATCHDOG)
        while should_go_on():
            wifi.step(uptime.ms())
            feeder.step()
            watchdog.feed()
            gc.collect()  # often and little: a free kilobyte must not be in pieces when an answer comes
            time.sleep_ms(10)
    finally:
        hardware.motor_off()  # whatever has failed


if __name__ == "__main__":
    main()
