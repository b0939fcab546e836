"""The units of a lot with their values, read from the records once, for pages that slice, draw and replay them."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.replay import Replay, StoredUnit, replay
from station.core.results import Decision, Result, ResultStatus
from station.records import Records

_VALUE, _U95, _DECISION = "{} [{}]", "U95({}) [{}]", "{} [{}] decision"
_U, _FREEDOM = "u({}) [{}]", "{} [{}] degrees of freedom"


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
    results: tuple[Result, ...]
    concession: str = ""
    """By which it was accepted; then `decision` is FAIL."""

    def value(self, characteristic: str) -> float | None:
        """Return a measured value, or None."""
        return next((each.value for each in self.results if each.characteristic == characteristic), None)

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
    with records.lot_rows(lot, with_u=True) as table:
        names = [each.name for each in table.columns]
        measured = [_split(each) for each in names if each.startswith("U95(")]
        return [_unit(dict(zip(names, row, strict=True)), measured) for row in table.rows]


def _split(column: str) -> tuple[str, str]:
    name, _, unit = column.removeprefix("U95(").partition(") [")
    return name, unit.removesuffix("]")


def _unit(row: dict[str, object], measured: Sequence[tuple[str, str]]) -> LotUnit:
    words = {key: str(row[key] or "") for key in _TEXTS}
    return LotUnit(
        **words,
        decision=Decision(str(row["decision"])),
        bin_number=int(str(row["bin_number"] or 0)),
        held=bool(row["held"]),
        opened_utc=datetime.fromisoformat(str(row["opened_utc"])),
        results=tuple(_result(row, *each) for each in measured),
    )


_TEXTS = (
    "serial",
    "lot",
    "panel",
    "row",
    "column",
    "bin_name",
    "concession",
    "reason_code",
    "reason_words",
    "operator",
    "bench",
    "nest",
    "run_id",
    "plan_hash",
)


def _result(row: dict[str, object], name: str, unit: str) -> Result:
    value, u, freedom, u95 = (_number(row[each.format(name, unit)]) for each in (_VALUE, _U, _FREEDOM, _U95))
    if value is not None:
        return Result(name, unit, ResultStatus.MEASURED, value, u, freedom, u95)
    judged = row[_DECISION.format(name, unit)]
    return Result(name, unit, ResultStatus.NOT_DUE if judged is None else ResultStatus.NOT_MEASURED)


def _number(cell: object) -> float | None:
    return float(cell) if isinstance(cell, int | float) else None


def slices(units: Iterable[LotUnit], key: str) -> list[Slice]:
    """Return how the parts of a lot did, by `panel`, `operator`, `bench` or `nest`."""
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
    """Return what a plan would make of the units of some lots; each was judged under its own revision."""
    units = [each for lot in lots for each in lot_units(records, lot)]
    plans = {each: plan_of(records, each) for each in {unit.plan_hash for unit in units}}
    return replay(new, (each.stored(plans[each.plan_hash]) for each in units))


def plan_of(records: Records, plan_hash: str) -> Plan | None:
    """Return the plan that runs followed, or None if its text is not on record."""
    text = records.plan_text(plan_hash)
    return None if text is None else parse_plan(text, "on record")
