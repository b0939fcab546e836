"""Self-heating on a ladder of drive levels: the steady rise of each, foretold while the curve still climbs.

Cold look at a small part of the first level, then level after level with the drive on throughout. At each the
thermal model is fitted once a second; the level ends when the foretold rise is sure enough, or with the full
soak. One unit in so many is soaked out whatever the fit says: that audit alone can see a slow time constant,
and takes the right to stop early away. The next level is climbed only if it is foretold to stay below the
plan's temperature limit.

CAUTION: the coil gets hot enough to burn. The nest is marked as hot, on disk, before the drive goes on, and the
unit stays in it until it is measured cool. These guards are aids, no safety function.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from drivers.instruments import Route, Source, SourceSetup
from station.coil.heating import Drive, steady_state
from station.core.events import HeatingSample, NestHot
from station.core.plan import FieldStep, Frequency, HeatingStep, ResistanceStep
from station.core.reasons import reason
from station.heating_fit.audit import AuditState, Rise, after_early_stop, after_full_soak, soak_due
from station.heating_fit.estimator import Estimate, ThermalEstimator
from station.heating_fit.rule import ConfidenceRule, Target
from station.heating_fit.settled import end_of_soak
from station.methods.context import Context, NotMeasured, Outcome
from station.methods.cooling import cool_by_utc, mark_hot, require_near_ambient, wait_until_cool
from station.methods.heating_budget import counts_k, require_fine_enough
from station.methods.heating_results import Level, heating_results, heating_trace
from station.methods.heating_samples import Cold, Sample, Watch, read_sample, require_like_plan
from station.methods.resistance import wait_until_still

SAMPLE_S = 0.2
LOOK_S = 1.0
COLD_PART = 0.15
"""Level of the cold look, of the first drive: 2 % of its power."""
COLD_SAMPLES = 6
COLD_SETTLED = 0.2
"""Of its own small rise the coil has made at most so much during the cold look."""
COLD_LOOK_S = 10.0
"""What the cold look takes at most, roughly: instruments' own time included."""
COLD_WAIT_S = 60.0
PROTECTION_HEADROOM = 1.2
"""Over-voltage and over-current protection above the levels set."""
CLIMB_MARGIN_K = 1.0
SHORTEST_TIME_CONSTANT_S = 0.5


def measure_heating(context: Context, step: HeatingStep) -> Outcome:
    """Measure `rise@...` at each drive of the step, and what follows from them.

    Raises:
        NotMeasured: refused before the drive goes on, or something odd was seen with it on; it is off then, and
            the nest stays marked as hot until it is cool.
    """
    bench = context.bench
    require_guarded(context, step)
    require_near_ambient(context, step.start_within_k, timeout_s=COLD_WAIT_S)
    first_message = bench.message_count()
    still_warm_k = _let_cool(context)
    mark_hot(context, step, trusted=False, driven_s=COLD_LOOK_S + step.soak_s * len(step.drives))
    ladder = _Ladder(context, step, Cold(0.0, 0.0, 0.0, 0.0, still_warm_k))
    try:
        with bench.drive(source_setup(step, COLD_PART * step.drives[0]), route=Route.SOURCE_FORWARD) as source:
            ladder.climb(source)
    finally:
        # Also after a failure: cooling begins now. A thermometer that was seen to follow may say when it is over.
        follows = ladder.watch is not None and ladder.watch.follows
        mark_hot(context, step, trusted=follows, winding_ratio=ladder.winding_ratio())
    messages = (first_message, bench.message_count())
    wait_until_cool(bench, context.heat, tell=context.tell)
    ladder.keep_audit()
    results = heating_results(context, step, ladder.cold, ladder.levels, ladder.left_out, messages)
    return Outcome(results, (heating_trace(ladder.samples, ladder.foretold),))


def _let_cool(context: Context) -> float:
    """Wait until what the field's drive has heated is cold again; return what may be left of it, in K.

    100 mA warm a film by kelvins. Taken as cold, all its rises would be too small by as much, and the thermometers
    can't tell: they may differ by more. The winding's own resistance can: it is still falling.
    """
    steps = context.plan.steps
    if not any(isinstance(each, FieldStep) for each in steps):
        return 0.0
    still = next((each for each in steps if isinstance(each, ResistanceStep)), None)
    return wait_until_still(context, still or ResistanceStep("resistance", Frequency()))


