"""Deviation permits and concessions: granted and withdrawn by an engineer, units accepted one by one, for the record.

Accepting is an explicit, signed act after the measurement; a run decides nothing by it. What a unit says afterwards is
"accepted by concession", in a bin of its own; its decision stays FAIL.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from station.app.lot_units import LotUnit, lot_units, plan_of
from station.core.concession import (
    Concession,
    ConcessionError,
    ConcessionKind,
    Standing,
    judgements_under,
    refusal,
    require_grantable,
)
from station.core.lot_life import LotLife
from station.core.plan import Characteristic, Plan
from station.core.plan_file import parse_plan
from station.core.quantity import Dimension, QuantityError, parse_quantity
from station.core.results import Decision
from station.errors import RecordError
from station.records import LaterDecision, Records
from station.records.conceded import conceded
from station.records.concessions import (
    OnRecord,
    concede,
    concessions,
    end_concession,
    grant_concession,
    latest_utc,
)
from station.records.placings import Placing, placing_of
from station.records.standing import lot_standing
from station.reports.concession_blocks import ConcessionUse

AT_ONCE = 50
"""Units that are accepted in one transaction: others may write in between."""

BIN_NUMBER, BIN_NAME = 80, "concession"
"""Where accepted units go unless it is said otherwise: apart from all that pass."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A permit or concession as a person asks for it, in words. Empty limits: as in the plan."""

    kind: ConcessionKind
    part: str
    characteristic: str
    lower: str
    upper: str
    lot: str
    quantity: int | None
    expires: str
    """A day (to its end, UTC), or a time with its offset (ISO 8601)."""
    customer_reference: str
    why: str
    bin_number: int = BIN_NUMBER
    bin_name: str = BIN_NAME


@dataclass(frozen=True, slots=True)
class Candidate:
    """A unit that fails, and why it can't be accepted by a concession; empty if it can."""

    unit: LotUnit
    why_not: str


@dataclass(frozen=True, slots=True)
class Accepted:
    """What came of it: serials accepted, and those that were not with the reason."""

    accepted: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]
    lay: Mapping[str, Placing]
    """Where those accepted lay that were in a tray; they have left it on record, and somebody must take them out."""


def grant(records: Records, wanted: Wanted, *, who: str, now_utc: datetime) -> Concession:
    """Put a deviation permit or concession on record; `who` has signed.

    Raises:
        ConcessionError: not wider than the plan, no end, no reason, a permit for a lot that is made already ...
        RecordError: no released plan of the part.
    """
    close_ended(records, now_utc)
    plan = _newest_plan(records, wanted.part)
    found = plan.characteristic(wanted.characteristic)
    _require_right_time(records, wanted)
    concession = Concession(
        number="",
        kind=wanted.kind,
        part=plan.part,
        characteristic=wanted.characteristic,
        unit_symbol=found.unit_symbol if found else "1",
        lower=_limit(wanted.lower, found, "lower"),
        upper=_limit(wanted.upper, found, "upper"),
        lot=wanted.lot.strip(),
        quantity=wanted.quantity,
        expires_utc=_day_end(wanted.expires),
        customer_reference=wanted.customer_reference.strip(),
        why=wanted.why.strip(),
        who=who,
        granted_utc=now_utc,
        bin_number=wanted.bin_number,
        bin_name=wanted.bin_name.strip() or BIN_NAME,
    )
    require_grantable(concession, plan, latest_utc=latest_utc(records, now_utc))
    return grant_concession(records, concession)


def find(records: Records, number: str) -> OnRecord:
    """Return a concession by its number. Raises RecordError if there is none."""
    for each in concessions(records):
        if each.granted.number == number:
            return each
    raise RecordError(f"concession {number[:20]!r} is not on record. List them: coilgate concession list")


def lot_concessions(records: Records, lot: str) -> tuple[ConcessionUse, ...]:
    """Return the permits and concessions of a lot: those given for it, and others that a unit of it was accepted by.

    Its standing is as of the latest time on record, so that the same records give the same paper.
    """
    by_number = Counter(conceded(records, lot).values())
    every = concessions(records)
    latest = latest_utc(records, datetime.min.replace(tzinfo=UTC)) if every else None
    return tuple(
        ConcessionUse(each.granted, by_number[each.granted.number], each.standing(latest).value)
        for each in every
        if latest is not None and (each.granted.lot == lot or by_number[each.granted.number])
    )


