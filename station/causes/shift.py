"""What a lot's R20 is off the drawing by, divided: the bench's part, and the boards' by width, thickness, one place."""

from dataclasses import dataclass

import numpy as np

from station.causes.copper import middle_parts
from station.causes.level import reference_row
from station.causes.observables import R20
from station.causes.study import Study


@dataclass(frozen=True, slots=True)
class Share:
    """A part of ln R20, and its standard uncertainty."""

    words: str
    value: float
    standard_uncertainty: float


@dataclass(frozen=True, slots=True)
class LotShift:
    """total: ln of the lot's median R20 over the drawing's. bench: by the reference unit; None if none was run.

    boards: what is left is theirs, by part where copper was measured, else as one.
    """

    total: float
    bench: Share | None
    boards: tuple[Share, ...]


def lot_shift(study: Study) -> LotShift | None:
    """Return it; None if too few units make no lot. What the reference unit was off by is taken from the lot."""
    total = float(study.baseline.lot_centre[R20])
    if not study.baseline.from_lot or not np.isfinite(total):
        return None
    values, doubts = reference_row(study.reference)
    bench = (
        Share("our bench, by the reference unit", float(values[0]), float(doubts[0]))
        if values[0] == values[0]
        else None
    )
    off, doubt = (bench.value, bench.standard_uncertainty) if bench else (0.0, 0.0)
    left = total - off
    if not study.copper.middle:
        return LotShift(
            total, bench, (Share("copper's cross-section; width and thickness not told apart", left, doubt),)
        )
    parts = middle_parts(study.copper.middle, left, doubt)
    sd = np.sqrt(np.diag(parts.covariance[0]))
    names = ("track width", "copper thickness and resistivity", "narrow places and vias")
    boards = tuple(Share(*each) for each in zip(names, parts.parts[0].tolist(), sd.tolist(), strict=True))
    return LotShift(total, bench, boards)
