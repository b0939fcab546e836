"""Puts lots with heating on record: invented values that obey the energy balance, spread by lot and unit."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from station.app.files import read_plan
from station.coil.heating import Drive, drive_for_rise, steady_state
from station.core.results import Decision, Judgement, Result, ResultStatus
from station.core.run_record import RunRecord, UnitId
from station.data import data_path
from station.records import Records
from tests.records.makers import START, make_opened, make_record

LEVELS = (1.0, 1.5, 2.0)
AMBIENT_DEGC, LIMIT_DEGC = 23.0, 80.0


def record_heated_lot(home: Path, lot: str, *, units: int = 48, mean_ohm: float = 8.0, seed: int = 1) -> None:
    """Put a lot on record under the released plan IS-20-heating; every unit passes."""
    plan = read_plan(data_path("plans/IS-20-heating.toml"))
    generator = np.random.default_rng(seed)
    with Records.open(home) as records:
        if records.plan_revision(plan.text_hash) is None:
            records.release_plan(plan, who="EN-02", why="test", utc=START)
        for i in range(units):
            r20 = mean_ohm + float(generator.normal(0.0, 0.08))
            rth = 65.0 + float(generator.normal(0.0, 1.2))
            serial = f"{lot}-01-{'ABCDEFGH'[i // 12]}{1 + i % 12:02d}"
            unit = UnitId(serial, lot, "01", serial[-3], serial[-2:])
            opened = replace(make_opened(serial, lot=lot), unit=unit, plan_hash=plan.text_hash)
            records.open_run(opened)
            records.close_run(_record(make_record(opened), r20, rth))


def _record(record: RunRecord, r20_ohm: float, rth_k_per_w: float) -> RunRecord:
    rises = [steady_state(r20_ohm, Drive(voltage_v=each), rth_k_per_w, AMBIENT_DEGC).rise_k for each in LEVELS]
    largest_v = drive_for_rise(r20_ohm, LIMIT_DEGC - AMBIENT_DEGC, rth_k_per_w, AMBIENT_DEGC, by_voltage=True)
    results = (
        _result("R20", "ohm", r20_ohm, 2e-3),
        *(_result(f"rise@{each:g}V", "K", rise, 8e-3) for each, rise in zip(LEVELS, rises, strict=True)),
        _result("Rth@air", "K/W", rth_k_per_w, 1e-2),
        _result("drive@80degC", "V", largest_v, 6e-3),
    )
    judgements = (
        Judgement("R20", Decision.PASS, False, 6.82, 9.18),
        Judgement("rise@2V", Decision.PASS, False, None, 39.0),
    )
    return replace(record, results=results, judgements=judgements)


def _result(name: str, unit: str, value: float, relative: float) -> Result:
    return Result(
        name,
        unit,
        ResultStatus.MEASURED,
        value,
        standard_uncertainty=value * relative / 2.0,
        degrees_of_freedom=float("inf"),
        expanded_uncertainty=value * relative,
    )
