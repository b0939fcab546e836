"""What was measured on a lot's copper, sorted by unit and panel, and what it changes in the causes."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from station.causes.copper import (
    CopperFinding,
    CopperParts,
    beside_unit,
    copper_parts,
    divided,
    lot_finding,
    middle_parts,
    parts_words,
    unexplained,
)
from station.causes.kinds import CAUSES, Cause
from station.causes.signatures import MODEL_ERROR, Signatures
from station.coil.geometry import FloatArray

_EXPLAINED_BY_COPPER = tuple(
    CAUSES.index(each) for each in (Cause.NOTHING, Cause.NARROW, Cause.WIDE, Cause.SENSOR_POSITION)
)
_BRIDGES = tuple(CAUSES.index(each) for each in (Cause.SHORTED_TURNS, Cause.LAYER_SHORT))

_LOCAL_SHARE = 0.3
"""Standard deviation of what one neck or via, which no width shows, has of a unit's odd R20, over that (ours)."""

_SURE_SD = 0.015
"""No mean of findings is surer than this of a lot: they may share one microscope's error (ours)."""

_FEWEST_PANELS = 3
_LEAST_SPREAD = 0.005


@dataclass(frozen=True, eq=False)
class MeasuredCopper:
    """Findings by serial and by panel; what they say of the other panels; and what R20 is beyond them.

    by_panel: a panel's own, and its units' as far as they speak of the panel (subject: the unit). panel_resistance: ln
    R20 against the drawing of each panel with findings. middle, elsewhere: what they say of the lot's middle and of
    another panel. bench_sd: relative, by which the reference unit was off. beyond: of the lot, with its standard
    deviation; None without findings.
    """

    by_unit: dict[str, tuple[CopperFinding, ...]] = field(default_factory=dict)
    by_panel: dict[str, tuple[CopperFinding, ...]] = field(default_factory=dict)
    panel_resistance: dict[str, float] = field(default_factory=dict)
    middle: tuple[CopperFinding, ...] = ()
    elsewhere: tuple[CopperFinding, ...] = ()
    bench_sd: float = 0.0
    beyond: tuple[float, float] | None = None

    def __bool__(self) -> bool:
        return bool(self.by_unit or self.by_panel)

    def of(self, serial: str, panel: str) -> tuple[CopperFinding, ...]:
        """Return what stands for a unit: found on it, then on its panel, else on other panels of its lot."""
        of_panel = tuple(each for each in self.by_panel.get(panel, ()) if each.subject != serial)
        return self.by_unit.get(serial, ()) + of_panel or self.elsewhere

    def parts_of(self, serial: str, panel: str, resistance: FloatArray) -> CopperParts:
        """Return what makes up ln R20 against the drawing (N,) of a unit, or of units of a panel, that have no findings
        of their own."""
        panel_resistance = self.panel_resistance.get(panel, np.nan)
        return copper_parts(self.of(serial, panel), resistance, panel_resistance, self.bench_sd)


def measured_copper(
    findings: Sequence[CopperFinding],
    serials: Sequence[str],
    panels: Sequence[str],
    resistance: FloatArray,
    *,
    bench_shift: float,
) -> MeasuredCopper:
    """Sort findings. resistance: ln R20 of each unit against the drawing (N,), NaN where there is none."""
    if not findings:
        return MeasuredCopper()
    by_unit: dict[str, tuple[CopperFinding, ...]] = {}
    by_panel: dict[str, tuple[CopperFinding, ...]] = {}
    for each in findings:
        group = by_unit if each.of_unit else by_panel
        group[each.subject] = (*group.get(each.subject, ()), each)
    place = {serial: row for row, serial in enumerate(serials)}
    panel_of = {serial: panels[place[serial]] for serial in by_unit if serial in place}
    own = {serial: float(resistance[place[serial]]) for serial in panel_of}
    every = _panel_medians(panels, resistance)
    directly = dict(by_panel)
    for serial, panel in panel_of.items():
        speaks = beside_unit(by_unit[serial], own[serial], every.get(panel, np.nan))
        by_panel[panel] = (*by_panel.get(panel, ()), speaks)
    by_panel = dict(sorted(by_panel.items()))
    medians = {each: every[each] for each in by_panel if each in every}
    found = MeasuredCopper(by_unit, by_panel, medians, bench_sd=abs(bench_shift))
    spread = float(np.std(list(every.values()), ddof=1)) if len(every) >= _FEWEST_PANELS else float("inf")
    seen = [(each, medians.get(panel, float("nan"))) for panel, each in by_panel.items()]
    middle, elsewhere = (
        (lot_finding(seen, abs(bench_shift), panel_spread=max(spread, _LEAST_SPREAD), another=another),) if seen else ()
        for another in (False, True)
    )
    return replace(found, middle=middle, elsewhere=elsewhere, beyond=_beyond(found, directly, panel_of, own))


