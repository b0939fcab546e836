"""From a lot's causes to what to do: what to ask the board maker, and what to put right oneself."""

from typing import TYPE_CHECKING

import numpy as np

from station.causes.baseline import FEWEST_IN_PANEL
from station.causes.evidence import reference_words
from station.causes.hidden import HardestTurn
from station.causes.kinds import COPPER_HIGH, COPPER_LOW, Cause
from station.causes.measured_copper import lot_words
from station.causes.observables import R20, B, L
from station.causes.study import Study

if TYPE_CHECKING:
    from station.causes.explain import CauseCount, NamedCause

_PANELS_FROM = 3.5
"""Robust standard deviations of panel medians from which on a panel is named (Iglewicz and Hoaglin 1993)."""
_FEWEST_PANELS = 5
_MAD_TO_SD = 1.482602218505602

_ASKS: dict[Cause, str] = {
    Cause.SHORTED_TURNS: "shorted turns: ask for the etch and inspection records, and whether panels get an electrical "
    "or optical test for bridges; send the units named",
    Cause.LAYER_SHORT: "shorts between layers: ask about the film, lamination and drilling of these panels",
    Cause.OPEN: "open coils: ask about vias and breaks of thin tracks; send the units named",
    Cause.POOR_CONTACT: "ours: clean or change needles, look at the pads' finish, seat these units again",
    Cause.WARM: "ours: let units come to the nest's temperature before the scan",
    Cause.METAL: "ours: clear metal from around the nest, measure these units again",
    Cause.WRONG_PART: "compare the units named with the drawing: another part may be among them",
    Cause.SENSOR_POSITION: "ours: clean the nest and its stops, measure these units again",
    Cause.BENCH_DRIFT: "ours: verify the bench before anything is said to the board maker; measure the lot again",
    Cause.NONE_OF_THESE: "show the units that fit no known cause to an engineer",
    Cause.NOT_MEASURED: "ours: units without a measurement; put the bench right and scan them again",
}


def level_words(study: Study) -> tuple[str, ...]:
    """Say where the lot's middle stands against the drawing."""
    base = study.baseline
    if not base.from_lot:
        return ("too few measured units for a lot of their own: they stand against the drawing.",)
    parts = [
        f"{name} {np.expm1(base.lot_centre[column]):+.2%}"
        for column, name in ((R20, "R20"), (L, "L"), (B, "field per ampere"))
        if base.units[column]
    ]
    return (
        f"the lot's median against the drawing: {', '.join(parts)}.",
        *_panel_words(study),
        *lot_words(study.copper, float(base.lot_centre[R20])),
        *reference_words(study),
    )


def _panel_words(study: Study) -> list[str]:
    panels = np.array(study.findings.panels, dtype=str)
    names, first, units = np.unique(panels, return_index=True, return_counts=True)
    large = units >= FEWEST_IN_PANEL  # the others have the lot's centre for their own
    names, first = names[large], first[large]
    if len(names) < _FEWEST_PANELS:
        return []
    centres = study.baseline.centre[first, R20]
    middle = np.median(centres)
    deviation = _MAD_TO_SD * np.median(np.abs(centres - middle))
    odd = np.flatnonzero(np.abs(centres - middle) > _PANELS_FROM * max(deviation, 1e-9))
    if not len(odd):
        return [f"panels differ in R20 by {deviation:.1%} (standard deviation), none stands out."]
    shown = ", ".join(f"{names[each]} ({np.expm1(centres[each] - middle):+.1%})" for each in odd[:8])
    return [f"panels that stand out in R20: {shown}."]


def asks_of(
    study: Study,
    table: tuple["CauseCount", ...],
    level: tuple["NamedCause", ...],
    hardest: HardestTurn | None,
) -> tuple[str, ...]:
    """Return what to ask and do, whole lot first, then by count."""
    asks = []
    copper = [each.cause for each in table if each.cause in COPPER_HIGH + COPPER_LOW]
    whole = level[0].cause
    if whole is Cause.BENCH_DRIFT:
        asks.append(_ASKS[Cause.BENCH_DRIFT])
    asks += _copper_asks(whole, copper)
    asks += [
        f"{_ASKS[each.cause]} ({each.passed + each.not_passed}: {', '.join(each.examples)})"
        for each in table
        if each.cause in _ASKS and each.cause is not Cause.BENCH_DRIFT
    ]
    if hardest is not None and hardest.hard:
        asks.append(f"not covered by these measurements: {hardest.words}")
    return tuple(asks)


_MEASURED_ASKS: dict[Cause, str] = {
    Cause.NARROW_TRACK: "tracks etched too narrow, by measurement",
    Cause.WIDE_TRACK: "tracks etched too little, by measurement",
    Cause.THIN_COPPER: "copper thin or of high resistivity, by measurement",
    Cause.THICK_COPPER: "copper too thick, by measurement",
    Cause.LOCAL: "narrow places or poor vias, by measurement",
}


def _copper_asks(whole: Cause, units: list[Cause]) -> list[str]:
    """What was measured goes back with the findings; what was not is asked to be measured."""
    found = [whole, *(each for each in units if each is not whole)]
    asks = [
        f"{_MEASURED_ASKS[each]}, {_scope(each is whole)}: send the findings along and ask what changed"
        for each in found
        if each in _MEASURED_ASKS
    ]
    unknown = [each for each in found if each in (Cause.NARROW, Cause.WIDE)]
    if unknown:
        narrow = whole is Cause.NARROW or (whole is not Cause.WIDE and Cause.NARROW in unknown)
        what = "narrow or thin" if narrow else "wide or thick"
        asks.append(
            f"copper {what}, {_scope(whole in unknown)}: ask for track widths and finished copper measured on a "
            "coupon of two widths of each panel, and a micro-section of one extreme and one typical unit; R and L "
            "alone don't tell width from thickness"
        )
    return asks


def _scope(whole_lot: bool) -> str:
    return "of the whole lot" if whole_lot else "of single units and panels"
