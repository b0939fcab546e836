"""What the fab's variation does to a coil: sensitivities, who contributes what, and a Monte Carlo draw.

Inductance and field depend smoothly on the drawing, so a quadratic surface of their logarithms, built once
from 15 full calculations, stands for the model in the draws (known error below 1e-4 for changes up to a
quarter of each dimension). Resistance, temperature, drive and rise are calculated for every draw.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache

import numpy as np

from station.coil.field import axis_flux_density_t_per_a
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.heating import Drive
from station.coil.inductance import inductance_h
from station.coil.resistance import resistance_20_ohm

_DRAWN = ("track_width_m", "track_gap_m", "copper_m", "layer_gap_m")
_STEP = 0.2  # of each dimension, between the nodes of the surface


@dataclass(frozen=True)
class Tolerances:
    """Half-widths about nominal, each 0 or above.

    track_width_m: etching; the centre line stays, so the gap takes back what the width gains.
    track_gap_m: the artwork's pitch, beyond that.
    copper_m: finished thickness. layer_gap_m: copper to copper. temperature_k. drive: a fraction of the drive.
    """

    track_width_m: float = 0.0
    track_gap_m: float = 0.0
    copper_m: float = 0.0
    layer_gap_m: float = 0.0
    temperature_k: float = 0.0
    drive: float = 0.0


FACTORS = tuple(item.name for item in fields(Tolerances))


@dataclass(frozen=True)
class Conditions:
    """How the coil is read: copper temperature, drive, heights of the field, and what it is heated on.

    thermal_resistance_k_per_w: None leaves the rise out. The rise starts from `temperature_degc` as ambient.
    """

    temperature_degc: float = 20.0
    drive: Drive = field(default_factory=lambda: Drive(current_a=0.1))
    heights_m: tuple[float, ...] = ()
    thermal_resistance_k_per_w: float | None = None


@dataclass(frozen=True)
class QuantitySpread:
    """One quantity over the draws. SI units; `low` and `high` bracket 95 % of the draws.

    nominal, mean, standard_deviation, low, high.
    sensitivities: relative change of the quantity per relative change of each factor (temperature: per kelvin).
    contributions: share of the first-order variance that each factor owns; sums to 1 (all 0 without spread).
    """

    name: str
    unit: str
    nominal: float
    mean: float
    standard_deviation: float
    low: float
    high: float
    sensitivities: dict[str, float]
    contributions: dict[str, float]


@dataclass(frozen=True, eq=False)
class SpreadResult:
    """Quantities in a fixed order, and the draws behind them: name to array of shape (draws,)."""

    quantities: tuple[QuantitySpread, ...]
    draws: dict[str, FloatArray]


@dataclass(frozen=True, eq=False)
class ResponseSurface:
    """Logarithms of inductance and of the field at each height, quadratic in the four drawn dimensions."""

    nominal: FloatArray
    scale_m: FloatArray
    coefficients: FloatArray

    def evaluate(self, drawn_m: FloatArray) -> FloatArray:
        """Inductance (H) and flux densities (T/A), shape (coils, 1 + heights), from changes of the four dimensions.

        drawn_m: changes in the order width, gap, thickness, layer gap (m), shape (coils, 4).
        """
        return self.nominal * np.exp(_terms(drawn_m / self.scale_m) @ self.coefficients)


def varied(coil: CoilGeometry, width_m: float, gap_m: float, copper_m: float, layer_gap_m: float) -> CoilGeometry:
    """The coil with its four drawn dimensions changed by these amounts, as `Tolerances` defines them."""
    wider = coil.with_width_change(width_m)
    return replace(
        wider,
        track_gap_m=wider.track_gap_m + gap_m,
        copper_m=coil.copper_m + copper_m,
        layer_gaps_m=tuple(each + layer_gap_m for each in coil.layer_gaps_m),
    )


@lru_cache(maxsize=32)
def response_surface(coil: CoilGeometry, heights_m: tuple[float, ...]) -> ResponseSurface:
    """Build the surface from 15 full calculations around the nominal coil."""
    gap = min(coil.layer_gaps_m, default=1.0)
    room = min(coil.track_width_m, coil.track_gap_m, coil.inner_diameter_m)
    scale = _STEP * np.array([room, coil.track_gap_m, coil.copper_m, gap])
    nodes = [np.zeros(4), *np.eye(4), *(-np.eye(4))]
    nodes += [np.eye(4)[i] + np.eye(4)[j] for i in range(4) for j in range(i)]
    values = np.array([_full(varied(coil, *(node * scale)), heights_m) for node in nodes])
    relative = np.log(np.abs(values / values[0]))
    coefficients = np.linalg.solve(_terms(np.array(nodes)), relative)
    return ResponseSurface(values[0], scale, coefficients)


def _full(coil: CoilGeometry, heights_m: tuple[float, ...]) -> FloatArray:
    return np.concatenate([[inductance_h(coil)], axis_flux_density_t_per_a(coil, np.array(heights_m))])


def _terms(x: FloatArray) -> FloatArray:
    pairs = [x[:, i] * x[:, j] for i in range(4) for j in range(i)]
    return np.column_stack([np.ones(len(x)), x, x**2, *pairs])


def simulate_spread(
    coil: CoilGeometry,
    tolerances: Tolerances,
    conditions: Conditions,
    *,
    draws: int = 10_000,
    seed: int = 1,
    distribution: str = "normal",
) -> SpreadResult:
    """Draw coils within tolerances and say how R, L, B and rise spread and which tolerance owns how much.

    Args:
        distribution: "normal": half-width = 3 standard deviations, cut off there; "rectangular".

    Quantities: R20 (ohm), R at temperature (ohm), L (H), B at each height (T, at the drive), rise (K).

    Raises:
        ValueError: for a tolerance that is negative or leaves no coil, draws below 2, an unknown distribution.
    """
    _check(coil, tolerances, conditions.heights_m, draws, distribution)
    half_widths = np.array([getattr(tolerances, name) for name in FACTORS])
    generator = np.random.default_rng(seed)
    unit = _unit_draws(generator, draws, distribution)
    model = _model(coil, conditions)
    drawn = model(unit * half_widths)
    nominal = model(np.zeros((1, len(FACTORS))))
    sigma = half_widths * (1 / 3 if distribution == "normal" else 1 / np.sqrt(3))
    slopes = _slopes(model, coil, half_widths)
    relative = _relative_scales(coil)
    quantities = tuple(
        _summary(name, unit_name, float(nominal[name][0]), drawn[name], slopes[name], sigma, relative)
        for name, unit_name in quantity_units(conditions).items()
    )
    return SpreadResult(quantities, drawn)


def quantity_units(conditions: Conditions) -> dict[str, str]:
    """Names and units of the quantities of a spread, in order."""
    units = {"R20": "ohm", "R": "ohm", "L": "H"}
    units |= {f"B@{height * 1e3:g}mm": "T" for height in conditions.heights_m}
    if conditions.thermal_resistance_k_per_w is not None:
        units["rise"] = "K"
    return units


def _check(
    coil: CoilGeometry, tolerances: Tolerances, heights_m: tuple[float, ...], draws: int, distribution: str
) -> None:
    if distribution not in ("normal", "rectangular"):
        raise ValueError(f"distribution must be 'normal' or 'rectangular'; got {distribution!r}")
    if not 2 <= draws <= 1_000_000:
        raise ValueError(f"draws must be 2 to 1000000; got {draws}")
    for height in heights_m:
        if not 0 <= height < np.inf:
            raise ValueError(f"height must be 0 or above (from the top copper's outer surface); got {height:g} m")
    for name in FACTORS:
        if not 0 <= getattr(tolerances, name) < np.inf:
            raise ValueError(f"tolerance of {name} must be 0 or above; got {getattr(tolerances, name):g}")
    for sign in (-1, 1):
        varied(coil, *(sign * getattr(tolerances, name) for name in _DRAWN))


def _unit_draws(generator: np.random.Generator, draws: int, distribution: str) -> FloatArray:
    shape = (draws, len(FACTORS))
    if distribution == "rectangular":
        return generator.uniform(-1.0, 1.0, shape)
    # Cut off at the tolerance: a lot is inspected, and a width below 0 is no coil. One in 370 is drawn again
    # as the mirror of its excess, which keeps the draw count and the seed's meaning.
    unit = generator.standard_normal(shape) / 3
    excess = np.abs(unit) > 1
    unit[excess] = np.sign(unit[excess]) * np.maximum(2 - np.abs(unit[excess]), 0.0)
    return unit


Model = Callable[[FloatArray], dict[str, FloatArray]]


def _model(coil: CoilGeometry, conditions: Conditions) -> Model:
    surface = response_surface(coil, conditions.heights_m)
    base = coil.mean_width_m
    conductor = coil.conductor
    fixed = resistance_20_ohm(replace(coil, lead_resistance_ohm=0.0, via_resistance_ohm=0.0))
    connections = resistance_20_ohm(coil) - fixed
    # The squares of the centre line are linear in the pitch; two drawings give the slope.
    stretch = 0.01 * coil.track_gap_m
    wider_pitch = replace(varied(coil, 0.0, stretch, 0.0, 0.0), lead_resistance_ohm=0.0, via_resistance_ohm=0.0)
    slope = (resistance_20_ohm(wider_pitch) / fixed - 1) / stretch

    def evaluate(change: FloatArray) -> dict[str, FloatArray]:
        width, gap, copper, _, temperature, drive = change.T
        thickness = coil.thickness_m + copper
        undercut = 0.0 if coil.etch_factor is None else thickness / coil.etch_factor
        mean_width = coil.track_width_m + width - undercut
        r20 = fixed * (1 + slope * gap) * (base / mean_width) * (coil.thickness_m / thickness) + connections
        factor = 1 + conductor.alpha20_per_k * (conditions.temperature_degc + temperature - 20.0)
        hot = r20 * factor
        curves = surface.evaluate(change[:, :4])
        out = {"R20": r20, "R": hot, "L": curves[:, 0]}
        level = 1 + drive
        if conditions.drive.current_a is not None:
            current = conditions.drive.current_a * level
        else:
            current = (conditions.drive.voltage_v or 0.0) * level / hot
        for column, height in enumerate(conditions.heights_m, start=1):
            out[f"B@{height * 1e3:g}mm"] = curves[:, column] * current
        if conditions.thermal_resistance_k_per_w is not None:
            out["rise"] = _rise(conditions, r20, hot, level, conductor.alpha20_per_k)
        return out

    return evaluate


def _rise(conditions: Conditions, r20: FloatArray, cold: FloatArray, level: FloatArray, alpha: float) -> FloatArray:
    """`heating.steady_state` for many coils at once; infinite on runaway."""
    thermal = conditions.thermal_resistance_k_per_w or 0.0
    if conditions.drive.current_a is not None:
        heat = (conditions.drive.current_a * level) ** 2 * thermal
        gain = heat * r20 * alpha
        return np.where(gain < 1, heat * cold / np.maximum(1 - gain, 1e-300), np.inf)
    heat = ((conditions.drive.voltage_v or 0.0) * level) ** 2 * thermal
    return 2 * heat / (cold + np.sqrt(cold**2 + 4 * r20 * alpha * heat))


def _relative_scales(coil: CoilGeometry) -> FloatArray:
    """What one relative unit of each factor is: the nominal dimension; 1 K; the whole drive."""
    gap = float(np.mean(coil.layer_gaps_m)) if coil.layer_gaps_m else 0.0
    return np.array([coil.track_width_m, coil.track_gap_m, coil.thickness_m, gap, 1.0, 1.0])


def _slopes(model: Model, coil: CoilGeometry, half_widths: FloatArray) -> dict[str, FloatArray]:
    """Central differences of every quantity with respect to each factor, shape (factors,)."""
    step = np.array([0.01, 0.01, 0.01, 0.01, 0.5, 0.005]) * np.where(_relative_scales(coil) > 0, 1.0, 0.0)
    step = step * np.array([coil.track_width_m, coil.track_gap_m, coil.thickness_m, 1.0, 1.0, 1.0])
    step[3] = 0.01 * _relative_scales(coil)[3] or 1e-9
    both = model(np.vstack([np.diag(step), -np.diag(step)]))
    return {name: (values[: len(step)] - values[len(step) :]) / (2 * step) for name, values in both.items()}


def _summary(
    name: str,
    unit: str,
    nominal: float,
    values: FloatArray,
    slopes: FloatArray,
    sigma: FloatArray,
    relative: FloatArray,
) -> QuantitySpread:
    variance = (slopes * sigma) ** 2
    total = variance.sum()
    shares = variance / total if np.isfinite(total) and total > 0 else np.zeros(len(variance))
    low, high = np.quantile(values, [0.025, 0.975])
    return QuantitySpread(
        name,
        unit,
        nominal,
        float(values.mean()),
        float(values.std(ddof=1)),
        float(low),
        float(high),
        dict(zip(FACTORS, (slopes * relative / nominal).tolist(), strict=True)),
        dict(zip(FACTORS, shares.tolist(), strict=True)),
    )
