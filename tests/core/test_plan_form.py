"""Frequencies and bins in a plan's text; everything else stays byte for byte."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.frequency import frequency_words
from station.core.plan import BinFor, Frequency, FrequencyKind
from station.core.plan_edit import (
    BinTexts,
    LimitTexts,
    PlanForm,
    bin_texts,
    changes_of,
    limit_texts,
    with_form,
)
from station.core.plan_file import parse_plan
from station.errors import PlanError
from tests.core.examples import IS_20_TEXT, is_20

PLAN = is_20()
BINS = bin_texts(PLAN)


def edited(form: PlanForm) -> str:
    """Return the example plan's text with a form put in."""
    return with_form(IS_20_TEXT, form, file_name="p")


def whole() -> PlanForm:
    """Return the form as it is shown first: nothing changed."""
    return PlanForm(
        {each.name: limit_texts(each) for each in PLAN.characteristics},
        {i: frequency_words(each.frequency) for i, each in enumerate(PLAN.steps)},
        (*BINS, BinTexts("", "", "PASS", "")),
    )


def differing(text: str) -> list[str]:
    """Return the lines of a text that the example does not have."""
    before = IS_20_TEXT.splitlines()
    return [each for each in text.splitlines() if each not in before]


def test_form_as_shown_changes_nothing() -> None:
    """Byte for byte, comments included."""
    assert IS_20_TEXT == edited(whole())


def test_frequency_is_put_in_and_taken_out_again() -> None:
    """A line for the method that is not due for every unit; back to every unit the text is as it was."""
    text = edited(PlanForm(frequencies={2: "1 in 25"}))
    plan = parse_plan(text, "p")

    assert ['frequency = "1 in 25 units"'] == differing(text)
    assert Frequency(FrequencyKind.ONE_IN, 25) == plan.steps[2].frequency
    assert IS_20_TEXT == with_form(text, PlanForm(frequencies={2: "every unit"}), file_name="p")


def test_limit_and_bins_move_at_once() -> None:
    """A tighter limit and the bins that follow it are one change: neither alone would be a sound plan."""
    limit = {"R20": replace(limit_texts(PLAN.characteristics[0]), lower="7.0 ohm")}
    bins = (replace(BINS[0], needs="R20 [7 ohm, 7.6 ohm)"), *BINS[1:])
    plan = parse_plan(edited(PlanForm(limits=limit, bins=bins)), "p")
    with pytest.raises(PlanError):
        edited(PlanForm(limits={"R20": LimitTexts("9.0 ohm", "9.2 ohm", "U95")}))

    assert (7.0, 7.6) == (plan.bins[0].needs[0][1].lower, plan.bins[0].needs[0][1].upper)  # type: ignore[union-attr]


def test_bins_are_added_removed_and_renamed() -> None:
    """Two become one, one has another name, a new one stands before what takes every fail; comments stay."""
    bins = (
        BinTexts("", "", "PASS", ""),
        replace(BINS[1], needs="R20 [6.8 ohm, 8.4 ohm)"),
        replace(BINS[2], name="high, for long leads"),
        *BINS[3:],
        BinTexts("91", "beyond", "FAIL", "R20 [9.2 ohm, inf)"),
    )
    text = edited(PlanForm(bins=bins))
    plan = parse_plan(text, "p")

    assert [2, 3, 91, 90, 99] == [each.number for each in plan.bins]
    assert "high, for long leads" == plan.bins[1].name
    assert "must split what passes" in text


def test_first_bins_are_put_into_a_text_without_any() -> None:
    """They were made by themselves; the form writes them out."""
    bare = IS_20_TEXT[: IS_20_TEXT.index("[[bin]]")]
    text = with_form(bare, PlanForm(bins=(BinTexts("5", "good", "PASS", ""),)), file_name="p")

    assert (5, "good", BinFor.PASS) == (
        (found := parse_plan(text, "p").bins[0]).number, found.name, found.takes,
    )  # fmt: skip
    assert bin_texts(parse_plan(bare, "p")) == ()


