"""Sampling plans, operating characteristics, drawing, switching."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quality.readings import StudyDataError
from station.quality.sampling import (
    SamplingPlan,
    acceptance_probability,
    acceptance_probability_of_lot,
    code_letter,
    draw_serials,
    fraction_at,
    single_plan,
)
from station.quality.sampling_tables import AQLS, LETTERS, LEVELS, SAMPLE_SIZES, Basis, Severity, basis_of, cell
from station.quality.switching import LotOutcome, SwitchingState, next_state
from tests.quality.published_process import CODE_LETTERS, SINGLE_NORMAL

ACCEPTED, NOT_ACCEPTED = LotOutcome(True, 1), LotOutcome(False, 1)


def _plan(size: int, number: int) -> SamplingPlan:
    return SamplingPlan(10_000, "II", 1.0, Severity.NORMAL, "J", size, number, True)


@pytest.mark.parametrize("row", CODE_LETTERS)
def test_code_letters_are_those_of_table_1(row: tuple[int, int | None, str]) -> None:
    """Both ends of each row of lot sizes, all seven levels."""
    for size in (row[0], row[1] or 10**7):
        assert row[2] == "".join(code_letter(size, level) for level in LEVELS)


@pytest.mark.parametrize("row", SINGLE_NORMAL)
def test_normal_inspection_is_table_2a(row: tuple[str, int, float, int | str]) -> None:
    """Acceptance numbers and arrows, cell by cell."""
    letter = LETTERS.index(row[0])

    assert row[1] == SAMPLE_SIZES[Severity.NORMAL][letter]
    assert row[3] == cell(letter, AQLS.index(row[2]), Severity.NORMAL)


@pytest.mark.parametrize(
    ("lot", "level", "aql", "expected"),
    [
        (300, "II", 1.0, ("H", 50, 1)),
        (300, "II", 0.65, ("J", 80, 1)),
        (100, "II", 1.0, ("E", 13, 0)),
        (1000, "II", 2.5, ("J", 80, 5)),
        (5000, "II", 1.0, ("L", 200, 5)),
        (60, "II", 4.0, ("E", 13, 1)),
        (120, "II", 0.1, ("K", 120, 0)),
    ],
)
def test_plan_follows_arrows(lot: int, level: str, aql: float, expected: tuple[str, int, int]) -> None:
    """ISO 2859-1:1999 tables 1 and 2-A. A lot of 120 is smaller than its sample of 125: inspect all."""
    plan = single_plan(lot, aql, level=level)

    assert expected == (plan.letter, plan.sample_size, plan.acceptance_number)
    assert (lot == 120) is plan.whole_lot


@pytest.mark.parametrize(
    ("severity", "expected"), [(Severity.TIGHTENED, ("J", 80, 1)), (Severity.REDUCED, ("J", 32, 1))]
)
def test_letter_j_under_other_severities(severity: Severity, expected: tuple[str, int, int]) -> None:
    """ISO 2859-1:1999 tables 2-B and 2-C, AQL 1.0; from memory, and marked so."""
    plan = single_plan(1000, 1.0, severity=severity)

    assert expected == (plan.letter, plan.sample_size, plan.acceptance_number)
    assert not plan.checked


@given(st.integers(2, 10**6), st.sampled_from(AQLS), st.sampled_from(LEVELS))
def test_tightened_is_never_kinder_and_reduced_never_larger(lot: int, aql: float, level: str) -> None:
    """At the AQL tightened inspection accepts no more often than normal; reduced inspects no more units."""
    normal, tightened, reduced = (single_plan(lot, aql, level=level, severity=each) for each in Severity)
    quality = aql / 100

    assert acceptance_probability(tightened, quality) <= acceptance_probability(normal, quality) + 1e-12
    assert reduced.sample_size <= max(normal.sample_size, 2)


def _products(severity: Severity, *, printed: bool) -> dict[int, list[float]]:
    """Sample size times AQL (expected nonconforming units in the sample) by acceptance number."""
    found: dict[int, list[float]] = {}
    for letter, size in enumerate(SAMPLE_SIZES[severity]):
        for place, aql in enumerate(AQLS):
            number = cell(letter, place, severity)
            if isinstance(number, int) and printed is (basis_of(aql, severity) is Basis.PRINTED):
                found.setdefault(number, []).append(size * aql / 100)
    return found


def test_small_aqls_of_normal_inspection_follow_the_printed_parts_construction() -> None:
    """Of each acceptance number sample size times AQL, on which alone the risk depends by Poisson's law, lies within
    2 % of its range in the part that was compared with print (AQL 0.65 to 10)."""
    printed, others = (_products(Severity.NORMAL, printed=each) for each in (True, False))

    for number, products in others.items():
        assert min(printed[number]) * 0.98 <= min(products), number
        assert max(products) <= max(printed[number]) * 1.02, number
    assert {0, 1, 2, 3, 5, 7, 10, 14} == set(others)


def test_letter_k_at_aql_0_10_is_as_transcribed() -> None:
    """The one small AQL of a transcribed look-up: letter K, n = 125, Ac = 0 (ISO 2859-1:1999, table 2-A)."""
    assert 125 == SAMPLE_SIZES[Severity.NORMAL][LETTERS.index("K")]
    assert 0 == cell(LETTERS.index("K"), AQLS.index(0.10), Severity.NORMAL)


@pytest.mark.parametrize("letter", range(len(LETTERS)))
def test_risks_of_one_letter_are_ordered_by_severity(letter: int) -> None:
    """At the AQL reduced accepts no less often than normal (to half a point), and tightened no more often; binomial."""
    for place, aql in enumerate(AQLS):
        chances = []
        for severity in (Severity.TIGHTENED, Severity.NORMAL, Severity.REDUCED):
            number = cell(letter, place, severity)
            if isinstance(number, int):
                chances.append(float(acceptance_probability(_plan(SAMPLE_SIZES[severity][letter], number), aql / 100)))

        assert chances == pytest.approx(sorted(chances), abs=5e-3), (LETTERS[letter], aql)


def test_part_from_memory_says_so() -> None:
    """Each plan names what it rests on."""
    assert Basis.PRINTED is single_plan(1000, 1.0).basis
    assert Basis.CONSTRUCTION is single_plan(1000, 0.25).basis
    assert Basis.MEMORY is single_plan(1000, 1.0, severity=Severity.TIGHTENED).basis


def test_unknown_aql_is_refused_with_the_list() -> None:
    """An AQL between two of the table is no AQL of the table."""
    with pytest.raises(StudyDataError, match=r"0\.65, 1, 1\.5"):
        single_plan(1000, 1.2)


@pytest.mark.parametrize(
    ("size", "number", "fraction", "expected"),
    [
        (50, 1, 0.01, 0.9105646869039693),
        (125, 3, 0.02, 0.7586698045031477),
        (200, 5, 0.04, 0.18564969483659227),
        (13, 0, 0.05, 0.513342083279505),
    ],
)
def test_probability_of_acceptance_is_binomial(size: int, number: int, fraction: float, expected: float) -> None:
    """Computed with scipy's binomial distribution."""
    assert expected == pytest.approx(float(acceptance_probability(_plan(size, number), fraction)), abs=1e-10)


