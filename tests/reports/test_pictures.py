"""Numbers as print has them, and drawings as bytes."""

import pytest

from station.reports.pictures import new_figure, percent, printed, scale_of, svg_of
from tests.reports.test_lot_plots import VALUES


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.90625, "90.6\u00a0%"),
        (1.0, "100.0\u00a0%"),
        (0.0, "0.0\u00a0%"),
        (0.99995, "99.995\u00a0%"),
        (0.0001, "0.01\u00a0%"),
    ],
)
def test_percent_is_all_only_if_it_is(share: float, words: str) -> None:
    """One coil in twenty thousand that fails leaves no yield of 100 %."""
    assert words == percent(share)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (28.767e-6, "H", "28.77\u00a0µH"),
        (7.9, "ohm", "7.900\u00a0Ω"),
        (20.0, "degC", "20.00\u00a0°C"),
        (0.825, "1", "0.8250"),
        (4.26e-3, "T/A", "4.260\u00a0mT/A"),
        (None, "ohm", "–"),
        (float("nan"), "ohm", "–"),
    ],
)
def test_quantity_has_prints_symbols(value: float | None, unit: str, words: str) -> None:
    """SI brochure, 9th edition, 5.4: a space between number and unit; here one that doesn't break."""
    assert words == printed(value, unit)


def test_scale_is_the_largest_values() -> None:
    """11.6e-6 H is drawn as 11.6 with µH beside it."""
    assert (1e6, "µH") == scale_of(VALUES, "H")


def test_drawing_is_the_same_bytes_each_time() -> None:
    """No date and no random names in it."""

    def draw() -> bytes:
        figure = new_figure(3.0, 2.0)
        figure.subplots().plot([1, 2], [3, 4])
        return svg_of(figure)

    assert draw() == draw()
