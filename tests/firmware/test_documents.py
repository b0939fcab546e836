"""The firmware's page says what the files say."""

import json
import re
from xml.etree import ElementTree

import pytest

from tests.firmware.boards import FIRMWARE

PAGE = (FIRMWARE / "README.md").read_text(encoding="utf-8")
PINS = (FIRMWARE / "pins.py").read_text(encoding="utf-8")


def test_table_of_pins_is_the_wiring_of_the_program() -> None:
    """Each pin by its number and name, no more and no fewer."""
    rows = re.findall(r"^\| ([\d, ]+) \| ([A-Z_, ]+) \|", PAGE, re.MULTILINE)
    table = {}
    for numbers, names in rows:
        several = [int(number) for number in numbers.split(",")]
        words = names.split(", ")
        table |= dict(zip(words, several)) if len(words) > 1 else {names: several if len(several) > 1 else several[0]}
    program = {
        name: [int(number) for number in value.strip("()").split(",")] if "," in value else int(value)
        for name, value in re.findall(r"^([A-Z_]+) = (.+)$", PINS.partition("CONTACT_START")[0], re.MULTILINE)
    }
    del program["UART"]

    assert program == table


@pytest.mark.parametrize("name", sorted(json.loads((FIRMWARE / "calibration.json").read_text(encoding="utf-8"))))
def test_each_constant_is_explained(name: str) -> None:
    """In the table of the calibration."""

    assert f"`{name}`" in PAGE


def test_drawing_has_what_cuts_the_drive_in_one_line() -> None:
    """The drawing is sound XML and names source, meter, sense leads, stop, cut, enable relay, guard, thermometers."""
    drawing = ElementTree.parse(FIRMWARE / "wiring.svg")
    words = " ".join("".join(each.itertext()) for each in drawing.iter("{http://www.w3.org/2000/svg}text"))

    parts = ("DC source", "LCR meter", "S+", "hand stop", "over-temp. cut", "drive enable", "guard", "thermometers")

    assert [] == [part for part in parts if part not in words]
