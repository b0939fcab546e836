"""A field profile that does not fit: the sensor's place, or the coil itself."""

from pathlib import Path

import pytest

from sim.errors import BenchErrors
from sim.lot import NO_DEFECTS, Lot, truth_near
from sim.truth import CoilTruth
from station.core.results import Decision, ResultStatus
from station.core.run_record import RunRecord
from station.inspection import Request
from tests.end_to_end.truth import inspecting, shipped_plan

TOO_HIGH = BenchErrors(height_offset_m=0.9e-3)


def inspect(unit: CoilTruth, errors: BenchErrors, home: Path) -> RunRecord:
    """Return the run of one unit on a bench with these errors."""
    with inspecting([unit], seed=1, home=home, plan=shipped_plan(), errors=errors) as inspection:
        return inspection.inspect(unit.serial, Request("OP-01"))


def test_sensor_at_the_wrong_height_is_not_measured_and_never_fails_a_good_unit(tmp_path: Path) -> None:
    """A sound coil under a sensor 0.9 mm too high: INVALID with the height as the reason; R20 and L stay."""
    record = inspect(truth_near("L2641-01-A01"), TOO_HIGH, tmp_path)
    by_name = {each.characteristic: each for each in record.results}

    assert Decision.INVALID is record.decision
    assert record.reason is not None
    assert "height_offset" == record.reason.code
    assert ResultStatus.NOT_MEASURED is by_name["B@2mm"].status
    assert by_name["B@2mm"].value is None
    assert by_name["R20"].value is not None


def test_coil_at_its_limit_is_not_failed_while_the_field_is_not_measured(tmp_path: Path) -> None:
    """A conditional FAIL of R20 doesn't outweigh a field that is ours to measure again."""
    record = inspect(truth_near("L2641-01-A01", resistance_20_ohm=9.2), TOO_HIGH, tmp_path)

    assert Decision.INVALID is record.decision


@pytest.mark.parametrize("row", "ABCDEFGH")
def test_coil_with_shorted_turns_fails_whatever_its_profile_says(row: str, tmp_path: Path) -> None:
    """One to five bridged turns: FAIL with L below its limit, whether or not the profile still fits."""
    serial = f"L2641-01-{row}05"
    shorted = Lot(1, defects={serial: "shorted_turns"}, rates=NO_DEFECTS).truth(serial)
    record = inspect(shorted, BenchErrors(), tmp_path)

    assert shorted.inductance_h < 11.28e-6
    assert Decision.FAIL is record.decision
    assert record.reason is not None
    assert record.reason.code in ("below_lower", "above_upper")
