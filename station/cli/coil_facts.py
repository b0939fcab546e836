"""Facts and tables of `coilgate coil`, from the coil model."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click
import numpy as np

from station.cli.coil_options import quantity
from station.coil import CoilGeometry, GeometryError, PolylineCoil, predict
from station.coil.circuit import Open, Short, layer_short, network_of, shorted_turns, solve_impedance
from station.coil.field import flux_density_t_per_a
from station.coil.heating import Drive
from station.coil.resistance import at_temperature
from station.coil.spread import FACTORS, Conditions, SpreadResult, Tolerances, simulate_spread
from station.core.quantity import format_quantity

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ALMOST_DIRECT_HZ = 1e-3
"""Low enough for direct current: no coil here has a time constant near a second."""

SPREAD_HEADERS = ("quantity", "nominal", "95 % of coils", "±", "width", "gap", "copper", "layer gap", "temp.", "drive")
FAULT_HEADERS = ("coil", "R", "Rs", "L", "Q", "B", "dR", "dL", "dB")

Facts = dict[str, object]
_Fact = TypeVar("_Fact")
_CHANGES = ("resistance_change", "inductance_change", "flux_density_change")


def prediction_facts(
    coil: CoilGeometry | PolylineCoil, *, frequency_hz: float, heights_m: Sequence[float], temperature_degc: float
) -> Facts:
    """Return what the drawing should read, SI units, ready for JSON."""
    seen = _refusing(lambda: predict(coil, frequency_hz=frequency_hz, heights_m=heights_m))
    k = coil.conductor.winding_constant_degc
    hot = _refusing(lambda: at_temperature(seen.resistance_20_ohm, temperature_degc, winding_constant_degc=k))
    facts: Facts = {
        "track_length_m": seen.track_length_m,
        "resistance_20_ohm": seen.resistance_20_ohm,
        "temperature_degc": temperature_degc,
        "resistance_ohm": float(hot),
        "inductance_h": seen.inductance_h,
        "field": [
            {"height_m": each.height_m, "flux_density_t_per_a": each.flux_density_t_per_a} for each in seen.field
        ],
        "frequency_hz": frequency_hz,
        "series_resistance_ohm": seen.series_resistance_ohm,
        "quality": seen.quality,
        "apparent_resistance_ohm": seen.apparent_resistance_ohm,
        "apparent_inductance_h": seen.apparent_inductance_h,
        "limit_frequency_hz": seen.limit_frequency_hz,
    }
    if seen.resonance is not None:
        facts |= {
            "layer_capacitance_f": seen.resonance.capacitance_f,
            "resonance_hz": seen.resonance.frequency_hz,
            "resonance_doubt": seen.resonance.doubt,
        }
    if isinstance(coil, CoilGeometry):
        facts |= {"outer_diameter_m": coil.outer_diameter_m}
    return facts


def _refusing(call: Callable[[], _Fact]) -> _Fact:
    """Turn the model's refusal into a usage error."""
    try:
        return call()
    except GeometryError as error:
        raise click.UsageError(
            "such coils can't be drawn:\n" + "\n".join(f"  {each}" for each in error.problems)
        ) from error
    except ValueError as error:
        raise click.UsageError(f"{error}.") from error


def prediction_rows(facts: Mapping[str, object]) -> Iterator[tuple[str, str, str]]:
    """Yield the prediction as people read it."""
    yield "track length", format_quantity(_number(facts["track_length_m"]), "m"), ""
    if "outer_diameter_m" in facts:
        yield (
            "outer diameter",
            format_quantity(_number(facts["outer_diameter_m"]), "m"),
            "copper edge, where the spiral ends",
        )
    yield "R20", format_quantity(_number(facts["resistance_20_ohm"]), "ohm"), "direct current, 20 degC"
    if facts["temperature_degc"] != 20.0:
        remark = f"direct current, {facts['temperature_degc']:g} degC"
        yield "R", format_quantity(_number(facts["resistance_ohm"]), "ohm"), remark
    yield "L", format_quantity(_number(facts["inductance_h"]), "H"), "without capacitance, leads and fixture"
    if facts["quality"] is not None:
        yield from _meter_rows(facts)
    points = facts["field"]
    for point in points if isinstance(points, list) else []:
        height = format_quantity(point["height_m"], "m", digits=None)
        yield f"B at {height}", format_quantity(point["flux_density_t_per_a"], "T/A"), "on the axis, for 1 A"


