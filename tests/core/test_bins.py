"""Bins: the check of a plan's bins, and sorting."""

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.bin_check import find_bin_mistakes
from station.core.bins import sort_unit, takes_unit
from station.core.intervals import contains, format_interval, parse_interval
from station.core.plan import (
    Bin,
    BinFor,
    Characteristic,
    Frequency,
    FrequencyKind,
    HeatingStep,
    InductanceStep,
    Interval,
    MethodStep,
    ResistanceStep,
)
from station.core.results import Decision, Result, ResultStatus
from tests.core.examples import is_20

EVERY = Frequency()
SOME = Frequency(FrequencyKind.ONE_IN, 25)
R_STEP = ResistanceStep("resistance", EVERY)
L_STEP = InductanceStep("inductance", EVERY)
RISE_STEP = HeatingStep("heating", SOME, drives=(2.0, 3.0))
R20 = Characteristic("R20", "ohm", "resistance", 6.0, 10.0)
L = Characteristic("L", "H", "inductance", 1.0, 2.0)
RISE_2V = Characteristic("rise@2V", "K", "heating", None, 20.0)
RISE_3V = Characteristic("rise@3V", "K", "heating", None, 45.0)
REJECT = Bin(90, "reject", BinFor.FAIL)
HOLD = Bin(99, "hold", BinFor.HOLD)


def place(number: int, **needs: str) -> Bin:
    """A pass bin; `R20="[6 ohm, 8 ohm)"`; rise3 stands for rise@3V, rise2 for rise@2V."""
    units = {"R20": "ohm", "L": "H", "rise2": "K", "rise3": "K"}
    names = {"rise2": "rise@2V", "rise3": "rise@3V"}
    return Bin(
        number,
        f"bin {number}",
        BinFor.PASS,
        tuple(
            (names.get(name, name), None if text == "not due" else parse_interval(text, units[name]))
            for name, text in needs.items()
        ),
    )


def mistakes(*bins: Bin) -> list[str]:
    """What is wrong with these bins and the two usual ones."""
    steps = [R_STEP, L_STEP, RISE_STEP]
    return [
        each.message for each in find_bin_mistakes(steps, [R20, L, RISE_2V, RISE_3V], [*bins, REJECT, HOLD])
    ]


def test_bins_that_split_one_characteristic_are_accepted() -> None:
    """Ends meet, one closed and one open."""
    assert [] == mistakes(place(1, R20="[6 ohm, 8 ohm)"), place(2, R20="[8 ohm, 10 ohm]"))


def test_a_bin_without_needs_takes_everything() -> None:
    """One pass bin alone is a complete partition."""
    assert [] == mistakes(place(1))


def test_a_gap_is_shown_as_its_interval() -> None:
    """The values that no bin takes are told."""
    assert ["no bin takes a unit that passes with R20 in [7.6 ohm, 8 ohm)"] == mistakes(
        place(1, R20="[6 ohm, 7.6 ohm)"), place(2, R20="[8 ohm, 10 ohm]")
    )


def test_a_gap_of_one_point_is_found() -> None:
    """Two open ends leave the point between them out, and an open end leaves the limit out."""
    assert ["no bin takes a unit that passes with R20 in {8 ohm}"] == mistakes(
        place(1, R20="[6 ohm, 8 ohm)"), place(2, R20="(8 ohm, 10 ohm]")
    )
    assert ["no bin takes a unit that passes with R20 in {10 ohm}"] == mistakes(
        place(1, R20="[6 ohm, 8 ohm)"), place(2, R20="[8 ohm, 10 ohm)")
    )


def test_an_overlap_is_shown_as_its_interval() -> None:
    """The values that two bins take are told, one point too."""
    assert ["bins 1 and 2 overlap: both take a unit with R20 in [7.5 ohm, 8 ohm)"] == mistakes(
        place(1, R20="[6 ohm, 8 ohm)"), place(2, R20="[7.5 ohm, 10 ohm]")
    )
    assert ["bins 1 and 2 overlap: both take a unit with R20 in {8 ohm}"] == mistakes(
        place(1, R20="[6 ohm, 8 ohm]"), place(2, R20="[8 ohm, 10 ohm]")
    )


