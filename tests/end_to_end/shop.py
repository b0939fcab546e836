"""A shop to break things in: one station with its records, and benches in memory on manual time.

Units have stated truths that differ from each other by more than any uncertainty, and a spread small enough
that all pass: a number of one unit that turns up as another's is seen.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import count
from pathlib import Path
from types import TracebackType

from drivers.link import MESSAGE_LIMIT, Link
from drivers.stop import StopToken
from sim.bench import SimulatedBench
from sim.errors import GENERIC_NOISE
from sim.faults import Fault
from sim.lot import truth_near
from sim.truth import CoilTruth
from station.app.simulated import MemoryPlace, Simulation, in_memory
from station.app.station import Station
from station.bench import OpenBench
from station.core.equipment import InstrumentSetup
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.results import Result
from station.core.run_record import RunRecord
from station.core.verification import Verification
from station.data import data_path
from station.drive_state import DriveState
from station.inspection import Inspection, Request
from station.records import Records

PART = "IS-20"
SEED = 7
REQUEST = Request("OP-07")

EVEN_NOISE = replace(GENERIC_NOISE, lcr_dc=0.0, temperature_k=0.0)
"""The usual noise, but none that could make one run wait longer than another until R holds still: so each run
takes the same number of messages, and a fault can be put at any of them."""

PER_KELVIN = 0.00393
"""Copper at 20 degC, 1/K (IEC 60028)."""

_VALUES = ((7.2, 11.50e-6, 0.98), (8.0, 11.72e-6, 1.00), (8.8, 11.60e-6, 1.02), (7.6, 11.55e-6, 0.99))
"""R20 in ohm, L in H, and field against the drawing's, of the units in turn. All pass plan IS-20."""


Hook = Callable[[], None]
"""Called before each message that goes out, and before each wait for one."""


