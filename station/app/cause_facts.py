"""Causes as plain dictionaries: what `--json` prints."""

from station.app.facts import Fact
from station.causes.explain import LotExplanation, NamedCause, UnitExplanation
from station.causes.hidden import HardestTurn
from station.causes.places import REGIONS, Whereabouts
from station.causes.shift import LotShift, Share


def unit_cause_fact(found: UnitExplanation) -> Fact:
    """Return why a unit reads as it does; probabilities of 1 % and more, likeliest first."""
    return {
        "serial": found.serial,
        "decision": found.decision,
        "causes": [_cause(each) for each in found.causes],
        "evidence": list(found.evidence),
        "bridge": None if found.where is None else _where(found.where) | {"words": found.where_words},
        "hardest_shorted_turn": _hardest(found.hardest),
    }


def lot_cause_fact(lot: str, found: LotExplanation) -> Fact:
    """Return a lot's causes by count, and where the lot stands."""
    return {
        "lot": lot,
        "units": found.units,
        "measured": found.measured,
        "population": found.population,
        "causes": [
            {
                "cause": each.cause.value,
                "words": each.words,
                "units": each.passed + each.not_passed,
                "pass": each.passed,
                "not_pass": each.not_passed,
                "share": each.share,
                "expected_units": each.expected,
                "examples": list(each.examples),
            }
            for each in found.table
        ],
        "lot_level": [_cause(each) for each in found.level],
        "lot_level_evidence": list(found.level_evidence),
        "panels": [
            {"panel": each.panel, "causes": [_cause(cause) for cause in each.causes], "words": each.words}
            for each in found.panels
        ],
        "shift": None if found.shift is None else _shift(found.shift),
        "hardest_shorted_turn": _hardest(found.hardest),
        "asks": list(found.asks),
    }


def _shift(shift: LotShift) -> Fact:
    """Logarithms of R20 over the drawing's: small ones are relative changes."""

    def share(each: Share) -> Fact:
        return {"part": each.words, "ln_r20": each.value, "standard_uncertainty": each.standard_uncertainty}

    return {
        "ln_r20": shift.total,
        "bench": None if shift.bench is None else share(shift.bench),
        "boards": [share(each) for each in shift.boards],
    }


def _cause(cause: NamedCause) -> Fact:
    return {
        "cause": cause.cause.value,
        "probability": cause.probability,
        "words": cause.words,
        "proof": cause.proof or None,
    }


def _where(found: Whereabouts) -> Fact:
    """Turns from 1, the innermost; layers from 1, the top; ranges of 95 %."""
    return {
        "turns_bridged": found.count,
        "turns_bridged_from": found.fewest,
        "turns_bridged_to": found.most,
        "first_turn": found.first_turn,
        "last_turn": found.last_turn,
        "regions": dict(zip(REGIONS, found.regions, strict=True)),
        "layers": list(found.layers),
        "contact_ohm": found.likeliest.contact_ohm,
    }


def _hardest(found: HardestTurn | None) -> Fact | None:
    if found is None:
        return None
    return {
        "layer": found.layer + 1,
        "turn": found.turn,
        "standard_deviations": found.separation,
        "inductance_change": found.inductance_change,
        "hard": found.hard,
        "words": found.words,
    }
