"""Field of loops against closed forms and an independent library."""

import magpylib
import pytest

from sim.field import FieldTable, LoopStackField


@pytest.mark.parametrize(
    ("height_m", "expected_t"),
    [
        (0.0, 6.283185307179584e-05),
        (0.001, 6.190102033291745e-05),
        (0.005, 4.4958814278660645e-05),
        (0.010, 2.221441469079183e-05),
    ],
)
def test_loop_on_axis_is_the_closed_form(height_m: float, expected_t: float) -> None:
    """A loop of 10 mm radius: B = mu0 I R^2 / (2 (R^2 + z^2)^1.5), Jackson, Classical Electrodynamics."""
    loop = LoopStackField((0.01,), (0.0,))

    assert expected_t == pytest.approx(loop(height_m, 0.0), rel=1e-9)


@pytest.mark.parametrize("height_m", [0.001, 0.002, 0.004, 0.008])
def test_stack_off_axis_agrees_with_magpylib(height_m: float) -> None:
    """At 0.3 mm off the axis the cut series is within 0.002 % of magpylib's circles."""
    radii_m, depth_m = (0.00168, 0.00312, 0.00624), 77e-6
    circles = [
        magpylib.current.Circle(current=1.0, diameter=2 * radius_m, position=(0, 0, -depth_m))
        for radius_m in radii_m
    ]
    expected_t = magpylib.getB(circles, (0.0003, 0.0, height_m), sumup=True)[2]

    assert expected_t == pytest.approx(LoopStackField(radii_m, (depth_m,) * 3)(height_m, 0.0003), rel=2e-5)


def test_stack_needs_a_depth_for_each_radius() -> None:
    """Unequal lengths are refused."""
    with pytest.raises(ValueError, match="same length"):
        LoopStackField((0.01,), ())


def test_table_interpolates_between_its_heights_and_stops_at_its_ends() -> None:
    """Linear inside, constant outside, less off the axis."""
    table = FieldTable((0.001, 0.002, 0.004), (6.0, 4.0, 2.0), lateral_per_m2=1e4)

    assert [6.0, 5.0, 3.0, 2.0] == pytest.approx([table(h, 0.0) for h in (0.0, 0.0015, 0.003, 0.01)])
    assert 5.94 == pytest.approx(table(0.0, 0.001))
