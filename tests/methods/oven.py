"""A shop that heats: the shipped heating plan, coils of stated truth, things that go wrong while it is hot."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from drivers.clock import ManualClock
from sim.faults import Fault
from sim.lot import truth_near
from sim.truth import CoilTruth, ThermalTerm
from sim.world import World
from station.app.simulated import Simulation
from station.coil.heating import Drive, steady_state
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.run_record import RunRecord
from station.data import data_path
from tests.end_to_end.shop import SEED, OpenShop, Shop

AMBIENT_DEGC = 23.0
ONE = (ThermalTerm(70.0, 15.0 / 70.0),)
TEXT = data_path("plans/IS-20-heating.toml").read_text(encoding="utf-8")


def plan_with(*changes: tuple[str, str]) -> Plan:
    """Return the heating plan with pieces of its text replaced; each must be there."""
    text = TEXT
    for old, new in changes:
        if old not in text:
            raise ValueError(f"the heating plan has no {old!r}")
        text = text.replace(old, new)
    return parse_plan(text, "heating.toml")


QUICK = (('drive = ["1 V", "1.5 V", "2 V"]', 'drive = ["2 V"]'), ('audit_one_in = 25', 'audit_one_in = 1000'))
"""One level: enough where the ladder does not matter."""


def terms(total_k_per_w: float, *parts: tuple[float, float]) -> tuple[ThermalTerm, ...]:
    """Return thermal terms from (share, time constant in s) pairs."""
    return tuple(
        ThermalTerm(share * total_k_per_w, time_constant_s / (share * total_k_per_w))
        for share, time_constant_s in parts
    )


def coil(resistance_20_ohm: float, *, thermal: tuple[ThermalTerm, ...] = ONE, surface: float = 1.0) -> CoilTruth:
    """Return a good coil of the part with a stated thermal truth."""
    truth = truth_near("", resistance_20_ohm=resistance_20_ohm)
    return replace(truth, thermal=thermal, surface_rise_ratio=surface)


@contextmanager
def oven(
    home: Path,
    coils: Sequence[CoilTruth],
    *,
    plan: Plan | None = None,
    faults: Sequence[Fault] = (),
    hook: Callable[[], None] | None = None,
    seed: int = SEED,
) -> Iterator[OpenShop]:
    """Open a shop with coils in line."""
    with Shop(home, plan=plan or plan_with(*QUICK)) as shop:
        units = shop.new_units(len(coils), like=coils)
        with shop.opened(units=units, faults=faults, hook=hook, simulation=Simulation(seed=seed)) as opened:
            yield opened


def steady_rise_k(opened: OpenShop, unit: CoilTruth, voltage_v: float) -> float:
    """Return the true steady rise at a voltage that the source is set to."""
    true_v = voltage_v * (1.0 + opened.sim.world.errors.source_output_gain)
    total = sum(each.thermal_resistance_k_per_w for each in unit.thermal)
    return steady_state(unit.resistance_20_ohm, Drive(voltage_v=true_v), total, AMBIENT_DEGC).rise_k


def value(record: RunRecord, name: str) -> tuple[float, float]:
    """Return a result's value and expanded uncertainty."""
    found = next(each for each in record.results if each.characteristic == name)
    assert found.value is not None, record.reason
    assert found.expanded_uncertainty is not None
    return found.value, found.expanded_uncertainty


class Meddler:
    """A hook that acts on the world from the moment that the winding is so many kelvin warm.

    `act` is called at each message from then on, with the seconds since.
    """

    def __init__(self, at_k: float, act: Callable[[World, float], None]) -> None:
        self._at_k = at_k
        self._act = act
        self._since_s: float | None = None
        self.opened: OpenShop | None = None

    def __call__(self) -> None:
        """Look, and act when it is time."""
        if self.opened is None:
            return
        world: World = self.opened.sim.world
        clock: ManualClock = self.opened.place.clock
        if self._since_s is None and world.drive.on and world.rise_k >= self._at_k:
            self._since_s = clock.monotonic()
        if self._since_s is not None and world.drive.on:
            self._act(world, clock.monotonic() - self._since_s)


def safe(opened: OpenShop) -> bool:
    """Tell whether the drive is off, the coil without current, and nothing was damaged."""
    world = opened.sim.world
    return not world.drive.on and not world.coil_current_a and not world.mishaps
