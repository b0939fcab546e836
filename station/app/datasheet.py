"""The datasheet from the records: of a part over its lots, or of one lot."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from station.app.datasheet_heating import heating_of
from station.app.datasheet_limits import limits_fact, proposed_limits
from station.app.datasheet_revisions import revisions_fact, revisions_of
from station.app.drawing import geometry_of
from station.app.facts import Fact
from station.app.lot_report import plan_words
from station.app.lot_samples import limits_in, lot_standing, plan_of
from station.coil.field import axis_flux_density_t_per_a
from station.coil.geometry import CoilGeometry
from station.coil.prediction import predict
from station.core.characteristics import field_name, yields
from station.core.plan import (
    FieldStep,
    FrequencyKind,
    HeatingStep,
    InductanceStep,
    MethodStep,
    Plan,
    ResistanceStep,
)
from station.core.quantity import format_quantity
from station.errors import RecordError
from station.quality.figure_intervals import figure_intervals
from station.quality.promise import FEWEST_LOTS
from station.quality.risk import Tolerance
from station.quality.sample import Sample
from station.quality.stated import stated_range
from station.records import Records
from station.records.lot_findings import lot_findings
from station.records.standing import LotStanding
from station.reports.datasheet import Datasheet, Line
from station.reports.datasheet_heating import Heating
from station.reports.pictures import symbols

_ONLY_IF_LIMITED = ("Rs", "Q", "surface", "tau")
"""Beginnings of names that say more of the measurement than of the coil; stated if the plan limits them."""


@dataclass(frozen=True, slots=True)
class _Source:
    """A lot that the datasheet stands on, with the plan of its latest run."""

    standing: LotStanding
    plan: Plan


def datasheet(
    records: Records,
    name: str,
    *,
    coverage: float = 0.99,
    confidence: float = 0.95,
    rises_k: Sequence[float] = (),
) -> Datasheet:
    """Return the datasheet of lot `name`, or of part `name` over all its lots.

    Real lots only if there are any: simulated and real units never mix. `rises_k`: for which the largest drive is
    wanted; empty: the usual ones.

    Raises:
        RecordError: neither a lot nor a part with a lot on record, or no unit of it passes.
    """
    sources = _sources(records, name)
    plan = sources[-1].plan
    missing: list[str] = []
    samples: dict[str, Sample] = {}
    lines = tuple(_lines(records, sources, plan, coverage, confidence, missing, samples))
    if not lines:
        raise RecordError(f"{name}: no unit that passes has a value on record. Measure first.")
    lots = tuple(each.standing.lot for each in sources)
    heights = [each.height_m for each in lines if each.height_m is not None]
    curve = np.linspace(0.0, 1.1 * max(heights, default=0.01), 120)
    sheet = Datasheet(
        part=plan.part,
        title=plan.title,
        of=f"lot {lots[0]}" if len(lots) == 1 else f"{len(lots)} lots",
        lots=lots,
        plan_words=plan_words(records, plan),
        coil=plan.coil,
        lines=lines,
        curve_height_m=curve,
        curve_t_per_a=axis_flux_density_t_per_a(geometry_of(plan.coil), curve),
        coverage=coverage,
        confidence=confidence,
        population="units of these lots that pass and are not held, each by its last measured value",
        provisional=len(lots) < FEWEST_LOTS,
        simulated=sources[0].standing.simulated,
        newest_utc=max(datetime.fromisoformat(lot_findings(records, lot, ()).last_utc) for lot in lots),
        missing=tuple(missing),
        name=name,
        heating=heating_of(plan, lines, rises_k),
        limits=proposed_limits(plan, lines, samples),
    )
    return replace(sheet, revisions=revisions_of(records, sheet))


def datasheet_fact(sheet: Datasheet) -> Fact:
    """Return the datasheet as plain data; SI, unscaled."""
    return {
        "part": sheet.part,
        "lots": list(sheet.lots),
        "population": sheet.population,
        "coverage": sheet.coverage,
        "confidence": sheet.confidence,
        "provisional": sheet.provisional,
        "simulated": sheet.simulated,
        "newest_utc": sheet.newest_utc.isoformat(),
        "characteristics": {each.name: _line_fact(each) for each in sheet.lines},
        "not_stated": list(sheet.missing),
        "heating": None if sheet.heating is None else _heating_fact(sheet.heating),
        "proposed_limits": limits_fact(sheet.limits),
        **revisions_fact(sheet.revisions),
    }


def _heating_fact(found: Heating) -> Fact:
    return {
        "drive_unit": found.drive_unit,
        "mounting": found.mounting,
        "ambient_degc": found.ambient_degc,
        "temperature_limit_degc": found.temperature_limit_degc,
        "coils": [
            {
                "coil": each.name,
                "R20": each.resistance_20_ohm,
                "thermal_resistance_k_per_w": each.thermal_resistance_k_per_w,
                "largest_drive": [
                    {"rise_k": rise, "drive": drive} for rise, drive in zip(found.rises_k, each.largest, strict=True)
                ],
            }
            for each in found.coils
        ],
    }


def _line_fact(line: Line) -> Fact:
    stated = line.stated
    return {
        "unit": line.unit_symbol,
        "conditions": line.conditions,
        "minimum": stated.minimum,
        "typical": stated.typical,
        "maximum": stated.maximum,
        "minimum_is_limit": stated.minimum_is_limit,
        "maximum_is_limit": stated.maximum_is_limit,
        "method": stated.method or None,
        "why_not": stated.why or None,
        "doubt": stated.doubt or None,
        "units": stated.units,
        "lots": stated.lots,
        "drawn": line.drawn,
        "expanded_uncertainty": line.expanded_uncertainty,
        "height_m": line.height_m,
        "known": {
            figure: None if known is None else {"estimate": known.estimate, "low": known.low, "high": known.high}
            for figure, known in (
                ("minimum", line.known.minimum),
                ("typical", line.known.typical),
                ("maximum", line.known.maximum),
            )
        },
    }


def _sources(records: Records, name: str) -> list[_Source]:
    """The lots asked for, in order of name; real ones only, if there are any."""
    lots = records.lots()
    asked = (name,) if name in lots else lots
    found = []
    for lot in asked:
        standing = lot_standing(records, lot)
        plan = plan_of(records, standing)
        if plan is not None and name in (lot, plan.part):
            found.append(_Source(standing, plan))
    if not found:
        raise RecordError(
            f"{name}: neither a lot nor a part with a lot on record in {records.where}. Look at the name, or at --home."
        )
    real = [each for each in found if not each.standing.simulated]
    return real or found


def _lines(
    records: Records,
    sources: Sequence[_Source],
    plan: Plan,
    coverage: float,
    confidence: float,
    missing: list[str],
    samples: dict[str, Sample],
) -> list[Line]:
    drawn = _drawn(plan)
    lines = []
    for step in plan.steps:
        for name, unit in yields(step):
            limited = limits_in(plan, name) is not None
            if name.startswith(_ONLY_IF_LIMITED) and not limited:
                continue
            sample, lots, uncertainty = _joined(records, sources, name)
            if sample is None:
                missing.append(f"{name}: not measured on any unit that passes")
                continue
            judged = _judged(sources, name) if step.frequency.kind is FrequencyKind.EVERY else None
            stated = stated_range(
                sample, lots, coverage=coverage, confidence=confidence, uncertainty=uncertainty or 0.0, judged=judged
            )
            height = _height(step, name)
            known = figure_intervals(sample, lots, coverage=coverage)
            words = _conditions(step, height)
            lines.append(Line(name, unit, words, stated, drawn.get(name), uncertainty, height, known))
            samples[name] = sample
    if not any(isinstance(step, HeatingStep) for step in plan.steps):
        missing.append("rise over drive and the largest drive: the control plan does not measure heating")
    return lines


def _joined(
    records: Records, sources: Sequence[_Source], name: str
) -> tuple[Sample | None, np.ndarray, float | None]:
    """Values of one characteristic of the units that pass, the lot of each, and the median of their U (95 %)."""
    values, lots, uncertainties, unit = [], [], [], ""
    for source in sources:
        found = records.lot_values(source.standing.lot, name)
        kept = np.array([serial in source.standing.passed for serial in found.serials], dtype=bool)
        if kept.any():
            values.append(found.values[kept])
            uncertainties.append(found.expanded_uncertainties[kept])
            lots += [source.standing.lot] * int(kept.sum())
            unit = found.unit_symbol
    if not values:
        return None, np.array([]), None
    words = f"units of {', '.join(dict.fromkeys(lots))} that pass and are not held, with a measured {name}"
    known = np.concatenate(uncertainties)
    known = known[np.isfinite(known)]
    return Sample(np.concatenate(values), words, unit), np.array(lots), float(np.median(known)) if known.size else None


def _judged(sources: Sequence[_Source], name: str) -> Tolerance | None:
    """The widest limits of the lots' plans; None if one of them has none, or judges without a whole guard band."""
    found = [each.plan.characteristic(name) for each in sources]
    limits = [each for each in found if each is not None and each.guard.whole]
    if len(limits) < len(found):
        return None
    lowers, uppers = [each.lower for each in limits], [each.upper for each in limits]
    lower = None if None in lowers else min(each for each in lowers if each is not None)
    upper = None if None in uppers else max(each for each in uppers if each is not None)
    return None if lower is None and upper is None else Tolerance(lower, upper)


