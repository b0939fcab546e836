"""Every production decision of a lot, read once: what summaries, standings and pages count from.

Plain rows straight from the driver, counted here: on 2,650 units a third of what window functions cost, and the same
for both databases.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import bindparam, select

from station.core.results import Decision
from station.core.run_record import Purpose
from station.records.hot import Driver, Hot
from station.records.schema import decision, hold, run_opened, unit

_OF_LOT = unit.c.lot_key == bindparam("lot_key")
_DECISIONS = Hot(
    select(unit.c.unit_key, run_opened.c.run_key, decision.c.place, decision.c.decision)
    .add_columns(decision.c.bin_number, decision.c.bin_name, decision.c.concession)
    .select_from(unit)
    .join(run_opened, run_opened.c.unit_key == unit.c.unit_key)
    .join(decision, decision.c.run_key == run_opened.c.run_key)
    .where(_OF_LOT, run_opened.c.purpose == Purpose.PRODUCTION.value)
)
_HOLDS = Hot(
    select(hold.c.unit_key, hold.c.held)
    .join(unit, unit.c.unit_key == hold.c.unit_key)
    .where(_OF_LOT)
    .order_by(hold.c.hold_key)
)


class Decided(NamedTuple):
    """The latest decision on a unit's latest decided production run."""

    unit_key: int
    run_key: int
    place: int
    decision: str
    bin_number: int
    bin_name: str
    concession: str

    @property
    def conceded(self) -> bool:
        """Whether it fails and is accepted by concession."""
        return bool(self.concession) and self.decision == Decision.FAIL.value


@dataclass(frozen=True, slots=True)
class LotDecisions:
    """A lot's units by key. `latest`: of each decided unit; `held`: units that are held now, decided or not."""

    latest: dict[int, Decided]
    held: frozenset[int]
    first_passed: int
    """Units whose very first decision was PASS."""
    runs: int
    """Production runs with a decision."""


def lot_decisions(driver: Driver, lot_key: int) -> LotDecisions:
    """Return where the units of a lot stand."""
    latest: dict[int, tuple[Any, ...]] = {}
    first: dict[int, tuple[Any, ...]] = {}
    runs = set()
    for row in _DECISIONS.tuples(driver, lot_key=lot_key):
        key, when = row[0], row[1:3]
        runs.add(row[1])
        if key not in latest:
            latest[key] = first[key] = row
            continue
        if when > latest[key][1:3]:
            latest[key] = row
        if when < first[key][1:3]:
            first[key] = row
    # In order of holding: the newest word on each unit is what stays.
    held = dict(_HOLDS.tuples(driver, lot_key=lot_key))
    return LotDecisions(
        latest={key: Decided(*row) for key, row in latest.items()},
        held=frozenset(key for key, is_held in held.items() if is_held),
        first_passed=sum(row[3] == Decision.PASS.value for row in first.values()),
        runs=len(runs),
    )