def test_text_edited_by_hand_keeps_its_own_where_the_form_was_left_alone() -> None:
    """A limit changed in the text, another in the form: both hold; nothing goes back to what was shown."""
    text = IS_20_TEXT.replace('upper = "9.2 ohm"', 'upper = "9.3 ohm"').replace("9.2 ohm]", "9.3 ohm]")
    form = replace(whole(), limits=dict(whole().limits) | {"L": LimitTexts("11.4 uH", "12 uH", "U95")})
    changes = changes_of(IS_20_TEXT, form, text=text, file_name="p")
    plan = parse_plan(with_form(text, changes, file_name="p"), "p")

    assert PlanForm({"L": LimitTexts("11.4 uH", "12 uH", "U95")}) == changes
    assert (9.3, 11.4e-6) == (plan.characteristic("R20").upper, plan.characteristic("L").lower)  # type: ignore[union-attr]


def test_methods_changed_in_both_are_refused() -> None:
    """A field's place says what it is: with another list of methods it would be put to something else."""
    start, end = IS_20_TEXT.index('[[measure]]\nmethod = "field"'), IS_20_TEXT.index("# Limits.")
    text = re.sub(r'\[characteristic\."B@[^[#]*', "", IS_20_TEXT[:start] + IS_20_TEXT[end:])
    with pytest.raises(PlanError, match="change one, look, then the other"):
        changes_of(IS_20_TEXT, PlanForm(frequencies={2: "1 in 25 units"}), text=text, file_name="p")


def test_bins_changed_in_both_are_refused() -> None:
    """The same holds for the rows of bins."""
    text = IS_20_TEXT.replace('name = "low R"', 'name = "lowest R"')
    form = PlanForm(bins=(replace(BINS[0], name="low"), *BINS[1:]))
    with pytest.raises(PlanError, match="change one, look, then the other"):
        changes_of(IS_20_TEXT, form, text=text, file_name="p")


@pytest.mark.parametrize(
    "form",
    [
        PlanForm(frequencies={2: "now and then"}),
        PlanForm(frequencies={2: "1 in 0"}),
        PlanForm(bins=(replace(BINS[0], number="one"), *BINS[1:])),
        PlanForm(bins=(replace(BINS[0], takes="MAYBE"), *BINS[1:])),
        PlanForm(bins=(replace(BINS[0], needs="R20"), *BINS[1:])),
        PlanForm(bins=(replace(BINS[0], needs="R21 [1 ohm, 2 ohm)"), *BINS[1:])),
        PlanForm(bins=(replace(BINS[0], needs="R20 [6.8, 7.6)"), *BINS[1:])),
        PlanForm(bins=(replace(BINS[0], needs="R20 [6.8 ohm, 7.5 ohm)"), *BINS[1:])),
        PlanForm(bins=(replace(BINS[0], number="2"), *BINS[1:])),
        PlanForm(bins=(replace(BINS[0], name='x"\n[[bin]]'), *BINS[1:])),
    ],
)
def test_wrong_frequencies_and_bins_are_refused(form: PlanForm) -> None:
    """Words, forms, gaps, numbers that are taken, text that would be more than a value."""
    with pytest.raises(PlanError):
        edited(form)


@given(st.integers(2, 3), st.integers(1, 999_999), st.sampled_from(["1 in {} units", "first {} of each lot"]))
def test_any_frequency_goes_through_the_form_and_back(place: int, n: int, words: str) -> None:
    """What was put in is what the form shows then, and nothing else moved."""
    text = edited(PlanForm(frequencies={place: words.format(n)}))
    plan = parse_plan(text, "p")

    assert words.format(n) == frequency_words(plan.steps[place].frequency)
    assert PLAN.characteristics == plan.characteristics
    assert len(IS_20_TEXT.splitlines()) + 1 == len(text.splitlines())
