"""Thermocouples of types K, T and J: temperature from the voltage and the cold junction's temperature.

Reference functions of ITS-90 in mV, cold junction at 0 degC: G. W. Burns et al., NIST Monograph 175 (1993), as in
IEC 60584-1:2013. Compensation adds voltages, not temperatures: the cold junction's own voltage is added to what
was measured, and the sum looked up. The inverse is found on the reference function itself, by Newton's method, so
there is no second set of coefficients and no approximation error.
"""

from dataclasses import dataclass
from math import exp, isfinite

_TOLERANCE_K = 1e-6
_MOST_STEPS = 50


@dataclass(frozen=True, slots=True)
class _Piece:
    """sum of c_i t^i from `lower_degc` to `upper_degc`, plus a0 exp(a1 (t - a2)^2) where there is a `bump`."""

    lower_degc: float
    upper_degc: float
    coefficients: tuple[float, ...]
    bump: tuple[float, float, float] | None = None


_PIECES: dict[str, tuple[_Piece, ...]] = {
    "K": (
        _Piece(
            -200.0,
            0.0,
            (
                0.0,
                0.394501280250e-01,
                0.236223735980e-04,
                -0.328589067840e-06,
                -0.499048287770e-08,
                -0.675090591730e-10,
                -0.574103274280e-12,
                -0.310888728940e-14,
                -0.104516093650e-16,
                -0.198892668780e-19,
                -0.163226974860e-22,
            ),
        ),
        _Piece(
            0.0,
            1372.0,
            (
                -0.176004136860e-01,
                0.389212049750e-01,
                0.185587700320e-04,
                -0.994575928740e-07,
                0.318409457190e-09,
                -0.560728448890e-12,
                0.560750590590e-15,
                -0.320207200030e-18,
                0.971511471520e-22,
                -0.121047212750e-25,
            ),
            (0.118597600000e00, -0.118343200000e-03, 0.126968600000e03),
        ),
    ),
    "T": (
        _Piece(
            -200.0,
            0.0,
            (
                0.0,
                0.387481063640e-01,
                0.441944343470e-04,
                0.118443231050e-06,
                0.200329735540e-07,
                0.901380195590e-09,
                0.226511565930e-10,
                0.360711542050e-12,
                0.384939398830e-14,
                0.282135219250e-16,
                0.142515947790e-18,
                0.487686622860e-21,
                0.107955392700e-23,
                0.139450270620e-26,
                0.797951539270e-30,
            ),
        ),
        _Piece(
            0.0,
            400.0,
            (
                0.0,
                0.387481063640e-01,
                0.332922278800e-04,
                0.206182434040e-06,
                -0.218822568460e-08,
                0.109968809280e-10,
                -0.308157587720e-13,
                0.454791352900e-16,
                -0.275129016730e-19,
            ),
        ),
    ),
    "J": (
        _Piece(
            -210.0,
            760.0,
            (
                0.0,
                0.503811878150e-01,
                0.304758369300e-04,
                -0.856810657200e-07,
                0.132281952950e-09,
                -0.170529583370e-12,
                0.209480906970e-15,
                -0.125383953360e-18,
                0.156317256970e-22,
            ),
        ),
    ),
}

TYPES = tuple(_PIECES)
"""The thermocouple types that are known."""


def voltage_v(kind: str, temperature_degc: float) -> float:
    """Return the voltage in V of a thermocouple of type `kind` at a temperature, cold junction at 0 degC.

    Raises:
        ValueError: an unknown type, or a temperature outside the reference function's range.
    """
    return 1e-3 * _value_and_slope(_piece(kind, temperature_degc), temperature_degc)[0]


def temperature_degc(kind: str, measured_v: float, cold_junction_degc: float) -> float:
    """Return the temperature in degC of the hot junction of a thermocouple of type `kind`.

    Args:
        measured_v: voltage at the cold junction, in V.
        cold_junction_degc: temperature of the cold junction.

    Raises:
        ValueError: an unknown type, or a voltage outside the reference function's range.
    """
    wanted_mv = 1e3 * (measured_v + voltage_v(kind, cold_junction_degc))
    lowest, highest = _PIECES[kind][0].lower_degc, _PIECES[kind][-1].upper_degc
    if not 1e3 * voltage_v(kind, lowest) <= wanted_mv <= 1e3 * voltage_v(kind, highest):
        raise ValueError(f"{wanted_mv:.4g} mV is no voltage of a thermocouple of type {kind}")
    # The functions climb everywhere in these ranges, so Newton's method, kept inside, arrives.
    found = cold_junction_degc
    for _ in range(_MOST_STEPS):
        value_mv, slope_mv_per_k = _value_and_slope(_piece(kind, found), found)
        step_k = (wanted_mv - value_mv) / slope_mv_per_k
        found = min(highest, max(lowest, found + step_k))
        if abs(step_k) < _TOLERANCE_K:
            break
    return found


def _piece(kind: str, at_degc: float) -> _Piece:
    pieces = _PIECES.get(kind)
    if pieces is None:
        raise ValueError(f"a thermocouple's type must be one of {', '.join(TYPES)}; got {kind!r}")
    if isfinite(at_degc):
        for piece in pieces:
            if piece.lower_degc <= at_degc <= piece.upper_degc:
                return piece
    raise ValueError(
        f"{at_degc:g} degC is outside {pieces[0].lower_degc:g} to {pieces[-1].upper_degc:g} degC of type {kind}"
    )


def _value_and_slope(piece: _Piece, at_degc: float) -> tuple[float, float]:
    """Return the voltage in mV and its slope in mV/K (Horner's rule)."""
    value = slope = 0.0
    for coefficient in reversed(piece.coefficients):
        slope = slope * at_degc + value
        value = value * at_degc + coefficient
    if piece.bump is not None:
        height, width, centre = piece.bump
        bump = height * exp(width * (at_degc - centre) ** 2)
        value += bump
        slope += 2.0 * width * (at_degc - centre) * bump
    return value, slope
