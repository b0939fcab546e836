"""What goes wrong on a night, as a numbered list: faults of instruments, and what the operator does.

All of it from scenario and seed. A night can be carried out with only some of it: so a failure is shrunk.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from sim.faults import Fault, FaultKind
from sim.noise import key, uniform
from station.nightly.scenario import FaultSetup, Scenario, SweepSetup

REPLACED_BY = (b"+9.91000E+37\n", b"nan\n", b"+1.23456E+00\n", b"\n")
"""What a replaced reply says."""

UNPLUG = "unplug"
OTHER_IDENTITY = b"INVENTED,OTHER,0,0"


@dataclass(frozen=True, slots=True)
class Mishap:
    """One thing that goes wrong: a fault counted over the night, a fault while one unit is measured, or an act."""

    number: int
    words: str
    unit: int = -1
    """Which unit of the lot it befalls, from 0; -1: counted over the whole night."""
    fault: Fault | None = None
    place: float = 0.0
    """Of a fault with a unit: at which share of the run's messages it strikes."""
    act: str = ""


@dataclass(frozen=True, slots=True)
class Script:
    """The mishaps of a night."""

    mishaps: tuple[Mishap, ...]

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Faults that count the messages of the whole night."""
        return tuple(each.fault for each in self.mishaps if each.fault is not None and each.unit < 0)

    @property
    def needs_wrappers(self) -> bool:
        """Tell whether anything here spoils an instrument's messages."""
        return any(each.fault is not None or each.act == UNPLUG for each in self.mishaps)

    def acts(self) -> Mapping[int, frozenset[str]]:
        """What the operator does wrong, by unit."""
        units = {each.unit for each in self.mishaps if each.act}
        return {unit: frozenset(each.act for each in self.mishaps if each.act and each.unit == unit) for unit in units}

    def strikes(self) -> Mapping[int, Mishap]:
        """The fault that strikes while a unit is measured, by unit."""
        return {each.unit: each for each in self.mishaps if each.fault is not None and each.unit >= 0}

    def only(self, numbers: Collection[int]) -> "Script":
        """Return the script with these mishaps only."""
        return Script(tuple(each for each in self.mishaps if each.number in numbers))


def script_of(scenario: Scenario, seed: int) -> Script:
    """Return all that goes wrong on the night of a scenario and seed."""
    found = [
        *_counted(scenario.faults, seed),
        *(() if scenario.sweep is None else _swept(scenario.sweep, scenario.lot.units, seed)),
        *_acts(scenario.every, scenario.lot.units),
    ]
    return Script(
        tuple(
            Mishap(number, each.words, each.unit, each.fault, each.place, each.act)
            for number, each in enumerate(found, start=1)
        )
    )


def _counted(setups: tuple[FaultSetup, ...], seed: int) -> list[Mishap]:
    """Each strike somewhere within its `every` messages."""
    made = []
    for number, setup in enumerate(setups):
        for strike in range(setup.times):
            jitter = int(uniform(key("nightly fault", seed, number, strike)) * setup.every)
            nth = setup.first + strike * setup.every + jitter
            fault = Fault(
                setup.instrument, FaultKind(setup.kind), nth=nth, seconds=setup.seconds, amount=setup.amount
            )
            made.append(Mishap(0, f"{setup.kind} on {setup.instrument} at its message {nth}", fault=fault))
    return made


def _swept(setup: SweepSetup, units: int, seed: int) -> list[Mishap]:
    """One fault for each unit but the first; which one comes first is the seed's."""
    pairs = [(instrument, kind) for kind in setup.kinds for instrument in setup.instruments]
    made = []
    for unit in range(1, units):
        instrument, kind = pairs[(unit - 1 + (seed - 1) * (units - 1)) % len(pairs)]
        place = uniform(key("nightly sweep", seed, unit))
        words = f"{kind} on {instrument}, {100.0 * place:.0f} % through the run of unit {unit}"
        made.append(Mishap(0, words, unit, _sweeping(instrument, FaultKind(kind), seed, unit), place))
    return made


def _sweeping(instrument: str, kind: FaultKind, seed: int, unit: int) -> Fault:
    share = uniform(key("nightly sweep", seed, unit, "seconds"))
    seconds = {FaultKind.LATE: 4.0 * share, FaultKind.SPLIT: 4.0 * share, FaultKind.DOUBLED: 0.2 * share}
    amounts = {FaultKind.DRIP: 300.0, FaultKind.BABBLE: 5_000.0}
    replaced_by = REPLACED_BY[int(share * len(REPLACED_BY))]
    data = {FaultKind.REPLACED: replaced_by, FaultKind.WRONG_IDENTITY: OTHER_IDENTITY}
    return Fault(
        instrument,
        kind,
        seconds=seconds.get(kind, 0.01),
        amount=amounts.get(kind, 0.0),
        data=data.get(kind, b""),
    )


def _acts(every: Mapping[str, int], units: int) -> list[Mishap]:
    """Different acts fall on different units."""
    return [
        Mishap(0, f"{act} with unit {index}", index, act=act)
        for place, (act, n) in enumerate(sorted(every.items()))
        for index in range(units)
        if index % n == (place + 1) % n
    ]
