"""Drawings of what the coil model says: field over height, spread of a lot, faults, and the geometry itself.

matplotlib is imported inside the functions, as `Figure` without pyplot: no window, no global state.
`python -m station.reports.coil_plots FOLDER` draws the figures of the coil model's documentation.
"""

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from station.coil.circuit import layer_short, network_of, shorted_turns, solve_impedance
from station.coil.field import axis_flux_density_t_per_a
from station.coil.geometry import CoilGeometry, uniform_gaps
from station.coil.prediction import Prediction
from station.coil.spread import SpreadResult
from station.coil.windings import turns_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FACTOR_WORDS: Mapping[str, str] = {
    "track_width_m": "track width",
    "track_gap_m": "track gap (pitch)",
    "copper_m": "copper thickness",
    "layer_gap_m": "layer gap",
    "temperature_k": "temperature",
    "drive": "drive",
}
# Okabe and Ito's colours: told apart with any colour vision; hatches tell them apart in print.
_COLOURS = ("#0072B2", "#56B4E9", "#D55E00", "#009E73", "#CC79A7", "#999999")
_HATCHES = ("", "//", "\\\\", "..", "xx", "--")
_TITLE_SIZE = 10


def save_figure(figure: "Figure", path: Path) -> None:
    """Write a figure as SVG, PNG or PDF, by the ending of `path`; the same bytes for the same drawing.

    Raises:
        ValueError: for another ending.
    """
    import matplotlib

    kind = path.suffix.lower().lstrip(".")
    if kind not in ("svg", "png", "pdf"):
        raise ValueError(f"{path}: a plot is written as .svg, .png or .pdf; got {path.suffix or 'no ending'!r}")
    dateless = {"svg": {"Date": None}, "png": {"Software": None}, "pdf": {"CreationDate": None}}[kind]
    with matplotlib.rc_context({"svg.hashsalt": "coilgate", "svg.fonttype": "none"}):
        figure.savefig(path, format=kind, metadata=dateless, dpi=150)


def _figure(width: float, height: float) -> "Figure":
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained")


def field_figure(prediction: Prediction, coil: CoilGeometry | None) -> "Figure":
    """Axial flux density over height, the asked heights marked; a curve through them if the coil is a spiral."""
    figure = _figure(6.0, 4.0)
    axes = figure.subplots()
    heights = np.array([point.height_m for point in prediction.field])
    flux = np.array([point.flux_density_t_per_a for point in prediction.field])
    if coil is not None:
        top = max(float(heights.max(initial=0.0)) * 1.25, 2e-3)
        along = np.linspace(0.05 * top, top, 120)
        axes.plot(along * 1e3, axis_flux_density_t_per_a(coil, along) * 1e3, color=_COLOURS[0])
    axes.plot(heights * 1e3, flux * 1e3, "o", color=_COLOURS[2])
    axes.set_xlabel("height above the top copper (mm)")
    axes.set_ylabel("flux density on the axis (mT/A)")
    axes.set_title("Field of the drawing", fontsize=_TITLE_SIZE)
    axes.grid(alpha=0.3)
    return figure


def spread_figure(result: SpreadResult) -> "Figure":
    """Who owns the spread: for each quantity a bar split by tolerance, its length the spread itself."""
    shown = [each for each in result.quantities if np.isfinite(each.standard_deviation)]
    figure = _figure(8.0, 1.4 + 0.55 * len(shown))
    axes = figure.subplots()
    for row, quantity in enumerate(shown):
        # Half of the middle 95 % in per cent of nominal: what a board maker calls plus-minus.
        length = 100 * (quantity.high - quantity.low) / 2 / abs(quantity.nominal)
        start = 0.0
        for number, (name, words) in enumerate(FACTOR_WORDS.items()):
            part = length * quantity.contributions[name]
            axes.barh(
                row,
                part,
                left=start,
                color=_COLOURS[number],
                hatch=_HATCHES[number],
                edgecolor="white",
                label=words if row == 0 else None,
            )
            start += part
        axes.annotate(f" ±{length:.2g} %", (start, row), va="center", fontsize=9)
    axes.set_yticks(range(len(shown)), [each.name for each in shown])
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.15 * max(axes.get_xlim()[1], 1e-9))
    axes.set_xlabel("spread: half of the middle 95 % of coils, in % of nominal; colours: share of the variance")
    axes.set_title("What the tolerances do to the coil, and which one owns it", fontsize=_TITLE_SIZE)
    figure.legend(loc="outside lower center", ncols=3, fontsize=8, frameon=False)
    return figure


