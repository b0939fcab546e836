"""Makes what a scenario describes: the lot's units and the bench with its errors. All of it from the seed."""

from dataclasses import dataclass, replace
from math import pi

from sim.design import IS_20
from sim.errors import GENERIC_NOISE, QUIET, BenchErrors, NoiseLevels
from sim.faults import Fault
from sim.hum import Hum
from sim.lot import NO_DEFECTS, Lot, Spread, truth_near
from sim.noise import key, uniform
from sim.truth import CoilTruth
from station.app.simulated import Simulation, drawn_errors
from station.app.station import Station
from station.coil.spread import varied
from station.core.plan import BinFor, Plan
from station.nightly.scenario import BenchSetup, LotSetup, Scenario

LOT = "L2641"
OTHER_TURNS = 19
"""Turns a layer of the part that got among the others."""

METAL_LOSS = 0.05
"""Of L, by metal beneath the unit (invented; a sheet some millimetres away)."""

PILE = {"R20": 1.3e-3, "L": 8.3e-4}
"""About the expanded uncertainty of the simulated bench, relative: units are piled within two of it."""


@dataclass(frozen=True, slots=True)
class NearMetal:
    """The impedance of a coil that metal takes a share of L from, with a loss beside it."""

    coil: CoilTruth
    share: float

    def __call__(self, frequency_hz: float, temperature_degc: float) -> complex:
        """Return the impedance in ohm at a frequency in Hz and a winding temperature in degC."""
        resistance = self.coil.resistance_ohm(temperature_degc) * self.coil.resistance_ratio(frequency_hz)
        reactance = 2.0 * pi * frequency_hz * self.coil.inductance_h
        return complex(resistance + 0.1 * self.share * reactance, (1.0 - self.share) * reactance)


def simulation(scenario: Scenario, seed: int, plan: Plan, *, faults: tuple[Fault, ...] | None = None) -> Simulation:
    """Return the simulated bench of a scenario and seed, with its units, the part's reference units and faults.

    Without `faults` nothing wraps the instruments: no fault can be armed, and the bench is quicker.
    """
    bench = scenario.bench
    made = units(scenario.lot, seed, plan)
    if bench.thermometer_sees != 1.0:
        made = tuple(replace(each, surface_rise_ratio=bench.thermometer_sees) for each in made)
    return Simulation(
        seed=seed,
        lot=LOT,
        units=made,
        references=Station.shipped_references(plan.part),
        lcr_model=bench.lcr_model,
        thermometer_model=bench.thermometer_model,
        has_stage=bench.stage,
        errors=_errors(bench, seed),
        noise=_noise(bench),
        faults=faults,
        ambient_degc=bench.ambient_degc,
        ambient_drift_k_per_h=bench.ambient_drift_k_per_h,
        keeps_heat=bench.keeps_heat,
    )


def _errors(bench: BenchSetup, seed: int) -> BenchErrors:
    if bench.perfect:
        return BenchErrors()
    errors = drawn_errors(seed)
    return errors if bench.field_offset_t is None else replace(errors, field_offset_t=bench.field_offset_t)


def _noise(bench: BenchSetup) -> NoiseLevels:
    noise = QUIET if bench.perfect else GENERIC_NOISE
    if bench.temperature_noise_k is not None:
        noise = replace(noise, temperature_k=bench.temperature_noise_k)
    return replace(noise, hum=Hum(bench.mains_hz, bench.field_hum_t, bench.resistance_hum))


def units(setup: LotSetup, seed: int, plan: Plan) -> tuple[CoilTruth, ...]:
    """Return the units of a lot, in the order in which they are scanned: panels as they come."""
    spread = Spread() if setup.copper_gradient is None else replace(Spread(), gradient=setup.copper_gradient)
    # Etching moves the edges and keeps the centre line: `varied` takes from the gap what the width gains.
    design = varied(IS_20, setup.etch_shift_m, 0.0, 0.0, 0.0)
    rates = replace(NO_DEFECTS, **dict(setup.defects))
    lot = Lot(seed, name=LOT, design=design, spread=spread, rates=rates)
    other = Lot(seed, name=LOT, design=replace(IS_20, turns_per_layer=OTHER_TURNS), spread=spread, rates=NO_DEFECTS)
    made = []
    for index, serial in zip(range(setup.units), lot.serials(), strict=False):
        if setup.on_bin_ends:
            ends = shared_ends(plan, setup.on_bin_ends)
            made.append(truth_near(serial, resistance_20_ohm=ends[index % len(ends)]))
            continue
        if setup.near_limits:
            made.append(_near_limit(setup.near_limits, serial, seed, index, plan))
            continue
        chance = uniform(key("nightly", seed, serial, "kind"))
        if chance < setup.other_part:
            made.append(replace(other.truth(serial), defect="other_part"))
        elif chance < setup.other_part + setup.metal:
            made.append(_near_metal(lot.truth(serial)))
        else:
            made.append(lot.truth(serial))
    return tuple(made)


def _near_metal(coil: CoilTruth) -> CoilTruth:
    return replace(coil, winding_impedance=NearMetal(coil, METAL_LOSS), defect="metal")


def _near_limit(name: str, serial: str, seed: int, index: int, plan: Plan) -> CoilTruth:
    characteristic = plan.characteristic(name)
    ends = () if characteristic is None else (characteristic.lower, characteristic.upper)
    wanted = [each for each in ends if each is not None]
    share = 2.0 * uniform(key("nightly pile", seed, serial)) - 1.0
    value = wanted[index % len(wanted)] * (1.0 + 2.0 * PILE[name] * share)
    if name == "R20":
        return truth_near(serial, resistance_20_ohm=value)
    return truth_near(serial, inductance_h=value)


def shared_ends(plan: Plan, name: str) -> tuple[float, ...]:
    """Return the ends of a characteristic's intervals at which one bin for passed units ends and another begins."""
    needs = [dict(each.needs).get(name) for each in plan.bins if each.takes is BinFor.PASS]
    lower = {each.lower for each in needs if each is not None}
    upper = {each.upper for each in needs if each is not None}
    return tuple(sorted(each for each in lower & upper if each is not None))
