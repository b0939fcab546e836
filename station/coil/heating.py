"""Self-heating: copper whose resistance rises with its temperature, on a thermal model of one or two time constants.

Rises are above ambient, in kelvin, of the mean winding temperature (what the winding-resistance method sees).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from station.coil.constants import WINDING_CONSTANT_DEGC
from station.coil.geometry import FloatArray


@dataclass(frozen=True)
class ThermalModel:
    """Thermal resistances (K/W) and time constants (s) of one or two stages in series (Foster form).

    Raises:
        ValueError: for unequal lengths, none, more than two, or a number that is not above 0.
    """

    resistances_k_per_w: tuple[float, ...]
    time_constants_s: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.resistances_k_per_w) != len(self.time_constants_s) or not 1 <= len(self.time_constants_s) <= 2:
            raise ValueError(
                "a thermal model has one or two thermal resistances and as many time constants; got "
                f"{len(self.resistances_k_per_w)} and {len(self.time_constants_s)}"
            )
        if not all(value > 0 for value in (*self.resistances_k_per_w, *self.time_constants_s)):
            raise ValueError("thermal resistances and time constants must be above 0")

    @property
    def total_k_per_w(self) -> float:
        """Steady rise for 1 W."""
        return sum(self.resistances_k_per_w)


@dataclass(frozen=True)
class Drive:
    """What the coil is driven with: a constant voltage at its terminals or a constant current. Exactly one.

    Raises:
        ValueError: if both or neither is given.
    """

    voltage_v: float | None = None
    current_a: float | None = None

    def __post_init__(self) -> None:
        if (self.voltage_v is None) == (self.current_a is None):
            raise ValueError("a drive is either a voltage or a current; give exactly one")

    def power_w(self, resistance_ohm: ArrayLike) -> FloatArray:
        """Power (W) into a resistance. Broadcasts."""
        resistance = np.asarray(resistance_ohm, dtype=float)
        if self.current_a is not None:
            return self.current_a**2 * resistance
        return (self.voltage_v or 0.0) ** 2 / resistance


@dataclass(frozen=True)
class SteadyState:
    """The stable end of heating, or the news that there is none.

    rise_k, resistance_ohm and power_w are infinite on `runaway`: under a constant current every kelvin then
    adds more power than it sheds. The model ends where copper, solder and film do, long before.
    """

    rise_k: float
    resistance_ohm: float
    power_w: float
    runaway: bool


def steady_state(
    resistance_20_ohm: float,
    drive: Drive,
    thermal_resistance_k_per_w: float,
    ambient_degc: float,
    *,
    winding_constant_degc: float = WINDING_CONSTANT_DEGC,
) -> SteadyState:
    """Steady rise with resistance feedback, in closed form.

    Constant current: rise = q (1 + alpha20 (Ta - 20))/(1 - q alpha20), q = I^2 R20 Rth, if q alpha20 < 1.
    Constant voltage: the positive root of the quadratic; it is always there and stable.
    Source: energy balance P(rise) Rth = rise with R linear in temperature.
    """
    alpha = 1.0 / (winding_constant_degc + 20.0)
    cold = resistance_20_ohm * (1 + alpha * (ambient_degc - 20.0))
    if drive.current_a is not None:
        gain = drive.current_a**2 * resistance_20_ohm * thermal_resistance_k_per_w * alpha
        if gain >= 1.0:
            return SteadyState(np.inf, np.inf, np.inf, True)
        rise = drive.current_a**2 * cold * thermal_resistance_k_per_w / (1.0 - gain)
    else:
        slope = resistance_20_ohm * alpha
        heat = (drive.voltage_v or 0.0) ** 2 * thermal_resistance_k_per_w
        # The root in the form that keeps its digits for small rises.
        rise = 2 * heat / (cold + np.sqrt(cold**2 + 4 * slope * heat))
    hot = cold + resistance_20_ohm * alpha * rise
    return SteadyState(float(rise), float(hot), float(drive.power_w(hot)), False)


def runaway_current_a(
    resistance_20_ohm: float, thermal_resistance_k_per_w: float, *, winding_constant_degc: float = WINDING_CONSTANT_DEGC
) -> float:
    """Constant current (A) from which on there is no steady state: sqrt((k + 20)/(R20 Rth))."""
    return float(np.sqrt((winding_constant_degc + 20.0) / (resistance_20_ohm * thermal_resistance_k_per_w)))


def step_rises_k(rises_k: FloatArray, power_w: ArrayLike, model: ThermalModel, step_s: float) -> FloatArray:
    """Rises of the stages after `step_s` at constant power, exact for any step; shape (..., stages).

    The total rise is the sum over the stages. A simulator that heats a coil calls this from sample to sample.
    """
    decay = np.exp(-step_s / np.asarray(model.time_constants_s))
    target = np.asarray(power_w, dtype=float)[..., None] * np.asarray(model.resistances_k_per_w)
    return target + (np.asarray(rises_k) - target) * decay


def heating_curve_k(
    times_s: ArrayLike,
    resistance_20_ohm: float,
    drive: Drive,
    model: ThermalModel,
    ambient_degc: float,
    *,
    winding_constant_degc: float = WINDING_CONSTANT_DEGC,
) -> FloatArray:
    """Rise (K) at ascending times from switching on at ambient, with resistance feedback; shape of `times_s`.

    Exponential Runge-Kutta steps (midpoint, Hochbruck and Ostermann, Acta Numerica 2010, 5.3) of at most a
    fiftieth of the shortest time constant: known error below 1e-5 of the rise (against closed forms and
    adaptive integration). Under a runaway current the curve keeps growing; see `steady_state`.

    Raises:
        ValueError: for times that are negative or do not ascend.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=float))
    if np.any(np.diff(times) < 0) or (times.size and times[0] < 0):
        raise ValueError("times must be 0 or above and ascend")
    alpha = 1.0 / (winding_constant_degc + 20.0)
    base = 1 + alpha * (ambient_degc - 20.0)

    def power(total_rise: float) -> float:
        return float(drive.power_w(resistance_20_ohm * (base + alpha * total_rise)))

    longest = min(model.time_constants_s) / 50
    rises = np.zeros(len(model.time_constants_s))
    out = np.empty(times.shape)
    now = 0.0
    for number, time in enumerate(times):
        steps = int(np.ceil((time - now) / longest))
        step = (time - now) / steps if steps else 0.0
        for _ in range(steps):
            middle = step_rises_k(rises, power(rises.sum()), model, step / 2)
            rises = step_rises_k(rises, power(middle.sum()), model, step)
        now = time
        out[number] = rises.sum()
    return out.reshape(np.shape(times_s))


