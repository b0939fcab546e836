"""The coil model against its speed goals: `python -m tests.benchmarks.bench_coil`.

Field: against magpylib's circles, the same 70 rings and points, blocks taking turns. The other goals are
times; they are shown beside one full inductance, so that a slow minute of the computer shows as such.
"""

import resource
from collections.abc import Callable

import magpylib
import numpy as np

from station.coil import CoilGeometry, predict
from station.coil.circuit import network_of, shorted_turns, solve_impedance
from station.coil.eddy import _eddy
from station.coil.field import axis_flux_density_t_per_a, flux_density_t_per_a
from station.coil.heating import Drive
from station.coil.inductance import _turn_inductance, inductance_h
from station.coil.spread import Conditions, Tolerances, response_surface, simulate_spread
from station.coil.windings import turns_of
from tests.benchmarks.ratios import compare

HEIGHTS_M = np.linspace(1e-3, 8e-3, 8)
MEGABYTES_GOAL = 300


def example() -> CoilGeometry:
    """2 x 35 turns, 0.1 mm track and gap."""
    return CoilGeometry(
        layers=2,
        turns_per_layer=35,
        inner_diameter_m=1.9e-3,
        track_width_m=0.1e-3,
        track_gap_m=0.1e-3,
        copper_m=18e-6,
        layer_gaps_m=(82e-6,),
    )


def _rings(coil: CoilGeometry) -> list[magpylib.current.Circle]:
    turns = turns_of(coil)
    return [
        magpylib.current.Circle(diameter=2 * radius, current=1.0, position=(0, 0, height))
        for radius, height in zip(turns.radius_m, turns.height_m, strict=True)
    ]


def _field(title: str, offset_m: float, ours: Callable[[np.ndarray], object], goal: float) -> str:
    coil = example()
    points = np.column_stack([np.full(8, offset_m), np.zeros(8), HEIGHTS_M])
    rings = _rings(coil)
    sides = {"model": lambda: ours(points), "magpylib": lambda: magpylib.getB(rings, points, sumup=True)}
    model, other = compare(sides, calls=30, blocks=25)
    told = "met" if other.ratio >= goal else "MISSED"
    return (
        f"{title:<44} {model.seconds * 1e6:7.1f} us, magpylib {other.seconds * 1e6:7.1f} us: "
        f"{other.ratio:5.1f} times faster   goal {goal:g}: {told}"
    )


def _afresh(call: Callable[[CoilGeometry], object]) -> Callable[[], object]:
    """Return the call without what earlier ones kept."""
    coil = example()

    def again() -> object:
        for cached in (_turn_inductance, _eddy, network_of, response_surface):
            cached.cache_clear()
        return call(coil)

    return again


def _shorted(coil: CoilGeometry) -> object:
    return solve_impedance(network_of(coil), [1e5], faults=[shorted_turns(coil, layer=0, first_index=17)])


def _spread(coil: CoilGeometry) -> object:
    tolerances = Tolerances(20e-6, 1e-6, 4e-6, 16e-6, 2.0, 0.01)
    conditions = Conditions(23.0, Drive(voltage_v=1.0), (1e-3, 2e-3, 4e-3, 8e-3), 60.0)
    return simulate_spread(coil, tolerances, conditions, draws=10_000)


def _times() -> list[str]:
    goals_s = {
        "full inductance": (_afresh(inductance_h), 2e-3),
        "prediction, everything": (_afresh(lambda coil: predict(coil, heights_m=[1e-3, 2e-3])), 5e-3),
        "one shorted turn, network included": (_afresh(_shorted), 20e-3),
        "spread of 10,000 draws": (_afresh(_spread), 2.0),
    }
    timed = compare({name: call for name, (call, _) in goals_s.items()}, calls=2, blocks=20)
    lines = []
    for side in timed:
        goal_s = goals_s[side.name][1]
        told = "met" if side.seconds <= goal_s else "MISSED"
        lines.append(
            f"{side.name:<44} {side.seconds * 1e3:7.2f} ms, {side.ratio:6.1f} x inductance   "
            f"goal {goal_s * 1e3:g} ms: {told}"
        )
    return lines


def main() -> None:
    """Print every goal with what was reached."""
    coil = example()
    print("2 x 35 turns, 8 heights")
    print(_field("field on the axis", 0.0, lambda p: axis_flux_density_t_per_a(coil, p[:, 2]), 50.0))
    print(_field("field 0.5 mm off the axis", 0.5e-3, lambda p: flux_density_t_per_a(coil, p), 20.0))
    print("\n".join(_times()))
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    told = "met" if megabytes <= MEGABYTES_GOAL else "MISSED"
    print(f"{'memory, magpylib and scipy included':<44} {megabytes:7.0f} MB   goal {MEGABYTES_GOAL} MB: {told}")


if __name__ == "__main__":
    main()
