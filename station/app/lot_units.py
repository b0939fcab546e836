"""The units of a lot with their values, read from the records once, for pages that slice, draw and replay them."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.replay import Replay, StoredUnit, replay
from station.core.results import Decision, Result, ResultStatus
from station.records import Records
from station.records.lot_measured import RUN_COLUMNS, Cells, lot_measured


@dataclass(frozen=True, slots=True)
class LotUnit:
    """One unit by its latest production run."""

    serial: str
    lot: str
    panel: str
    row: str
    column: str
    decision: Decision
    bin_number: int
    bin_name: str
    held: bool
    reason_code: str
    reason_words: str
    operator: str
    bench: str
    nest: str
    run_id: str
    plan_hash: str
    opened_utc: datetime
    concession: str
    """By which it was accepted; then `decision` is FAIL."""
    values: dict[str, float]
    """Measured ones, by characteristic."""
    cells: dict[tuple[str, str], Cells]
    characteristics: tuple[tuple[str, str], ...]
    """Name and unit symbol of every one that any unit of the lot has."""

    def value(self, characteristic: str) -> float | None:
        """Return a measured value, or None."""
        return self.values.get(characteristic)

    @property
    def hour(self) -> str:
        """The hour in which it was measured last, UTC, in words."""
        return f"{self.opened_utc:%Y-%m-%d %H}:00"

    @property
    def results(self) -> tuple[Result, ...]:
        """Every result, made when it is asked for: a page that draws a lot needs none of them."""
        return tuple(_result(each, self.cells.get(each, _NOTHING)) for each in self.characteristics)

    def stored(self, plan: Plan | None) -> StoredUnit:
        """Return what a replay needs; `plan` is what the unit was judged under."""
        return StoredUnit(
            self.serial,
            self.lot,
            self.decision,
            self.reason_code,
            self.bin_number,
            self.bin_name,
            self.results,
            plan,
            self.concession,
        )


@dataclass(frozen=True, slots=True)
class Slice:
    """A part of a lot and how it did."""

    name: str
    units: int
    passed: int
    failed: int
    invalid: int

    @property
    def yield_fraction(self) -> float | None:
        """passed / (passed + failed); None if none is decided."""
        return self.passed / (self.passed + self.failed) if self.passed + self.failed else None


def lot_units(records: Records, lot: str) -> list[LotUnit]:
    """Return the units of a lot, in order of their latest run. Raises `RecordError` for an unknown lot."""
    found = lot_measured(records, lot)
    return [_unit(lot, run, cells, found.characteristics) for run, cells in zip(found.runs, found.results, strict=True)]


_NOTHING: Cells = (None, None, None, None, None)
_DECISIONS = {each.value: each for each in Decision}


def _unit(
    lot: str,
    run: tuple[Any, ...],
    cells: dict[tuple[str, str], Cells],
    characteristics: tuple[tuple[str, str], ...],
) -> LotUnit:
    row = dict(zip(RUN_COLUMNS, run, strict=True))
    row["decision"] = _DECISIONS[row["decision"]]
    row["held"] = bool(row["held"])
    row["opened_utc"] = datetime.fromisoformat(row["opened_utc"])
    row["reason_code"], row["reason_words"] = row["reason_code"] or "", row["reason_words"] or ""
    values = {name: cell[0] for (name, _), cell in cells.items() if cell[0] is not None}
    return LotUnit(lot=lot, **row, values=values, cells=cells, characteristics=characteristics)


def _result(what: tuple[str, str], cells: Cells) -> Result:
    value, u, freedom, u95, judged = cells
    if value is not None:
        return Result(*what, ResultStatus.MEASURED, value, u, freedom, u95)
    return Result(*what, ResultStatus.NOT_DUE if judged is None else ResultStatus.NOT_MEASURED)


def slices(units: Iterable[LotUnit], key: str) -> list[Slice]:
    """Return how the parts of a lot did, by `panel`, `operator`, `bench`, `nest` or `hour`."""
    groups: dict[str, Counter[Decision]] = {}
    for each in units:
        groups.setdefault(str(getattr(each, key)), Counter())[each.decision] += 1
    return [
        Slice(name, found.total(), found[Decision.PASS], found[Decision.FAIL], found[Decision.INVALID])
        for name, found in sorted(groups.items())
    ]


def causes(units: Iterable[LotUnit]) -> list[tuple[str, int]]:
    """Return why units are not PASS, most frequent first (Pareto): (words without figures, how many)."""
    found = Counter(each.reason_words.partition(":")[0] for each in units if each.decision is not Decision.PASS)
    return found.most_common()


def replay_lots(records: Records, new: Plan, lots: Iterable[str]) -> Replay:
    """Return what a plan would make of the units of some lots; each was judged under its own revision.

    Units of another part are left out: their characteristics may bear the same names.
    """
    units = [each for lot in lots for each in lot_units(records, lot)]
    plans = {each: plan_of(records, each) for each in {unit.plan_hash for unit in units}}
    own = (each for each in units if is_of_part(plans[each.plan_hash], new))
    return replay(new, (each.stored(plans[each.plan_hash]) for each in own))


def is_of_part(judged_under: Plan | None, new: Plan) -> bool:
    """Tell whether a unit is of a plan's part, by the plan it was judged under; yes if that text is not on record."""
    return judged_under is None or judged_under.part == new.part


def plan_of(records: Records, plan_hash: str) -> Plan | None:
    """Return the plan that runs followed, or None if its text is not on record."""
    text = records.plan_text(plan_hash)
    return None if text is None else parse_plan(text, "on record")
