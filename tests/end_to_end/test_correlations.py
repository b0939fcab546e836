"""How results of one run hang together: the signs on record against benches that are wrong in one way, and in all."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.errors import LCR_RANGES_OHM, BenchErrors, LcrError
from sim.lot import truth_near
from station.core.budget import correlations_of
from station.core.results import Result, ResultStatus
from station.inspection import Request
from tests.end_to_end.truth import inspecting, measure, shipped_plan

UNIT = truth_near("L2641-01-A01", resistance_20_ohm=7.9, inductance_h=11.6e-6)
BENCHES = 400


def lcr(**errors: float) -> BenchErrors:
    """A meter that is wrong by so much in every range."""
    return BenchErrors(lcr=dict.fromkeys(LCR_RANGES_OHM, LcrError(**errors)))


def results_of(home: Path, errors: BenchErrors) -> dict[str, Result]:
    """The results of the unit on a bench with these errors; the noise is the same each time."""
    with inspecting([UNIT], seed=3, home=home, plan=shipped_plan(), errors=errors) as inspection:
        record = inspection.inspect(UNIT.serial, Request("OP-01"))
    return {each.characteristic: each for each in record.results}


def sign_of(result: Result, term: str) -> int:
    """The sign on record of a result's term."""
    (found,) = {each.sign for each in result.terms if each.name == term}
    return found


@pytest.mark.slow
@pytest.mark.parametrize(
    ("term", "errors", "names"),
    [
        ("meter", lcr(dc_gain=4e-4), ("R20",)),
        ("meter gain", lcr(gain=4e-4), ("L", "Rs")),
        ("meter phase", lcr(phase_rad=4e-4), ("L", "Rs", "Q")),
        ("thermometer", BenchErrors(coil_thermometer_offset_k=0.25), ("R20",)),
        ("current", BenchErrors(source_current_gain=1e-3), ("B@1mm", "B@8mm")),
        ("field sensor", BenchErrors(field_gain=4e-3), ("B@1mm", "B@8mm")),
        ("height setting", BenchErrors(height_offset_m=4e-5), ("B@1mm", "B@2mm", "B@4mm", "B@8mm")),
        ("lateral setting", BenchErrors(lateral_offset_m=3e-4), ("B@1mm", "B@2mm", "B@4mm", "B@8mm")),
    ],
)
def test_result_goes_where_its_terms_sign_says(
    tmp_path: Path, term: str, errors: BenchErrors, names: tuple[str, ...]
) -> None:
    """An instrument that reads too much moves each result up or down as the record says it would."""
    exact, wrong = results_of(tmp_path, BenchErrors()), results_of(tmp_path, errors)
    moved = {name: (wrong[name].value or 0.0) - (exact[name].value or 0.0) for name in names}

    assert {name: int(math.copysign(1, moved[name])) for name in names} == {
        name: sign_of(exact[name], term) for name in names
    }


@pytest.mark.slow
def test_correlations_on_record_are_those_that_benches_show(tmp_path: Path) -> None:
    """Over 400 benches drawn as declared: each coefficient on record, sign and size, within four standard errors.

    And what is not named as correlated is not: L and Rs share both of the meter's terms, one in each sense.
    """
    values: dict[str, list[float]] = {}
    stated: dict[tuple[str, str], float] = {}
    for seed in range(BENCHES):
        (record,) = measure([UNIT], seed=seed, home=tmp_path)
        for each in record.results:
            if each.status is ResultStatus.MEASURED and each.value is not None:
                values.setdefault(each.characteristic, []).append(each.value)
        if seed == 0:
            stated = {(each.first, each.second): each.coefficient for each in correlations_of(record.results)}
            assert all(each.signed for each in correlations_of(record.results))

    def seen(pair: tuple[str, str]) -> float:
        return float(np.corrcoef(values[pair[0]], values[pair[1]])[0, 1])

    for pair, coefficient in stated.items():
        print(f"{pair[0]} and {pair[1]}: stated {coefficient:+.2f}, seen {seen(pair):+.2f}")
        assert abs(seen(pair) - coefficient) <= 4.0 / math.sqrt(BENCHES) + 0.05, pair
    assert ("L", "Rs") not in stated
    assert abs(seen(("L", "Rs"))) < 0.3
    assert stated["L", "Q"] > 0.3 > -0.3 > stated["Rs", "Q"]


def test_sign_that_is_missing_gives_the_largest_coefficient_only(tmp_path: Path) -> None:
    """As runs of older versions are on record: no sign is made up."""
    results = results_of(tmp_path, BenchErrors()).values()
    old = [replace(each, terms=tuple(replace(term, sign=0) for term in each.terms)) for each in results]
    found = {(each.first, each.second): each for each in correlations_of(old)}

    assert not any(each.signed or each.opposite for each in found.values())
    assert found["L", "Rs"].coefficient > 0.9
