"""Drafts of control plans: from a plan that is there, or from the first units of a lot."""

import math
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

import numpy as np

from station.app.files import read_plan
from station.app.lot_samples import lot_sample, lot_standing, plan_of
from station.core.plan import Plan
from station.core.plan_draft import ProposedLimits, mark_every_number, pass_edges, with_proposals
from station.core.quantity import format_quantity
from station.core.toml_edit import put, text_literal
from station.errors import PlanError, RecordError
from station.quality.outliers import robust_outliers
from station.quality.readings import StudyDataError
from station.quality.sample import Sample
from station.quality.stated import StatedRange, stated_range
from station.records import Records

FEWEST_UNITS = 20
"""Below, an interval says little more than that the units are few."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A plan's text with its proposed numbers marked, and what could not be proposed, in words."""

    text: str
    left: tuple[str, ...]


def source_of(records: Records, name: str) -> tuple[str, str]:
    """Return the text of a plan file, or of a part's newest revision, and what it is in words.

    Raises PlanError for a file with mistakes, RecordError if it is neither.
    """
    for each in records.released_plans():
        if each.part == name:
            return each.source_text, f"{each.part} revision {each.revision}"
    if not Path(name).exists():
        raise RecordError(f"{name}: neither a file nor a part with a released plan.")
    return read_plan(Path(name)).source_text, Path(name).name


def draft_from_plan(source_text: str, of: str, *, part: str = "") -> Draft:
    """Return a plan's text for another part or revision: every number marked, none decided.

    Args:
        of: what it is a copy of, in words: "IS-20 revision 2".
        part: the draft's own part; empty: as it is.
    """
    return Draft(mark_every_number(_of_part(source_text, part), f"as in {of}"), ())


def _of_part(text: str, part: str) -> str:
    if not part:
        return text
    lines = text.splitlines(keepends=True)
    put(lines, (0, len(lines)), "part", text_literal(part))
    return "".join(lines)


def draft_from_lot(
    records: Records, lot: str, units: int, *, coverage: float = 0.99, confidence: float = 0.95, part: str = ""
) -> Draft:
    """Return the lot's plan with limits proposed by the first `units` units that have a value.

    Limits are where `coverage` of all units lie with `confidence`, moved out by the uncertainty, which the guard band
    takes off again. Units far from the others (shorted, say) don't count; how many is said. A characteristic whose
    units are too few keeps its limits, marked too.

    Raises:
        RecordError: unknown lot, too few units, or its plan is not on record.
        PlanError: the outcome is no sound plan.
    """
    if units < FEWEST_UNITS:
        raise RecordError(f"a draft needs {FEWEST_UNITS} units or more; got {units}.")
    standing = lot_standing(records, lot)
    plan = plan_of(records, standing)
    if plan is None:
        raise RecordError(f"lot {lot}: its plan is not on record; there is nothing to make a draft of.")
    proposals, left = [], []
    for each in plan.characteristics:
        try:
            proposals.append(_proposed(records, lot, plan, each.name, units, coverage, confidence))
        except (StudyDataError, RecordError) as error:
            left.append(f"{each.name}: {error}")
            proposals.append(ProposedLimits(each.name, each.lower, each.upper, (), "as it is, too little is known"))
    if len(left) == len(proposals):
        raise RecordError(f"lot {lot}: nothing can be proposed. {'; '.join(left)}.")
    try:
        return Draft(with_proposals(_of_part(plan.source_text, part), proposals), tuple(left))
    except PlanError as error:
        raise RecordError(f"lot {lot}: the limits proposed make no sound plan: {error}") from error


def _proposed(
    records: Records, lot: str, plan: Plan, name: str, units: int, coverage: float, confidence: float
) -> ProposedLimits:
    standing = lot_standing(records, lot)
    whole = lot_sample(records, standing, name).sample
    sample, odd = _usual(replace(whole, values=whole.values[:units]))
    if sample.size < FEWEST_UNITS:
        raise StudyDataError(f"only {sample.size} units have a value; {FEWEST_UNITS} are needed")
    uncertainty = _uncertainty(records, lot, name, units)
    stated = stated_range(
        sample, np.zeros(sample.size), coverage=coverage, confidence=confidence, uncertainty=uncertainty
    )
    if stated.minimum is None or stated.maximum is None:
        raise StudyDataError(stated.why)
    found = plan.characteristic(name)
    step = rounding_step(stated.maximum - stated.minimum)
    lower = None if found is None or found.lower is None else _neat(math.floor(stated.minimum / step), step)
    upper = None if found is None or found.upper is None else _neat(math.ceil(stated.maximum / step), step)
    edges = _edges(sample, pass_edges(plan, name), lower, upper, step)
    words = format_quantity(uncertainty, whole.unit_symbol, digits=2)
    note = f"{_basis(stated, lot, sample.size, odd)}, moved out by U = {words}"
    return ProposedLimits(name, lower, upper, edges, note)


def _usual(sample: Sample) -> tuple[Sample, int]:
    """The values without those that don't belong, and how many these were."""
    odd = robust_outliers(sample).indices
    return replace(sample, values=np.delete(sample.values, odd)), len(odd)


def _uncertainty(records: Records, lot: str, name: str, units: int) -> float:
    known = records.lot_values(lot, name).expanded_uncertainties[:units]
    known = known[np.isfinite(known)]
    return float(np.median(known)) if known.size else 0.0


def rounding_step(width: float) -> float:
    """Return the power of ten that limits so far apart are rounded to: outwards, by 1 % of their distance at most."""
    return 10.0 ** math.floor(math.log10(width / 100.0)) if width > 0.0 else 1.0


def _edges(
    sample: Sample, before: tuple[float, ...], lower: float | None, upper: float | None, step: float
) -> tuple[float, ...]:
    """Where bins part: the limits at the ends, between them so that each takes alike many."""
    if len(before) < 2 or lower is None or upper is None:
        return ()
    shares = np.linspace(0.0, 1.0, len(before))[1:-1]
    inner = [_neat(round(float(each) / step), step) for each in np.quantile(sample.values, shares)]
    return (lower, *inner, upper)


def _neat(count: int, step: float) -> float:
    """So many steps, without the dust of binary fractions."""
    return float(Decimal(count) * Decimal(f"{step:.0e}"))


def _basis(stated: StatedRange, lot: str, units: int, odd: int) -> str:
    left_out = f", {odd} odd ones left out" if odd else ""
    share, sure = 100 * stated.coverage, 100 * stated.confidence
    return (
        f"{share:.4g} % of all units with {sure:.4g} % confidence ({stated.method}), "
        f"first {units} units of lot {lot}{left_out}"
    )
