"""The two other ways in: lines of a program in any language, and the feeder inside a Python program of one's own."""

import json
import socket
import tempfile
import unittest
from pathlib import Path

import agent
import pieward_feeder
from lines import LINE_MAX, LineHardware
from storage import Store
from test_agent import SERVER_AHEAD, Clock, StubReportClient, iso


class Lines(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)
        self.path = str(self.folder / "lines.sock")
        self.hardware = LineHardware(self.path)
        self.addCleanup(self.hardware.close)

    def connect(self):
        program = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.addCleanup(program.close)
        program.connect(self.path)
        program.settimeout(5)
        self.hardware.poll()
        return program

    def say(self, program, *messages):
        program.sendall(b"".join(json.dumps(message).encode() + b"\n" for message in messages))
        return self.hardware.poll()

    def heard(self, program):
        program.settimeout(0.2)
        received = b""
        try:
            while True:
                part = program.recv(65_536)
                if not part:
                    break
                received += part
        except socket.timeout:
            pass
        return [json.loads(line) for line in received.splitlines()]

    def test_bring_what_hardware_brings(self):
        program = self.connect()
        happened = self.say(
            program,
            {"kind": "fitted", "counted": ["button", "detector"], "chute": True},
            {"kind": "press"},
            {"kind": "cap", "strength": 0.8, "metal": True, "beam": None},
            {"kind": "perch"},
            {"kind": "piece"},
            {"kind": "lid", "open": True},
            {"kind": "filled", "grams": 400},
            {"kind": "trouble", "text": "coil open"},
            {"kind": "readings", "hopperGrams": 812.4, "airCelsius": None},
            {"kind": "motor", "milliamps": 240, "volts": 4.97},
        )
        self.assertEqual(
            happened,
            [
                ("press",),
                ("cap", 0.8, True, None),
                ("perch",),
                ("piece",),
                ("lid", True),
                ("filled", 400),
                ("trouble", "coil open"),
            ],
        )
        self.assertEqual(self.hardware.counted, ("button", "detector"))
        self.assertTrue(self.hardware.has_chute_sensor)
        self.assertEqual(self.hardware.read(), {"hopperGrams": 812.4, "airCelsius": None})
        self.assertEqual((self.hardware.motor_milliamps(), self.hardware.supply_volts()), (240, 4.97))
        self.assertEqual(self.heard(program), [])

    def test_name_the_line_and_the_field_that_is_wrong_and_take_the_others(self):
        program = self.connect()
        program.sendall(b'{"kind": "press"}\nnonsense\n[1]\n{"kind": "cap", "strength": 7}\n{"kind": "cap", "metal": 1}\n{"kind": "jump"}\n')
        program.sendall(b'{"kind": "trouble"}\n{"kind": "fitted", "counted": ["bell"]}\n{"kind": "press"}\n')
        self.assertEqual(self.hardware.poll(), [("press",), ("press",)])
        self.assertEqual(
            [message["problem"] for message in self.heard(program)],
            [
                "line 2: must be one JSON object",
                "line 3: must be one JSON object",
                "line 4: strength: must be a number from 0 to 1 or null",
                "line 5: metal: must be true, false or null",
                "line 6: kind: 'jump' is not known",
                "line 7: text: must be a text",
                "line 8: counted: must be a list of button, detector, chute, perch",
            ],
        )

    def test_wait_for_the_rest_of_a_line_and_refuse_an_endless_one(self):
        program = self.connect()
        program.sendall(b'{"kind": "pr')
        self.assertEqual(self.hardware.poll(), [])
        program.sendall(b'ess"}\n')
        self.assertEqual(self.hardware.poll(), [("press",)])
        program.sendall(b"x" * (LINE_MAX + 1))
        self.hardware.poll()
        self.assertIn("must have at most", self.heard(program)[0]["problem"])

    def test_turn_the_motor_of_the_program_that_is_connected(self):
        with self.assertRaises(ConnectionError):
            self.hardware.motor_on()
        self.hardware.motor_off()
        program = self.connect()
        self.hardware.motor_on()
        self.hardware.motor_off()
        self.assertEqual(self.heard(program), [{"motor": "on"}, {"motor": "off"}])

    def test_forget_a_program_that_has_gone_and_take_the_next(self):
        first = self.connect()
        self.say(first, {"kind": "readings", "hopperGrams": 1})
        first.close()
        self.hardware.poll()
        self.assertEqual(self.hardware.read(), {})
        second = self.connect()
        self.assertEqual(self.say(second, {"kind": "press"}), [("press",)])
        third = self.connect()  # it may have started anew while its old connection hangs
        self.assertEqual(self.heard(second), [])
        self.assertEqual(self.say(third, {"kind": "press"}), [("press",)])

    def test_pay_a_cap_through_the_whole_feeder(self):
        clock = Clock()
        client = StubReportClient(clock)
        (self.folder / "data").mkdir()
        feeder = agent.Feeder(Store(self.folder / "data", clock), self.hardware, client, clock)
        program = self.connect()
        self.say(program, {"kind": "fitted", "counted": ["detector"], "chute": False})
        program.sendall(b'{"kind": "cap", "strength": 0.9, "metal": true}\n')
        for _ in range(400):
            feeder.step()
            clock.now += 0.02
        self.assertEqual(self.heard(program), [{"motor": "on"}, {"motor": "off"}])
        deposit, portion = [one for one in client.stored.values() if one["kind"] in ("deposit", "portion")]
        self.assertEqual(portion["paysFor"], deposit["seq"])
        feeder.stop()


