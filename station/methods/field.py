"""Field at height, per ampere, by current reversal.

Order + - - + at each height: the sensor's zero, the earth's field and a linear drift drop out. The route only
changes with the drive verified off, so it changes twice: up through the heights forward, down and up in
reverse, down forward again. Each height's four readings lie symmetric in time about the middle of the whole.
Where an operator places spacers, each height has its three legs at once: a spacer is placed once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.instruments import Route, SourceSetup
from drivers.readings import Quantity, Reading
from station.core.characteristics import field_name
from station.core.events import FieldReading
from station.core.plan import FieldStep
from station.core.reasons import reason
from station.core.results import Reason, Result, ResultStatus, Shape, Term
from station.core.run_record import Trace
from station.methods.context import (
    Context,
    NotMeasured,
    Outcome,
    accuracy_term,
    good_value,
    measured,
    require_agreement,
    width_term,
)
from station.methods.profile import FEWEST_HEIGHTS, ProfileFit, design_profile, fit_profile

DRIVE_TOLERANCE = 0.05
"""The measured current must be within this of the drive asked for, relative."""

PROTECTION_HEADROOM = 1.2
"""Over-voltage and over-current protection above the levels set."""

LONGEST_DRIVEN_MOVE_M = 4e-3
"""The stage moves no further than this at once with the drive on: 0.4 s for the slowest stage of 10 mm/s."""

LINEARITY = 1e-3
"""What a sensor's gain may differ between heights, relative: keeps a noiseless profile from being believed
to the last digit (common practice, no source)."""

AGREEMENT = 0.1
"""What the two readings of the same sign at one height may differ, relative to the field: drift of the
sensor's zero and of the earth's field is far below, a field that is not the coil's above."""

DOUBT_FACTOR = 3.0
"""A fitted offset counts against its limit only by what exceeds this many of its standard uncertainties."""


@dataclass(frozen=True, slots=True)
class _Leg:
    route: Route
    heights_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Point:
    height_m: float
    sign: int
    flux_density_t: float
    current_a: float


def measure_field(context: Context, step: FieldStep) -> Outcome:
    """Measure `B@...` in T/A at each height of the step, and fit where the sensor stood.

    A fitted height or lateral error beyond the plan's limit leaves the fields "not measured" with that reason;
    what does not rest on the sensor's place keeps its values: a coil with shorted turns has another profile too.

    Raises:
        NotMeasured: the drive was not reached, the sensor does not answer the current, or the field points the
            wrong way.
    """
    bench = context.bench
    first_message = bench.message_count()
    points: list[_Point] = []
    for leg in _legs(step.heights_m, bench.fixture.has_stage):
        if not points or points[-1].height_m != leg.heights_m[0]:
            _go_to(context, leg.heights_m[0])
        taken = _measure_leg(context, step, leg)
        points.extend(taken)
        _tell(context, taken)
    messages = (first_message, bench.message_count())
    repeatability = _repeatability(points)
    results = tuple(
        _result(context, step, height_m, points, repeatability, messages) for height_m in step.heights_m
    )
    return Outcome(_with_position(context, step, results), (_trace(points),))


def _tell(context: Context, taken: Sequence[_Point]) -> None:
    for each in taken:
        per_ampere = each.sign * each.flux_density_t / each.current_a
        context.tell(FieldReading(height_m=each.height_m, sign=each.sign, field_t_per_a=per_ampere))


def _legs(heights_m: Sequence[float], has_stage: bool) -> tuple[_Leg, ...]:
    """Return forward up, reverse down and up, forward down: + - - + at each height."""
    if not has_stage and len(heights_m) > 1:
        return tuple(leg for each in heights_m for leg in _legs((each,), has_stage))
    up = tuple(heights_m)
    down = up[::-1]
    return (
        _Leg(Route.SOURCE_FORWARD, up),
        _Leg(Route.SOURCE_REVERSE, down + up),
        _Leg(Route.SOURCE_FORWARD, down),
    )


