"""What a plan says of matched sets and trays."""

import pytest

from station.core.plan import SetPlan, TrayPlan
from station.core.plan_file import parse_plan
from station.errors import PlanError
from tests.core.examples import IS_20_TEXT, changed, is_20

TRAYS = "[trays]\npockets = 50\n"
SETS = 'tolerance = { R20 = "1 %" }'
ONE_IN_25 = 'method = "field"\nfrequency = "1 in 25"'


def mistakes(text: str) -> list[str]:
    """Every mistake of a plan, as it is shown."""
    with pytest.raises(PlanError) as caught:
        parse_plan(text, "p.toml")
    return [str(each) for each in caught.value.mistakes]


def test_shipped_plan_makes_sets_of_three_and_has_no_trays() -> None:
    """As its text says."""
    assert SetPlan(3, (("R20", "1 %"),)) == is_20().sets
    assert is_20().trays is None


def test_plan_without_sets_has_none() -> None:
    """Both tables may be left out."""
    assert parse_plan(IS_20_TEXT.partition("# A shutter takes")[0], "p.toml").sets is None


def test_several_quantities_and_trays_come_back() -> None:
    """In the file's order, as they were written: they are taken as texts by the command too."""
    text = changed((SETS, 'tolerance = { "B@2mm" = "2 %", L = "0.1 uH", R20 = "500 ppm" }')) + TRAYS
    plan = parse_plan(text, "p.toml")

    assert SetPlan(3, (("B@2mm", "2 %"), ("L", "0.1 uH"), ("R20", "500 ppm"))) == plan.sets
    assert TrayPlan(50) == plan.trays


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("size = 3", "size = 1"), "sets.size: must be a whole number from 2 to 100; got 1"),
        ((SETS, 'tolerance = { R20 = "1 V" }'), "sets.tolerance.R20: must be in ohm"),
        ((SETS, 'tolerance = { R20 = "0 %" }'), "sets.tolerance.R20: must be above 0; got '0 %'"),
        ((SETS, 'tolerance = { r20 = "1 %" }'), "no method of this plan gives it; did you mean 'R20'"),
        ((SETS, "tolerance = {}"), "sets.tolerance: must name what the units of a set agree in"),
        ((SETS, ""), "sets.tolerance: is missing"),
        (("[sets]", "[set]"), "set: is not known here; did you mean 'sets'?"),
    ],
)
def test_wrong_sets_are_told(change: tuple[str, str], words: str) -> None:
    """Each with its key and what would be right; one mistake is told once."""
    found = mistakes(changed(change))

    assert 1 == len(found), found
    assert words in found[0]


def test_quantity_that_is_not_due_for_every_unit_is_told() -> None:
    """Most units would have no value to agree in."""
    text = changed(('method = "field"', ONE_IN_25), (SETS, 'tolerance = { "B@2mm" = "1 %" }'))

    assert ["not due for every unit" in each for each in mistakes(text) if "sets" in each] == [True]


@pytest.mark.parametrize("pockets", ["0", '"many"', "10001"])
def test_wrong_number_of_pockets_is_told(pockets: str) -> None:
    """A whole number, one or more."""
    assert ["trays.pockets" in each for each in mistakes(IS_20_TEXT + f"[trays]\npockets = {pockets}\n")] == [True]
