"""Self-heating against closed forms, worked examples and adaptive integration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from station.coil.heating import (
    Drive,
    ThermalModel,
    drive_for_rise,
    effective_time_constant_s,
    heating_curve_k,
    runaway_current_a,
    steady_state,
    step_rises_k,
    three_point_rise,
    winding_rise_k,
)

K_OF_ALPHA_0_00393 = 1 / 0.00393 - 20


def test_constant_current_is_the_closed_form_of_the_energy_balance() -> None:
    """0.465 ohm, 1 A, 60 K/W at 23 degC, alpha20 0.00393: 31.705 K, hot 0.52842 ohm, runaway from 3.01996 A."""
    end = steady_state(0.465, Drive(current_a=1.0), 60.0, 23.0, winding_constant_degc=K_OF_ALPHA_0_00393)

    assert 31.70533597348468 == pytest.approx(end.rise_k, rel=1e-9)
    assert 0.5284222662247446 == pytest.approx(end.resistance_ohm, rel=1e-9)
    assert 3.0199630074917025 == pytest.approx(
        runaway_current_a(0.465, 60.0, winding_constant_degc=K_OF_ALPHA_0_00393), rel=1e-9
    )


def test_runaway_is_reported_and_not_iterated() -> None:
    """Above the runaway current there is no steady state."""
    end = steady_state(0.465, Drive(current_a=3.1), 60.0, 23.0)

    assert end.runaway
    assert np.isinf(end.rise_k)
    assert np.isinf(effective_time_constant_s(0.465, Drive(current_a=3.1), 60.0, 15.0, 23.0))


@given(r20=st.floats(0.1, 50), volts=st.floats(0, 10), rth=st.floats(1, 300), ambient=st.floats(-40, 85))
def test_constant_voltage_balances_power_and_rise(r20: float, volts: float, rth: float, ambient: float) -> None:
    """The stable root: rise = Rth V^2/R(rise), always there, never negative."""
    end = steady_state(r20, Drive(voltage_v=volts), rth, ambient)
    hot = r20 * (234.5 + ambient + end.rise_k) / 254.5

    assert not end.runaway
    assert rth * volts**2 / hot == pytest.approx(end.rise_k, rel=1e-9, abs=1e-12)


@given(
    r20=st.floats(0.5, 100.0), rise=st.floats(0.5, 100.0), rth=st.floats(1.0, 200.0), by_voltage=st.booleans()
)
def test_drive_for_a_rise_gives_that_rise(r20: float, rise: float, rth: float, by_voltage: bool) -> None:
    """The inverse of the steady state, by voltage and by current."""
    found = drive_for_rise(r20, rise, rth, 23.0, by_voltage=by_voltage)
    end = steady_state(r20, Drive(voltage_v=found) if by_voltage else Drive(current_a=found), rth, 23.0)

    assert rise == pytest.approx(end.rise_k, rel=1e-9)


@pytest.mark.parametrize(("t_over_tau", "fraction"), [(1, 0.632), (2, 0.865), (3, 0.950), (4, 0.982), (5, 0.993)])
def test_step_response_has_the_textbook_fractions(t_over_tau: float, fraction: float) -> None:
    """63.2, 86.5, 95.0, 98.2, 99.3 % after 1 to 5 time constants at constant power."""
    rise = step_rises_k(np.zeros(1), 1.0, ThermalModel((1.0,), (15.0,)), 15.0 * t_over_tau)

    assert fraction == pytest.approx(float(rise.sum()), abs=5e-4)


def test_curve_at_constant_current_is_an_exponential_with_a_longer_time_constant() -> None:
    """One stage, resistance feedback: linear, so tau/(1 - q alpha) exactly."""
    drive, model = Drive(current_a=1.0), ThermalModel((60.0,), (15.0,))
    times = np.array([0.0, 5.0, 15.0, 40.0, 120.0])
    end = steady_state(0.465, drive, 60.0, 23.0)
    tau = effective_time_constant_s(0.465, drive, 60.0, 15.0, 23.0)

    curve = heating_curve_k(times, 0.465, drive, model, 23.0)

    assert tau > 15.0
    np.testing.assert_allclose(curve, end.rise_k * (1 - np.exp(-times / tau)), rtol=1e-5)


@pytest.mark.parametrize("drive", [Drive(voltage_v=3.0), Drive(current_a=0.3)])
def test_curve_of_two_stages_agrees_with_adaptive_integration(drive: Drive) -> None:
    """scipy's integrator at 1e-10, resistance feedback included."""
    model = ThermalModel((25.0, 15.0), (4.0, 40.0))
    times = np.linspace(0, 120, 25)

    def slope(_: float, stages: np.ndarray) -> np.ndarray:
        hot = 7.8 * (234.5 + 22.0 + stages.sum()) / 254.5
        return (drive.power_w(hot) * np.array([25.0, 15.0]) - stages) / np.array([4.0, 40.0])

    solution = integrate.solve_ivp(slope, (0, 120), [0.0, 0.0], t_eval=times, rtol=1e-10, atol=1e-12)

    curve = heating_curve_k(times, 7.8, drive, model, 22.0)

    np.testing.assert_allclose(curve, solution.y.sum(axis=0), rtol=1e-5, atol=1e-9)


