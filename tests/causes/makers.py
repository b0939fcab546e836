"""Units of known truth as the search for causes sees them: simulated lots, a bench's noise, and things gone wrong.

The defects of `sim.lot` (bridges by the coupled circuit, at the unit's own width), and here what a lot doesn't have:
single narrow and wide units, warm coils, metal, another part, a bad seat. Metal is the coil's image in a sheet, not
the single loop that the station reckons with. Invented values.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.design import IS_20
from sim.lot import Lot
from sim.truth import CoilTruth
from station.causes.kinds import Cause
from station.causes.observables import Drawn, Findings
from station.coil import predict
from station.coil.loops import mutual_inductance_h
from station.coil.windings import turns_of

HEIGHTS_M = (1e-3, 2e-3, 4e-3, 8e-3)
DRAWN = Drawn(IS_20, heights_m=HEIGHTS_M)
TWO_FREQUENCIES = replace(DRAWN, frequencies_hz=(100e3, 300e3), second_suffix="@300kHz")
ALPHA = 1 / 254.5
LIMITS = {"R20": (6.8, 9.2), "L": (11.3e-6, 12.0e-6)}
"""Of the example plan."""

TRUE_CAUSE = {
    "open": Cause.OPEN,
    "shorted_turns": Cause.SHORTED_TURNS,
    "layer_short": Cause.LAYER_SHORT,
    "high_resistance": Cause.NARROW,
    "poor_contact": Cause.POOR_CONTACT,
}


@dataclass(frozen=True, slots=True)
class Bench:
    """What a bench adds: gains (1 is right), noise relative, temperature in degC and its scatter in K."""

    dc_gain: float = 1.0
    ac_gain: float = 1.0
    field_gain: float = 1.002
    noise: float = 1e-4
    phase_noise_rad: float = 5e-5
    temperature_degc: float = 23.0
    temperature_sd_k: float = 0.5
    height_sd_m: float = 15e-6
    field_noise_t_per_a: float = 1.5e-6


@dataclass(frozen=True, slots=True)
class Trouble:
    """What goes wrong with one unit besides its truth: warmth, loss of L by metal, a seat off the stops, its code."""

    warmer_k: float = 0.0
    metal_at_m: float = 0.0
    higher_m: float = 0.0
    code: str = ""


def measure(
    units: Sequence[tuple[CoilTruth, Trouble]],
    *,
    bench: Bench | None = None,
    drawn: Drawn = DRAWN,
    seed: int = 1,
    panels: Sequence[str] | None = None,
) -> Findings:
    """Return what a bench finds, decided by the example plan's limits of R20 and L."""
    generator = np.random.default_rng(seed)
    rows = [_values(truth, trouble, bench or Bench(), drawn, generator) for truth, trouble in units]
    names = sorted({name for values, _ in rows for name in values} | {"R20"})
    return Findings(
        tuple(truth.serial for truth, _ in units),
        tuple(panels if panels is not None else (truth.serial[6:8] for truth, _ in units)),
        tuple(code for _, code in rows),
        tuple(_decision(values, code) for values, code in rows),
        {name: np.array([values.get(name, np.nan) for values, _ in rows]) for name in names},
    )


def lot_units(lot: Lot) -> list[tuple[CoilTruth, Trouble]]:
    """Return all units of a lot without trouble."""
    return [(lot.truth(serial), Trouble()) for serial in lot.serials()]


def copper_unit(truth: CoilTruth, factor: float) -> CoilTruth:
    """Return the unit with `factor` of its track's width: R by 1/factor, L as little as the model says."""
    wider = IS_20.with_width_change((factor - 1) * IS_20.track_width_m)
    ratio = predict(wider).inductance_h / predict(IS_20).inductance_h
    return replace(
        truth, resistance_20_ohm=truth.resistance_20_ohm / factor, inductance_h=truth.inductance_h * ratio
    )


def other_part(truth: CoilTruth, turns: float) -> CoilTruth:
    """Return a coil of the same kind with another number of turns a layer."""
    from sim.design import design_values

    values = design_values(replace(IS_20, turns_per_layer=turns))
    return replace(
        truth,
        resistance_20_ohm=values.resistance_20_ohm,
        inductance_h=values.inductance_h,
        field_per_ampere=values.field_per_ampere,
    )


def _values(
    truth: CoilTruth, trouble: Trouble, bench: Bench, drawn: Drawn, generator: np.random.Generator
) -> tuple[dict[str, float], str]:
    noise = generator.standard_normal(12)
    if truth.open:
        return {}, "coil_open"
    if max(truth.contacts_ohm(1)) > 1.0:
        return {}, "contact_poor"
    if trouble.code:
        return {}, trouble.code
    ambient_degc = bench.temperature_degc + bench.temperature_sd_k * noise[0]
    warm_degc = ambient_degc + trouble.warmer_k
    dc = truth.resistance_ohm(warm_degc) * (1 + bench.noise * noise[1]) * bench.dc_gain
    found = {"R20": dc / (1 + ALPHA * (ambient_degc - 20.0))}
    for place, frequency in enumerate(drawn.frequencies_hz):
        omega, suffix = 2 * np.pi * frequency, drawn.second_suffix if place else ""
        impedance = truth.impedance_ohm(frequency, warm_degc) - _image_ohm(trouble, omega)
        gain = bench.ac_gain * (1 + bench.noise * noise[2 + place])
        seen = impedance * gain * np.exp(1j * bench.phase_noise_rad * noise[4 + place])
        found |= {f"L{suffix}": float(seen.imag) / omega, f"Rs{suffix}": float(seen.real)}
    further_m = bench.height_sd_m * noise[6] + trouble.higher_m
    for place, height_m in enumerate(drawn.heights_m):
        flux = truth.flux_density_t_per_a(height_m + further_m, 0.0) * bench.field_gain
        found[f"B@{height_m * 1e3:g}mm"] = flux + bench.field_noise_t_per_a * noise[7 + place]
    return found, ""


def _image_ohm(trouble: Trouble, omega: float) -> complex:
    """What a sheet of good metal takes from Z: the mutual inductance with the coil's image, and a loss beside it."""
    if not trouble.metal_at_m:
        return 0.0
    turns, omega_100khz = turns_of(IS_20), 2 * np.pi * 100e3
    depth = -turns.height_m + trouble.metal_at_m
    apart = depth[:, None] + depth[None, :]
    mutual = float(mutual_inductance_h(turns.radius_m[:, None], turns.radius_m[None, :], apart).sum())
    # Skin effect: the sheet's loss goes with the root of the frequency (here 0.15 of its reactance at 100 kHz).
    return complex(-0.15 * (omega * omega_100khz) ** 0.5 * mutual, omega * mutual)


def _decision(values: dict[str, float], code: str) -> str:
    if code == "coil_open":
        return "FAIL"
    if code or not values:
        return "INVALID"
    inside = all(low <= values[name] <= high for name, (low, high) in LIMITS.items() if name in values)
    return "PASS" if inside else "FAIL"
