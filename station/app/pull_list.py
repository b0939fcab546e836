"""The pull list: which units of a lot to look at by microscope, X-ray or section, why, and where on them.

A micro-section destroys its unit, and each one costs an hour: few units, chosen to tell the most. Extremes and typical
ones show what varies, panel corners where it varies, odd and doubtful ones what else there is.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from station.app.causes import study_on_record
from station.causes.explain import explain_unit
from station.causes.kinds import ABOUT, CAUSES, Cause
from station.causes.observables import R20
from station.causes.places import Whereabouts
from station.causes.study import Study, unit_probabilities
from station.coil.geometry import CoilGeometry, FloatArray
from station.core.pull_list import Means, Pull, PullList
from station.errors import RecordError
from station.quality.outliers import robust_outliers
from station.quality.readings import StudyDataError
from station.quality.sample import Sample
from station.records import Records
from station.records.lot_findings import lot_findings

ACTION = "pull list"
_FORMAT = 1
DOUBTFUL = 0.9
"""A likeliest cause below this is a doubtful one (ours)."""

_DAMAGE = (Cause.SHORTED_TURNS, Cause.LAYER_SHORT, Cause.OPEN)
_CORNER_UNITS = 4
_ORDINALS = {0: "", 1: "second ", 2: "third "}


@dataclass(frozen=True, slots=True)
class RecordedPull:
    """A unit of a pull list on record."""

    serial: str
    why: tuple[str, ...]
    means: tuple[Means, ...]
    widths: bool
    """Whether its widths are wanted."""


@dataclass(frozen=True, slots=True)
class _Choice:
    row: int
    why: str
    means: tuple[Means, ...]
    look: tuple[str, ...] = ()
    widths: bool = True


def pull_list(records: Records, lot: str, *, each: int = 3) -> PullList:
    """Return a lot's pull list with up to `each` units of each kind. Raises RecordError without a measured unit."""
    if each < 1:
        raise RecordError(f"lot {lot}: a pull list has one unit of each kind at least; got {each}.")
    study = study_on_record(records, lot)
    values = records.lot_values(lot, "R20")
    at = {serial: (values.rows[i], values.columns[i]) for i, serial in enumerate(values.serials)}
    places = [at.get(serial, ("", "")) for serial in study.findings.serials]
    causes = unit_probabilities(study)
    choices = [
        *_damaged(study, causes, each),
        *_extremes(study, causes, each),
        *_odd(study, causes, each),
        *_doubtful(study, causes, each),
        *_typical(study, each),
        *_corners(study, places),
    ]
    pulls = _joined(study, places, choices)
    if not pulls:
        raise RecordError(f"lot {lot}: no unit of it has a value or a cause to look for. Measure first.")
    measured = int(np.isfinite(study.findings.value("R20")).sum())
    newest = datetime.fromisoformat(lot_findings(records, lot, ()).last_utc)
    return PullList(lot, records.lot_summary(lot).simulated, measured, newest, pulls)


def record_pull_list(records: Records, found: PullList, *, who: str, why: str, utc: datetime) -> None:
    """Put a pull list on record. Raises RecordError without who or why."""
    if not who.strip() or not why.strip():
        raise RecordError("a pull list is put on record by somebody, for a reason: say --who and --why.")
    entry = {
        "format": _FORMAT,
        "why": why,
        "pulls": {
            each.serial: {"why": list(each.why), "means": list(each.means), "widths": each.widths}
            for each in found.pulls
        },
    }
    records.audit(who=who, action=ACTION, subject=f"lot {found.lot}", why=json.dumps(entry), utc=utc)


def pulls_on_record(records: Records, lot: str) -> tuple[RecordedPull, ...]:
    """Return the units of a lot's recorded pull lists, each once, as the latest list has it, in the order asked."""
    found: dict[str, RecordedPull] = {}
    for each in records.audit_entries(subject=f"lot {lot}"):
        if each.action == ACTION:
            for serial, asked in json.loads(each.why)["pulls"].items():
                means = tuple(Means(name) for name in asked["means"])
                found[serial] = RecordedPull(serial, tuple(asked["why"]), means, asked["widths"])
    return tuple(found.values())


