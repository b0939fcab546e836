"""Answers: why one unit reads as it does, and what a lot's units have."""

from dataclasses import dataclass, replace

import numpy as np

from station.causes.copper import divided, middle_parts, parts_words
from station.causes.evidence import evidence_of, place_words, shares
from station.causes.hidden import HardestTurn, hardest_turn
from station.causes.kinds import ABOUT, ABOUT_A_FAULT, CAUSES, Cause
from station.causes.observables import HEIGHT, R20
from station.causes.places import Whereabouts, whereabouts
from station.causes.shift import LotShift, lot_shift
from station.causes.signatures import signatures_of
from station.causes.study import Study, case_probabilities, panel_level, unit_probabilities

WORTH_NAMING = 0.01
_EXAMPLES = 5
_AS_DRAWN = "as drawn, within what a sound lot may be off"
_PASS = "PASS"


@dataclass(frozen=True, slots=True)
class NamedCause:
    """A cause, its probability, and what would prove it."""

    cause: Cause
    probability: float
    words: str
    proof: str


@dataclass(frozen=True, slots=True)
class UnitExplanation:
    """Why a unit reads as it does. causes: those of 1 % and more, likeliest first.

    where: of a bridge, if that is the likeliest cause. hardest: what the measurements can't see well.
    """

    serial: str
    decision: str
    causes: tuple[NamedCause, ...]
    evidence: tuple[str, ...]
    where: Whereabouts | None
    where_words: str
    hardest: HardestTurn | None

    @property
    def likeliest(self) -> NamedCause:
        """The first of `causes`."""
        return self.causes[0]


@dataclass(frozen=True, slots=True)
class CauseCount:
    """Units of a lot whose likeliest cause this is: those that pass and those that don't.

    expected: sum of its probability over all units. share: of all units. examples: the surest ones.
    """

    cause: Cause
    words: str
    passed: int
    not_passed: int
    share: float
    expected: float
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PanelExplanation:
    """Where a panel stands whose copper was measured. causes: likeliest first. words: what its R20 is made of."""

    panel: str
    causes: tuple[NamedCause, ...]
    words: str


@dataclass(frozen=True, slots=True)
class LotExplanation:
    """A lot's causes. level: where the lot as a whole stands against its drawing, likeliest first.

    asks: what to ask the board maker, and what to do oneself. imported: units known by imported readings only.
    panels: those whose copper was measured. shift: the bench's and the boards' part in R20's shift.
    """

    units: int
    measured: int
    table: tuple[CauseCount, ...]
    level: tuple[NamedCause, ...]
    level_evidence: tuple[str, ...]
    hardest: HardestTurn | None
    asks: tuple[str, ...]
    imported: int = 0
    panels: tuple[PanelExplanation, ...] = ()
    shift: LotShift | None = None

    @property
    def population(self) -> str:
        """In words."""
        words = "units with a closed production or imported run, each by its latest production run if it has one"
        theirs = f"; {self.imported} by imported readings, which carry no decision and count as not pass"
        return words + (theirs if self.imported else "")


def explain_unit(study: Study, row: int) -> UnitExplanation:
    """Explain the unit at place `row` of a study."""
    causes, cases = case_probabilities(study, row)
    named = _named(causes)
    first = named[0].cause
    table = signatures_of(study.drawn)
    where = whereabouts(study.drawn.coil, table, cases, first) if first in ABOUT_A_FAULT else None
    return UnitExplanation(
        study.findings.serials[row],
        study.findings.decisions[row],
        named,
        evidence_of(study, row),
        where,
        "" if where is None else place_words(where, first),
        _hardest(study, np.isfinite(study.seen[row])),
    )


def explain_lot(study: Study) -> LotExplanation:
    """Explain a lot: every unit by its likeliest cause, and where the whole lot stands. 100,000 units take a second."""
    from station.causes.asks import asks_of, level_words

    probabilities = unit_probabilities(study)
    top = probabilities.argmax(axis=1)
    passed = np.array([each == _PASS for each in study.findings.decisions])
    table = tuple(
        _count(study, probabilities, top, passed, number) for number in range(len(CAUSES)) if (top == number).any()
    )
    measured = np.isfinite(study.seen).any(axis=1)
    level = _named_level(study.level)
    hardest = _hardest(study, np.asarray(np.isfinite(study.seen).any(axis=0)))
    ordered = tuple(sorted(table, key=lambda each: -(each.passed + each.not_passed)))
    return LotExplanation(
        len(top),
        int(measured.sum()),
        ordered,
        level,
        level_words(study),
        hardest,
        asks_of(study, ordered, level, hardest),
        study.findings.imported,
        explain_panels(study),
        lot_shift(study),
    )


def explain_panels(study: Study) -> tuple[PanelExplanation, ...]:
    """Explain where each panel stands whose copper was measured, by its units' medians and what was found on it."""
    found = []
    members: dict[str, list[int]] = {panel: [] for panel in study.copper.by_panel}
    for row, panel in enumerate(study.findings.panels if members else ()):
        if panel in members:
            members[panel].append(row)
    for panel, findings in study.copper.by_panel.items():
        resistance = study.copper.panel_resistance.get(panel, np.nan)
        if not panel or not np.isfinite(resistance):
            continue
        parts = middle_parts(findings, resistance, study.copper.bench_sd)
        causes = divided(panel_level(study, np.array(members[panel]))[None], parts)[0]
        found.append(PanelExplanation(panel, _named_level(causes), parts_words(parts, resistance)))
    return tuple(found)


def _named_level(probabilities: np.ndarray) -> tuple[NamedCause, ...]:
    return tuple(
        replace(each, words=_AS_DRAWN) if each.cause is Cause.NOTHING else each for each in _named(probabilities)
    )


def _named(probabilities: np.ndarray) -> tuple[NamedCause, ...]:
    named: list[NamedCause] = []
    for place in shares(probabilities):
        cause, probability = CAUSES[place], float(probabilities[place])
        if probability >= WORTH_NAMING or not named:
            named.append(NamedCause(cause, probability, ABOUT[cause].words, ABOUT[cause].proof))
    return tuple(named)


def _count(study: Study, probabilities: np.ndarray, top: np.ndarray, passed: np.ndarray, number: int) -> CauseCount:
    rows = np.flatnonzero(top == number)
    surest = rows[np.lexsort((rows, -probabilities[rows, number]))][:_EXAMPLES]
    cause = CAUSES[number]
    return CauseCount(
        cause,
        ABOUT[cause].words,
        int(passed[rows].sum()),
        int((~passed[rows]).sum()),
        len(rows) / len(top),
        float(probabilities[:, number].sum()),
        tuple(study.findings.serials[each] for each in surest),
    )


def _hardest(study: Study, present: np.ndarray) -> HardestTurn | None:
    # R20 varies with the copper and the height with the seat: neither finds a single turn.
    telling = present.copy()
    telling[[R20, HEIGHT]] = False
    return hardest_turn(study.drawn, study.baseline.spread, telling)
