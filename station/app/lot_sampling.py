"""Acceptance sampling of a received lot: which units to inspect, drawn and put on record before anybody looks."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from station.errors import RecordError
from station.quality.sampling import SamplingPlan, draw_serials, single_plan
from station.quality.sampling_tables import Severity
from station.records import Records

ACTION = "draw sample"
_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Draw:
    """A drawn sample: the plan, the seed, and the serials in the order of the list that they were drawn from."""

    lot: str
    plan: SamplingPlan
    seed: str
    listed: int
    """Serials that had a chance."""
    serials: tuple[str, ...]


def draw_sample(
    serials: Sequence[str],
    lot: str,
    *,
    seed: str,
    aql_percent: float,
    level: str = "II",
    severity: Severity = Severity.NORMAL,
) -> Draw:
    """Return a sample of the lot whose serials are `serials`; the lot size is their number.

    Raises StudyDataError as `sampling.single_plan` and `draw_serials` do.
    """
    plan = single_plan(len(serials), aql_percent, level=level, severity=severity)
    return Draw(lot, plan, seed, len(serials), draw_serials(serials, plan.sample_size, seed=seed))


def record_draw(records: Records, draw: Draw, *, who: str, why: str, utc: datetime) -> None:
    """Put a draw on record: one a lot, for a second one could be drawn until it pleases.

    Raises RecordError without who or why, or if the lot has a draw.
    """
    if not who.strip() or not why.strip():
        raise RecordError("a draw is put on record by somebody, for a reason: say --who and --why.")
    before = draws_on_record(records, draw.lot)
    if before:
        raise RecordError(
            f"lot {draw.lot}: a sample was drawn already, with seed {before[0]['seed']}. A lot is judged by its first "
            "sample; a resubmitted lot gets a name of its own."
        )
    entry = {
        "format": _FORMAT,
        "why": why,
        "seed": draw.seed,
        "listed": draw.listed,
        "aql_percent": draw.plan.aql_percent,
        "level": draw.plan.level,
        "severity": draw.plan.severity.value,
        "letter": draw.plan.letter,
        "acceptance_number": draw.plan.acceptance_number,
        "serials": list(draw.serials),
    }
    records.audit(who=who, action=ACTION, subject=f"lot {draw.lot}", why=json.dumps(entry), utc=utc)


def draws_on_record(records: Records, lot: str) -> tuple[dict[str, object], ...]:
    """Return the recorded draws of a lot, oldest first, as they were recorded."""
    entries = records.audit_entries(subject=f"lot {lot}")
    return tuple(json.loads(each.why) for each in entries if each.action == ACTION)
