"""Risks of present and proposed limits for a lot's spread, against the double integral."""

from collections.abc import Iterator

import numpy as np
import pytest
from scipy import integrate, stats

from station.app.replay_risk import COVERAGE, risk_rows
from station.core.plan_edit import LimitTexts, with_limits
from station.core.plan_file import parse_plan
from station.records import Records
from tests.app.judged_lot import PLAN, U95_OHM, record_lot

VALUES = [float(each) for each in np.random.default_rng(5).normal(8.6, 0.25, 200)]
LIMITS = {"R20": LimitTexts("6.8 ohm", "9.0 ohm", "none")}
TIGHTER = parse_plan(with_limits(PLAN.source_text, LIMITS, file_name="p"), "p")


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Records]:
    """A lot of 200 units, some of them above the limit."""
    home = tmp_path_factory.mktemp("home")
    record_lot(home, VALUES)
    with Records.open(home) as found:
        yield found


def direct(upper: float, guard: float) -> tuple[float, float]:
    """Consumer's and producer's risk at the upper limit (JCGM 106:2012, 9.5.2), by adaptive quadrature."""
    u = U95_OHM / COVERAGE
    spread = float(np.sqrt(np.var(VALUES, ddof=1) - u**2))
    process = stats.norm(float(np.mean(VALUES)), spread)
    accept = upper - guard
    consumer = integrate.quad(lambda x: process.pdf(x) * stats.norm.cdf((accept - x) / u), upper, upper + 12 * u)[0]
    producer = integrate.quad(
        lambda x: process.pdf(x) * stats.norm.sf((accept - x) / u), accept - 12 * u, upper, points=[accept]
    )[0]
    return consumer, producer


def test_risks_agree_with_the_double_integral(records: Records) -> None:
    """Before with the guard band U95, after at a tighter limit without; the lower limit is 7 deviations away."""
    row = next(each for each in risk_rows(records, ["L2641"], PLAN, TIGHTER) if each.characteristic == "R20")

    assert row.before is not None
    assert row.after is not None
    assert direct(9.2, U95_OHM) == pytest.approx((row.before.consumer, row.before.producer), rel=1e-5)
    assert direct(9.0, 0.0) == pytest.approx((row.after.consumer, row.after.producer), rel=1e-5)
    assert 200 == row.units


def test_characteristic_without_spread_says_why(records: Records) -> None:
    """All L of this lot are alike: the uncertainty explains them."""
    row = next(each for each in risk_rows(records, ["L2641"], PLAN, TIGHTER) if each.characteristic == "L")

    assert row.after is None
    assert "explains the whole spread" in row.why_not


def test_without_lots_nothing_is_stated(records: Records) -> None:
    """Every row says so."""
    assert {"no measured unit has an uncertainty"} == {each.why_not for each in risk_rows(records, [], PLAN, TIGHTER)}
