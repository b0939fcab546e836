"""The whole search held against simulated units of known truth.

`python -m tests.causes.confusion` prints the matrices.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sim.lot import Lot
from station.causes.explain import explain_unit
from station.causes.kinds import ABOUT_A_FAULT, Cause
from station.causes.study import study_of
from station.coil.windings import turns_of
from tests.causes.confusion import RATES, Matrix, confusion
from tests.causes.makers import DRAWN, IS_20, TWO_FREQUENCIES, lot_units, measure

DAMAGE = (Cause.SHORTED_TURNS, Cause.LAYER_SHORT, Cause.OPEN)


@cache
def _matrix() -> Matrix:
    return confusion(lots=2)


@pytest.mark.slow
@pytest.mark.parametrize("cause", DAMAGE)
def test_damaged_units_are_called_so(cause: Cause) -> None:
    """Of the damaged units of two simulated lots 97 % and more are called by their damage."""
    assert _matrix().right(cause) >= 0.97


@pytest.mark.slow
def test_sound_units_are_never_called_damaged() -> None:
    """No sound unit of some thousand, and no narrow or wide one, is called damaged."""
    sound = (Cause.NOTHING, Cause.NARROW, Cause.WIDE)

    assert 0 == sum(_matrix().counts[true, called] for true in sound for called in DAMAGE)


@pytest.mark.slow
def test_damage_is_never_taken_for_copper() -> None:
    """No shorted unit is called narrow or wide copper, or nothing unusual."""
    copper = (Cause.NOTHING, Cause.NARROW, Cause.WIDE)

    assert 0 == sum(_matrix().counts[true, called] for true in ABOUT_A_FAULT for called in copper)


@pytest.mark.slow
@pytest.mark.parametrize(
    "cause",
    [
        Cause.NOTHING,
        Cause.NARROW,
        Cause.WIDE,
        Cause.METAL,
        Cause.WRONG_PART,
        Cause.POOR_CONTACT,
        Cause.WARM,
        Cause.SENSOR_POSITION,
    ],
)
def test_other_causes_are_mostly_found(cause: Cause) -> None:
    """Causes whose signature is their own are found in nine of ten units."""
    assert _matrix().right(cause) >= 0.9


@pytest.mark.slow
def test_stated_probability_holds() -> None:
    """Of units whose cause is stated with 90 % to 99 %, and with more, so many are right (less three deviations)."""
    for low, high in ((0.9, 0.99), (0.99, 1.01)):
        hits = [right for stated, right in _matrix().stated if low <= stated < high]
        lowest = low - 3 * (low * (1 - low) / len(hits)) ** 0.5

        assert np.mean(hits) >= lowest


@pytest.mark.slow
def test_second_frequency_keeps_every_damaged_unit() -> None:
    """With Rs and L at a second frequency damage is told apart as well."""
    matrix = confusion(lots=1, drawn=TWO_FREQUENCIES, panels=8)

    assert all(matrix.right(cause) == 1.0 for cause in DAMAGE)


@pytest.mark.slow
def test_stated_place_holds_the_bridge() -> None:
    """By R20 and L only, ranges stated to hold 95 % hold the true turns in 95 % of units (less three deviations)."""
    inside, units = 0, 0
    lot = Lot(11, panels=15, rates=RATES)
    findings = measure(lot_units(lot), seed=11)
    findings = replace(findings, values={name: findings.values[name] for name in ("R20", "L")})
    study = study_of(findings, DRAWN)
    index = turns_of(IS_20).index
    for row, (truth, _) in enumerate(lot_units(lot)):
        where = explain_unit(study, row).where if truth.defect == "shorted_turns" else None
        if where is not None:
            short = truth.winding_impedance.short  # type: ignore[union-attr]
            turns = index[short.first_node : short.last_node] + 1
            units += 1
            inside += bool(
                where.first_turn <= turns.min()
                and turns.max() <= where.last_turn
                and where.fewest <= len(turns) <= where.most
            )

    assert units >= 30
    assert inside / units >= 0.95 - 3 * (0.95 * 0.05 / units) ** 0.5