def test_a_bin_outside_the_limits_is_never_reached() -> None:
    """No unit that passes can get there."""
    assert ["can never be reached: no unit that passes meets its `needs`"] == mistakes(
        place(1, R20="[6 ohm, 10 ohm]"), place(2, R20="(10 ohm, 12 ohm)")
    )


def test_a_bin_may_reach_beyond_the_limits() -> None:
    """Unbounded ends are fine: the limits cut them."""
    assert [] == mistakes(place(1, R20="(-inf, 8 ohm)"), place(2, R20="[8 ohm, inf)"))


def test_an_open_limit_needs_no_bin() -> None:
    """An end that doesn't belong to the limits never passes."""
    open_r20 = replace(R20, upper_included=False)
    bins = [place(1, R20="[6 ohm, 10 ohm)"), REJECT, HOLD]

    assert [] == find_bin_mistakes([R_STEP], [open_r20], bins)
    assert [] != find_bin_mistakes([R_STEP], [R20], bins)


def test_two_characteristics_are_checked_together() -> None:
    """A corner of the product that no bin takes is found."""
    corner = [
        place(1, R20="[6 ohm, 8 ohm)", L="[1 H, 1.5 H)"),
        place(2, R20="[8 ohm, 10 ohm]", L="[1 H, 1.5 H)"),
        place(3, R20="[6 ohm, 8 ohm)", L="[1.5 H, 2 H]"),
    ]

    assert [] == mistakes(*corner, place(4, R20="[8 ohm, 10 ohm]", L="[1.5 H, 2 H]"))
    found = mistakes(*corner)
    assert "R20 in {8 ohm}, L in [1.5 H, 2 H]" in found[0]
    assert "R20 in (8 ohm, 10 ohm), L in [1.5 H, 2 H]" in found[1]


def test_not_due_is_a_state_of_its_own() -> None:
    """A bin for cool coils needs another for those that were not heated."""
    assert ["no bin takes a unit that passes with rise@3V not due"] == mistakes(
        place(1, rise3="(-inf, 45 K]")
    )
    assert [] == mistakes(place(1, rise3="(-inf, 45 K]"), place(2, rise3="not due"))


def test_characteristics_of_one_method_are_due_together() -> None:
    """Rise at 2 V due and at 3 V not due can't happen, so no bin is missing for it."""
    assert [] == mistakes(
        place(1, rise2="(-inf, 20 K]", rise3="(-inf, 45 K]"), place(2, rise2="not due", rise3="not due")
    )
    assert any(
        "never be reached" in each
        for each in mistakes(place(1), place(2, rise2="not due", rise3="(-inf, 45 K]"))
    )


def test_a_characteristic_without_limits_is_one_axis_without_ends() -> None:
    """Made by hand, a characteristic may be unlimited; one that is not there at all reaches no bin."""
    unlimited = Characteristic("R20", "ohm", "resistance")
    bins = [Bin(1, "any", needs=(("R20", Interval(None, None)),)), HOLD]

    assert [] == find_bin_mistakes([R_STEP], [unlimited], bins)
    assert 2 == len(find_bin_mistakes([R_STEP], [], bins))


def test_one_hold_bin_and_one_pass_bin_are_needed() -> None:
    """Exactly one bin holds; a HOLD bin has no needs; some bin must pass."""

    def found(*bins: Bin) -> str:
        return " ".join(each.message for each in find_bin_mistakes([R_STEP], [R20], bins))

    assert "exactly one bin must take HOLD; 0 do" in found(place(1), REJECT)
    assert "exactly one bin must take HOLD; 2 do" in found(place(1), HOLD, replace(HOLD, number=98))
    assert "can't have `needs`" in found(place(1), replace(HOLD, needs=place(1, R20="[6 ohm, 7 ohm]").needs))
    assert "at least one bin must take PASS" in found(HOLD)
    assert "can never be reached: bin 90 before it" in found(
        place(1), REJECT, replace(REJECT, number=91), HOLD
    )