class OwnProgram(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.data = Path(folder.name)
        self.motor = []
        self.clock = Clock()
        self.client = StubReportClient(self.clock)
        for name, value in (
            ("monotonic", self.clock),
            ("HttpReportClient", lambda url, key: self.client),
            ("LiveLink", lambda url, key: None),
        ):
            self.addCleanup(setattr, agent, name, getattr(agent, name))
            setattr(agent, name, value)

    def open(self, **settings):
        feeder = pieward_feeder.Feeder(
            "https://pieward.example",
            "key",
            self.data,
            lambda: self.motor.append("on"),
            lambda: self.motor.append("off"),
            read=lambda: {"hopperGrams": 700.0},
            **{"counted": ("button", "detector"), **settings},
        )
        self.motor.clear()
        return feeder

    def live(self, feeder, seconds):
        for _ in range(int(seconds / 0.02)):
            feeder.step()
            self.clock.now += 0.02

    def test_reports_over_the_broker_that_its_address_names(self):
        settings = {}

        class Client(StubReportClient):
            link = None

            def __init__(self, *given):
                super().__init__(OwnProgram.clock)
                settings["given"] = given

        OwnProgram.clock = self.clock
        self.addCleanup(setattr, agent, "BrokerClient", agent.BrokerClient)
        own, agent.BrokerClient = agent.BrokerClient, Client
        feeder = pieward_feeder.Feeder(
            "mqtts://broker.example", "key", self.data, list, list, sign="rowan-1", broker_password="p", broker_ca="ca.pem"
        )
        feeder.close()
        address, identity, *rest = settings["given"]
        self.assertEqual((address, identity.feeder, rest), ("mqtts://broker.example", "rowan-1", ["p", "ca.pem"]))
        agent.BrokerClient = own
        for _ in range(2):  # the second finds the folder free
            with self.assertRaisesRegex(ValueError, "signed"):
                pieward_feeder.Feeder("mqtts://broker.example", "key", self.data, list, list)

    def test_pays_what_it_is_told_of_and_reports_it(self):
        feeder = self.open()
        self.addCleanup(feeder.close)
        self.live(feeder, 3)
        feeder.press()
        self.live(feeder, 3)
        self.assertEqual(self.motor, ["on", "off"])
        self.live(feeder, 8)
        self.assertEqual([one["kind"] for one in self.client.stored.values()], ["press", "portion"])
        self.assertEqual(self.client.reports[-1]["readings"]["hopperGrams"], 700.0)
        self.assertEqual(self.client.reports[-1]["readings"]["counts"], {"button": 1, "detector": 0})

    def test_says_whether_the_motor_may_turn_and_why_not(self):
        feeder = self.open()
        self.addCleanup(feeder.close)
        self.assertEqual(feeder.may_run(), (True, None))
        self.client.orders = [{"id": "p1", "kind": "pause", "until": iso(self.clock() + SERVER_AHEAD + 3_600)}]
        self.live(feeder, 8)
        self.assertTrue(feeder.paused)
        self.assertEqual(feeder.may_run(), (False, "the feeder is paused"))
        feeder.press()
        self.live(feeder, 8)
        self.assertNotIn("on", self.motor)

    def test_refuses_a_second_program_on_the_same_folder_and_a_setting_that_is_none(self):
        feeder = self.open()
        with self.assertRaises(BlockingIOError):
            self.open()
        feeder.close()
        self.open().close()
        with self.assertRaisesRegex(TypeError, "hardware.Hardware has no portion_second$"):
            pieward_feeder.Given(None, None, None, dict, (), {"portion_second": 1.2})

    def test_takes_the_settings_of_the_hardware(self):
        feeder = self.open(portion_seconds=2.0)
        self.addCleanup(feeder.close)
        feeder.press()
        self.live(feeder, 6)
        portion = next(one for one in self.client.stored.values() if one["kind"] == "portion")
        self.assertAlmostEqual(portion["motorMs"], 2_000, delta=60)


if __name__ == "__main__":
    unittest.main()
