"""Test of normality and fitted distributions, against scipy."""

import numpy as np
import pytest
from scipy import stats

from station.quality.fits import FAMILIES, fit_all
from station.quality.normality import normality_p, normality_test
from station.quality.sample import sample_of


@pytest.mark.parametrize("size", [8, 20, 100, 1000])
def test_anderson_darling_is_that_of_scipy(size: int) -> None:
    """Statistic of `scipy.stats.anderson`, for normal and other values."""
    generator = np.random.default_rng(size)
    for values in (generator.normal(8, 0.2, size), generator.lognormal(0, 0.25, size), generator.random(size)):
        found = normality_test(sample_of(values, population="made"))
        expected = stats.anderson(values, "norm", method="interpolate").statistic

        assert expected == pytest.approx(found.statistic, rel=1e-9)


@pytest.mark.parametrize(("p", "critical"), [(0.5, 0.341), (0.25, 0.470), (0.10, 0.631), (0.05, 0.752), (0.01, 1.035)])
def test_p_meets_the_printed_critical_points(p: float, critical: float) -> None:
    """D'Agostino and Stephens 1986, table 4.7, case 3 (from memory); the formula is within 2 % of them."""
    assert p == pytest.approx(normality_p(critical), rel=0.02)


def test_normality_test_rejects_one_in_twenty_normal_samples() -> None:
    """2,000 samples of 50: 5 % within four standard errors (2 %)."""
    generator = np.random.default_rng(8)
    rejected = sum(
        not normality_test(sample_of(row, population="made")).accepted for row in generator.normal(size=(2000, 50))
    )

    assert 0.05 == pytest.approx(rejected / 2000, abs=0.02)


@pytest.mark.parametrize(
    ("family", "reference"),
    [
        ("normal", stats.norm()),
        ("shifted lognormal", stats.lognorm(0.4)),
        ("shifted gamma", stats.gamma(4.0)),
        ("shifted Weibull", stats.weibull_min(2.0)),
        ("Student t", stats.t(5.0)),
    ],
)
def test_families_are_those_of_scipy(family: str, reference: stats.rv_continuous) -> None:
    """Shares and quantiles of the standardised distribution; the Weibull table is interpolated, hence 1e-5."""
    z = np.linspace(-2.0, 3.0, 21)
    shares = np.array([0.00135, 0.1, 0.5, 0.9, 0.99865])
    mean, deviation = reference.mean(), reference.std()
    shape = np.array(5.0 if family == "Student t" else float(reference.stats("s")))
    member = FAMILIES[family]

    assert reference.cdf(mean + deviation * z) == pytest.approx(member.share(z, shape), abs=1e-5)
    assert (reference.ppf(shares) - mean) / deviation == pytest.approx(member.quantile(shares, shape), abs=1e-5)


@pytest.mark.parametrize("family", ["shifted lognormal", "shifted gamma"])
def test_skewed_families_are_mirrored_for_negative_skewness(family: str) -> None:
    """Fit of mirrored values: same statistic, mirrored quantiles."""
    values = np.random.default_rng(9).gamma(3.0, size=400)
    one = next(fit for fit in fit_all(sample_of(values, population="made")) if fit.family == family)
    other = next(fit for fit in fit_all(sample_of(-values, population="made")) if fit.family == family)

    assert one.statistic == pytest.approx(other.statistic, abs=1e-6)
    assert one.quantile(0.99) == pytest.approx(-other.quantile(0.01))
    assert one.share_below(4.0) == pytest.approx(1.0 - other.share_below(-4.0))


@pytest.mark.parametrize(
    ("family", "drawn"),
    [
        ("shifted lognormal", stats.lognorm(0.5)),
        ("Student t", stats.t(4.0)),
        ("shifted Weibull", stats.weibull_min(1.3)),
    ],
)
def test_best_fit_finds_the_family_and_accepts_it(family: str, drawn: stats.rv_continuous) -> None:
    """2,000 values of a family far from normal: it comes first, and its p does not speak against it."""
    values = drawn.rvs(2000, random_state=np.random.default_rng(10))
    best = fit_all(sample_of(values, population="made"))[0]

    assert family == best.family
    assert best.p is not None
    assert best.p > 0.05


def test_two_humps_are_accepted_by_no_family() -> None:
    """A mixed lot must not be explained away."""
    generator = np.random.default_rng(5)
    values = np.concatenate([generator.normal(7.5, 0.1, 300), generator.normal(8.5, 0.1, 300)])
    best = fit_all(sample_of(values, population="made"))[0]

    assert best.p is not None
    assert best.p < 0.05
