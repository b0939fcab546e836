"""What of a unit's results speaks about causes: logarithms against the drawing, so that a per cent is a per cent.

Seven observables, in this order. `R20`, `L`: ln of the value over the drawing's. `Rs/R20`: ln of the series resistance
at the test frequency over R20, against the same of the drawing; a closed turn raises it, while width, thickness and a
common gain error of the meter leave it alone (ambient temperature is in it too: Rs is not reduced to 20 degC).
`L2/L`, `Rs2/Rs`: the second frequency over the first. `B`: ln of the field per ampere over the drawing's, after
`height` (m), how much further off the sensor stood, is fitted and taken out.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from station.coil import CoilGeometry, predict
from station.coil.field import axis_flux_density_t_per_a
from station.coil.geometry import FloatArray

NAMES = ("R20", "L", "Rs/R20", "L2/L", "Rs2/Rs", "B", "height")
R20, L, RS_R20, L2_L, RS2_RS, B, HEIGHT = range(len(NAMES))

_FIELD = re.compile(r"B@(?P<height>[0-9.]+)mm")
_LINEARITY = 1e-3
_SENSOR_NOISE_T_PER_A = 2e-6
"""Only weights of the fit: an ordinary sensor at 0.1 A (common practice, no source)."""

_STEP_M = 1e-5
_CURVED_M = 0.3e-3


@dataclass(frozen=True)
class Drawn:
    """The drawing, the frequencies of its one or two inductance steps, the heights of its field, what is checked."""

    coil: CoilGeometry
    frequencies_hz: tuple[float, ...] = (100e3,)
    """First step, then a second one if the plan has it."""
    second_suffix: str = ""
    """What tells the second step's characteristics, such as `@300kHz`."""
    heights_m: tuple[float, ...] = ()
    contact_checked: bool = True
    """Each run proves its contacts, so a value hardly ever rests on a poor one."""
    alpha20_per_k: float = 1 / 254.5


@dataclass(frozen=True)
class Findings:
    """A lot's units as they were last measured. All of length N; NaN where there is no value.

    codes: reason code of a run without a decision on values, such as `contact_open`; empty otherwise.
    values: characteristic to SI values, shape (N,). uncertainties: their standard uncertainties (GUM), where known.
    """

    serials: tuple[str, ...]
    panels: tuple[str, ...]
    codes: tuple[str, ...]
    decisions: tuple[str, ...]
    values: Mapping[str, FloatArray] = field(default_factory=dict)
    uncertainties: Mapping[str, FloatArray] = field(default_factory=dict)
    imported: int = 0
    """Units that are known by somebody else's readings only."""

    def __len__(self) -> int:
        return len(self.serials)

    def value(self, name: str) -> FloatArray:
        """Return a characteristic's values, NaN for one that nobody measured."""
        return self.values.get(name, np.full(len(self), np.nan))

    def relative_uncertainty(self, name: str) -> FloatArray:
        """Return a characteristic's standard uncertainties over its values, 0 where not known."""
        doubt = self.uncertainties.get(name)
        if doubt is None:
            return np.zeros(len(self))
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.nan_to_num(np.abs(doubt / self.value(name)), nan=0.0, posinf=0.0)


def observables(findings: Findings, drawn: Drawn) -> FloatArray:
    """Return the seven observables of each unit against the drawing, shape (N, 7); NaN where there is none."""
    seen = np.full((len(findings), len(NAMES)), np.nan)
    suffixes = ("", drawn.second_suffix)[: len(drawn.frequencies_hz)]
    nominal = [predict(drawn.coil, frequency_hz=each) for each in drawn.frequencies_hz]
    resistance = _log(findings.value("R20"))
    seen[:, R20] = resistance - np.log(nominal[0].resistance_20_ohm)
    inductances = [_log(findings.value(f"L{each}")) for each in suffixes]
    series = [_log(findings.value(f"Rs{each}")) for each in suffixes]
    apparent_l = [np.log(each.apparent_inductance_h or np.nan) for each in nominal]
    apparent_r = [np.log(each.apparent_resistance_ohm or np.nan) for each in nominal]
    seen[:, L] = inductances[0] - apparent_l[0]
    seen[:, RS_R20] = series[0] - resistance - (apparent_r[0] - np.log(nominal[0].resistance_20_ohm))
    if len(suffixes) > 1:
        seen[:, L2_L] = inductances[1] - inductances[0] - (apparent_l[1] - apparent_l[0])
        seen[:, RS2_RS] = series[1] - series[0] - (apparent_r[1] - apparent_r[0])
    seen[:, [B, HEIGHT]] = _field(findings, drawn)
    return seen


