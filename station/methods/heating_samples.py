"""Samples of a heated coil, each looked at before it counts: whatever is odd ends the heating.

The winding's mean temperature comes from its own resistance, hot and cold over the same path (IEC 60034-1,
8.6.2); the surface's from the thermometer near the coil. Both are kept.
"""

from dataclasses import dataclass
from math import isfinite
from statistics import median

from drivers.instruments import Source
from station.coil.heating import winding_rise_k
from station.core.plan import HeatingStep, Plan
from station.core.reasons import reason
from station.methods.context import Context, NotMeasured, good_value

DRIVE_TOLERANCE = 0.05
"""The driven quantity must be measured within this of what was set, relative; else the source limits."""

JUMP_FRACTION = 0.03
LARGEST_JUMP_FRACTION = 0.10
"""Two samples of one level further apart than this in resistance: 8 K in a fifth of a second is no heating. The
second holds however far apart they are in time (a sped-up simulated bench samples sparsely)."""

USUAL_GAP_S = 0.25

LONGEST_GAP_S = 1.5
"""Two samples further apart than this with the drive on: the station's time can't be trusted."""

FALL_K = 1.5
"""A rise that falls by more than this at one level, in medians of `_MEDIAN_OF` samples."""

FOLLOW_K = 8.0
"""From this rise on the two ways of telling it must go together ..."""

FOLLOW_FRACTION = 0.2
"""... at least so far (a spot sensor on a film shows most of the winding's rise)."""

_MEDIAN_OF = 5
_SIDE_BY_SIDE = 0.55
"""Two of the highest coils that pass, side by side, have half their resistance; a tenth more for warmth."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One look at the heated coil. `rise_k` is the winding's over ambient, `time_s` process time."""

    time_s: float
    level: int
    voltage_v: float
    current_a: float
    surface_degc: float
    ambient_degc: float
    rise_k: float

    @property
    def power_w(self) -> float:
        """Power into the coil."""
        return self.voltage_v * self.current_a

    @property
    def resistance_ohm(self) -> float:
        """Resistance of the winding."""
        return self.voltage_v / self.current_a

    @property
    def winding_degc(self) -> float:
        """The winding's mean temperature."""
        return self.ambient_degc + self.rise_k


@dataclass(frozen=True, slots=True)
class Cold:
    """The coil at rest: resistance over the source's route at the temperature of the ambient.

    `noise_k` is the standard uncertainty of the resistance's mean, in K of rise; `still_warm_k` that of what was left
    of an earlier drive's heat.
    """

    resistance_ohm: float
    ambient_degc: float
    surface_degc: float
    noise_k: float
    still_warm_k: float = 0.0


def read_sample(context: Context, source: Source, level: int, cold: Cold | None) -> Sample:
    """Take one sample; without `cold` its rise is 0.

    Raises:
        NotMeasured: a reading has no value: a missing one is not a cold one; no current flows.
    """
    voltage, current = source.measure()
    near, ambient = (good_value(each) for each in context.bench.thermometer.measure())
    volts, amperes = good_value(voltage), good_value(current)
    if not (volts > 0.0 and amperes > 0.0):
        raise NotMeasured(reason("drive_not_as_set", asked="a current", measured=f"{volts:.4g} V {amperes:.4g} A"))
    rise_k = 0.0
    if cold is not None:
        rise_k = float(
            winding_rise_k(
                cold.resistance_ohm,
                cold.ambient_degc,
                volts / amperes,
                ambient,
                winding_constant_degc=context.plan.winding_constant_k,
            )
        )
    time_s = 0.5 * (voltage.monotonic_s + current.monotonic_s)
    return Sample(time_s, level, volts, amperes, near, ambient, rise_k)


def require_like_plan(plan: Plan, resistance_ohm: float) -> None:
    """Raise `NotMeasured` if a cold resistance is as low as that of two coils of this plan side by side."""
    characteristic = plan.characteristic("R20")
    if characteristic is None or characteristic.lower is None or characteristic.upper is None:
        return
    lowest_ohm = min(_SIDE_BY_SIDE * characteristic.upper, characteristic.lower)
    if resistance_ohm < lowest_ohm:
        raise NotMeasured(reason("resistance_unlike", measured=f"{resistance_ohm:.4g} ohm"))


