"""Drive compensation: equal fields, energy balance, and the four ways compared."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quality.drive import DrivenCoil, DriveWay, Surroundings, compare_drives
from station.quality.readings import StudyDataError

GROUP = (
    DrivenCoil("L2641-01-A01", 7.2, 4.20e-3, 60.0),
    DrivenCoil("L2641-01-A02", 8.0, 4.25e-3, 60.0),
    DrivenCoil("L2641-01-A03", 8.8, 4.15e-3, 60.0),
)
FIELD_T = 1.0e-3
AROUND = Surroundings(23.0)


def _ways(supply_v: float | None = None) -> dict[str, DriveWay]:
    return {way.name: way for way in compare_drives(GROUP, field_t=FIELD_T, around=AROUND, supply_v=supply_v)}


def test_own_current_and_own_duty_give_equal_fields() -> None:
    """Each coil gets the field asked for."""
    ways = _ways()

    for name in ("own current", "own duty"):
        assert [FIELD_T] * 3 == pytest.approx([coil.field_t for coil in ways[name].coils])
        assert 0.0 == pytest.approx(ways[name].field_spread, abs=1e-12)


def test_same_voltage_spreads_field_as_resistance_and_same_current_does_not() -> None:
    """At one voltage the field goes nearly as 1/R (20 % here, less what warming evens out); at one current as b."""
    ways = _ways()

    assert 0.15 < ways["same voltage"].field_spread < 0.25
    assert 0.10 / 4.20 == pytest.approx(ways["same current"].field_spread, rel=1e-9)
    for name in ("same voltage", "same current"):
        assert FIELD_T == pytest.approx(sum(coil.field_t for coil in ways[name].coils) / 3, rel=1e-9)


def test_duty_heats_by_supply_times_mean_current() -> None:
    """Energy balance: the current settles in each pulse, so that P = duty V^2 / R = V I_mean, and rise = Rth P."""
    way = _ways(3.0)["own duty"]

    for coil, known in zip(way.coils, GROUP, strict=True):
        warm = known.resistance_20_ohm * (234.5 + 23.0 + coil.rise_k) / 254.5
        assert coil.duty is not None
        assert coil.duty * 9.0 / warm == pytest.approx(coil.power_w)
        assert 60.0 * coil.power_w == pytest.approx(coil.rise_k)


def test_duty_at_its_lowest_supply_is_constant_current() -> None:
    """With a duty of 1 there is no switching: same rise as with the coil's own current."""
    own = _ways()["own current"].coils[2]
    duty = _ways(own.voltage_v)["own duty"].coils[2]

    assert 1.0 == pytest.approx(duty.duty)
    assert own.rise_k == pytest.approx(duty.rise_k)


def test_supply_that_is_too_low_is_told() -> None:
    """A duty above 1 is impossible, and the way says so."""
    assert not _ways(1.0)["own duty"].possible
    assert _ways()["own duty"].possible


def test_runaway_current_is_told() -> None:
    """A field so high that a constant current has no steady state."""
    ways = {way.name: way for way in compare_drives(GROUP, field_t=4e-3, around=AROUND)}

    assert not ways["own current"].possible


@pytest.mark.slow
@given(st.floats(1e-5, 1.5e-3), st.floats(-20.0, 60.0))
def test_more_field_is_more_heat(field_t: float, ambient_degc: float) -> None:
    """Monotone in the field, whichever way."""
    around = Surroundings(ambient_degc)
    low = compare_drives(GROUP, field_t=field_t, around=around, supply_v=10.0)
    high = compare_drives(GROUP, field_t=1.1 * field_t, around=around, supply_v=10.0)

    assert all(less.hottest_k < more.hottest_k for less, more in zip(low, high, strict=True))


def test_empty_group_is_refused() -> None:
    """Nothing to drive."""
    with pytest.raises(StudyDataError, match="a coil or more"):
        compare_drives((), field_t=FIELD_T, around=AROUND)