def _measure_leg(context: Context, step: FieldStep, leg: _Leg) -> list[_Point]:
    """Measure field and current at each height of a leg; all of them count together, or none.

    The proofs come with the drive still on: switching off empties the source's error queue.
    """
    bench = context.bench
    with bench.drive(_source_setup(step), route=leg.route) as source:
        bench.clock.sleep(step.settle_s)
        fields = bench.fixture.field_group(mains_cycles=step.mains_cycles)
        currents = source.current_group()
        before_m = leg.heights_m[0]
        for height_m in leg.heights_m:
            _move_driven(context, before_m, height_m)
            before_m = height_m
            fields.take()
            currents.take()
        readings = zip(leg.heights_m, fields.hand_out(), currents.hand_out(), strict=True)
    sign = 1 if leg.route is Route.SOURCE_FORWARD else -1
    return [_point(step, height_m, sign, field, current) for height_m, field, current in readings]


def _point(step: FieldStep, height_m: float, sign: int, field: Reading, current: Reading) -> _Point:
    flux_density_t, current_a = good_value(field), good_value(current)
    if abs(current_a - step.drive_a) > DRIVE_TOLERANCE * step.drive_a:
        raise NotMeasured(
            reason("drive_not_as_set", asked=f"{step.drive_a:g} A", measured=f"{current_a:.4g} A")
        )
    return _Point(height_m, sign, flux_density_t, current_a)


def _go_to(context: Context, height_m: float) -> None:
    if context.bench.fixture.has_stage:
        context.bench.fixture.set_height(height_m)
    else:
        context.place_spacer(height_m)


def _move_driven(context: Context, from_m: float, to_m: float) -> None:
    """Move with the drive on, in steps: no exchange may keep the bench from looking after its drive for 1 s."""
    steps = math.ceil(abs(to_m - from_m) / LONGEST_DRIVEN_MOVE_M)
    for step in range(1, steps + 1):
        context.bench.fixture.set_height(from_m + (to_m - from_m) * step / steps)


def _source_setup(step: FieldStep) -> SourceSetup:
    return SourceSetup(
        voltage_v=step.voltage_limit_v,
        current_a=step.drive_a,
        over_voltage_v=step.voltage_limit_v * PROTECTION_HEADROOM,
        over_current_a=step.drive_a * PROTECTION_HEADROOM,
    )


def _result(
    context: Context,
    step: FieldStep,
    height_m: float,
    points: list[_Point],
    repeatability: Term,
    messages: tuple[int, int],
) -> Result:
    here = [each for each in points if each.height_m == height_m]
    plus = [each for each in here if each.sign > 0]
    minus = [each for each in here if each.sign < 0]
    if {each.flux_density_t for each in plus} & {each.flux_density_t for each in minus}:
        raise NotMeasured(reason("sensor_dead", height_mm=f"{height_m * 1e3:g}"))
    current_a = sum(each.current_a for each in here)
    value = sum(each.sign * each.flux_density_t for each in here) / current_a / (1 + _off_axis(context, height_m))
    if value <= 0:
        raise NotMeasured(reason("polarity_reversed", height_mm=f"{height_m * 1e3:g}"))
    for group in (plus, minus):
        require_agreement(
            [each.flux_density_t / each.current_a for each in group],
            within=AGREEMENT * value,
            instrument=context.bench.fixture.name,
            what=Quantity.FLUX_DENSITY.value,
        )
    terms = (
        accuracy_term(
            context,
            "source",
            Quantity.CURRENT,
            step.drive_a,
            name="current",
            sensitivity=-value / step.drive_a,
        ),
        accuracy_term(
            context,
            "fixture",
            Quantity.FLUX_DENSITY,
            value * step.drive_a,
            name="field sensor",
            sensitivity=1.0 / step.drive_a,
        ),
        *_position_terms(context, height_m, value),
        repeatability,
    )
    return measured(field_name(height_m), "T/A", value, terms, messages=messages)


def _off_axis(context: Context, height_m: float) -> float:
    """Return the mean relative effect of the sensor's lateral setting: c a^2 / 3 for r even within +-a.

    A sensor off the axis is wrong to one side, so its mean is corrected for (GUM 3.2.4), its scatter a term.
    """
    if context.design_field is None:
        return 0.0
    design = design_profile(context.design_field, (height_m,))
    return design.per_lateral_squared[0] / design.per_ampere[0] * _lateral_squared_m2(context) / 3.0