def test_too_many_combinations_are_refused() -> None:
    """A check that would not end is not begun."""
    steps = [HeatingStep("heating", SOME, drives=tuple(float(n) for n in range(1, 9)))]
    names = [f"rise@{n}V" for n in range(1, 9)]
    characteristics = [Characteristic(name, "K", "heating", 0.0, 10.0) for name in names]
    bins = [
        Bin(n, str(n), needs=tuple((name, Interval(n - 1.0, float(n))) for name in names))
        for n in range(1, 10)
    ]

    assert "can be checked" in find_bin_mistakes(steps, characteristics, [*bins, HOLD])[0].message


cuts = st.integers(0, 8).map(lambda n: 5.5 + n / 2)
one_interval = st.builds(Interval, st.none() | cuts, st.none() | cuts, st.booleans(), st.booleans()).filter(
    lambda i: i.lower is None or i.upper is None or i.lower < i.upper
)
r_bins = st.lists(one_interval, min_size=1, max_size=4)
POINTS = [6.0 + n / 8 for n in range(33)]


def takers(bins: list[Bin], values: dict[str, float | None]) -> list[int]:
    """The numbers of the pass bins that take a unit; None stands for not due."""
    results = {
        name: Result(name, "", ResultStatus.NOT_DUE if value is None else ResultStatus.MEASURED, value)
        for name, value in values.items()
    }
    return [each.number for each in bins if each.takes is BinFor.PASS and takes_unit(each, results)]


@given(intervals=r_bins)
def test_accepted_bins_take_each_passing_point_exactly_once(intervals: list[Interval]) -> None:
    """Against brute force over every end and the points between: accepted if and only if a partition."""
    bins = [Bin(n, str(n), needs=(("R20", each),)) for n, each in enumerate(intervals, start=1)]
    found = find_bin_mistakes([R_STEP], [R20], [*bins, HOLD])
    taken = [takers(bins, {"R20": value}) for value in POINTS]
    reached = {number for numbers in taken for number in numbers}
    partition = all(len(numbers) == 1 for numbers in taken) and len(reached) == len(bins)

    assert partition == (not found)


l_interval = st.sampled_from(
    [Interval(None, 1.5), Interval(1.5, None, True), Interval(None, None), Interval(1.0, 2.0, True, True)]
)
rise_need = st.sampled_from([None, Interval(None, None), Interval(None, 30.0), Interval(30.0, None, True)])
NEEDS = st.fixed_dictionaries(
    {},
    optional={
        "R20": st.sampled_from([Interval(None, 8.0), Interval(8.0, None, True)]),
        "L": l_interval,
        "rise@3V": rise_need,
    },
)


@pytest.mark.slow
@given(needs=st.lists(NEEDS, min_size=1, max_size=4))
def test_accepted_bins_of_several_characteristics_are_a_partition(
    needs: list[dict[str, Interval | None]],
) -> None:
    """The same with three characteristics, one of which may not be due."""
    bins = [Bin(n, str(n), needs=tuple(each.items())) for n, each in enumerate(needs, start=1)]
    found = find_bin_mistakes([R_STEP, L_STEP, RISE_STEP], [R20, L, RISE_3V], [*bins, HOLD])
    axes = ([6.0, 7.0, 8.0, 9.0, 10.0], [1.0, 1.25, 1.5, 1.75, 2.0], [None, 10.0, 30.0, 40.0, 45.0])
    taken = [takers(bins, {"R20": r, "L": h, "rise@3V": rise}) for r, h, rise in itertools.product(*axes)]
    reached = {number for numbers in taken for number in numbers}
    partition = all(len(numbers) == 1 for numbers in taken) and len(reached) == len(bins)

    assert partition == (not found)


