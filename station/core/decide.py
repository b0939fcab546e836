"""From the judgements of a run to its decision."""

from collections.abc import Iterable

from station.core.reasons import reason
from station.core.results import Decision, Judgement, Reason


def decide(
    judgements: Iterable[Judgement], *, gate_reason: Reason | None = None, run_reason: Reason | None = None
) -> tuple[Decision, Reason | None]:
    """Return the decision of a run and why it is not PASS.

    In this order: a run cut short (`run_reason`) is INVALID; any INVALID judgement makes it INVALID;
    any FAIL makes it FAIL; nothing judged is INVALID; a run that may not give PASS (`gate_reason`, see
    `station.core.gates`) is INVALID; else PASS. So no path leads to PASS past a gate.
    """
    if run_reason is not None:
        return Decision.INVALID, run_reason
    judged = [each for each in judgements if each.decision is not None]
    for decision in (Decision.INVALID, Decision.FAIL):
        for each in judged:
            if each.decision is decision:
                return decision, each.reason
    if not judged:
        return Decision.INVALID, reason("nothing_judged")
    if gate_reason is not None:
        return Decision.INVALID, gate_reason
    return Decision.PASS, None
