"""What another plan revision would make of units that are on record: which of them change sides.

Pure. Nothing is judged again on record by this; it answers "what would this change do" before a release.
A result that was not measured can't speak: a unit that hangs on it is UNKNOWN and never PASS.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from station.core.bins import sort_unit
from station.core.decide import decide
from station.core.limits import judge
from station.core.plan import Characteristic, Plan
from station.core.results import Decision, Judgement, Result, ResultStatus


class Side(StrEnum):
    """Where a unit stands."""

    PASS = "pass"
    FAIL = "fail"
    UNKNOWN = "unknown, measure again"


DECISION_OF = {Side.PASS: Decision.PASS, Side.FAIL: Decision.FAIL, Side.UNKNOWN: Decision.INVALID}
SIDE_OF = {Decision.PASS: Side.PASS, Decision.FAIL: Side.FAIL, Decision.INVALID: Side.UNKNOWN}


@dataclass(frozen=True, slots=True)
class StoredUnit:
    """A unit as it was judged last: its decision, bin and results."""

    serial: str
    lot: str
    decision: Decision
    reason_code: str
    bin_number: int
    bin_name: str
    results: tuple[Result, ...]
    plan: Plan | None = None
    """What it was judged under; None if that text is not on record: then every limit counts as moved."""
    concession: str = ""
    """By which it was accepted: as long as it fails by nothing else, that stands, bin and all."""


@dataclass(frozen=True, slots=True)
class Replayed:
    """One unit under both revisions. `because` names the characteristics that speak against it now."""

    unit: StoredUnit
    before: Side
    after: Side
    bin_number: int
    bin_name: str
    because: tuple[str, ...]
    judgements: tuple[Judgement, ...] = ()
    left: str = ""
    """The pocket that it lay in among units that pass, in words, if it has left that on record by passing no more."""

    @property
    def moves(self) -> bool:
        """Tell whether decision or bin would be another."""
        return self.changes_side or (self.bin_number, self.bin_name) != (self.unit.bin_number, self.unit.bin_name)

    @property
    def changes_side(self) -> bool:
        """Tell whether the decision would be another."""
        return self.before is not self.after


@dataclass(frozen=True, slots=True)
class Replay:
    """All units under both revisions."""

    units: tuple[Replayed, ...]

    @property
    def changed(self) -> tuple[Replayed, ...]:
        """Return the units that change sides, in order."""
        return tuple(each for each in self.units if each.changes_side)

    def count(self, side: Side, *, after: bool) -> int:
        """Return how many units are on a side, before or after."""
        return sum((each.after if after else each.before) is side for each in self.units)

    def yield_fraction(self, *, after: bool) -> float | None:
        """Return passed / (passed + failed); None if none is decided."""
        passed, failed = self.count(Side.PASS, after=after), self.count(Side.FAIL, after=after)
        return passed / (passed + failed) if passed + failed else None

    def bins(self) -> tuple[tuple[int, str, int, int], ...]:
        """Return (number, name, units before, units after) of each bin that has any."""
        before = Counter((each.unit.bin_number, each.unit.bin_name) for each in self.units)
        after = Counter((each.bin_number, each.bin_name) for each in self.units)
        return tuple((*key, before[key], after[key]) for key in sorted(before.keys() | after.keys()))


def replay(new: Plan, units: Iterable[StoredUnit]) -> Replay:
    """Return what `new` makes of units that were judged under other revisions."""
    return Replay(tuple(_replayed(new, each) for each in units))


def _moved(old: Plan | None, new: Plan) -> tuple[Characteristic, ...]:
    """Return the characteristics whose limits or guard band differ."""
    return tuple(each for each in new.characteristics if old is None or old.characteristic(each.name) != each)


def _replayed(plan: Plan, unit: StoredUnit) -> Replayed:
    moved = {each.name for each in _moved(unit.plan, plan)}
    by_name = {each.characteristic: each for each in unit.results}
    judgements = _judged(plan, by_name)
    failing = _failing(judgements)
    silent = tuple(
        each.name
        for each in plan.characteristics
        if not _speaks(found := by_name.get(each.name))
        and (each.name in moved or (found is not None and found.status is ResultStatus.NOT_MEASURED))
    )
    before = SIDE_OF[unit.decision]
    because: tuple[str, ...]
    if unit.decision is Decision.INVALID:
        after, because = Side.UNKNOWN, ("not measured",)
    elif unit.reason_code == "coil_open":
        after, because = Side.FAIL, ("coil open",)
    elif failing:
        after, because = Side.FAIL, failing
    elif silent or decide(judgements)[0] is Decision.INVALID:
        after, because = Side.UNKNOWN, silent
    else:
        after, because = Side.PASS, ()
    decision = DECISION_OF[after]
    if unit.plan == plan or (after is Side.FAIL and _concession_stands(unit, failing)):
        return Replayed(unit, before, before, unit.bin_number, unit.bin_name, because)
    place = sort_unit(plan, decision, _complete(plan, unit.results))
    return Replayed(unit, before, after, place.number, place.name, because, tuple(judgements))


def _judged(plan: Plan, by_name: Mapping[str, Result]) -> list[Judgement]:
    return [
        judge(each, by_name[each.name])
        for each in plan.characteristics
        if each.name in by_name and by_name[each.name].status is ResultStatus.MEASURED
    ]


def _failing(judgements: Iterable[Judgement]) -> tuple[str, ...]:
    return tuple(each.characteristic for each in judgements if each.decision is Decision.FAIL)


def _concession_stands(unit: StoredUnit, failing: tuple[str, ...]) -> bool:
    """A concession was for what failed then. What fails besides under the new limits, it never allowed."""
    if not unit.concession or unit.plan is None:
        return False
    former = _failing(_judged(unit.plan, {each.characteristic: each for each in unit.results}))
    return set(failing) <= set(former)


def _speaks(result: Result | None) -> bool:
    return result is not None and result.status is ResultStatus.MEASURED


def _complete(plan: Plan, results: Sequence[Result]) -> tuple[Result, ...]:
    """Add "not due" for what was never measured: bins ask for every characteristic they need."""
    known = {each.characteristic for each in results}
    missing = [each for each in plan.characteristics if each.name not in known]
    return (*results, *(Result(each.name, each.unit_symbol, ResultStatus.NOT_DUE) for each in missing))
