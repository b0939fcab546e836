"""Drafts: every number is marked until somebody accepts it, and nothing else changes."""

from dataclasses import replace

import pytest

from station.core.plan_draft import (
    ProposedLimits,
    accept_marks,
    mark_every_number,
    pass_edges,
    proposed_marks,
    require_accepted,
    with_proposals,
)
from station.core.plan_file import parse_plan
from station.errors import PlanError
from tests.core.examples import IS_20_TEXT, is_20

PLAN = is_20()
NOTE = "first 96 units of lot L2641"
R20 = ProposedLimits("R20", 7.0, 9.0, (7.0, 7.8, 8.2, 9.0), NOTE)


def test_every_number_is_marked_and_the_plan_stays() -> None:
    """Limits, bins, coil and methods; each line that states one, and no other."""
    text = mark_every_number(IS_20_TEXT, "as in IS-20 revision 1")
    marked = {each.text.partition(" =")[0] for each in proposed_marks(text)}

    assert replace(PLAN, source_text="", text_hash="") == replace(parse_plan(text, "p"), source_text="", text_hash="")
    assert {"lower", "upper", "needs", "track_width", "heights", "averaging", "winding_constant"} <= marked
    assert not {"part", "serial", "number", "name", "method", "shape"} & marked


def test_marked_text_can_not_be_released_until_each_is_accepted() -> None:
    """The first lines are named, the others counted; when the last is accepted, nothing speaks against it."""
    text = mark_every_number(IS_20_TEXT, "a note")
    marks = [each.line for each in proposed_marks(text)]
    with pytest.raises(PlanError) as refused:
        require_accepted(text, "p")
    half = accept_marks(text, marks[:5], who="EN-02", day="2026-11-25")
    whole = accept_marks(half, marks, who="EN-07", day="2026-11-26")
    require_accepted(whole, "p")

    assert marks[:4] == [each.line for each in refused.value.mistakes]
    assert f"and {len(marks) - 3} more" in str(refused.value)
    assert marks[5:] == [each.line for each in proposed_marks(half)]
    assert 5 == whole.count("# accepted by EN-02 2026-11-25, proposed: a note")
    assert () == proposed_marks(whole)


def test_plan_without_marks_may_be_released() -> None:
    """The word alone in a comment or a text is no mark."""
    require_accepted(IS_20_TEXT + '\n# nothing here is proposed\n# "# proposed"\n'[:30], "p")


def test_proposed_limits_move_the_bins_along() -> None:
    """The outer ends follow the limits, the inner ones as proposed; each changed line is marked, others stay."""
    text = with_proposals(IS_20_TEXT, [R20])
    found = parse_plan(text, "p")
    r20 = found.characteristic("R20")
    changed = [b for a, b in zip(IS_20_TEXT.splitlines(), text.splitlines(), strict=True) if a != b]

    assert r20 is not None
    assert (7.0, 9.0) == (r20.lower, r20.upper)
    assert (7.0, 7.8, 8.2, 9.0) == pass_edges(found, "R20")
    assert 5 == len(changed) == len(proposed_marks(text))
    assert f'lower = "7 ohm"   # proposed: {NOTE}, was 6.8 ohm' == changed[0]


def test_limits_that_leave_no_bin_are_refused() -> None:
    """The outcome is read again as a whole."""
    with pytest.raises(PlanError):
        with_proposals(IS_20_TEXT, [replace(R20, edges=(7.0, 7.8, 7.8, 9.0))])


def test_numbers_of_an_array_over_several_lines_are_marked_each() -> None:
    """Else they could be released though nobody has decided them."""
    found = next(each for each in IS_20_TEXT.splitlines() if each.startswith("heights"))
    values = found.partition("[")[2].partition("]")[0].split(", ")
    spread = "heights = [\n" + "".join(f"  {each},\n" for each in values) + "]"
    marked = proposed_marks(mark_every_number(IS_20_TEXT.replace(found, spread), "as in another"))

    assert [] == [each for each in values if not any(mark.text.startswith(f"{each}, ") for mark in marked)]
