"""Whole runs of units whose truth is known, on benches whose errors are drawn from what they declare."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import count
from pathlib import Path

from sim.errors import BenchErrors
from sim.truth import CoilTruth
from station.app.drawing import axial_field
from station.app.files import read_plan
from station.app.simulated import Simulation, in_memory
from station.bench import OpenBench
from station.core.fixture_life import ServiceState
from station.core.lot_life import LotLife
from station.core.plan import Characteristic, Guard, Plan
from station.core.run_record import RunOpened, RunRecord
from station.core.verification import Verification
from station.data import data_path
from station.inspection import Inspection, PlanInUse, Request
from station.stop import NestStop

CHARACTERISTICS = ("R20", "L", "B@1mm", "B@2mm", "B@4mm", "B@8mm")


@dataclass(slots=True)
class ForgetfulRecords:
    """Records that keep nothing: a bench that is verified, a plan that is released, a unit never seen before."""

    verification: Verification | None = None

    def unit_state(self, serial: str) -> None:
        """Say that the unit is unknown."""
        return

    def positions(self, lot: str, panel: str, *, serial: str = "") -> tuple[int, int]:
        """Say that no unit was decided before."""
        return 0, 0

    def lot_life(self, lot: str) -> LotLife:
        """Say that nothing has happened to any lot."""
        return LotLife(lot)

    def latest_verification(self, bench: str, nest: str) -> Verification | None:
        """Return the one verification."""
        return self.verification

    def count_since(self, verification: Verification) -> int:
        """Say that nothing was judged on it yet."""
        return 0

    def service_state(
        self, bench: str, nest: str, fixture_identity: str, *, verification_id: str = ""
    ) -> ServiceState:
        """Say that the fixture was never serviced."""
        return ServiceState()

    def open_run(self, opened: RunOpened) -> None:
        """Forget it."""

    def close_run(self, record: RunRecord) -> int:
        """Forget it."""
        return 0


@lru_cache(maxsize=1)
def shipped_plan() -> PlanInUse:
    """Return the shipped plan of the invented part, as released."""
    plan = read_plan(data_path("plans/IS-20.toml"))
    return PlanInUse(plan, released=True, design_field=axial_field(plan.coil))


def without_guard(plan: PlanInUse) -> PlanInUse:
    """Return the plan with its guard bands taken away."""
    bare = tuple(replace(each, guard=Guard(0.0)) for each in plan.plan.characteristics)
    return replace(plan, plan=replace(plan.plan, characteristics=bare))


def measure(units: Sequence[CoilTruth], *, seed: int, home: Path, plan: PlanInUse | None = None) -> Iterator[RunRecord]:
    """Yield the run of each unit on one bench, whose errors and noise come from `seed`."""
    with inspecting(units, seed=seed, home=home, plan=plan or shipped_plan()) as inspection:
        for unit in units:
            yield inspection.inspect(unit.serial, Request("OP-01"))


@contextmanager
def inspecting(
    units: Sequence[CoilTruth], *, seed: int, home: Path, plan: PlanInUse, errors: BenchErrors | None = None
) -> Iterator[Inspection]:
    """Open a simulated bench in memory, verified, with `units` on its shelf; its errors drawn, if not stated."""
    stop = NestStop()
    place = in_memory(Simulation(seed=seed, units=tuple(units), handling_s=0.2, errors=errors), stop)
    records = ForgetfulRecords()
    numbers = count(1)
    with OpenBench(place.setup, home=home, where="a test", clock=place.clock, stop=stop, links=place.links) as bench:
        identity = next(each.identity for each in bench.identities if each.name == "fixture-1")
        records.verification = _verified(plan.plan, place.clock.utc_now(), identity)
        yield Inspection(
            bench=bench,
            records=records,
            plans=(plan,),
            hands=place.hands,
            new_id=lambda: f"run-{next(numbers)}",
            fixture_identity=identity,
        )


def true_values(unit: CoilTruth) -> dict[str, float]:
    """Return what a perfect bench would find, by characteristic."""
    fields = {f"B@{mm}mm": unit.flux_density_t_per_a(mm * 1e-3, 0.0) for mm in (1, 2, 4, 8)}
    return {"R20": unit.resistance_20_ohm, "L": unit.inductance_h, **fields}


def limits(plan: Plan, name: str) -> Characteristic:
    """Return the characteristic called `name`."""
    found = plan.characteristic(name)
    if found is None:
        raise KeyError(name)
    return found


def _verified(plan: Plan, now_utc: datetime, identity: str) -> Verification:
    return Verification(
        verification_id="verified",
        bench="bench-1",
        nest="A",
        fixture_identity=identity,
        part=plan.part,
        done_utc=now_utc,
        verified=True,
        verified_until_utc=now_utc + timedelta(days=365),
        unit_limit=1_000_000,
        operator="OP-01",
        words="for a test",
    )