def effective_time_constant_s(
    resistance_20_ohm: float,
    drive: Drive,
    thermal_resistance_k_per_w: float,
    time_constant_s: float,
    ambient_degc: float,
    *,
    winding_constant_degc: float = WINDING_CONSTANT_DEGC,
) -> float:
    """Time constant (s) near the steady state with resistance feedback, one thermal stage.

    tau/(1 - Rth dP/drise): longer under a constant current, shorter under a constant voltage; infinite on
    runaway. Exact for the whole curve under a constant current, where the equation is linear.
    """
    end = steady_state(
        resistance_20_ohm,
        drive,
        thermal_resistance_k_per_w,
        ambient_degc,
        winding_constant_degc=winding_constant_degc,
    )
    if end.runaway:
        return float(np.inf)
    slope = resistance_20_ohm / (winding_constant_degc + 20.0)
    sign = 1.0 if drive.current_a is not None else -1.0
    feedback = sign * thermal_resistance_k_per_w * end.power_w * slope / end.resistance_ohm
    return time_constant_s / (1.0 - feedback)


def winding_rise_k(
    cold_ohm: ArrayLike,
    cold_degc: ArrayLike,
    hot_ohm: ArrayLike,
    ambient_degc: ArrayLike,
    *,
    winding_constant_degc: float = WINDING_CONSTANT_DEGC,
) -> FloatArray:
    """Rise (K) of the mean winding temperature above ambient from two resistances. Broadcasts.

    (R2/R1)(k + T1) - k - Ta. Source: IEC 60034-1, 8.6.2 (k = 235 there; 234.5 in IEEE Std 118).
    """
    ratio = np.asarray(hot_ohm, dtype=float) / np.asarray(cold_ohm, dtype=float)
    hot_degc = ratio * (winding_constant_degc + np.asarray(cold_degc)) - winding_constant_degc
    return hot_degc - np.asarray(ambient_degc)


def three_point_rise(first_k: float, second_k: float, third_k: float, step_s: float) -> tuple[float, float]:
    """Final rise (K) and time constant (s) from three equidistant readings of one exponential.

    (r2^2 - r1 r3)/(2 r2 - r1 - r3) and step/ln((r2 - r1)/(r3 - r2)): three-point extrapolation of heat-run
    tests (IEC 60076-2). Exact for a pure exponential; noise and a second time constant spoil it.

    Raises:
        ValueError: if the readings do not level off, as an exponential does.
    """
    early, late = second_k - first_k, third_k - second_k
    if not 0 < late / early < 1 if early != 0 else True:
        raise ValueError(f"three readings {first_k:g}, {second_k:g}, {third_k:g} K do not level off")
    return (second_k**2 - first_k * third_k) / (2 * second_k - first_k - third_k), step_s / np.log(early / late)


def drive_for_rise(
    resistance_20_ohm: float,
    rise_k: float,
    thermal_resistance_k_per_w: float,
    ambient_degc: float,
    *,
    by_voltage: bool,
    winding_constant_degc: float = WINDING_CONSTANT_DEGC,
) -> float:
    """Constant voltage (V), or current (A), whose steady rise is `rise_k`, with resistance feedback.

    Power rise/Rth at the warm winding's resistance: V = sqrt(P R), I = sqrt(P/R); the inverse of `steady_state`.
    Source: energy balance P(rise) Rth = rise with R linear in temperature.
    """
    alpha = 1.0 / (winding_constant_degc + 20.0)
    warm = resistance_20_ohm * (1.0 + alpha * (ambient_degc + rise_k - 20.0))
    power = rise_k / thermal_resistance_k_per_w
    return float(np.sqrt(power * warm if by_voltage else power / warm))
