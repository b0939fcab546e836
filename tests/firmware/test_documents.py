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
    told = [(number, name) for numbers, names in rows for number, name in _pairs(numbers, names.split(", "))]
    assigned = re.findall(r"^([A-Z_]+) = \(?([\d, ]+)\)?$", PINS.partition("CONTACT_START")[0], re.MULTILINE)
    wired = [(number, name) for name, numbers in assigned for number, name in _pairs(numbers, [name])]

    assert sorted({*wired} - {("0", "UART")}) == sorted(told)


def _pairs(numbers: str, names: list[str]) -> list[tuple[str, str]]:
    """Return each number with its name, or all with the one."""
    several = numbers.split(", ")
    return list(zip(several, names * len(several) if len(names) == 1 else names))


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
