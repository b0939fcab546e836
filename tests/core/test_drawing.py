"""Names of characteristics, and what a drawing says by itself."""

import math

import pytest

from station.core.characteristics import field_name, frequency_suffix, rise_name, yields
from station.core.drawing import estimate_resistance_ohm, outer_diameter_m
from station.core.plan import CoilDesign, ContactStep, Frequency, ResistanceStep
from tests.core.examples import is_20

# 2 x 35 turns, 0.1 mm track, 0.2 mm pitch, inner edge 0.95 mm: 1.98 m of track and 18.96 ohm, reckoned turn
# by turn with 1/58 ohm mm2/m.
ROUND = CoilDesign("circle", 2, 35, 1.9e-3, 0.1e-3, 0.1e-3, 18e-6, 82e-6)


def test_estimated_resistance_of_a_round_coil() -> None:
    """Length times resistivity over cross-section, leads added."""
    assert math.isclose(18.96, estimate_resistance_ohm(ROUND), abs_tol=0.005)


def test_estimated_resistance_of_polygons() -> None:
    """A square around a circle is longer by 4/pi; many sides come close to the circle."""
    circle = estimate_resistance_ohm(ROUND)
    square = CoilDesign("square", 2, 35, 1.9e-3, 0.1e-3, 0.1e-3, 18e-6, 82e-6)
    many = CoilDesign("polygon", 2, 35, 1.9e-3, 0.1e-3, 0.1e-3, 18e-6, 82e-6, sides=100)

    assert math.isclose(4 / math.pi, estimate_resistance_ohm(square) / circle)
    assert math.isclose(1.0, estimate_resistance_ohm(many) / circle, rel_tol=1e-3)


def test_outer_diameter_is_over_the_copper() -> None:
    """Inner diameter, then turns and the gaps between them on both sides."""
    assert math.isclose(1.9e-3 + 2 * (35 * 0.1e-3 + 34 * 0.1e-3), outer_diameter_m(ROUND))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        (field_name(2e-3), "B@2mm"),
        (field_name(0.5e-3), "B@0.5mm"),
        (field_name(12e-3), "B@12mm"),
        (rise_name(3.0, "voltage_v"), "rise@3V"),
        (rise_name(0.2, "current_a"), "rise@0.2A"),
        (frequency_suffix(300e3), "@300kHz"),
        (frequency_suffix(1e6), "@1000kHz"),
    ],
)
def test_names_of_characteristics(name: str, expected: str) -> None:
    """One spelling each, without float noise."""
    assert expected == name


def test_each_step_of_the_example_yields_its_characteristics() -> None:
    """Contact yields none; names are those of the limits."""
    names = [[name for name, _ in yields(each)] for each in is_20().steps]

    assert [[], ["R20"], ["L", "Rs", "Q"], ["B@1mm", "B@2mm", "B@4mm", "B@8mm"]] == names
    assert () == yields(ContactStep("contact", Frequency()))
    assert (("R20", "ohm"),) == yields(ResistanceStep("resistance", Frequency()))
