"""The circuits as data: which pin of the board goes to which pin of the part, and what lies between. GPIO numbers as in example.py."""

from dataclasses import dataclass

from ..example import BUTTON, CHUTE_BEAM, LOAD_CLOCK, LOAD_DATA, METAL, MOTOR, PERCH

SDA, SCL = "GPIO 2 (SDA)", "GPIO 3 (SCL)"
V33, GND = "3.3 V", "GND"


@dataclass(frozen=True)
class Row:
    """One wire. left: a pin of the board; with a leading ~ what is not the board; None: joined by a Link only. right: a pin of a part or None."""

    left: str
    right: str
    inline: tuple = ()  # of (symbol, label), from left to right


@dataclass(frozen=True)
class Link:
    """What joins two neighbouring wires: symbol "resistor", "capacitor", "diode" (its bar, the cathode, is above) or "wire"."""

    above: int
    place: int  # 0 is next to the board
    symbol: str
    label: str = ""


@dataclass(frozen=True)
class Circuit:
    title: str
    boxes: tuple  # of (name, first row, last row)
    rows: tuple
    links: tuple = ()
    notes: tuple = ()


CIRCUITS = {
    "button": Circuit(
        "Button",
        (("contact", 0, 1),),
        (Row(f"GPIO {BUTTON}", "one side", (("resistor", "1 kΩ"),)), Row(GND, "other side")),
        (Link(0, 1, "capacitor", "100 nF"),),
        ("Resistor and capacitor for wires over half a metre;", "without them: GPIO and GND to the contact. The board's pull-up is on."),
    ),
    "perch_switch": Circuit(
        "Perch switch",
        (("contact", 0, 1),),
        (Row(f"GPIO {PERCH}", "one side", (("resistor", "1 kΩ"),)), Row(GND, "other side")),
        (),
        ("The bird's weight closes the contact. 1 kΩ at the board", "limits what a spark or a wrong wire can do to the pin."),
    ),
    "beam_sensor": Circuit(
        "Beam across the chute",
        (("phototransistor", 1, 2), ("infrared LED", 0, 0), ("infrared LED", 3, 3)),
        (
            Row(V33, "anode (+)", (("resistor", "100 Ω"),)),
            Row(f"GPIO {CHUTE_BEAM}", "collector"),
            Row(GND, "emitter"),
            Row(GND, "cathode (-)"),
        ),
        (Link(0, 0, "resistor", "10 kΩ"),),
        ("About 20 mA through the LED. LED and phototransistor face", "each other across the chute, shaded from daylight."),
    ),
    "metal_detector": Circuit(
        "Metal detector with an open collector",
        (("inductive switch, NPN, normally open", 1, 3),),
        (
            Row(V33, None),
            Row(f"GPIO {METAL}", "output (black)"),
            Row(GND, "0 V (blue)"),
            Row("~ 12 V", "supply + (brown)", (("fuse", "fuse"),)),
        ),
        (Link(0, 0, "resistor", "10 kΩ"),),
        ("Measure the output first, without the board: it must never", "carry the 12 V. A PNP switch would destroy the board."),
    ),
    "serial_metal_detector": Circuit(
        "Metal detector on a serial line",
        (("detector, 5 V", 0, 2),),
        (Row("5 V", "supply +"), Row("GPIO 15 (RXD)", "TX", (("resistor", "1 kΩ"),)), Row(GND, GND)),
        (Link(1, 0, "resistor", "2 kΩ"),),
        ("1 kΩ and 2 kΩ make 3.3 V of its 5 V. A 3.3 V detector:", "supply from 3.3 V, and no 2 kΩ."),
    ),
    "load_cell": Circuit(
        "Load cell amplifier HX711",
        (("amplifier HX711", 0, 3),),
        (Row(V33, "VDD, VSUP"), Row(f"GPIO {LOAD_DATA}", "DOUT"), Row(f"GPIO {LOAD_CLOCK}", "PD_SCK"), Row(GND, GND)),
        (),
        ("The load cell's four wires go to E+, E-, A+ and A-.", "Never 5 V: DOUT would carry it to the board. RATE to GND."),
    ),
    "motor_driver": Circuit(
        "Motor with its switch",
        (("motor", 0, 1), ("MOSFET, logic level", 2, 4)),
        (
            Row("~ supply +", "motor +", (("fuse", "fuse"),)),
            Row(None, "motor -"),
            Row(None, "drain"),
            Row(f"GPIO {MOTOR}", "gate", (("resistor", "220 Ω"),)),
            Row(GND, "source, supply -"),
        ),
        (Link(0, 3, "diode", "flyback diode"), Link(1, 3, "wire"), Link(3, 0, "resistor", "10 kΩ")),
        ("10 kΩ keeps the motor off while the board boots. The diode's", "bar is at +. The fuse must melt if the motor stalls for long."),
    ),
    "current_monitor": Circuit(
        "Current monitor INA219",
        (("monitor INA219", 0, 5),),
        (
            Row(V33, "VS"),
            Row(SDA, "SDA"),
            Row(SCL, "SCL"),
            Row(GND, GND),
            Row("~ supply +", "IN+", (("fuse", "fuse"),)),
            Row("~ motor +", "IN-"),
        ),
        (),
        ("The motor's current flows from IN+ to IN- through 0.1 Ω.", "The board's GND and the motor's supply - are joined."),
    ),
    "one_wire_thermometer": Circuit(
        "Thermometer DS18B20",
        (("thermometer DS18B20", 0, 2),),
        (Row(V33, "VDD"), Row("GPIO 4", "DQ"), Row(GND, GND)),
        (Link(0, 1, "resistor", "4.7 kΩ"),),
        ("1-wire must be switched on in the board's settings.",),
    ),
    "i2c_thermometer": Circuit(
        "Thermometer and hygrometer SHT31",
        (("sensor SHT31", 0, 3),),
        (Row(V33, "VDD"), Row(SDA, "SDA"), Row(SCL, "SCL"), Row(GND, "VSS, ADDR")),
        (),
        ("I2C must be switched on in the board's settings.", "Pull-ups of SDA and SCL are on many boards; else 4.7 kΩ to 3.3 V."),
    ),
    "battery_divider": Circuit(
        "Battery voltage",
        (("ADC ADS1115", 0, 4),),
        (
            Row(V33, "VDD"),
            Row(SDA, "SDA"),
            Row(SCL, "SCL"),
            Row(GND, "GND, ADDR"),
            Row("~ battery +", "AIN0", (("fuse", "fuse"), ("resistor", "100 kΩ"))),
        ),
        (Link(3, 3, "resistor", "22 kΩ"), Link(3, 5, "capacitor", "100 nF")),
        ("The fuse sits at the battery's terminal. Up to 18 V:", "100 kΩ and 22 kΩ make 3.3 V of 18.3 V. Battery - is joined to GND."),
    ),
}
