"""Makes a home with lots on record: invented values, spread by lot, panel and place as boards do."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from station.app.files import read_plan
from station.core.results import Decision
from station.core.run_record import UnitId
from station.data import data_path
from station.records import Records
from tests.records.makers import START, make_opened, make_record

ROWS = "ABCDEFGH"


def made_values(lot: str, panels: int, *, mean_ohm: float = 8.0, seed: int = 1) -> list[tuple[UnitId, float]]:
    """Return 96 units a panel with R20: panels 0.1 ohm apart (one standard deviation), 0.02 ohm a column."""
    generator = np.random.default_rng(seed)
    units = []
    for panel in range(1, panels + 1):
        middle = mean_ohm + generator.normal(0, 0.1)
        for row in ROWS:
            for column in range(1, 13):
                name = f"{lot}-{panel:02d}-{row}{column:02d}"
                value = middle + 0.02 * (column - 6.5) + generator.normal(0, 0.05)
                units.append((UnitId(name, lot, f"{panel:02d}", row, f"{column:02d}"), float(value)))
    return units


def record_lot(
    home: Path, lot: str, panels: int, *, mean_ohm: float = 8.0, seed: int = 1, results: int = 3
) -> dict[str, float]:
    """Put a lot on record under the released plan IS-20; return R20 by serial. Units out of limits are FAIL.

    results: of each run; 1 is R20 alone (the others are not those of this coil).
    """
    plan = read_plan(data_path("plans/IS-20.toml"))
    values = made_values(lot, panels, mean_ohm=mean_ohm, seed=seed)
    with Records.open(home) as records:
        if records.plan_revision(plan.text_hash) is None:
            records.release_plan(plan, who="EN-02", why="test", utc=START)
        for unit, value in values:
            opened = replace(make_opened(unit.serial, lot=lot), unit=unit, plan_hash=plan.text_hash)
            records.open_run(opened)
            decision = Decision.PASS if 6.8 <= value <= 9.2 else Decision.FAIL
            records.close_run(make_record(opened, r20_ohm=value, decision=decision, results=results))
    return {unit.serial: value for unit, value in values}