def _position_terms(context: Context, height_m: float, value: float) -> tuple[Term, ...]:
    """Height and lateral setting, by the drawing's own relative slope (height dominates a field's doubt)."""
    if context.design_field is None:
        return ()
    design = design_profile(context.design_field, (height_m,))
    slope = design.per_height[0] / design.per_ampere[0] * value
    curvature = design.per_lateral_squared[0] / design.per_ampere[0] * value
    # Standard deviation of r^2 for r even within +-a: a^2 sqrt(1/5 - 1/9).
    lateral = curvature * _lateral_squared_m2(context) * (1 / 5 - 1 / 9) ** 0.5
    return (
        width_term("height setting", slope * context.bench.setup.fixture.height_half_width_m),
        Term("lateral setting", abs(lateral), sign=1 if lateral >= 0.0 else -1),
    )


def _lateral_squared_m2(context: Context) -> float:
    return context.bench.setup.fixture.lateral_half_width_m**2


def _repeatability(points: list[_Point]) -> Term:
    """Noise of the mean of four, per ampere, from the differences within a height and a sign, pooled.

    Pooled over the heights, since a sensor's noise does not follow the field: two degrees of freedom a height.
    """
    pairs: dict[tuple[float, int], list[float]] = {}
    for each in points:
        pairs.setdefault((each.height_m, each.sign), []).append(each.flux_density_t / each.current_a)
    squares = [(pair[1] - pair[0]) ** 2 / 2 for pair in pairs.values()]
    return Term("repeatability", (sum(squares) / len(squares) / 4) ** 0.5, float(len(squares)), Shape.NORMAL)


def _with_position(context: Context, step: FieldStep, results: tuple[Result, ...]) -> tuple[Result, ...]:
    """Return the results with where the sensor stood; without values if that is too far off."""
    if context.design_field is None or len(results) < FEWEST_HEIGHTS:
        return results
    design = design_profile(context.design_field, step.heights_m)
    values = [each.value or 0.0 for each in results]
    fit = fit_profile(design, values, _independent(results, values))
    misplaced = _misplaced(fit, step)
    if misplaced is not None:
        results = tuple(
            Result(each.characteristic, each.unit_symbol, ResultStatus.NOT_MEASURED, reason=misplaced)
            for each in results
        )
    return (*results, *_fitted_results(fit))


def _independent(results: tuple[Result, ...], values: list[float]) -> list[float]:
    """Standard uncertainty of what differs from height to height: noise, and the sensor's linearity."""
    noise = [
        next(term.standard_uncertainty for term in each.terms if term.name == "repeatability")
        for each in results
    ]
    pooled = (sum(each**2 for each in noise) / len(noise)) ** 0.5
    return [max(pooled, LINEARITY * value) for value in values]


def _misplaced(fit: ProfileFit, step: FieldStep) -> Reason | None:
    """Return why the sensor's place can't be believed, or None."""
    height = (abs(fit.height_offset_m), fit.height_offset_uncertainty_m, step.height_offset_limit_m)
    lateral = (fit.lateral_squared_m2, fit.lateral_squared_uncertainty_m2, step.lateral_limit_m**2)
    for code, (found, doubt, limit), power in (("height_offset", height, 1.0), ("lateral_error", lateral, 0.5)):
        if found - DOUBT_FACTOR * doubt > limit:
            return reason(code, found=f"{found**power * 1e3:.2f} mm", limit=f"{limit**power * 1e3:.2f} mm")
    return None


def _fitted_results(fit: ProfileFit) -> tuple[Result, ...]:
    lateral_doubt_m = fit.lateral_squared_uncertainty_m2**0.5
    return (
        _plain("height_offset", "m", fit.height_offset_m, fit.height_offset_uncertainty_m),
        _plain("lateral_error", "m", fit.lateral_m, lateral_doubt_m),
    )


def _plain(name: str, unit_symbol: str, value: float, doubt: float) -> Result:
    return Result(
        name,
        unit_symbol,
        ResultStatus.MEASURED,
        value=value,
        standard_uncertainty=doubt,
        degrees_of_freedom=float("inf"),
        expanded_uncertainty=1.96 * doubt,
        terms=(Term("fit", doubt),),
    )


def _trace(points: list[_Point]) -> Trace:
    return Trace(
        "field_points",
        (
            ("height_m", tuple(each.height_m for each in points)),
            ("sign", tuple(float(each.sign) for each in points)),
            ("flux_density_t", tuple(each.flux_density_t for each in points)),
            ("current_a", tuple(each.current_a for each in points)),
        ),
    )