def faults_figure(names: Sequence[str], changes_percent: Mapping[str, Sequence[float]]) -> "Figure":
    """Change against the healthy coil for each fault, one row of points a quantity. Open coils are left out."""
    figure = _figure(7.5, 1.2 + 0.32 * len(names))
    axes = figure.subplots()
    for number, (quantity, values) in enumerate(changes_percent.items()):
        axes.plot(values, range(len(names)), "osD^"[number % 4], color=_COLOURS[number], label=quantity)
    axes.axvline(0.0, color="black", linewidth=0.8)
    axes.set_xscale("symlog", linthresh=1.0)
    axes.set_yticks(range(len(names)), names, fontsize=8)
    axes.invert_yaxis()
    axes.grid(alpha=0.3)
    axes.set_xlabel("change against the healthy coil (%, linear to ±1, then logarithmic)")
    axes.set_title("What a fault does to the readings", fontsize=_TITLE_SIZE)
    axes.legend(fontsize=8)
    return figure


def example_coil() -> CoilGeometry:
    """The coil of the documentation: 2 x 35 turns, 0.1 mm track and gap, 18 um copper, 82 um between layers."""
    return CoilGeometry(
        layers=2,
        turns_per_layer=35,
        inner_diameter_m=1.9e-3,
        track_width_m=0.1e-3,
        track_gap_m=0.1e-3,
        copper_m=18e-6,
        layer_gaps_m=uniform_gaps(2, 82e-6),
    )


def geometry_figure() -> "Figure":
    """How the spiral is drawn: plan view of a few turns, and the section with its dimensions."""
    figure = _figure(8.5, 3.6)
    plan, section = figure.subplots(1, 2, width_ratios=(1, 1.5))
    coil = CoilGeometry(
        layers=2,
        turns_per_layer=3,
        inner_diameter_m=2.0e-3,
        track_width_m=0.35e-3,
        track_gap_m=0.25e-3,
        copper_m=80e-6,
        layer_gaps_m=(200e-6,),
    )
    _draw_plan(plan, coil)
    _draw_section(section, coil)
    return figure


def _draw_plan(axes: "Axes", coil: CoilGeometry) -> None:
    angle = np.linspace(0, 2 * np.pi * coil.turns_per_layer, 600)
    middle = coil.inner_radius_m + coil.pitch_m * angle / (2 * np.pi)
    inner, outer = (middle - coil.track_width_m / 2) * 1e3, (middle + coil.track_width_m / 2) * 1e3
    for start in range(0, 600, 25):  # in pieces: a polygon over several turns would fill the gaps
        part = slice(start, start + 26)
        x = np.concatenate([inner[part] * np.cos(angle[part]), (outer[part] * np.cos(angle[part]))[::-1]])
        y = np.concatenate([inner[part] * np.sin(angle[part]), (outer[part] * np.sin(angle[part]))[::-1]])
        axes.fill(x, y, color="#B87333", linewidth=0)
    axes.plot(middle * 1e3 * np.cos(angle), middle * 1e3 * np.sin(angle), color="white", linewidth=0.6)
    axes.annotate("", (1.0, 0), (-0.0, 0), arrowprops={"arrowstyle": "<->"})
    axes.annotate("$d_{in}/2$", (0.5, 0.08), ha="center", fontsize=8)
    axes.plot(0, 0, "+", color="black")
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.set_title("layer 2, seen from above", fontsize=_TITLE_SIZE)