def divide(copper: MeasuredCopper, serials: Sequence[str], panels: Sequence[str], resistance: FloatArray,
           probabilities: FloatArray) -> FloatArray:  # fmt: skip
    """Return the causes (N, causes) of units with narrow or thin, wide or thick copper told apart as far as it is."""
    if not copper:
        return probabilities
    odd = probabilities[:, [CAUSES.index(Cause.NARROW), CAUSES.index(Cause.WIDE)]].sum(axis=1) > 0
    rows = np.flatnonzero(odd & np.isfinite(resistance))
    groups: dict[tuple[str, str], list[int]] = {}
    for row in rows.tolist():
        serial = serials[row] if serials[row] in copper.by_unit else ""
        groups.setdefault((serial, panels[row]), []).append(row)
    parts, covariance = np.zeros((len(serials), 3)), np.zeros((len(serials), 3, 3))
    for (serial, panel), members in groups.items():
        mine = copper.parts_of(serial, panel, resistance[members])
        parts[members], covariance[members] = mine.parts, mine.covariance
    found = probabilities.copy()
    found[rows] = divided(found[rows], CopperParts(parts[rows], covariance[rows]))
    return found


def divide_level(copper: MeasuredCopper, standing: float, probabilities: FloatArray) -> FloatArray:
    """The same for the causes (causes,) of where a lot stands, ln R20 being `standing`."""
    if not copper or not np.isfinite(standing):
        return probabilities
    parts = middle_parts(copper.middle, standing, copper.bench_sd)
    return divided(probabilities[None], parts)[0]


def case_evidence(copper: MeasuredCopper, serial: str, panel: str, resistance: float, table: Signatures) -> FloatArray:
    """Return ln of the likelihood of each case (J,) of what a unit's R20 is beyond its measured copper; zeros without.

    Odd copper explains R20 and leaves nothing; a contact, warmth or a bridge leaves what it does to R20.
    """
    if serial not in copper.by_unit or not np.isfinite(resistance):
        return np.zeros(len(table.cause))
    beyond, sd = unexplained(copper.of(serial, panel), resistance)
    shift, extra = table.shift[:, 0].copy(), table.extra_sd[:, 0].copy()
    by_copper, bridges = np.isin(table.cause, _EXPLAINED_BY_COPPER), np.isin(table.cause, _BRIDGES)
    extra[by_copper] = _LOCAL_SHARE * np.abs(shift[by_copper])
    shift[by_copper] = 0.0
    extra[bridges] = MODEL_ERROR * np.abs(shift[bridges])
    total = np.sqrt(sd**2 + copper.bench_sd**2 + extra**2)
    return np.asarray(-0.5 * ((beyond - shift) / total) ** 2 - np.log(total))


def unit_words(copper: MeasuredCopper, serial: str, panel: str, resistance: float) -> list[str]:
    """Say what was found on a unit and its panel, and what its R20 is made of."""
    if serial not in copper.by_unit and panel not in copper.by_panel:
        return []
    words = [each.words for each in copper.of(serial, panel) if each.words]
    if np.isfinite(resistance):
        parts = copper.parts_of(serial if serial in copper.by_unit else "", panel, np.array([resistance]))
        words.append(parts_words(parts, resistance))
    return words


def lot_words(copper: MeasuredCopper, standing: float) -> list[str]:
    """Say what the findings make of where the lot stands."""
    if not copper or copper.beyond is None or not np.isfinite(standing):
        return []
    value, sd = copper.beyond
    count = f"{len(copper.by_panel)} panel{'s' if len(copper.by_panel) != 1 else ''}"
    parts = middle_parts(copper.middle, standing, copper.bench_sd)
    return [
        f"copper was measured on {count}; beyond it R20 is {np.expm1(value):+.1%} +- {2 * sd:.1%}: "
        + ("copper explains R20." if abs(value) <= 2 * sd else "copper does not explain R20, look at bench and vias."),
        f"by that, {parts_words(parts, standing)}",
    ]


def _panel_medians(panels: Sequence[str], resistance: FloatArray) -> dict[str, float]:
    names, of = np.unique(np.array(panels, dtype=str), return_inverse=True)
    order = np.argsort(of, kind="stable")
    pieces = np.split(resistance[order], np.searchsorted(of[order], np.arange(1, len(names))))
    return {
        str(name): float(np.nanmedian(piece))
        for name, piece in zip(names, pieces, strict=True)
        if np.isfinite(piece).any()
    }


def _beyond(
    copper: MeasuredCopper,
    directly: dict[str, tuple[CopperFinding, ...]],
    panel_of: dict[str, str],
    own: dict[str, float],
) -> tuple[float, float] | None:
    """Each unit against its own R20, each panel with findings of its own against its median."""
    seen = [
        unexplained(copper.by_unit[serial] + directly.get(panel, ()), own[serial])
        for serial, panel in panel_of.items()
        if np.isfinite(own[serial])
    ]
    seen += [
        unexplained(found, copper.panel_resistance[panel])
        for panel, found in directly.items()
        if panel in copper.panel_resistance
    ]
    if not seen:
        return None
    values, weights = np.array([each[0] for each in seen]), np.array([each[1] ** -2.0 for each in seen])
    return float(values @ weights / weights.sum()), float(max(_SURE_SD, weights.sum() ** -0.5))