class Watch:
    """Looks at each sample against those before it; the first odd one ends the heating."""

    def __init__(self, step: HeatingStep, cold: Cold, *, speed: float = 1.0) -> None:
        """Begin with a cold coil; `speed` is the clock's: the station's own computer is not sped up."""
        self._longest_gap_s = LONGEST_GAP_S * (max(1.0, speed) if isfinite(speed) else 1.0)
        self._step = step
        self._cold = cold
        self._last: Sample | None = None
        self._highest_k = -1e9
        self._recent_k: list[float] = []
        self.follows = False
        """True once the thermometer near the coil was seen to follow the winding."""

    def next_level(self) -> None:
        """A new drive level: its resistance may differ from the last one's."""
        self._highest_k = -1e9
        self._recent_k.clear()

    def look(self, sample: Sample, asked: float) -> None:
        """Take a sample; `asked` is the drive that was set, V or A.

        Raises:
            NotMeasured: with what is odd.
        """
        self._require_time(sample)
        self._require_drive(sample, asked)
        self._require_resistance(sample)
        hottest = max(sample.winding_degc, sample.surface_degc)
        if hottest > self._step.temperature_limit_degc:
            raise NotMeasured(
                reason("too_hot", reached=f"{hottest:.1f} degC", limit=f"{self._step.temperature_limit_degc:g} degC")
            )
        self._require_agreement(sample)
        self._last = sample

    def _require_time(self, sample: Sample) -> None:
        if self._last is None:
            return
        gap_s = sample.time_s - self._last.time_s
        if not 0.0 < gap_s < self._longest_gap_s:
            raise NotMeasured(reason("clock_stalled", between_samples=f"{gap_s:.3g} s"))

    def _require_drive(self, sample: Sample, asked: float) -> None:
        volts = self._step.drive_quantity == "voltage_v"
        got, unit = (sample.voltage_v, "V") if volts else (sample.current_a, "A")
        if abs(got - asked) > DRIVE_TOLERANCE * asked:
            raise NotMeasured(reason("drive_not_as_set", asked=f"{asked:g} {unit}", measured=f"{got:.4g} {unit}"))
        if sample.power_w > self._step.power_limit_w:
            raise NotMeasured(
                reason("power_above_limit", power=f"{sample.power_w:.3g} W", limit=f"{self._step.power_limit_w:g} W")
            )

    def _require_resistance(self, sample: Sample) -> None:
        last = self._last
        if last is not None and last.level == sample.level:
            change = sample.resistance_ohm / last.resistance_ohm - 1.0
            gaps = max(1.0, (sample.time_s - last.time_s) / USUAL_GAP_S)
            if abs(change) > min(JUMP_FRACTION * gaps, LARGEST_JUMP_FRACTION):
                raise NotMeasured(reason("resistance_jumps", by=f"{change:+.1%}"))
        self._recent_k = [*self._recent_k, sample.rise_k][-_MEDIAN_OF:]
        if len(self._recent_k) < _MEDIAN_OF:
            return
        now_k = median(self._recent_k)
        self._highest_k = max(self._highest_k, now_k)
        if now_k < self._highest_k - FALL_K:
            raise NotMeasured(reason("resistance_falls", by=f"{self._highest_k - now_k:.1f} K"))

    def _require_agreement(self, sample: Sample) -> None:
        """The winding and the two thermometers must tell one story."""
        surface_k = sample.surface_degc - self._cold.surface_degc
        ambient_k = sample.ambient_degc - self._cold.ambient_degc
        winding_k = sample.winding_degc - self._cold.ambient_degc
        shown = {"winding": f"{winding_k:.1f} K", "coil": f"{surface_k:+.1f} K", "ambient": f"{ambient_k:+.1f} K"}
        follows, self.follows = self.follows, False  # until it has told the same story once more
        if winding_k >= FOLLOW_K:
            if ambient_k > FOLLOW_FRACTION * winding_k and ambient_k > surface_k:
                raise NotMeasured(reason("thermometers_swapped", **shown))
            if surface_k < -FOLLOW_FRACTION * winding_k:
                raise NotMeasured(reason("thermometer_reversed", **shown))
            if surface_k < FOLLOW_FRACTION * winding_k:
                raise NotMeasured(reason("thermometer_idle", **shown))
            self.follows = True
        elif surface_k >= FOLLOW_K and winding_k < FOLLOW_FRACTION * surface_k:
            raise NotMeasured(reason("resistance_idle", **shown))
        else:
            self.follows = follows
