"""What results and bins are held against: written apart from the station's own code."""

import pytest

from sim.lot import truth_near
from station.app.files import read_plan
from station.nightly.making import shared_ends
from station.nightly.scenario import plan_path
from station.nightly.truth import bins_claiming, true_values

BINS = read_plan(plan_path("bins"))


@pytest.mark.parametrize(
    ("r20_ohm", "claiming"),
    [(7.4999, [1]), (7.5, [2]), (8.4999, [2]), (8.5, [3]), (9.2, [3]), (9.2001, []), (None, [])],
)
def test_value_on_an_end_belongs_to_the_upper_bin_only(r20_ohm: float | None, claiming: list[int]) -> None:
    """`[7.5 ohm, 8.5 ohm)` holds its lower end and not its upper one; no value meets no interval."""

    assert claiming == bins_claiming(BINS, {"R20": r20_ohm})


def test_shared_ends_are_those_where_one_bin_ends_and_another_begins() -> None:
    """Not the outer ends of the plan."""

    assert (7.5, 8.5) == shared_ends(BINS, "R20")


def test_true_rises_are_where_heat_in_is_heat_out() -> None:
    """theta (1 + theta / (k + Ta)) = Rth V^2 / R(Ta): 8 ohm at 20 degC, 2 V, 70 K/W, ambient 23 degC, k = 234.5."""
    plan = read_plan(plan_path("ladder"))
    coil = truth_near("U1", resistance_20_ohm=8.0)
    found = true_values(plan, coil, ambient_degc=23.0)
    cold_ohm = 8.0 * (234.5 + 23.0) / 254.5
    rise_k = found["rise@2V"]

    assert 70.0 * 4.0 / cold_ohm == pytest.approx(rise_k * (1.0 + rise_k / 257.5))
    assert (70.0, 15.0) == (found["Rth@air"], pytest.approx(found["tau"]))
    assert found["rise@1V"] < found["rise@1.5V"] < rise_k