def r20(value: float | None, *, status: ResultStatus = ResultStatus.MEASURED) -> Result:
    """A result of R20."""
    return Result("R20", "ohm", status, value)


@pytest.mark.parametrize(
    ("value", "number"),
    [(6.8, 1), (7.599999, 1), (7.6, 2), (8.399999, 2), (8.4, 3), (9.2, 3)],
)
def test_sort_unit_by_value(value: float, number: int) -> None:
    """Each end goes where its bracket says."""
    assert number == sort_unit(is_20(), Decision.PASS, [r20(value)]).number


def test_sort_unit_by_decision() -> None:
    """FAIL goes to reject; INVALID to hold, whatever was measured."""
    assert 90 == sort_unit(is_20(), Decision.FAIL, [r20(7.0)]).number
    assert 99 == sort_unit(is_20(), Decision.INVALID, [r20(7.0)]).number


@pytest.mark.parametrize(
    "results",
    [
        [],
        [r20(None, status=ResultStatus.NOT_MEASURED)],
        [r20(None)],
        [r20(math.nan)],
        [r20(7.0, status=ResultStatus.NOT_DUE)],
    ],
)
def test_sort_unit_that_no_bin_takes_is_held(results: list[Result]) -> None:
    """Without the value that a pass bin needs, a unit is never put into one."""
    assert 99 == sort_unit(is_20(), Decision.PASS, results).number


def test_sort_unit_takes_the_first_reject_bin_that_fits() -> None:
    """Reject bins with needs come before the one for the rest."""
    scrap = Bin(80, "scrap", BinFor.FAIL, (("R20", parse_interval("[50 ohm, inf)", "ohm")),))
    plan = replace(is_20(), bins=(scrap, *is_20().bins))

    assert 80 == sort_unit(plan, Decision.FAIL, [r20(60.0)]).number
    assert 90 == sort_unit(plan, Decision.FAIL, [r20(20.0)]).number


def test_sort_unit_needs_a_hold_bin() -> None:
    """A plan made by hand without one is an error and never another bin."""
    plan = replace(is_20(), bins=is_20().bins[:3])
    with pytest.raises(ValueError, match="no HOLD bin"):
        sort_unit(plan, Decision.INVALID, [])


@pytest.mark.parametrize(
    "text", ["[6.8 ohm, 7.6 ohm)", "(-inf, 7.6 ohm]", "[6.8 ohm, inf)", "(6.8 ohm, 7.6 ohm)", "(-inf, inf)"]
)
def test_intervals_are_written_as_they_were_read(text: str) -> None:
    """ISO 80000-2 notation, both ways."""
    assert text == format_interval(parse_interval(text, "ohm"), "ohm")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "6.8 ohm",
        "[7.6 ohm, 6.8 ohm]",
        "[7 ohm, 7 ohm)",
        "[6.8, 7.6]",
        "[6.8 V, 7.6 V]",
        "[1 ohm; 2 ohm]",
        "[1 ohm, 2 ohm, 3 ohm]",
        "[inf, 2 ohm]",
    ],
)
def test_intervals_that_are_none_are_refused(text: str) -> None:
    """What is no interval, or holds nothing, is an error."""
    with pytest.raises(ValueError, match=r"must|needs"):
        parse_interval(text, "ohm")


def test_contains_at_the_ends() -> None:
    """Square brackets belong to the interval, round ones don't; not-a-number lies nowhere."""
    interval = parse_interval("[1 ohm, 2 ohm)", "ohm")

    assert [True, True, False, False] == [contains(interval, each) for each in (1.0, 1.5, 2.0, math.nan)]
    assert not contains(Interval(None, None), math.nan)


def test_steps_yield_nothing_for_contact() -> None:
    """A step without characteristics makes no axis."""
    contact = MethodStep("contact", EVERY)

    assert [] == find_bin_mistakes([contact, R_STEP], [R20], [place(1), HOLD])
