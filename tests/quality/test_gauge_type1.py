"""Type-1 studies, bias, and the uncertainty of the measuring system."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.gauge_type1 import bias_study, system_uncertainty, true_capability, type1_study
from station.quality.readings import StudyDataError
from tests.quality.published import AIAG_BIAS, VDA_TYPE1


def test_aiag_bias_has_every_printed_digit() -> None:
    """AIAG MSA, 4th edition, Table III-B 2."""
    bias = bias_study(AIAG_BIAS, 6.0)

    assert (6.0067, 0.212, 0.0547, 0.0067) == (
        round(bias.mean, 4),
        round(bias.standard_deviation, 4),
        round(bias.standard_error, 4),
        round(bias.bias, 4),
    )
    assert (0.12, 14, 2.14479) == (round(bias.t, 2), bias.degrees_of_freedom, round(bias.t_critical, 5))
    assert (-0.1107, 0.1241) == (round(bias.interval[0], 4), round(bias.interval[1], 4))
    assert not bias.significant


def test_bias_test_is_scipys() -> None:
    """t and p of scipy's one-sample test."""
    bias = bias_study(VDA_TYPE1, 6.002)
    expected = stats.ttest_1samp(VDA_TYPE1, 6.002)

    assert (expected.statistic, expected.pvalue) == pytest.approx((bias.t, bias.p), rel=1e-9)
    assert bias.significant


@pytest.mark.parametrize(
    ("deviations", "cg", "cgk"),
    [(4.0, 3.015424266194465, 2.46259648405787), (6.0, 2.010282844129643, 1.641730989371913)],
)
def test_cg_and_cgk_by_both_conventions(deviations: float, cg: float, cgk: float) -> None:
    """From the readings of VDA 5, Table 8, recomputed with numpy, to 1e-9; both conventions are in use."""
    study = type1_study(VDA_TYPE1, 6.002, 0.06, deviations=deviations)

    assert (cg, cgk) == pytest.approx((study.cg, study.cgk), rel=1e-9)


@pytest.mark.parametrize(("deviations", "s_over_t", "q"), [(4.0, 0.0375, 0.15), (6.0, 0.025, 0.10)])
def test_cg_of_four_thirds_is_a_known_share(deviations: float, s_over_t: float, q: float) -> None:
    """VDA 5, 5.2.2.1: Cg = 1.33 is Q = 4 s / T of 15 % with 4 s, 10 % with 6 s."""
    readings = [0.0, 1.0] * 10
    study = type1_study(readings, 0.5, bias_study(readings, 0.5).standard_deviation / s_over_t, deviations=deviations)

    assert 4.0 / 3.0 == pytest.approx(study.cg)
    assert q == pytest.approx(4.0 * s_over_t)


def test_vda_measuring_system_has_every_printed_digit() -> None:
    """VDA 5, 2nd edition, Figures 11 and 12: u to six decimals, U_MS 0.00309, Q_MS 10.31 %."""
    bias = bias_study(VDA_TYPE1, 6.002)
    system = system_uncertainty(bias, u_cal=0.001, resolution=0.001, tolerance=0.06)

    assert (0.000995, 0.000635, 0.000289) == (round(system.u_evr, 6), round(system.u_bi, 6), round(system.u_re, 6))
    assert (0.00155, 0.00309) == (round(system.u_ms, 5), round(system.expanded, 5))
    assert 10.31 == round(system.q_ms_percent or 0.0, 2)
    assert 0.0413 == pytest.approx(system.least_tolerance, abs=1e-4)


def test_coarse_resolution_takes_the_place_of_repeatability() -> None:
    """The larger of u_EVR and u_RE counts, not both."""
    bias = bias_study(VDA_TYPE1, 6.002)
    system = system_uncertainty(bias, u_cal=0.0, resolution=0.01)

    assert (system.u_re**2 + system.u_bi**2) ** 0.5 == pytest.approx(system.u_ms)
    assert system.q_ms_percent is None


@pytest.mark.parametrize(
    ("observed", "printed"),
    [
        (0.67, (0.67, 0.68, 0.70, 0.73, 0.77)),
        (1.00, (1.01, 1.05, 1.12, 1.25, 1.51)),
        (1.33, (1.36, 1.45, 1.66, 2.21, 18.82)),
    ],
)
def test_true_capability_is_the_printed_table(observed: float, printed: tuple[float, ...]) -> None:
    """ISO 22514-7:2012, Table 10, to its two decimals."""
    found = [true_capability(observed, q) or 0.0 for q in (0.1, 0.2, 0.3, 0.4, 0.5)]

    assert printed == pytest.approx(found, abs=0.0051)


@pytest.mark.parametrize(("observed", "q"), [(1.67, 0.4), (1.67, 0.5), (2.0, 0.4), (2.0, 0.5)])
def test_capability_without_real_value_is_none(observed: float, q: float) -> None:
    """ISO 22514-7:2012, Table 10 has none there: the measurement explains more than the whole spread."""
    assert true_capability(observed, q) is None


@given(st.floats(-0.05, 0.05))
def test_bias_never_raises_cgk_above_cg(shift: float) -> None:
    """Cgk is Cg less what the bias takes."""
    study = type1_study([value + shift for value in VDA_TYPE1], 6.002, 0.06)

    assert study.cgk <= study.cg * (1.0 + 1e-12)
    assert study.cg_interval[0] < study.cg < study.cg_interval[1]


@pytest.mark.parametrize(
    ("readings", "words"),
    [([1.0, 2.0] * 4, "10 readings or more"), ([1.0] * 20, "all 20 readings are the same")],
)
def test_readings_without_a_study_are_refused(readings: list[float], words: str) -> None:
    """Too few, or without variation."""
    with pytest.raises(StudyDataError, match=words):
        bias_study(readings, 1.0)


@pytest.mark.parametrize("name", ["tolerance", "share", "number of deviations"])
def test_what_is_not_above_zero_is_refused(name: str) -> None:
    """Cg would be negative or endless."""
    numbers = {"tolerance": 0.06, "share": 0.2, "number of deviations": 4.0} | {name: 0.0}
    with pytest.raises(ValueError, match=f"the {name} must be"):
        type1_study(
            VDA_TYPE1,
            6.002,
            numbers["tolerance"],
            deviations=numbers["number of deviations"],
            share=numbers["share"],
        )


def test_reference_that_is_no_number_is_refused() -> None:
    """There would be no bias."""
    with pytest.raises(StudyDataError, match="reference value"):
        bias_study(AIAG_BIAS, float("nan"))