class WatchedLink:
    """A link around a link that calls a hook first."""

    def __init__(self, link: Link, hook: Hook) -> None:
        self.name = link.name
        self._link = link
        self._hook = hook

    def write(self, data: bytes) -> None:
        """Call the hook, then send."""
        self._hook()
        self._link.write(data)

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Call the hook, then wait for a message."""
        self._hook()
        return self._link.read_until(terminator, timeout=timeout, limit=limit)

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Call the hook, then wait for bytes."""
        self._hook()
        return self._link.read_exactly(count, timeout=timeout)

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Pass on."""
        return self._link.discard_input(quiet=quiet, timeout=timeout)

    def close(self) -> None:
        """Pass on."""
        self._link.close()


class Countdown:
    """A hook that acts once, at the `at`-th call after `start`; it counts all calls."""

    def __init__(self, at: int, act: Hook) -> None:
        self.calls = 0
        self.acted = False
        self._at = at
        self._act = act
        self._counting = False

    def start(self) -> None:
        """Count from here on."""
        self._counting = True

    def end(self) -> None:
        """Count and act no more."""
        self._counting = False

    def __call__(self) -> None:
        """Count, and act when it is time."""
        if not self._counting:
            return
        if self.calls == self._at and not self.acted:
            self.acted = True
            self._act()
        self.calls += 1


@dataclass(slots=True)
class OpenShop:
    """One open bench, and the units that will be measured on it, in order."""

    place: MemoryPlace
    inspection: Inspection
    bench: OpenBench
    units: tuple[CoilTruth, ...]
    station: Station

    @property
    def sim(self) -> SimulatedBench:
        """The simulated side."""
        return self.place.bench

    def measure(self, index: int, *, request: Request = REQUEST) -> RunRecord:
        """Take unit `index` through; raises what `Inspection.inspect` raises."""
        return self.inspection.inspect(self.units[index].serial, request)

    def order(self, words: str) -> None:
        """Tell the simulated operator something in the middle of whatever is going on."""
        self.place.hands.say(words)

    def counts(self) -> dict[str, tuple[int, int]]:
        """Return how many messages each instrument was told and has sent, since the bench was built."""
        return {name: (each.told, each.sent) for name, each in self.sim.wrappers.items()}

    def wrong_values(self, record: RunRecord, *, temperature_off_k: float = 0.0) -> list[str]:
        """Return which values on a record are wrong, or of an absurd uncertainty."""
        truth = next(each for each in self.units if each.serial == record.opened.unit.serial)
        return wrong_values(truth, record.results, temperature_off_k=temperature_off_k)


class Shop:
    """A station in a home of its own, with plan IS-20 (or another of that part) released. A context manager."""

    def __init__(self, home: Path, *, plan: Plan | None = None) -> None:
        self.home = home
        self.station = Station.open(home)
        self.plan = plan or shipped_plan()
        self._numbers = count()
        self.station.records.release_plan(self.plan, who="EN-01", why="tests", utc=self.station.clock.utc_now())

    def __enter__(self) -> "Shop":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.station.records.close()

    def new_units(self, amount: int, *, like: Sequence[CoilTruth] = ()) -> tuple[CoilTruth, ...]:
        """Return units with serials never used before; the first ones `like` those given."""
        truths = (*like, *map(_nth_truth, range(len(like), amount)))
        return tuple(replace(each, serial=serial_of(next(self._numbers))) for each in truths)

    @contextmanager
    def opened(
        self,
        *,
        units: Sequence[CoilTruth] = (),
        faults: Sequence[Fault] = (),
        simulation: Simulation | None = None,
        hook: Hook | None = None,
        any_model: bool = False,
    ) -> Iterator[OpenShop]:
        """Open a verified bench; without `units` with four fresh ones. A latch of an earlier one is gone.

        `hook` is called at each message. `any_model`: the bench file names makers only.
        """
        units = tuple(units) or self.new_units(4)
        simulation = replace(simulation or Simulation(seed=SEED, noise=EVEN_NOISE), units=units, faults=tuple(faults))
        station = self.station
        station.stop.clear()
        state = DriveState(self.home, simulation.bench)
        if state.latched():
            state.clear(who="EN-01", why="the next test has another bench")
        place = in_memory(simulation, station.stop)

        def watched(instrument: InstrumentSetup, stop: StopToken) -> Link:
            link = place.links(instrument, stop)
            return link if hook is None else WatchedLink(link, hook)

        setup = place.setup
        if any_model:
            setup = replace(setup, instruments=tuple(replace(each, identity="") for each in setup.instruments))
        with station.inspecting(
            setup, where="a test", hands=place.hands, links=watched, clock=place.clock
        ) as inspection:
            assert isinstance(inspection.bench, OpenBench)
            state_verified(station.records, inspection, unit_limit=1_000_000)
            yield OpenShop(place, inspection, inspection.bench, units, station)


def state_verified(records: Records, inspection: Inspection, *, unit_limit: int) -> None:
    """Put on record that the bench is verified for eight hours from now and so many units."""
    setup, now_utc = inspection.bench.setup, inspection.bench.clock.utc_now()
    records.add_verification(
        Verification(
            verification_id=inspection.new_id(),
            bench=setup.name,
            nest=setup.nest,
            fixture_identity=inspection.fixture_identity,
            part=PART,
            done_utc=now_utc,
            verified=True,
            verified_until_utc=now_utc + timedelta(hours=8),
            unit_limit=unit_limit,
            operator="OP-07",
            words="stated by the test",
        )
    )


def serial_of(number: int) -> str:
    """Return the serial of the `number`-th unit, counted over panels of 96 and lots of 99 panels."""
    lot, place = divmod(number, 96 * 99)
    panel, place = divmod(place, 96)
    row, column = divmod(place, 12)
    return f"L{lot:04d}-{panel + 1:02d}-{'ABCDEFGH'[row]}{column + 1:02d}"


def shipped_plan() -> Plan:
    """Return the example plan, as it ships."""
    path = data_path(f"plans/{PART}.toml")
    return parse_plan(path.read_text(encoding="utf-8"), path.name)


def wrong_values(truth: CoilTruth, results: Sequence[Result], *, temperature_off_k: float = 0.0) -> list[str]:
    """Return which results lie further from the truth than 1.5 times their expanded uncertainty.

    Also those whose uncertainty is absurd (over 10 % of the value): such a result is never wrong, and no use.
    `temperature_off_k` is what the thermometer is known to be off: it allows R20 its share.
    """
    said = []
    for result in results:
        if result.value is None:
            continue
        wanted = true_value(truth, result.characteristic)
        if wanted is None:
            continue
        doubt = result.expanded_uncertainty or 0.0
        known = PER_KELVIN * temperature_off_k * wanted if result.characteristic == "R20" else 0.0
        if abs(result.value - wanted) > 1.5 * doubt + known or not doubt <= 0.1 * abs(wanted):
            said.append(f"{result.characteristic} {result.value:.6g} +- {doubt:.2g}, is {wanted:.6g}")
    return said


def true_value(truth: CoilTruth, characteristic: str) -> float | None:
    """Return what a perfect bench finds; None for what says how it was measured, or depends on temperature."""
    if characteristic == "R20":
        return truth.resistance_20_ohm
    if characteristic == "L":
        return truth.inductance_h
    if characteristic.startswith("B@"):
        return truth.flux_density_t_per_a(float(characteristic[2:].removesuffix("mm")) * 1e-3, 0.0)
    return None


def _nth_truth(index: int) -> CoilTruth:
    resistance_ohm, inductance_h, field_scale = _VALUES[index % len(_VALUES)]
    return truth_near("", resistance_20_ohm=resistance_ohm, inductance_h=inductance_h, field_scale=field_scale)


def code_of(record: RunRecord) -> str:
    """Return the code of a run's reason; empty if it has none."""
    return "" if record.reason is None else record.reason.code