def width_places(coil: CoilGeometry) -> tuple[tuple[int, float], ...]:
    """Return where widths are wanted: innermost, middle and outermost turn of the layers that can be seen.

    From outside only the top and the bottom layer can.
    """
    turns = len(coil.turn_fractions())
    wanted = sorted({1, (turns + 1) // 2, turns})
    return tuple((layer, float(turn)) for layer in sorted({1, coil.layers}) for turn in wanted)


def _damaged(study: Study, causes: FloatArray, each: int) -> Iterable[_Choice]:
    """Those whose likeliest cause is damage, the surest of each kind first."""
    top = causes.argmax(axis=1)
    for cause in _DAMAGE:
        rows = np.flatnonzero(top == CAUSES.index(cause))
        for row in rows[np.argsort(-causes[rows, CAUSES.index(cause)], kind="stable")][:each].tolist():
            found = explain_unit(study, row)
            where = f": {found.where_words}" if found.where_words else ""
            proof = ABOUT[cause].proof
            means = (Means.X_RAY, Means.MICROSCOPE)
            yield _Choice(
                row,
                f"likeliest cause: {ABOUT[cause].words}{where}",
                means,
                (_look_at(found.where, proof),),
                widths=False,
            )


def _look_at(where: Whereabouts | None, proof: str) -> str:
    if where is None:
        return proof
    turns = str(where.first_turn) if where.first_turn == where.last_turn else f"{where.first_turn} to {where.last_turn}"
    return f"turns {turns} (1 is the innermost), all round: {proof}"


def _extremes(study: Study, causes: FloatArray, each: int) -> Iterable[_Choice]:
    values = study.findings.value("R20")
    rows = np.flatnonzero(np.isfinite(values) & ~_is_damaged(causes))
    order = rows[np.argsort(values[rows], kind="stable")]
    for name, chosen in (("lowest", order[:each]), ("highest", order[::-1][:each])):
        for rank, row in enumerate(chosen.tolist()):
            means = (Means.MICROSCOPE, Means.SECTION) if rank == 0 else (Means.MICROSCOPE,)
            yield _Choice(row, f"R20 {_ORDINALS.get(rank, f'{rank + 1}th ')}{name} of the lot", means)


def _typical(study: Study, each: int) -> Iterable[_Choice]:
    """Those nearest to the lot's median, of different panels as long as there are."""
    seen = study.seen[:, R20]
    if not np.isfinite(seen).any():
        return
    off = np.abs(seen - np.nanmedian(seen))
    taken: list[int] = []
    panels: set[str] = set()
    order = [row for row in np.argsort(off, kind="stable").tolist() if np.isfinite(off[row])]
    for first in (True, False):
        for row in order:
            panel = study.findings.panels[row]
            if len(taken) < each and row not in taken and (not first or panel not in panels):
                taken.append(row)
                panels.add(panel)
    for rank, row in enumerate(taken):
        means = (Means.MICROSCOPE, Means.SECTION) if rank == 0 else (Means.MICROSCOPE,)
        yield _Choice(row, "typical: R20 at the lot's median", means)


def _odd(study: Study, causes: FloatArray, each: int) -> Iterable[_Choice]:
    """Beyond 3.5 robust standard deviations (Iglewicz and Hoaglin 1993) in R20 or L."""
    for name in ("R20", "L"):
        values = study.findings.value(name)
        rows = np.flatnonzero(np.isfinite(values) & ~_is_damaged(causes))
        try:
            found = robust_outliers(Sample(values[rows], "units of the lot without likely damage"))
        except StudyDataError:
            continue
        for place in found.indices[:each]:
            why = f"odd: {name} {found.scores[place]:+.1f} robust standard deviations off the lot's median"
            look = "along the whole track for a neck, a nick or a bridge; the vias"
            yield _Choice(int(rows[place]), why, (Means.MICROSCOPE, Means.X_RAY), (look,))


def _doubtful(study: Study, causes: FloatArray, each: int) -> Iterable[_Choice]:
    """Those whose cause is doubtful, the most doubtful first, with what would tell."""
    first = causes.max(axis=1)
    rows = np.flatnonzero((first < DOUBTFUL) & np.isfinite(study.seen).any(axis=1))
    for row in rows[np.argsort(first[rows], kind="stable")][:each].tolist():
        two = np.argsort(-causes[row], kind="stable")[:2].tolist()
        named = [f"{ABOUT[CAUSES[place]].words} {causes[row, place]:.0%}" for place in two]
        proofs = tuple(ABOUT[CAUSES[place]].proof for place in two if ABOUT[CAUSES[place]].proof)
        yield _Choice(row, f"cause in doubt: {' or '.join(named)}", (Means.MICROSCOPE, Means.X_RAY), proofs)


def _corners(study: Study, places: Sequence[tuple[str, str]]) -> Iterable[_Choice]:
    """The four corners of the most usual and of the oddest panel: plating and etch vary most there."""
    seen = study.seen[:, R20]
    rows = [
        row for row in np.flatnonzero(np.isfinite(seen)).tolist() if study.findings.panels[row] and all(places[row])
    ]
    panels: dict[str, list[int]] = {}
    for row in rows:
        panels.setdefault(study.findings.panels[row], []).append(row)
    large = {name: members for name, members in panels.items() if len(members) >= _CORNER_UNITS}
    if not large:
        return
    middle = np.median(seen[rows])
    order = sorted(large, key=lambda name: abs(float(np.median(seen[large[name]]) - middle)))
    for name in dict.fromkeys((order[0], order[-1])):
        rows = large[name]
        for row in _four(rows, places):
            yield _Choice(row, f"corner of panel {name}", (Means.MICROSCOPE,))


def _four(rows: Sequence[int], places: Sequence[tuple[str, str]]) -> list[int]:
    if not rows:
        return []
    across = {name: place for place, name in enumerate(sorted({places[row][1] for row in rows}))}
    down = {name: place for place, name in enumerate(sorted({places[row][0] for row in rows}))}
    corners = [(y, x) for y in (0, len(down) - 1) for x in (0, len(across) - 1)]
    nearest = [
        min(rows, key=lambda row: abs(down[places[row][0]] - y) + abs(across[places[row][1]] - x)) for y, x in corners
    ]
    return list(dict.fromkeys(nearest))


def _is_damaged(causes: FloatArray) -> np.ndarray:
    return np.isin(causes.argmax(axis=1), [CAUSES.index(each) for each in _DAMAGE])


def _joined(study: Study, places: Sequence[tuple[str, str]], choices: Iterable[_Choice]) -> tuple[Pull, ...]:
    """Each unit once, with every reason, means and look in the order that they came."""
    by_row: dict[int, list[_Choice]] = {}
    for each in choices:
        by_row.setdefault(each.row, []).append(each)
    widths = width_places(study.drawn.coil)
    r20 = study.findings.value("R20")
    return tuple(
        Pull(
            study.findings.serials[row],
            study.findings.panels[row],
            *places[row],
            float(r20[row]),
            tuple(dict.fromkeys(each.why for each in mine)),
            tuple(means for means in Means if any(means in each.means for each in mine)),
            tuple(dict.fromkeys(look for each in mine for look in each.look if look)),
            widths if any(each.widths for each in mine) else (),
        )
        for row, mine in by_row.items()
    )