def _meter_rows(facts: Mapping[str, object]) -> Iterator[tuple[str, str, str]]:
    frequency = format_quantity(_number(facts["frequency_hz"]), "Hz", digits=None)
    beyond = _number(facts["frequency_hz"]) > _number(facts["limit_frequency_hz"])
    remark = f"at {frequency}, 20 degC" + ("; ABOVE THE LIMIT of the eddy model" if beyond else "")
    yield "Rs", format_quantity(_number(facts["series_resistance_ohm"]), "ohm"), remark
    yield "Q", f"{_number(facts['quality']):.4g}", f"at {frequency}"
    resonance = format_quantity(_number(facts["resonance_hz"]), "Hz", digits=2)
    doubt = 100 * _number(facts["resonance_doubt"])
    yield (
        "L as read",
        format_quantity(_number(facts["apparent_inductance_h"]), "H"),
        f"at {frequency}, with its own capacitance",
    )
    yield "resonance", resonance, f"estimate, good to {doubt:.0f} %"
    yield "eddy model up to", format_quantity(_number(facts["limit_frequency_hz"]), "Hz", digits=2), ""


def _number(value: object) -> float:
    return float(value) if isinstance(value, (int, float)) else math.nan


def spread_of(
    coil: CoilGeometry | PolylineCoil,
    options: Mapping[str, object],
    *,
    heights_m: tuple[float, ...],
    draws: int,
    seed: int,
    distribution: str,
) -> SpreadResult:
    """Draw the lot that the options describe."""
    assert isinstance(coil, CoilGeometry)
    tolerances = Tolerances(
        quantity(options["width_tolerance"], "m", "--width-tolerance"),
        quantity(options["gap_tolerance"], "m", "--gap-tolerance"),
        quantity(options["copper_tolerance"], "m", "--copper-tolerance"),
        quantity(options["layer_gap_tolerance"], "m", "--layer-gap-tolerance"),
        quantity(options["temperature_tolerance"], "K", "--temperature-tolerance"),
        quantity(options["drive_tolerance"], "%", "--drive-tolerance"),
    )
    if not any(getattr(tolerances, name) for name in FACTORS):
        raise click.UsageError("a spread needs a tolerance at least, such as --width-tolerance 15um.")
    conditions = Conditions(
        quantity(options["temperature"], "degC", "--temperature"),
        _drive(str(options["drive"])),
        heights_m,
        _thermal_resistance(options["thermal_resistance"]),
    )
    return _refusing(
        lambda: simulate_spread(coil, tolerances, conditions, draws=draws, seed=seed, distribution=distribution)
    )


def _drive(text: str) -> Drive:
    from station.core.quantity import QuantityError, parse_quantity

    for dimension, name in (("A", "current_a"), ("V", "voltage_v")):
        try:
            value = parse_quantity(text, dimension)
        except QuantityError:
            continue
        if value <= 0:
            raise click.UsageError(f"--drive must be above 0; got {text!r}.")
        return Drive(**{name: value})
    raise click.UsageError(f"--drive must be a current or a voltage, such as '100 mA' or '3 V'; got {text!r}.")


def _thermal_resistance(text: object) -> float | None:
    if text is None:
        return None
    number, unit = str(text).strip().removesuffix("K/W").strip(), str(text).strip().endswith("K/W")
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if not unit or not 0 < value < math.inf:
        raise click.UsageError(f"--thermal-resistance must be above 0 with its unit, such as '60 K/W'; got {text!r}.")
    return value