def _draw_section(axes: "Axes", coil: CoilGeometry) -> None:
    from matplotlib.patches import Rectangle

    turns = turns_of(coil)
    width, thickness = coil.track_width_m * 1e3, coil.thickness_m * 1e3
    for radius, height in zip(turns.radius_m * 1e3, turns.height_m * 1e3, strict=True):
        axes.add_patch(Rectangle((radius - width / 2, height - thickness / 2), width, thickness, color="#B87333"))
    first = float(coil.turn_radii_m()[0]) * 1e3
    pitch = coil.pitch_m * 1e3
    top, lower = 0.0, float(turns.height_m.min()) * 1e3
    gap_top, gap_low = -thickness, lower + thickness / 2
    arrow = {"arrowstyle": "<->", "linewidth": 0.8}
    axes.annotate("", (first - width / 2, 0.06), (first + width / 2, 0.06), arrowprops=arrow)
    axes.annotate("w", (first, 0.09), ha="center", fontsize=9)
    axes.annotate("", (first + width / 2, 0.06), (first + pitch - width / 2, 0.06), arrowprops=arrow)
    axes.annotate("s", (first + pitch / 2, 0.09), ha="center", fontsize=9)
    axes.annotate("", (0, lower - 0.12), (first, lower - 0.12), arrowprops=arrow)
    axes.annotate("mean radius of turn 0:  $d_{in}/2 + w/2 + (0 + 1/2)(w + s)$", (0.05, lower - 0.23), fontsize=8)
    axes.annotate("", (2.05 * first, gap_top), (2.05 * first, gap_low), arrowprops=arrow)
    axes.annotate("layer gap", (2.08 * first, (gap_top + gap_low) / 2 - 0.02), fontsize=8)
    axes.axhline(top, color="grey", linewidth=0.6, linestyle=":")
    axes.annotate("height 0: outer surface of the top copper", (0.05, 0.2), fontsize=8)
    axes.annotate("", (0.4, 0.18), (0.4, top), arrowprops={"arrowstyle": "<-", "linewidth": 0.6})
    axes.axvline(0.0, color="black", linewidth=0.8, linestyle="-.")
    axes.set_xlim(-0.1, 4.2)
    axes.set_ylim(lower - 0.3, 0.34)
    axes.set_axis_off()
    axes.set_title("section (axis at the left)", fontsize=_TITLE_SIZE)


def behaviour_figure() -> "Figure":
    """Width against R and L, and what shorted turns do over frequency, for the example coil."""
    figure = _figure(8.5, 3.4)
    width_axes, fault_axes = figure.subplots(1, 2)
    coil = example_coil()
    _draw_width(width_axes, coil)
    _draw_faults(fault_axes, coil)
    return figure


def _draw_width(axes: "Axes", coil: CoilGeometry) -> None:
    from station.coil.inductance import inductance_h
    from station.coil.resistance import resistance_20_ohm

    changes = np.linspace(-50e-6, 50e-6, 21)
    coils = [coil.with_width_change(float(change)) for change in changes]
    resistance = np.array([resistance_20_ohm(each) for each in coils]) / resistance_20_ohm(coil)
    inductance = np.array([inductance_h(each) for each in coils]) / inductance_h(coil)
    axes.plot((coil.track_width_m + changes) * 1e3, resistance, color=_COLOURS[2], label="R20")
    axes.plot((coil.track_width_m + changes) * 1e3, inductance, "--", color=_COLOURS[0], label="L")
    axes.set_xlabel("track width, same artwork (mm)")
    axes.set_ylabel("against the nominal coil")
    axes.set_title("Width owns R and almost nothing of L", fontsize=_TITLE_SIZE)
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)


def _draw_faults(axes: "Axes", coil: CoilGeometry) -> None:
    network = network_of(coil)
    frequency = np.logspace(3, 6.3, 40)
    healthy = solve_impedance(network, frequency)
    faults = {
        "1 inner turn": shorted_turns(coil, layer=0, first_index=0),
        "1 middle turn": shorted_turns(coil, layer=0, first_index=17),
        "layer to layer, turn 5": layer_short(coil, upper_layer=0, index=5),
        "3 middle turns": shorted_turns(coil, layer=0, first_index=16, count=3),
    }
    for number, (name, fault) in enumerate(faults.items()):
        seen = solve_impedance(network, frequency, faults=[fault])
        change = 100 * (seen.inductance_h / healthy.inductance_h - 1)
        axes.semilogx(frequency, change, ("-", "--", "-.", ":")[number], color=_COLOURS[number], label=name)
    axes.set_xlabel("frequency (Hz)")
    axes.set_ylabel("change of L (%)")
    axes.set_title("Shorted turns", fontsize=_TITLE_SIZE)
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)


def draw_documentation(folder: Path) -> None:
    """Draw the figures of the coil model's documentation into `folder`."""
    save_figure(geometry_figure(), folder / "geometry.svg")
    save_figure(behaviour_figure(), folder / "behaviour.svg")


if __name__ == "__main__":
    draw_documentation(Path(sys.argv[1] if len(sys.argv) > 1 else "."))
