"""Drawings of reports as SVG: letters as outlines, so they look alike everywhere; the same bytes each time."""

from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from station.core.quantity import Dimension, format_quantity

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLOURS = ("#0072B2", "#D55E00", "#009E73")
"""Okabe and Ito's: told apart with any colour vision."""

GREY = "#444444"
WIDTH = 6.7
"""Inches: an A4 page without its margins."""

_MOST_DECIMALS = 6

_FACTORS = {"p": 1e12, "n": 1e9, "u": 1e6, "m": 1e3, "": 1.0, "k": 1e-3, "M": 1e-6, "G": 1e-9}


def new_figure(width: float, height: float) -> "Figure":
    """Return an empty figure, in inches."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained")


def svg_of(figure: "Figure") -> bytes:
    """Return a figure as SVG."""
    import matplotlib

    made = BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "coilgate", "svg.fonttype": "path"}):
        figure.savefig(made, format="svg", metadata={"Date": None})
    return made.getvalue()


def printed(value: float | None, unit_symbol: str, *, digits: int = 4) -> str:
    """Return a quantity as print has it: 28.77 µH, 7.9 Ω, 23 °C. An en dash for no value."""
    if value is None or not np.isfinite(value):
        return "–"
    return symbols(format_quantity(value, unit_symbol, digits=digits))


def percent(share: float, *, decimals: int | None = 1) -> str:
    """Return a share as print has it: 90.6 %. `decimals` None: as many as there are.

    What is neither nothing nor all gets more decimals until it doesn't read so: 99.995 % is not 100.0 %.
    """
    if decimals is None:
        return f"{100.0 * share:.6g}\u00a0%"
    number = f"{100.0 * share:.{decimals}f}"
    if 0.0 < share < 1.0 and float(number) in (0.0, 100.0) and decimals < _MOST_DECIMALS:
        return percent(share, decimals=decimals + 1)
    return f"{number}\u00a0%"


def symbols(text: str) -> str:
    """Return text with the unit at its end in print's symbols, held to its number by a no-break space."""
    number, _, unit = text.rpartition(" ")
    if not number:
        return text
    unit = f"\u00b5{unit[1:]}" if unit.startswith("u") else unit
    return f"{number}\u00a0{unit.replace('ohm', 'Ω').replace('degC', '°C')}"


def scale_of(values: np.ndarray, unit_symbol: str) -> tuple[float, str]:
    """Return factor and unit that people read values in: 1e6 and µH for 28e-6 H; the largest decides."""
    if unit_symbol in ("", Dimension.NUMBER):
        return 1.0, ""
    unit = format_quantity(float(np.abs(values).max()), unit_symbol).rpartition(" ")[2]
    factor = _FACTORS.get(unit.removesuffix(unit_symbol), 1.0)
    return factor, symbols(f"0 {unit}").rpartition("\u00a0")[2]
