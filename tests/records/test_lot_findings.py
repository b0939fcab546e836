"""A lot's findings in one query, on both databases."""

from dataclasses import replace

import numpy as np
import pytest

from station.core.results import Decision
from station.core.run_record import Purpose, Trace, UnitId
from station.errors import RecordError
from station.records import Records
from station.records.lot_findings import invalid_curves, lot_findings, lot_plan_hash
from tests.records.makers import make_opened, make_record

CURVE = Trace("holding_still", (("resistance_ohm", (8.0, 8.1)), ("temperature_degc", (23.0, 23.0))))


def _measure(
    records: Records,
    serial: str,
    r20_ohm: float | None,
    *,
    decision: Decision = Decision.PASS,
    purpose: Purpose = Purpose.PRODUCTION,
    curve: bool = False,
) -> None:
    opened = replace(make_opened(serial, purpose=purpose), unit=UnitId(serial, "L2641", "01", "A", serial[-2:]))
    record = make_record(opened, decision=decision, r20_ohm=8.0 if r20_ohm is None else r20_ohm, results=3)
    record = replace(record, traces=(CURVE,) if curve else ())
    if r20_ohm is None:
        record = replace(record, results=(), judgements=())
    records.open_run(opened)
    records.close_run(record)


def test_latest_closed_run_of_each_unit_counts(records: Records) -> None:
    """A repeat replaces the earlier run; engineering runs and open ones don't count."""
    _measure(records, "L2641-01-A01", 7.9)
    _measure(records, "L2641-01-A02", 8.0)
    _measure(records, "L2641-01-A01", 9.5, decision=Decision.FAIL)
    _measure(records, "L2641-01-A02", 5.0, purpose=Purpose.ENGINEERING)
    records.open_run(replace(make_opened("L2641-01-A02"), unit=UnitId("L2641-01-A02", "L2641", "01", "A", "02")))
    found = lot_findings(records, "L2641", ("R20", "Rs"))

    assert ("L2641-01-A01", "L2641-01-A02") == found.serials
    assert ("FAIL", "PASS") == found.decisions
    assert [9.5, 8.0] == found.values["R20"].tolist()
    assert [9.5e-3, 8.0e-3] == pytest.approx(found.standard_uncertainties["R20"].tolist())
    assert np.isnan(found.values["Rs"]).all()
    assert ("bench-1",) == found.benches


def test_run_without_values_has_its_code_and_its_curve(records: Records) -> None:
    """An INVALID run gives NaN, its reason's code, and the curve that it kept; others give no curve."""
    _measure(records, "L2641-01-A01", None, decision=Decision.INVALID, curve=True)
    _measure(records, "L2641-01-A02", 8.0, curve=True)
    found = lot_findings(records, "L2641", ("R20",))

    assert ("contact_open", "") == found.codes
    assert np.isnan(found.values["R20"][0])
    assert {"L2641-01-A01": CURVE} == invalid_curves(records, "L2641", "holding_still")


def test_plan_is_that_of_the_latest_run(records: Records) -> None:
    """The lot's drawing comes from the plan of its latest closed run."""
    _measure(records, "L2641-01-A01", 7.9)

    assert "ab" * 32 == lot_plan_hash(records, "L2641")


def test_unknown_lot_is_refused(records: Records) -> None:
    """The message names the lot."""
    with pytest.raises(RecordError, match="L9999"):
        lot_findings(records, "L9999", ())
    with pytest.raises(RecordError, match="L9999"):
        lot_plan_hash(records, "L9999")
