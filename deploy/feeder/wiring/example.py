"""A whole feeder out of the parts. Copy it within this folder, take out what you have not built, put in your own pins, and start

    /usr/bin/python3 agent.py --check --wired wiring.mine:ExampleFeeder

The numbers are GPIO numbers, not those of the pins in the connector. Nothing of it has run on a real board yet.
"""

import threading
import time

from hardware import Hardware

from .background import in_thread
from .battery_divider import BatteryDivider
from .beam_sensor import BeamSensor
from .button import Button
from .current_monitor import CurrentMonitor
from .i2c_thermometer import I2cThermometer
from .load_cell import LoadCell
from .metal_detector import MetalDetector
from .motor_driver import MotorDriver
from .one_wire_thermometer import OneWireThermometer
from .parts import Parts
from .perch_switch import PerchSwitch
from .serial_metal_detector import SerialMetalDetector

BUTTON, PERCH, CHUTE_BEAM, METAL, SLOT_BEAM, MOTOR = 17, 27, 22, 23, 24, 25
LOAD_DATA, LOAD_CLOCK = 5, 6
TARE, GRAMS_PER_COUNT = 0, None  # of your load cell, by calibrate.py; without them the hopper is not weighed
DETECTOR_PORT = None  # such as "/dev/serial0" for a detector that writes a strength a line


class ExampleFeeder(Hardware):
    """clock, sleep, start, timer: tests pass their own."""

    portion_seconds = 0.9
    stall_milliamps = 600  # measure yours: some way above the running current, below the stalled one
    supply_volts_min = 4.7  # of a 5 V supply; None where the monitor is not there or the motor has a supply of its own
    has_chute_sensor = True
    counted = ("button", "detector", "chute", "perch")

    def __init__(self, clock=time.monotonic, sleep=time.sleep, start=in_thread, timer=threading.Timer):
        self._parts = Parts(clock)
        slow = {"clock": clock, "sleep": sleep, "start": start}
        try:
            self._motor = self._parts.add("the motor", MotorDriver(MOTOR, self.portion_seconds + 1.0, clock, timer))
            self._parts.add("the button", Button(BUTTON, clock=clock))
            self._parts.add("the perch switch", PerchSwitch(PERCH, clock=clock))
            self._parts.add("the chute's beam", BeamSensor(CHUTE_BEAM, clock=clock))
            self._parts.add("the metal detector", detector(clock))
            self._monitor = self._parts.add("the current monitor", CurrentMonitor(clock=clock, start=start))
            cell = LoadCell(LOAD_DATA, LOAD_CLOCK, TARE, GRAMS_PER_COUNT, now=clock, sleep=sleep, start=start)
            self._cell = self._parts.add("the load cell", cell)
            self._air = self._parts.add("the air's thermometer", I2cThermometer(**slow))
            self._lid = self._parts.add("the lid's thermometer", OneWireThermometer(clock=clock, start=start))
            self._battery = self._parts.add("the battery's voltage", BatteryDivider(ratio=(100 + 22) / 22, **slow))
        except BaseException:
            self._parts.close()  # the motor above all
            raise

    def poll(self):
        return self._parts.poll()

    def read(self):
        return {
            "hopperGrams": self._cell.grams(),
            "airCelsius": self._air.celsius(),
            "humidityPercent": self._air.humidity_percent(),
            "lidCelsius": self._lid.celsius(),
            "supplyVolts": self._monitor.volts(),
            "batteryVolts": self._battery.volts(),
        }

    def motor_on(self):
        self._motor.on()

    def motor_off(self):
        self._motor.off()

    def motor_milliamps(self):
        return self._monitor.milliamps()

    def supply_volts(self):
        return self._monitor.lowest_volts()  # motor and board have one 5 V supply here; else return None

    def close(self):
        self._parts.close()


def detector(clock):
    if DETECTOR_PORT is None:
        return MetalDetector(METAL, slot_beam_gpio=SLOT_BEAM, clock=clock)
    return SerialMetalDetector(DETECTOR_PORT, slot_beam_gpio=SLOT_BEAM, clock=clock)