@pytest.mark.parametrize(("probability", "percent"), [(0.95, 1.03), (0.50, 3.33), (0.10, 6.52)])
def test_operating_characteristic_is_table_10_j(probability: float, percent: float) -> None:
    """ISO 2859-1:1999 table 10-J-1, AQL 1.0 (n = 80, Ac = 2); printed digits from memory, recomputed with scipy."""
    assert percent == pytest.approx(100 * fraction_at(_plan(80, 2), probability), abs=0.006)


def test_lot_of_its_own_is_hypergeometric() -> None:
    """A whole lot inspected is accepted exactly if it holds no more than the acceptance number."""
    plan = SamplingPlan(20, "II", 1.0, Severity.NORMAL, "J", 20, 2, True)

    assert (1.0, 0.0) == (acceptance_probability_of_lot(plan, 2), acceptance_probability_of_lot(plan, 3))


def test_draw_is_repeatable_and_independent_of_order() -> None:
    """From seed and serials alone, the same units, given back in the order of the list."""
    serials = [f"L2641-01-A{i:02d}" for i in range(1, 13)]
    drawn = draw_serials(serials, 5, seed="draw 1")

    assert set(drawn) == set(draw_serials(serials[::-1], 5, seed="draw 1"))
    assert drawn == tuple(serial for serial in serials if serial in drawn)
    assert set(drawn) != set(draw_serials(serials, 5, seed="draw 2"))


