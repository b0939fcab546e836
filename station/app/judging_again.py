"""Judge stored runs again under a released revision: an explicit act of an engineer, never a side effect.

Nothing is measured and nothing on record is changed: a later decision stands beside the first one. What can't be told
from what was measured becomes INVALID ("measure again"), never PASS. Held units stay with whoever holds them.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from station.app.lot_units import is_of_part, lot_units, plan_of
from station.core.places import Place
from station.core.plan import Plan
from station.core.reasons import reason
from station.core.replay import DECISION_OF, Replayed, Side, replay
from station.core.results import Decision, Reason
from station.errors import RecordError
from station.records import Records
from station.records.placings import placing_of, take_out
from station.records.views import LaterDecision


def judge_lots_again(
    records: Records, plan: Plan, lots: Iterable[str], *, who: str, why: str, utc: datetime
) -> tuple[Replayed, ...]:
    """Put a later decision on the latest run of each unit whose decision or bin moves; return those.

    One that lies in a tray and passes no more has left it on record: `Replayed.left` says where somebody takes it out.

    Raises:
        RecordError: the plan is not released, or no word who and why.
    """
    if records.plan_revision(plan.text_hash) is None:
        raise RecordError(f"plan {plan.part}: only a released revision judges. Release it first.")
    if not who.strip() or not why.strip():
        raise RecordError("say who judges again and why.")
    moved: list[Replayed] = []
    for lot in lots:
        units = [each for each in lot_units(records, lot) if not each.held]
        plans = {each: plan_of(records, each) for each in {unit.plan_hash for unit in units}}
        units = [each for each in units if is_of_part(plans[each.plan_hash], plan)]
        run_ids = {each.serial: each.run_id for each in units}
        for found in replay(plan, (each.stored(plans[each.plan_hash]) for each in units)).units:
            if found.moves and _stands(records, found, run_ids[found.unit.serial]):
                # First out of its tray: broken off in between, it is nowhere rather than failed among good ones.
                left = _leave_tray(records, found, who=who, why=why, utc=utc)
                records.judge_again(_later(found, plan, run_ids[found.unit.serial], who=who, why=why, utc=utc))
                moved.append(replace(found, left=left))
        records.audit(
            who=who,
            action="judged again",
            subject=f"lot {lot}, plan {plan.part} {plan.text_hash[:12]}",
            why=why,
            utc=utc,
        )
    return tuple(moved)


def _stands(records: Records, found: Replayed, run_id: str) -> bool:
    """Tell whether a unit is what it was when its lot was read: not measured again, held or conceded since."""
    now, then = records.unit_state(found.unit.serial), found.unit
    if now is None or now.held:
        return False
    known = (now.run_id, now.decision, now.bin_number, now.concession)
    return known == (run_id, then.decision, then.bin_number, then.concession)


def _leave_tray(records: Records, found: Replayed, *, who: str, why: str, utc: datetime) -> str:
    """Put on record that a unit which passes no more lies in its tray no longer; return where it lay, in words."""
    lay = placing_of(records, found.unit.serial)
    if lay is None or lay.decision is not Decision.PASS or found.after is Side.PASS:
        return ""
    words = f"judged again: bin {found.bin_number} ({found.bin_name}): {why}"
    take_out(records, [lay.serial], who=who, why=words, utc=utc)
    return Place(lay.tray, lay.pocket).words


def _later(found: Replayed, plan: Plan, run_id: str, *, who: str, why: str, utc: datetime) -> LaterDecision:
    return LaterDecision(
        run_id=run_id,
        plan_hash=plan.text_hash,
        decision=DECISION_OF[found.after],
        reason=_reason(found),
        bin_number=found.bin_number,
        bin_name=found.bin_name,
        held=False,
        judgements=found.judgements,
        concession="",
        who=who,
        why=why,
        decided_utc=utc,
    )


def _reason(found: Replayed) -> Reason | None:
    if found.after is Side.PASS:
        return None
    if found.after is Side.UNKNOWN:
        return reason("not_measured", of=", ".join(found.because))
    return next((each.reason for each in found.judgements if each.decision is Decision.FAIL), None)