def test_curve_ends_in_the_steady_state() -> None:
    """Ten of the longest time constants on."""
    model = ThermalModel((25.0, 15.0), (4.0, 40.0))
    end = steady_state(7.8, Drive(voltage_v=3.0), model.total_k_per_w, 22.0)

    assert end.rise_k == pytest.approx(float(heating_curve_k(400.0, 7.8, Drive(voltage_v=3.0), model, 22.0)), rel=1e-4)


def test_time_constant_at_constant_voltage_is_shorter() -> None:
    """Hot copper takes less power from a voltage."""
    assert effective_time_constant_s(7.8, Drive(voltage_v=3.0), 40.0, 15.0, 22.0) < 15.0


@pytest.mark.parametrize(("k", "rise"), [(234.5, 63.625), (235.0, 63.75)])
def test_winding_rise_is_the_worked_example(k: float, rise: float) -> None:
    """IEC 60034-1, 8.6.2: 80 ohm at 20 degC, 100 ohm hot, coolant 20 degC (textbook exercise)."""
    assert rise == pytest.approx(float(winding_rise_k(80.0, 20.0, 100.0, 20.0, winding_constant_degc=k)), abs=1e-9)


def test_three_equidistant_readings_give_back_their_exponential() -> None:
    """42 K and 180 s from readings 60 s apart (IEC 60076-2, three-point extrapolation)."""
    rise, tau = three_point_rise(11.905684956, 20.436481001, 26.549063471, 60.0)

    assert 42.0 == pytest.approx(rise, rel=1e-6)
    assert 180.0 == pytest.approx(tau, rel=1e-6)


@pytest.mark.parametrize("readings", [(10.0, 20.0, 31.0), (10.0, 10.0, 10.0), (20.0, 15.0, 16.0)])
def test_readings_that_do_not_level_off_are_refused(readings: tuple[float, float, float]) -> None:
    """No number is better than a wrong one."""
    with pytest.raises(ValueError, match="do not level off"):
        three_point_rise(*readings, 60.0)


def test_drive_is_a_voltage_or_a_current() -> None:
    """Never both, never neither."""
    for wrong in ({}, {"voltage_v": 1.0, "current_a": 1.0}):
        with pytest.raises(ValueError, match="exactly one"):
            Drive(**wrong)


@pytest.mark.parametrize(
    ("resistances", "constants"), [((), ()), ((1.0,), (1.0, 2.0)), ((1.0,), (0.0,)), ((1.0,) * 3, (1.0,) * 3)]
)
def test_thermal_model_of_other_shapes_is_refused(resistances: tuple[float, ...], constants: tuple[float, ...]) -> None:
    """One or two stages, all above 0."""
    with pytest.raises(ValueError, match=r"must be above 0|one or two"):
        ThermalModel(resistances, constants)


def test_times_must_ascend() -> None:
    """A curve runs forward."""
    with pytest.raises(ValueError, match="ascend"):
        heating_curve_k([2.0, 1.0], 7.8, Drive(voltage_v=1.0), ThermalModel((1.0,), (1.0,)), 22.0)