def uncertainties_of(findings: Findings, drawn: Drawn) -> FloatArray:
    """Return the standard uncertainty of each observable, shape (N, 7); 0 where none is known.

    Those of a quotient add in square, as if independent: more than it is. The field's have none: setting the height
    rules them, and that is fitted and taken out; what is left is in the lot's spread.
    """
    found = np.zeros((len(findings), len(NAMES)))
    r20, low_l, low_r = (findings.relative_uncertainty(each) for each in ("R20", "L", "Rs"))
    found[:, R20], found[:, L], found[:, RS_R20] = r20, low_l, np.hypot(low_r, r20)
    if len(drawn.frequencies_hz) > 1:
        found[:, L2_L] = np.hypot(low_l, findings.relative_uncertainty(f"L{drawn.second_suffix}"))
        found[:, RS2_RS] = np.hypot(low_r, findings.relative_uncertainty(f"Rs{drawn.second_suffix}"))
    return found


def heights_named(names: Mapping[str, object]) -> tuple[float, ...]:
    """Return the heights (m) of the fields among these characteristics, lowest first."""
    found = (_FIELD.fullmatch(each) for each in names)
    return tuple(sorted(float(each["height"]) * 1e-3 for each in found if each))


def split_field(change: FloatArray, drawn: Drawn) -> FloatArray:
    """Return (B, height) of relative changes (logarithms) of the field at each height, shapes (N, heights) to (N, 2).

    Weighted least squares of ln B = amplitude + slope x offset + curvature x offset^2, the last two being the drawing's
    (two steps; the curvature counts for offsets up to 0.3 mm only). A single height has no offset (NaN).
    """
    if not drawn.heights_m:
        return np.full((len(change), 2), np.nan)
    heights = np.array(drawn.heights_m)
    nominal = axis_flux_density_t_per_a(drawn.coil, heights)
    weight = 1.0 / np.hypot(_LINEARITY, _SENSOR_NOISE_T_PER_A / nominal)
    if len(heights) == 1:
        return np.column_stack([change[:, 0], np.full(len(change), np.nan)])
    further, nearer = (axis_flux_density_t_per_a(drawn.coil, heights + each) for each in (_STEP_M, -_STEP_M))
    slope = np.log(further / nearer) / (2 * _STEP_M)
    curvature = np.log(further * nearer / nominal**2) / (2 * _STEP_M**2)
    design = np.column_stack([np.ones(len(heights)), slope * 1e-3]) * weight[:, None]
    solve = np.linalg.pinv(design).T
    first = (change * weight) @ solve
    offset_m = np.clip(first[:, [1]] * 1e-3, -_CURVED_M, _CURVED_M)
    fitted = ((change - curvature * offset_m**2) * weight) @ solve
    return fitted * np.array([1.0, 1e-3])


def _field(findings: Findings, drawn: Drawn) -> FloatArray:
    if not drawn.heights_m:
        return np.full((len(findings), 2), np.nan)
    nominal = axis_flux_density_t_per_a(drawn.coil, np.array(drawn.heights_m))
    measured = [_log(findings.value(f"B@{round(each * 1e3, 6):.10g}mm")) for each in drawn.heights_m]
    return split_field(np.column_stack(measured) - np.log(nominal), drawn)


def _log(values: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(values > 0, np.log(np.where(values > 0, values, 1.0)), np.nan)