def withdraw(records: Records, number: str, *, who: str, why: str, now_utc: datetime) -> None:
    """End a concession for good; what was accepted by it stays so. Raises RecordError if it has ended already."""
    if not end_concession(records, number, how=Standing.WITHDRAWN, who=who, why=why, utc=now_utc):
        raise RecordError(f"concession {number} has ended already.")


def close_ended(records: Records, now_utc: datetime) -> None:
    """Put on record which concessions have ended by themselves, so that no clock can bring them back."""
    latest = latest_utc(records, now_utc)
    for each in concessions(records):
        state = each.standing(latest)
        if not each.ended and state is not Standing.IN_FORCE:
            why = "its day is over" if state is Standing.EXPIRED else f"{each.used} units were accepted by it"
            end_concession(records, each.granted.number, how=state, who="station", why=why, utc=now_utc)


def candidates(records: Records, found: Concession, lot: str) -> tuple[Candidate, ...]:
    """Return the units of a lot that fail and are not accepted yet, each with why it can't be; in order of run."""
    units = [each for each in lot_units(records, lot) if each.decision is Decision.FAIL and not each.concession]
    life = records.lot_life(lot)
    if life.closed is not None:
        return tuple(Candidate(each, f"lot {lot} is closed; reopen it first") for each in units)
    if life.hold is not None:
        return tuple(Candidate(each, f"lot {lot} is held: {life.hold.why}; release it first") for each in units)
    plans: dict[str, Plan | None] = {}
    return tuple(Candidate(each, _gone(life, each) or _why_not(records, found, each, plans)) for each in units)


def _gone(life: LotLife, unit: LotUnit) -> str:
    """Say that a unit is scrapped, or shipped with a part of its lot; empty if it is neither."""
    if unit.serial in life.scrapped:
        return "it is scrapped"
    if unit.serial in life.closed_units:
        return f"it is in a part of lot {life.lot} that is closed; reopen that part first"
    return ""


def accept(
    records: Records, number: str, serials: Sequence[str], *, who: str, why: str, now_utc: datetime
) -> Accepted:
    """Accept units by a concession, in the order given, as long as it lasts; `who` has signed.

    Raises:
        ConcessionError: it is not in force.
        RecordError: unknown concession or unit.
    """
    close_ended(records, now_utc)
    found = find(records, number)
    state = found.standing(latest_utc(records, now_utc))
    if state is not Standing.IN_FORCE:
        raise ConcessionError(f"{found.granted.kind} {number} is {state}. Grant another one.")
    known = _candidates_of(records, found.granted, serials)
    refused: dict[str, str] = {}
    wanted: dict[str, tuple[LaterDecision, int]] = {}
    for serial in dict.fromkeys(serials):
        candidate = known.get(serial)
        words = candidate.why_not if candidate else "it does not fail now, or is accepted already"
        if candidate and not words:
            made = _wanted(records, found.granted, candidate.unit, who=who, why=why, now_utc=now_utc)
            if isinstance(made, str):
                words = made
            else:
                wanted[serial] = made
        if words:
            refused[serial] = words
    lay = {serial: place for serial in wanted if (place := placing_of(records, serial)) is not None}
    for start in range(0, len(wanted), AT_ONCE):
        some = list(wanted)[start : start + AT_ONCE]
        outcome = concede(records, [wanted[each] for each in some])
        refused |= {serial: words for serial, words in zip(some, outcome, strict=True) if words}
    close_ended(records, now_utc)
    accepted = tuple(each for each in wanted if each not in refused)
    return Accepted(accepted, tuple(refused.items()), {each: lay[each] for each in accepted if each in lay})


