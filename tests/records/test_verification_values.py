"""Values of verifications and units held for one that failed; on both databases."""

from dataclasses import replace

import pytest

from station.core.verification import VerificationValue
from station.errors import RecordError
from station.records import PastValue, Records
from tests.records.makers import make_opened, make_record, make_verification

R20 = VerificationValue("A01", "R20", "ohm", 7.05, True, "", 0.01, 7.051, 0.007, run_id="run-a")
ZERO = VerificationValue("", "field zero", "T", -2e-6, True, lower=-2e-3, upper=2e-3)
MISSING = VerificationValue("A02", "L", "H", None, False, "not measured")


def test_values_come_back_in_order(records: Records) -> None:
    """With and without a value, assigned or between bounds."""
    records.add_verification(make_verification(), values=(R20, ZERO, MISSING))

    assert (R20, ZERO, MISSING) == records.verification_values("verification-1")
    assert () == records.verification_values("other")
    assert records.check().sound


def test_plan_of_a_verification_comes_back_and_is_proven(records: Records) -> None:
    """With and without one; both in the digest chain."""
    with_plan, without = replace(make_verification(1), plan_hash="ab" * 32), make_verification(2)
    for each in (with_plan, without):
        records.add_verification(each)

    assert (with_plan, without) == records.verifications("bench-1")
    assert without == records.latest_verification("bench-1", "nest-1")
    assert records.check().sound


def test_history_is_of_one_bench_nest_and_characteristic(records: Records) -> None:
    """Oldest first."""
    later = replace(R20, value=7.06)
    records.add_verification(make_verification(1), values=(R20, ZERO))
    records.add_verification(make_verification(2), values=(later,))
    records.add_verification(replace(make_verification(3), bench="bench-2"), values=(R20,))
    records.add_verification(replace(make_verification(4), nest="nest-2"), values=(R20,))
    done = [make_verification(number).done_utc for number in (1, 2)]
    wanted = (
        PastValue("verification-1", done[0], "nest-1", R20),
        PastValue("verification-2", done[1], "nest-1", later),
    )

    assert wanted == records.verification_history("bench-1", characteristic="R20", nest="nest-1")
    assert 4 == len(records.verification_history("bench-1"))


def test_units_are_held_with_the_verification_that_failed(records: Records) -> None:
    """One that is held already keeps its own reason; the others say which verification it was."""
    for serial in ("A", "B"):
        opened = make_opened(serial)
        records.open_run(opened)
        records.close_run(make_record(opened))
    done = replace(make_verification(), verified=False, words="A01 R20: too high")
    records.hold("A", reason_code="look", who="EN-01", why="look at it", utc=done.done_utc)
    records.add_verification(done, values=(R20,), held=("A", "B"))

    assert [True, True] == [records.is_held(each) for each in "AB"]
    assert records.check().sound


def test_nothing_is_on_record_when_a_unit_is_unknown(records: Records) -> None:
    """All or nothing: a failed verification never stands without its held units."""
    with pytest.raises(RecordError, match="unit nobody is not on record"):
        records.add_verification(make_verification(), values=(R20,), held=("nobody",))

    assert None is records.latest_verification("bench-1", "nest-1")
    assert () == records.verification_history("bench-1")


def test_value_that_is_not_a_number_is_refused(records: Records) -> None:
    """A database would turn it into nothing."""
    with pytest.raises(RecordError, match="is not a number"):
        records.add_verification(make_verification(), values=(replace(R20, value=float("nan")),))
