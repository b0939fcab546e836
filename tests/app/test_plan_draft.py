"""Limits proposed from the first units of a lot."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from station.app.plan_draft import draft_from_lot, draft_from_plan, rounding_step, source_of
from station.core.plan_draft import accept_marks, proposed_marks
from station.core.plan_file import parse_plan
from station.errors import PlanError, RecordError
from station.quality.tolerance import two_sided_factor
from station.records import Records
from tests.app.judged_lot import U95_OHM, record_lot
from tests.records.makers import START

UNITS = 60
VALUES = [float(each) for each in np.random.default_rng(3).normal(8.0, 0.1, 96)]


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Records]:
    """A lot of 96 units, one of the first ones shorted by half."""
    home = tmp_path_factory.mktemp("home")
    record_lot(home, [*VALUES[:9], 4.0, *VALUES[10:]])
    with Records.open(home) as found:
        yield found


def test_limits_follow_from_mean_deviation_factor_and_uncertainty(records: Records) -> None:
    """ISO 16269-6: mean -+ k s of the 59 units that belong, moved out by U95, then outwards to a round number."""
    values = np.array([*VALUES[:9], *VALUES[10:UNITS]])
    k = two_sided_factor(len(values), coverage=0.99, confidence=0.95)
    reach = k * values.std(ddof=1) + U95_OHM
    found = parse_plan(draft_from_lot(records, "L2641", UNITS).text, "p").characteristic("R20")

    assert found is not None
    assert found.lower is not None
    assert found.upper is not None
    assert 0.0 <= values.mean() - reach - found.lower <= 0.001 * 1.001
    assert 0.0 <= found.upper - (values.mean() + reach) <= 0.001 * 1.001


def test_draft_is_marked_and_can_not_be_released(records: Records) -> None:
    """The note tells share, confidence, units, what was left out and U; what is too little known is told and marked."""
    draft = draft_from_lot(records, "L2641", UNITS, part="IS-21")
    plan = parse_plan(draft.text, "p")
    marks = proposed_marks(draft.text)
    with pytest.raises(PlanError, match="is only proposed"):
        records.release_plan(plan, who="EN-02", why="a try", utc=START)
    whole = accept_marks(draft.text, [each.line for each in marks], who="EN-02", day="2026-11-25")
    released = records.release_plan(parse_plan(whole, "p"), who="EN-02", why="looked at", utc=START)

    assert "IS-21" == plan.part
    assert ("IS-21", 1) == (released.part, released.revision)
    assert 2 * len(plan.characteristics) + 3 == len(marks)
    assert "99 % of all units with 95 % confidence" in marks[0].text
    assert "first 59 units of lot L2641, 1 odd ones left out, moved out by U = 10 mohm" in marks[0].text
    assert {"L", "B@1mm", "B@2mm", "B@4mm", "B@8mm"} == {each.partition(":")[0] for each in draft.left}


def test_bins_take_alike_many(records: Records) -> None:
    """Of the units that the draft stands on, each of three bins a third, give or take the rounding."""
    plan = parse_plan(draft_from_lot(records, "L2641", UNITS).text, "p")
    ends = (each.needs[0][1].upper for each in plan.bins[:2] if each.needs[0][1])
    edges = [each for each in ends if each is not None]
    values = np.array([*VALUES[:9], *VALUES[10:UNITS]])
    counts = np.histogram(values, [-np.inf, *edges, np.inf])[0]

    assert all(abs(each - 59 / 3) <= 2 for each in counts)


@pytest.mark.parametrize(("lot", "units", "words"), [("L2641", 12, "20 units or more"), ("L9999", 60, "not on record")])
def test_too_little_is_refused(records: Records, lot: str, units: int, words: str) -> None:
    """Few units, and a lot that nobody knows."""
    with pytest.raises(RecordError, match=words):
        draft_from_lot(records, lot, units)


def test_source_is_a_part_or_a_file(records: Records, tmp_path: Path) -> None:
    """Its words say which; neither is an error."""
    text, words = source_of(records, "IS-20")
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    draft = draft_from_plan(text, words, part="IS-22")

    assert "IS-20 revision 1" == words
    assert (text, "own.toml") == source_of(records, str(tmp_path / "own.toml"))
    assert 'part = "IS-22"' in draft.text
    with pytest.raises(RecordError, match="neither a file nor a part"):
        source_of(records, "IS-99")


@pytest.mark.parametrize(("width", "step"), [(1.0, 0.01), (0.99, 0.001), (1.3e-6, 1e-8)])
def test_limits_are_rounded_by_a_hundredth_of_their_distance_at_most(width: float, step: float) -> None:
    """A power of ten."""
    assert step == pytest.approx(rounding_step(width), rel=1e-12)
