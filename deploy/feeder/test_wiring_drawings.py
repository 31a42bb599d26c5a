"""The drawings are what the circuits say, with the pins of the example; each part's file names one that exists."""

import re
import unittest
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

from wiring import example
from wiring.drawings.circuits import CIRCUITS
from wiring.drawings.draw import drawing

FOLDER = Path(__file__).with_name("wiring")
SVG = "{http://www.w3.org/2000/svg}"


class Drawings(unittest.TestCase):
    def drawn(self, name):
        return (FOLDER / "drawings" / f"{name}.svg").read_text(encoding="utf-8")

    def test_are_those_of_the_circuits(self):
        self.assertEqual({path.stem for path in (FOLDER / "drawings").glob("*.svg")}, set(CIRCUITS))
        for name, circuit in CIRCUITS.items():
            self.assertEqual(self.drawn(name), drawing(circuit), f"{name}: run python3 -m wiring.drawings.draw")
        self.assertNotEqual(self.drawn("button"), drawing(replace(CIRCUITS["button"], title="Knob")))

    def test_are_small_described_and_on_a_background_of_their_own(self):
        for name in CIRCUITS:
            text = self.drawn(name)
            self.assertLess(len(text.encode()), 6_000)
            root = ElementTree.fromstring(text)
            self.assertTrue(root.findtext(f"{SVG}title"))
            self.assertGreater(len(root.findtext(f"{SVG}desc")), 40)
            first = root.find(f"{SVG}rect")
            size = root.get("viewBox").split()[2:]
            self.assertEqual([first.get("width"), first.get("height")], size)
            self.assertIn("fill:#", first.get("style"))

    def test_stay_within_their_edges(self):
        for name in CIRCUITS:
            root = ElementTree.fromstring(self.drawn(name))
            width, height = map(int, root.get("viewBox").split()[2:])
            for words in root.iter(f"{SVG}text"):
                x, y, wide = int(words.get("x")), int(words.get("y")), 6.5 * len(words.text)
                begin = {None: x, "end": x - wide, "middle": x - wide / 2}[words.get("text-anchor")]
                self.assertTrue(0 <= begin and begin + wide <= width and 12 <= y <= height, f"{name}: {words.text}")

    def test_are_named_by_each_part(self):
        named = set()
        for path in FOLDER.glob("*.py"):
            named |= set(re.findall(r"drawings/(\w+)\.svg", path.read_text(encoding="utf-8")))
        self.assertEqual(named, set(CIRCUITS))

    def test_use_no_pin_of_the_example_twice(self):
        pins = [value for name, value in vars(example).items() if name.isupper() and isinstance(value, int) and name != "TARE"]
        pins += [2, 3, 4, 14, 15]  # I2C, 1-wire, serial
        self.assertEqual(len(pins), len(set(pins)))
        self.assertGreater(example.MOTOR, 8)  # those up to 8 are pulled high while many boards boot
        self.assertEqual(len(pins), 13)


if __name__ == "__main__":
    unittest.main()