def test_draw_gives_each_unit_its_chance() -> None:
    """2,000 draws of 5 of 20: each unit 500 times, within five standard errors (97)."""
    serials = [f"U{i}" for i in range(20)]
    counts = dict.fromkeys(serials, 0)
    for seed in range(2000):
        for serial in draw_serials(serials, 5, seed=str(seed)):
            counts[serial] += 1

    assert max(abs(count - 500) for count in counts.values()) < 97


def test_serial_that_is_in_the_list_twice_is_refused() -> None:
    """It would have two chances."""
    with pytest.raises(StudyDataError, match="twice"):
        draw_serials(["A", "A"], 1, seed="x")


def _after(lots: list[LotOutcome], state: SwitchingState) -> SwitchingState:
    for lot in lots:
        state = next_state(state, lot)
    return state


def test_two_of_five_not_accepted_tighten() -> None:
    """ISO 2859-1:1999, 9.3.1 (from memory): within five or fewer lots; with four good ones between, not."""
    good = [ACCEPTED] * 3

    assert Severity.TIGHTENED is _after([NOT_ACCEPTED, *good, NOT_ACCEPTED], SwitchingState()).severity
    assert Severity.NORMAL is _after([NOT_ACCEPTED, *good, ACCEPTED, NOT_ACCEPTED], SwitchingState()).severity


def test_five_accepted_in_a_row_go_back_to_normal() -> None:
    """9.3.2 (from memory)."""
    tightened = SwitchingState(Severity.TIGHTENED)

    assert Severity.TIGHTENED is _after([ACCEPTED] * 4, tightened).severity
    assert Severity.NORMAL is _after([ACCEPTED] * 5, tightened).severity


def test_five_not_accepted_on_tightened_stop() -> None:
    """9.4 (from memory): counted over the stay, accepted lots between or not."""
    lots = [NOT_ACCEPTED, ACCEPTED] * 4 + [NOT_ACCEPTED]
    stopped = _after(lots, SwitchingState(Severity.TIGHTENED))

    assert stopped.stopped
    with pytest.raises(ValueError, match="discontinued"):
        next_state(stopped, ACCEPTED)


def test_score_of_thirty_and_permission_reduce() -> None:
    """9.3.3.2 (from memory): +3 a lot from acceptance number 2 on if one AQL tighter accepts too, else 0."""
    good = LotOutcome(True, 2, accepted_one_aql_tighter=True, may_reduce=True)
    hardly = LotOutcome(True, 2, accepted_one_aql_tighter=False)

    assert Severity.NORMAL is _after([good] * 9, SwitchingState()).severity
    assert Severity.REDUCED is _after([good] * 10, SwitchingState()).severity
    assert 0 == _after([good] * 9 + [hardly], SwitchingState()).score
    assert 30 == _after([LotOutcome(True, 1)] * 15, SwitchingState()).score


def test_reduced_ends_with_a_lot_not_accepted_or_irregular_production() -> None:
    """9.3.4 (from memory)."""
    reduced = SwitchingState(Severity.REDUCED)

    assert Severity.REDUCED is next_state(reduced, ACCEPTED).severity
    assert Severity.NORMAL is next_state(reduced, NOT_ACCEPTED).severity
    assert Severity.NORMAL is next_state(reduced, LotOutcome(True, 1, irregular=True)).severity
