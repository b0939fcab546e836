"""Attribute agreement."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quality.attribute import attribute_agreement, kappa
from station.quality.readings import StudyDataError
from tests.quality.published import attribute_arrays

NAMES = ("A", "B", "C")


def test_aiag_kappas_have_every_printed_digit() -> None:
    """AIAG MSA, 4th edition, Tables III-C 3 and 4."""
    study = attribute_agreement(NAMES, *attribute_arrays())

    assert {("A", "B"): 0.86, ("A", "C"): 0.78, ("B", "C"): 0.79} == {
        pair: round(each.value, 2) for pair, each in study.between.items()
    }
    assert [0.88, 0.92, 0.77] == [round(each.kappa.value, 2) for each in study.appraisers]


def test_aiag_effectiveness_has_every_printed_digit() -> None:
    """AIAG MSA, 4th edition, Table III-C 5; per cents of the intervals within half of one."""
    study = attribute_agreement(NAMES, *attribute_arrays())
    effectiveness = [each.effectiveness for each in study.appraisers]

    assert [(42, 84.0), (45, 90.0), (40, 80.0)] == [(each.count, each.percent) for each in effectiveness]
    for printed, found in zip(((71, 93), (78, 97), (66, 90)), effectiveness, strict=True):
        assert printed == pytest.approx(found.interval_percent, abs=0.5)
    assert (39, 78.0) == (study.all_effective.count, study.all_effective.percent)


def test_aiag_misses_and_false_alarms_have_the_printed_rates() -> None:
    """AIAG MSA, 4th edition, Table III-C 7: misses of 48 decisions, false alarms of 102."""
    study = attribute_agreement(NAMES, *attribute_arrays())

    assert [48, 102] == [study.appraisers[0].miss.of, study.appraisers[0].false_alarm.of]
    assert [6.3, 6.3, 12.5] == pytest.approx([each.miss.percent for each in study.appraisers], abs=0.06)
    assert [4.9, 2.0, 8.8] == pytest.approx([each.false_alarm.percent for each in study.appraisers], abs=0.06)


def test_kappa_has_the_error_of_another_library() -> None:
    """statsmodels 0.15, `cohens_kappa` of appraisers A and B."""
    decisions, _ = attribute_arrays()
    found = kappa(decisions[:, 0, :].reshape(-1), decisions[:, 1, :].reshape(-1))

    assert (0.8629441624365481, 0.04419824018299282) == pytest.approx((found.value, found.standard_error), rel=1e-12)


@given(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=4, max_size=40))
def test_kappa_does_not_mind_who_is_first(pairs: list[tuple[bool, bool]]) -> None:
    """Swapping the appraisers, or the words, leaves it; it is 1 at most."""
    first, second = (np.array(each) for each in zip(*pairs, strict=True))
    if (first.all() and second.all()) or not (first.any() or second.any()):
        return
    value = kappa(first, second).value

    assert value <= 1.0
    assert value == pytest.approx(kappa(second, first).value)
    assert value == pytest.approx(kappa(~first, ~second).value)


def test_complete_agreement_is_one() -> None:
    """And has no error."""
    decisions = np.array([True, False] * 10)
    found = kappa(decisions, decisions)

    assert (1.0, 0.0) == pytest.approx((found.value, found.standard_error))


@pytest.mark.parametrize(
    ("decisions", "reference", "words"),
    [
        (np.ones((5, 2, 3), bool), np.array([True] * 4 + [False]), "10 parts"),
        (np.ones((20, 2, 1), bool), np.array([True, False] * 10), "2 trials"),
        (np.ones((20, 2, 2), bool), np.ones(20, bool), "parts that are not"),
    ],
)
def test_decisions_without_a_study_are_refused(decisions: np.ndarray, reference: np.ndarray, words: str) -> None:
    """Too few, or a reference of one kind."""
    with pytest.raises(StudyDataError, match=words):
        attribute_agreement(("A", "B"), decisions, reference)


def test_kappa_without_chance_to_beat_is_refused() -> None:
    """Both always say the same one thing."""
    with pytest.raises(StudyDataError, match="all decisions are the same"):
        kappa(np.ones(8, bool), np.ones(8, bool))