def _wanted(
    records: Records, found: Concession, unit: LotUnit, *, who: str, why: str, now_utc: datetime
) -> tuple[LaterDecision, int] | str:
    """Return the decision that accepts a unit, and how many its run has; or why it can't be accepted after all."""
    before = records.later_decisions(unit.run_id)
    record = records.run(unit.run_id)
    plan_hash = before[-1].plan_hash if before else record.opened.plan_hash
    plan = plan_of(records, plan_hash)
    if plan is None:
        return "the plan it was judged under is not on record"
    # Once more on the whole record, as it was measured: the lot's table is only a view of it.
    reason = before[-1].reason if before else record.reason
    words = refusal(
        found,
        plan,
        decision=before[-1].decision if before else record.decision,
        reason_code=reason.code if reason else "",
        results=record.results,
    )
    if words:
        return words
    later = LaterDecision(
        run_id=unit.run_id,
        plan_hash=plan_hash,
        decision=Decision.FAIL,
        reason=reason,
        bin_number=found.bin_number,
        bin_name=found.bin_name,
        held=False,
        judgements=judgements_under(plan, record.results),
        concession=found.number,
        who=who,
        why=why or f"accepted by {found.kind} {found.number}, {found.customer_reference}",
        decided_utc=now_utc,
    )
    return later, len(before)


def _candidates_of(records: Records, found: Concession, serials: Sequence[str]) -> dict[str, Candidate]:
    lots = set()
    for serial in serials:
        state = records.unit_state(serial)
        if state is None:
            raise RecordError(f"unit {serial[:60]} is not on record. Check the serial.")
        lots.add(state.unit.lot)
    return {each.unit.serial: each for lot in lots for each in candidates(records, found, lot)}


def _why_not(records: Records, found: Concession, unit: LotUnit, plans: dict[str, Plan | None]) -> str:
    if found.lot and unit.lot != found.lot:
        return f"it is of lot {unit.lot}, the {found.kind} is for lot {found.lot}"
    if unit.held:
        return "it is held; release it first"
    later = records.later_decisions(unit.run_id)
    plan_hash = later[-1].plan_hash if later else unit.plan_hash
    if plan_hash not in plans:
        plans[plan_hash] = plan_of(records, plan_hash)
    plan = plans[plan_hash]
    if plan is None or plan.part != found.part:
        return "the plan it was judged under is not on record" if plan is None else f"it is a {plan.part}"
    if found.kind is ConcessionKind.DEVIATION_PERMIT:
        first = records.runs_of(unit.serial)[0]
        if first.opened_utc <= found.granted_utc:
            return "it was made before the deviation permit was granted; that takes a concession"
    return refusal(
        found, plan, decision=unit.decision, reason_code=unit.reason_code, results=unit.results
    )


def _newest_plan(records: Records, part: str) -> Plan:
    for each in records.released_plans():
        if each.part == part:
            return parse_plan(each.source_text, f"{part} revision {each.revision}")
    raise RecordError(f"no plan of part {part[:40]!r} is released; what departs from nothing can't be permitted.")


def _require_right_time(records: Records, wanted: Wanted) -> None:
    """A lot of which any run is on record is made; then it is also known of what part."""
    lot = wanted.lot.strip()
    if not lot:
        return
    made = lot in records.lots()
    if made and wanted.kind is ConcessionKind.DEVIATION_PERMIT:
        raise ConcessionError(f"lot {lot} is made and measured: a deviation permit comes before. Grant a concession.")
    if not made and wanted.kind is ConcessionKind.CONCESSION:
        raise ConcessionError(
            f"no unit of lot {lot} is on record. A concession comes after making and measuring; before, it is a "
            "deviation permit."
        )
    plan = plan_of(records, lot_standing(records, lot).plan_hash) if made else None
    if plan is not None and plan.part != wanted.part:
        raise ConcessionError(f"lot {lot} is of part {plan.part}, not {wanted.part[:40]}.")


def _limit(text: str, found: Characteristic | None, side: str) -> float | None:
    present = None if found is None else (found.lower if side == "lower" else found.upper)
    if not text.strip():
        return present
    try:
        return parse_quantity(text, Dimension(found.unit_symbol) if found else Dimension.NUMBER)
    except QuantityError as error:
        raise ConcessionError(f"widened {side} limit: {error}") from error


def _day_end(text: str) -> datetime:
    try:
        if len(text.strip()) == 10:
            return datetime.fromisoformat(text.strip()).replace(tzinfo=UTC) + timedelta(days=1)
        found = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise ConcessionError(f"it ends on a day such as 2027-01-31; got {text[:40]!r}.") from error
    if found.tzinfo is None:
        raise ConcessionError(f"a time needs its offset, such as 2027-01-31T12:00+01:00; got {text[:40]!r}.")
    return found.astimezone(UTC)