def require_guarded(context: Context, step: HeatingStep) -> None:
    """Raise `NotMeasured` if neither watchdog nor dead-man would switch off a heating above the touch limit."""
    if context.bench.watched or context.bench.setup.fixture.dead_man:
        return
    if step.temperature_limit_degc > step.touch_limit_degc:
        raise NotMeasured(reason("nobody_watches", bench=context.bench.setup.name))


def source_setup(step: HeatingStep, drive: float) -> SourceSetup:
    """Return levels and protection for a drive: the driven quantity as set, the other at the plan's limit."""
    by_voltage = step.drive_quantity == "voltage_v"
    voltage_v = drive if by_voltage else step.voltage_limit_v
    current_a = step.current_limit_a if by_voltage else drive
    return SourceSetup(
        voltage_v=voltage_v,
        current_a=current_a,
        over_voltage_v=voltage_v * PROTECTION_HEADROOM,
        over_current_a=current_a * PROTECTION_HEADROOM,
    )


@dataclass(slots=True)
class _Ladder:
    """One unit's way up."""

    context: Context
    step: HeatingStep
    cold: Cold
    levels: list[Level] = field(default_factory=list)
    samples: list[Sample] = field(default_factory=list)
    foretold: list[tuple[float, float]] = field(default_factory=list)
    left_out: str = ""
    """Why levels were left out; empty: none was."""
    watch: Watch | None = None
    _estimator: ThermalEstimator | None = None
    _foretold_level: int = 0
    _soak: bool = True
    _next_sample_s: float = 0.0
    _zero_k: float = 0.0
    """Standard uncertainty of the cold resistance, in K of rise."""

    def climb(self, source: Source) -> None:
        """Take the cold look, then every level that may be climbed."""
        self._soak = soak_due(self._audit(), self.step.audit_one_in)
        self._estimator = ThermalEstimator(
            shortest_s=SHORTEST_TIME_CONSTANT_S, longest_s=self.step.longest_time_constant_s
        )
        self._look_cold(source)
        speed = float(getattr(self.context.bench.clock, "speed", 1.0))
        self.watch = Watch(self.step, self.cold, speed=speed)
        for number, drive in enumerate(self.step.drives, start=1):
            if self.levels and not self._may_climb(drive):
                return
            self.levels.append(self._hold_level(source, number, drive))

    def winding_ratio(self) -> float:
        """Return by what the winding's rise was larger than what the thermometer near the coil showed."""
        if not self.samples:
            return 1.0
        last = self.samples[-1]
        return max(1.0, last.rise_k / max(1.0, last.surface_degc - last.ambient_degc))

    def keep_audit(self) -> None:
        """Put on disk what this unit has shown of stopping early."""
        state = self._audit()
        if self._soak:
            soaked = [
                after_full_soak(state, each.early, _as_rise(each), allowed_k=self._allowed_k(each))
                for each in self.levels
            ]
            # One level that disagrees is enough.
            state = next((each for each in soaked if each.revoked and not each.agreeing), soaked[-1])
        elif any(each.settled is None for each in self.levels):
            state = after_early_stop(state)
        try:
            self.context.heat.keep_audit(self._audit_key(), state)
        except OSError as error:
            raise NotMeasured(reason("hot_not_kept", message=str(error))) from error

    def _audit(self) -> AuditState:
        return self.context.heat.audit(self._audit_key())

    def _audit_key(self) -> str:
        return f"{self.context.plan.text_hash or self.context.plan.part} {self.step.mounting}"

    def _look_cold(self, source: Source) -> None:
        """Find the coil at rest, at a level that hardly heats it."""
        assert self._estimator is not None
        started_s = self.context.bench.clock.monotonic()
        taken = [self._sample(source, 0, None) for _ in range(COLD_SAMPLES)]
        ohms = np.array([each.resistance_ohm for each in taken])
        ambient_degc = float(np.mean([each.ambient_degc for each in taken]))
        kelvins = self.context.plan.winding_constant_k + ambient_degc
        resistance_ohm = float(ohms.mean())
        noise = float(ohms.std(ddof=1)) / np.sqrt(len(ohms)) / resistance_ohm
        surface_degc = float(np.mean([each.surface_degc for each in taken]))
        self.cold = Cold(resistance_ohm, ambient_degc, surface_degc, kelvins * noise, self.cold.still_warm_k)
        self._zero_k = math.hypot(
            self.cold.noise_k,
            counts_k(self.context, self.cold, taken[-1].voltage_v, taken[-1].current_a),
        )
        require_like_plan(self.context.plan, resistance_ohm)
        # The look itself heats a little: the responses know it.
        self._estimator.switch_power(started_s, taken[0].power_w)
        if self.step.target_k:
            require_fine_enough(self.context, self.step, self.cold, 0.0)

    def _hold_level(self, source: Source, number: int, drive: float) -> Level:
        """Drive at one level until its steady rise is sure, or the soak is over."""
        assert self._estimator is not None
        assert self.watch is not None
        clock = self.context.bench.clock
        switched_s = clock.monotonic()
        source.configure(source_setup(self.step, drive))
        self.watch.next_level()
        sample = self._sample(source, number, self.cold)
        offset_k = self._offset_k(sample)
        self._estimator.next_level(switched_s, sample.power_w, offset_uncertainty_k=offset_k)
        rule = ConfidenceRule(Target(absolute_k=self.step.target_k, fraction=self.step.target_fraction))
        early: Rise | None = None
        estimate: Estimate | None = None
        first, looked_s = len(self.samples), switched_s
        while True:
            self._take(sample, drive)
            self._tell(sample, number, drive, switched_s)
            if sample.time_s - looked_s >= LOOK_S:
                looked_s = sample.time_s
                estimate = self._estimator.estimate() or estimate
                foretold = self._foretell(estimate, sample, drive)
                if early is None and rule.satisfied(sample.time_s, *foretold):
                    early = Rise(foretold[0], 2.0 * foretold[1])
                    if not self._soak:
                        break
            if sample.time_s - switched_s >= self.step.soak_s:
                break
            sample = self._sample(source, number, self.cold)
        return self._close_level(drive, first, early, estimate)

    def _close_level(self, drive: float, first: int, early: Rise | None, estimate: Estimate | None) -> Level:
        taken = self.samples[first:]
        if estimate is None or not math.isfinite(estimate.standard_uncertainty_k_per_w):
            raise NotMeasured(reason("not_measured", of=f"drive {drive:g}: nothing heats"))
        settled = None
        if self._soak or early is None:
            settled = end_of_soak(
                np.array([each.time_s for each in taken]),
                np.array([each.rise_k - estimate.offset_k for each in taken]),
                slowest_s=self.step.longest_time_constant_s,
            )
        first_rise_k = self.levels[0].rise_k if self.levels else self.foretold[-1][0]
        own_heat_k = COLD_SETTLED * COLD_PART**2 * first_rise_k
        level = Level(drive, tuple(taken), early, settled, estimate, self.foretold[-1], own_heat_k)
        require_fine_enough(self.context, self.step, self.cold, level.rise_k)
        self._refine_zero(estimate, taken[-1])
        return level

    def _take(self, sample: Sample, drive: float) -> None:
        assert self._estimator is not None
        assert self.watch is not None
        self.watch.look(sample, drive)
        self.samples.append(sample)
        self.foretold.append(self.foretold[-1] if self.foretold else (0.0, 0.0))
        self._estimator.add(sample.time_s, sample.power_w, sample.rise_k)

    def _tell(self, sample: Sample, number: int, drive: float, switched_s: float) -> None:
        """Let whoever looks on see the curve, and when the coil will be cool at the latest if all goes on."""
        step = self.step
        level_left_s = max(0.0, step.soak_s - (sample.time_s - switched_s))
        left_s = level_left_s + step.soak_s * (len(step.drives) - number)
        rise_k, uncertainty_k = self.foretold[-1]
        known = self._foretold_level == number  # at first what stands there is the level before
        self.context.tell(
            HeatingSample(
                time_s=sample.time_s - self.samples[0].time_s,
                level=number,
                levels=len(step.drives),
                drive=drive,
                drive_unit="V" if step.drive_quantity == "voltage_v" else "A",
                rise_k=sample.rise_k,
                wanted_k=step.target_k or step.target_fraction * (rise_k if known else sample.rise_k),
                soaked_out=self._soak,
                level_left_s=level_left_s,
                left_s=left_s,
                foretold_rise_k=rise_k if known else None,
                foretold_uncertainty_k=uncertainty_k if known else None,
            )
        )
        clock = self.context.bench.clock
        self.context.tell(
            NestHot(
                touch_limit_degc=step.touch_limit_degc,
                driven=True,
                cool_by_utc=cool_by_utc(clock, left_s + step.cooling_s),
                reads_degc=max(sample.winding_degc, sample.surface_degc),
            )
        )

    def _foretell(self, estimate: Estimate | None, sample: Sample, drive: float) -> tuple[float, float]:
        """Return steady rise and standard uncertainty by the fit, in K; an endless one if there is no fit."""
        if estimate is None or not math.isfinite(estimate.standard_uncertainty_k_per_w):
            return 0.0, math.inf
        found = self._steady(estimate, sample.ambient_degc, drive)
        if not all(map(math.isfinite, found)):
            # A constant current runs away: there is no steady rise to foretell.
            return 0.0, math.inf
        self.foretold[-1] = found
        self._foretold_level = sample.level
        return found

    def _steady(self, estimate: Estimate, ambient_degc: float, drive: float) -> tuple[float, float]:
        k = self.context.plan.winding_constant_k
        at_20 = self.cold.resistance_ohm * (k + 20.0) / (k + self.cold.ambient_degc)
        by = Drive(voltage_v=drive) if self.step.drive_quantity == "voltage_v" else Drive(current_a=drive)
        mean, above = (
            steady_state(at_20, by, each, ambient_degc, winding_constant_degc=k).rise_k
            for each in (
                estimate.thermal_resistance_k_per_w,
                estimate.thermal_resistance_k_per_w + estimate.standard_uncertainty_k_per_w,
            )
        )
        return mean, (above - mean if math.isfinite(above) else math.inf)

    def _may_climb(self, drive: float) -> bool:
        """Tell whether the next level is foretold to stay below the limit, two standard uncertainties up."""
        last = self.levels[-1]
        ambient_degc = self.samples[-1].ambient_degc
        rise_k, uncertainty_k = self._steady(last.estimate, ambient_degc, drive)
        reached_degc = ambient_degc + rise_k + 2.0 * uncertainty_k + CLIMB_MARGIN_K
        if reached_degc < self.step.temperature_limit_degc:
            return True
        unit = "V" if self.step.drive_quantity == "voltage_v" else "A"
        self.left_out = f"{drive:g} {unit} would reach {reached_degc:.0f} degC"
        return False

    def _offset_k(self, sample: Sample) -> float:
        """Standard uncertainty of the rises' zero at this level: what is known of it, and both levels' counts."""
        here_k = counts_k(self.context, self.cold, sample.voltage_v, sample.current_a)
        return math.hypot(self._zero_k, here_k)

    def _refine_zero(self, estimate: Estimate, last: Sample) -> None:
        """Take the cold resistance as this level, extrapolated back to switching on, says it is."""
        kelvins = self.context.plan.winding_constant_k + self.cold.ambient_degc
        resistance_ohm = self.cold.resistance_ohm * (1.0 + estimate.offset_k / kelvins)
        self.cold = replace(self.cold, resistance_ohm=resistance_ohm)
        # Counts of this level are in the cold resistance from now on.
        here_k = counts_k(self.context, self.cold, last.voltage_v, last.current_a)
        self._zero_k = math.hypot(estimate.offset_uncertainty_k, here_k)

    def _allowed_k(self, level: Level) -> float:
        return self.step.target_k or self.step.target_fraction * level.rise_k

    def _sample(self, source: Source, number: int, cold: Cold | None) -> Sample:
        """Take a sample, no sooner than `SAMPLE_S` after the last."""
        clock = self.context.bench.clock
        clock.sleep(max(0.0, self._next_sample_s - clock.monotonic()))
        self._next_sample_s = clock.monotonic() + SAMPLE_S
        return read_sample(self.context, source, number, cold)


def _as_rise(level: Level) -> Rise:
    assert level.settled is not None
    return Rise(level.settled.rise_k, 2.0 * level.settled.standard_uncertainty_k + level.settled.still_k)

