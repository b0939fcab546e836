"""Other limits in a plan's text; everything else stays byte for byte."""

import pytest

from station.core.plan_edit import LimitTexts, limit_texts, with_limits
from station.core.plan_file import parse_plan
from station.errors import PlanError
from tests.core.examples import IS_20_TEXT

PLAN = parse_plan(IS_20_TEXT, "IS-20.toml")


def unchanged() -> dict[str, LimitTexts]:
    """Every limit as it is."""
    return {each.name: limit_texts(each) for each in PLAN.characteristics}


def test_unchanged_limits_leave_the_text_alone() -> None:
    """Byte for byte, comments included."""
    assert IS_20_TEXT == with_limits(IS_20_TEXT, unchanged(), file_name="p")


def test_changed_limit_changes_its_line_only() -> None:
    """The new number is in the plan, and one line differs."""
    wanted = unchanged() | {"L": LimitTexts("11.4 uH", "12 uH", "U95")}
    edited = with_limits(IS_20_TEXT, wanted, file_name="p")
    differing = [b for a, b in zip(IS_20_TEXT.splitlines(), edited.splitlines(), strict=True) if a != b]

    assert 11.4e-6 == parse_plan(edited, "p").characteristic("L").lower  # type: ignore[union-attr]
    assert ['lower = "11.4 uH"'] == differing


def test_quoted_names_and_missing_keys_are_found() -> None:
    """A guard band that the table doesn't have yet is put in; an emptied limit goes."""
    wanted = unchanged() | {"B@1mm": LimitTexts("", "6.5 mT/A", "none")}
    found = parse_plan(with_limits(IS_20_TEXT, wanted, file_name="p"), "p").characteristic("B@1mm")

    assert found is not None
    assert (None, 6.5e-3, 0.0) == (found.lower, found.upper, found.guard.factor)


@pytest.mark.parametrize(
    "words", ["specific risk 0.1 %", "global risk 0.05 %, mean 11.7 uH, standard deviation 80 nH", "1.25 U95"]
)
def test_guard_band_by_risk_goes_through_the_form_and_back(words: str) -> None:
    """What the form shows is what it puts in, and nothing else moves."""
    wanted = unchanged() | {"L": LimitTexts("11.3 uH", "12 uH", words)}
    edited = with_limits(IS_20_TEXT, wanted, file_name="p")
    found = parse_plan(edited, "p").characteristic("L")

    assert found is not None
    assert words == limit_texts(found).guard
    assert edited == with_limits(edited, {"L": limit_texts(found)}, file_name="p")


@pytest.mark.parametrize(
    "texts",
    [
        LimitTexts("11.3", "12 uH", "U95"),
        LimitTexts("13 uH", "12 uH", "U95"),
        LimitTexts("", "", "U95"),
        LimitTexts("11.3 uH", "12 uH", "9 U95"),
        LimitTexts('1 uH"\n[bin]', "12 uH", "U95"),
    ],
)
def test_wrong_limits_are_refused(texts: LimitTexts) -> None:
    """No unit, ends swapped, none at all, a guard band out of range, text that would be more than a value."""
    with pytest.raises(PlanError):
        with_limits(IS_20_TEXT, unchanged() | {"L": texts}, file_name="p")