def spread_facts(result: SpreadResult, *, draws: int, seed: int, distribution: str) -> Facts:
    """Return the spread, SI units, ready for JSON. A quantity that ran away has null for what is infinite."""
    return {
        "draws": draws,
        "seed": seed,
        "distribution": distribution,
        "quantities": [
            {
                "name": each.name,
                "unit": each.unit,
                "nominal": _finite(each.nominal),
                "mean": _finite(each.mean),
                "standard_deviation": _finite(each.standard_deviation),
                "low_95": _finite(each.low),
                "high_95": _finite(each.high),
                "sensitivities": {name: _finite(value) for name, value in each.sensitivities.items()},
                "contributions": each.contributions,
            }
            for each in result.quantities
        ],
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def spread_rows(result: SpreadResult) -> Iterator[tuple[str, ...]]:
    """Yield the spread as people read it."""
    for each in result.quantities:
        low, high = format_quantity(each.low, each.unit), format_quantity(each.high, each.unit)
        half = (each.high - each.low) / 2 / abs(each.nominal) if math.isfinite(each.high) else math.inf
        shares = tuple(_share(each.contributions[name]) for name in FACTORS)
        span = f"{low} .. {high}" if math.isfinite(half) else "runs away"
        yield each.name, format_quantity(each.nominal, each.unit), span, f"{100 * half:.2g} %", *shares


def _share(share: float) -> str:
    return "-" if share < 5e-4 else f"{100 * share:.1f} %"


def fault_facts(
    coil: CoilGeometry | PolylineCoil,
    *,
    shorted: Sequence[int],
    contact_ohm: float,
    frequency_hz: float,
    height_m: float,
) -> Facts:
    """Return R, L, Q and B of the healthy coil and of each fault, SI units, ready for JSON."""
    assert isinstance(coil, CoilGeometry)
    named = {"healthy": (), **_faults(coil, shorted, contact_ohm)}
    if not 0 <= height_m < math.inf:
        raise click.UsageError(f"--height must be 0 or above; got {height_m:g} m.")
    read = partial(_readings, coil, frequency_hz=frequency_hz, height_m=height_m)
    rows: list[Facts] = [{"coil": name, **_refusing(partial(read, each))} for name, each in named.items()]
    judged = ("resistance_ohm", "inductance_h", "flux_density_t_per_a")
    for row in rows:
        for key, name in zip(judged, _CHANGES, strict=True):
            row[name] = _change(row[key], rows[0][key])
    return {"frequency_hz": frequency_hz, "height_m": height_m, "contact_ohm": contact_ohm, "coils": rows}


def _change(value: object, healthy: object) -> float | None:
    change = _number(value) / _number(healthy) - 1
    return change if math.isfinite(change) else None


def _faults(coil: CoilGeometry, shorted: Sequence[int], contact_ohm: float) -> dict[str, tuple[Short | Open, ...]]:
    per_layer = len(coil.turn_fractions())
    found: dict[str, tuple[Short | Open, ...]] = {"open": (Open(per_layer // 2),)}
    for count in shorted:
        if count > per_layer:
            continue
        places = {"inner": 0, "middle": (per_layer - count) // 2, "outer": per_layer - count}
        for place, first in places.items():
            words = f"{count} {place} turn{'s' if count > 1 else ''} shorted"
            found[words] = (shorted_turns(coil, layer=0, first_index=first, count=count, contact_ohm=contact_ohm),)
    for layer in range(coil.layers - 1):
        for inside in sorted({max(per_layer // 7, 1), per_layer // 2, per_layer - 1}):
            if inside >= 1:
                words = f"layer {layer + 1} to {layer + 2}, {inside} turns inside"
                found[words] = (layer_short(coil, upper_layer=layer, index=inside, contact_ohm=contact_ohm),)
    return found


def _readings(coil: CoilGeometry, faults: tuple[Short | Open, ...], *, frequency_hz: float, height_m: float) -> Facts:
    seen = solve_impedance(network_of(coil), [_ALMOST_DIRECT_HZ, frequency_hz], faults=faults)
    field = flux_density_t_per_a(coil, np.array([[0.0, 0.0, height_m]]), turn_currents=seen.turn_currents[0].real)
    is_open = not math.isfinite(seen.resistance_ohm[0])
    return {
        "resistance_ohm": _finite(float(seen.resistance_ohm[0])),
        "series_resistance_ohm": _finite(float(seen.resistance_ohm[1])),
        "inductance_h": _finite(float(seen.inductance_h[1])),
        "quality": _finite(float(seen.quality[1])),
        "flux_density_t_per_a": None if is_open else float(field[0, 2]),
    }


def fault_rows(facts: Mapping[str, object]) -> Iterator[tuple[str, ...]]:
    """Yield the faults as people read them."""
    rows = facts["coils"]
    for row in rows if isinstance(rows, list) else []:
        if row["resistance_ohm"] is None:
            yield row["coil"], "open", "open", *("-",) * 6
            continue
        yield (
            row["coil"],
            format_quantity(row["resistance_ohm"], "ohm"),
            format_quantity(row["series_resistance_ohm"], "ohm"),
            format_quantity(row["inductance_h"], "H"),
            f"{row['quality']:.3g}",
            format_quantity(row["flux_density_t_per_a"], "T/A"),
            *(_percent(row[key]) for key in _CHANGES),
        )


def _percent(change: float) -> str:
    return f"{100 * change:+.2f} %"


def draw_field(coil: CoilGeometry | PolylineCoil, facts: Mapping[str, object], path: Path) -> None:
    """Draw the field over height."""
    from station.reports.coil_plots import field_figure

    points = facts["field"]
    heights = [point["height_m"] for point in points] if isinstance(points, list) else []
    seen = predict(coil, frequency_hz=_number(facts["frequency_hz"]), heights_m=heights)
    _draw(lambda: field_figure(seen, coil if isinstance(coil, CoilGeometry) else None), path)


def draw_spread(result: SpreadResult, path: Path) -> None:
    """Draw who owns the spread."""
    from station.reports.coil_plots import spread_figure

    _draw(lambda: spread_figure(result), path)


def draw_faults(facts: Mapping[str, object], path: Path) -> None:
    """Draw what each fault changes; the open coil, which reads nothing, is left out."""
    from station.reports.coil_plots import faults_figure

    listed = facts["coils"]
    rows = [row for row in (listed if isinstance(listed, list) else [])[1:] if row["resistance_ohm"] is not None]
    changes = {words: [100 * row[key] for row in rows] for words, key in zip("RLB", _CHANGES, strict=True)}
    _draw(lambda: faults_figure([row["coil"] for row in rows], changes), path)


def _draw(figure: "Callable[[], Figure]", path: Path) -> None:
    from station.reports.coil_plots import save_figure

    try:
        drawn = figure()
    except ModuleNotFoundError as error:
        raise click.UsageError(
            f"--plot needs {error.name}, which is not installed: pip install matplotlib"
        ) from error
    _refusing(lambda: save_figure(drawn, path))
