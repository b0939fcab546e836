"""A panel gone through in order, without a page: what ends it."""

from dataclasses import replace

import pytest

from station.app.panel_walk import stays
from station.core.results import Decision, ResultStatus
from tests.records.makers import make_opened, make_record


@pytest.mark.parametrize(
    ("decision", "held", "statuses", "expected"),
    [
        (Decision.PASS, False, (ResultStatus.MEASURED, ResultStatus.NOT_DUE), False),
        (Decision.FAIL, False, (ResultStatus.MEASURED, ResultStatus.MEASURED), False),
        # A gate is closed, or it is no production run: the unit has its values, seating it again changes nothing.
        (Decision.INVALID, False, (ResultStatus.MEASURED, ResultStatus.MEASURED), False),
        (Decision.INVALID, False, (ResultStatus.NOT_MEASURED, ResultStatus.NOT_MEASURED), True),
        # The field's sensor was misplaced: R20 is measured, and the unit is seated again all the same.
        (Decision.INVALID, False, (ResultStatus.MEASURED, ResultStatus.NOT_MEASURED), True),
        (Decision.INVALID, True, (ResultStatus.NOT_MEASURED, ResultStatus.NOT_MEASURED), False),
    ],
)
def test_unit_that_is_seated_again_keeps_its_place(
    decision: Decision, held: bool, statuses: tuple[ResultStatus, ...], expected: bool
) -> None:
    """Else it would be taken for the unit of the next place, as nothing on it says which one it is."""
    record = make_record(make_opened("L2641-01-A01"), decision=decision, held=held, results=len(statuses))
    results = tuple(replace(each, status=status) for each, status in zip(record.results, statuses, strict=True))

    assert expected is stays(replace(record, results=results))
