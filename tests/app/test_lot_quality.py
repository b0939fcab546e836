"""The lot's statistics put together."""

import numpy as np
import pytest

from station.app.lot_quality import lot_capability, lot_spread, within_of, without_odd
from station.app.lot_samples import LotSample, file_sample
from station.errors import StudyError
from station.quality.risk import Tolerance
from station.quality.sample import sample_of


def _lot(values: np.ndarray, panels: np.ndarray) -> LotSample:
    none: tuple[str, ...] = ()
    sample = sample_of(values, population="made", unit_symbol="ohm")
    return LotSample("lot L2641", "R20", sample, none, tuple(map(str, panels)), none, none, True)


def test_panels_that_differ_are_no_drift() -> None:
    """60 lots of 20 panels without drift: claimed in 5 % of them, in 8 of 60 at most (four standard errors).

    Unit by unit a drift would be claimed in most of them.
    """
    generator = np.random.default_rng(23)
    panels = np.repeat(np.arange(20), 24)
    claimed = 0
    for _ in range(60):
        values = generator.normal(8.0, 0.1, 20)[panels] + generator.normal(0.0, 0.05, panels.size)
        trend = lot_spread([_lot(values, panels)]).trend
        assert trend is not None
        claimed += trend.drifts

    assert claimed <= 8


def test_spread_within_is_of_panels_where_they_are_known() -> None:
    """And from unit to unit where they are not; None where neither shows a spread."""
    generator = np.random.default_rng(24)
    values, panels = generator.normal(8.0, 0.1, 40), np.repeat([1, 2], 20)
    found = [within_of(_lot(values, each)) for each in (panels, np.zeros(40))]

    assert ["mean standard deviation / c4", "mean moving range / d2"] == [each.convention for each in found if each]
    assert within_of(_lot(np.array([8.0, 8.1]), np.zeros(2))) is None


def test_capability_without_a_spread_within_has_overall_indices() -> None:
    """Two alternating values a panel: Cp can't be told, Pp can."""
    values = np.random.default_rng(25).normal(8.0, 0.1, 30)
    found = lot_capability(_lot(values, np.arange(30)), Tolerance(6.8, 9.2))

    assert found.pp is not None


@pytest.mark.parametrize(
    ("text", "words"),
    [("", "the file is empty"), ("value\n", "no readings follow"), ("serial,x\nA,1\n", "no such column")],
)
def test_file_without_values_is_refused(text: str, words: str) -> None:
    """In words that name the file."""
    with pytest.raises(StudyError, match=words):
        file_sample(text, "v.csv")


def test_file_keeps_serials_and_places() -> None:
    """Columns that are there are taken; others are passed over."""
    lot = file_sample("serial,panel,note,value\nA,1,x,7.9\nB,1,y,8.1\n", "v.csv")

    assert (("A", "B"), ("1", "1"), ()) == (lot.serials, lot.panels, lot.rows)
    assert [7.9, 8.1] == lot.sample.values.tolist()


def test_odd_units_are_left_out_with_words_and_places() -> None:
    """A shorted coil of a hundred: the rest, in order, with a population that says what is missing."""
    values = np.append(np.random.default_rng(26).normal(11.6e-6, 0.04e-6, 99), 10.2e-6)[::-1]
    lot = _lot(values, np.arange(100))
    kept = without_odd(lot)

    assert values[1:].tolist() == kept.sample.values.tolist()
    assert lot.panels[1:] == kept.panels
    assert kept.sample.population.endswith("less 1 odd (beyond 3.5 robust standard deviations)")
    assert without_odd(kept) is kept