def _drawn(plan: Plan) -> dict[str, float]:
    """What the drawing's model gives, by characteristic."""
    coil: CoilGeometry = geometry_of(plan.coil)
    drawn: dict[str, float] = {}
    for step in plan.steps:
        if isinstance(step, ResistanceStep):
            drawn["R20"] = predict(coil).resistance_20_ohm
        elif isinstance(step, InductanceStep):
            found = predict(coil, frequency_hz=step.test_frequency_hz)
            drawn[f"L{step.suffix}"] = found.apparent_inductance_h or found.inductance_h
        elif isinstance(step, FieldStep):
            points = predict(coil, heights_m=step.heights_m).field
            drawn |= {field_name(each.height_m): each.flux_density_t_per_a for each in points}
    return drawn


def _height(step: MethodStep, name: str) -> float | None:
    heights = step.heights_m if isinstance(step, FieldStep) else ()
    return next((each for each in heights if field_name(each) == name), None)


def _conditions(step: MethodStep, height_m: float | None) -> str:
    if isinstance(step, ResistanceStep):
        return symbols("direct current, copper at 20 degC")
    if isinstance(step, InductanceStep):
        frequency = symbols(format_quantity(step.test_frequency_hz, "Hz", digits=None))
        return f"{frequency}, {symbols(format_quantity(step.level_v, 'V', digits=None))}"
    if height_m is not None:
        return f"per ampere, on the axis, {symbols(format_quantity(height_m, 'm', digits=None))} high"
    if isinstance(step, HeatingStep):
        ambient = symbols(format_quantity(step.ambient_degc, "degC", digits=None))
        return f"mounted on: {step.mounting or 'not stated'}; ambient {ambient}"
    return ""
