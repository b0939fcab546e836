"""What sets are asked for, by the command's own words or by the control plan; and whose leftovers may join."""

from collections.abc import Sequence
from dataclasses import dataclass

from station.app.lot_samples import lot_standing, plan_of
from station.app.matching import recorded_sets, sets_on_record, wanted_tolerances
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.errors import RecordError, StationError
from station.records import Records


@dataclass(frozen=True, slots=True)
class SetWish:
    """Size and tolerances, and where they come from, in words."""

    size: int
    tolerances: tuple[tuple[str, str], ...]
    source: str


def set_wish(records: Records, lots: Sequence[str], *, size: int | None, tolerances: Sequence[str]) -> SetWish:
    """Return what is asked for; what `size` and `tolerances` leave open is the newest released plan's `[sets]`.

    Raises:
        RecordError: unknown lot, or the lots are of several parts.
        StationError: a tolerance is none, or nothing says what is open.
    """
    own = wanted_tolerances(tolerances) if tolerances else ()
    if size is not None and own:
        return SetWish(size, own, "as asked for")
    plan, words = _plan_of_part(records, lots)
    if plan is None or plan.sets is None:
        raise StationError(
            f"{words} says nothing of sets. Say --size and --tolerance, such as --size 3 --tolerance 'R20=1 %', or "
            "state [sets] in the plan."
        )
    wish = SetWish(size or plan.sets.size, own or plan.sets.tolerances, words)
    return wish if size is None and not own else SetWish(wish.size, wish.tolerances, f"as asked for, else {words}")


def lots_with_leftovers(records: Records, lots: Sequence[str]) -> tuple[str, ...]:
    """Return `lots` behind the earlier lots of the same part that sets were made from and good units are left of.

    The last lot stays the last: the sets get its name. Real and simulated units are kept apart; a lot that is held is
    left alone.
    """
    part = _part_of(records, lots)
    simulated = lot_standing(records, lots[0]).simulated
    used_lots = {lot for each in recorded_sets(records) for lot in each.lots}
    in_sets = {serial for serials in sets_on_record(records).values() for serial in serials}
    earlier = []
    for lot in sorted(used_lots - set(lots)):
        standing, life = lot_standing(records, lot), records.lot_life(lot)
        plan = plan_of(records, standing)
        left = standing.passed - in_sets - life.scrapped - life.closed_units
        of_part = standing.simulated == simulated and plan is not None and plan.part == part
        if of_part and left and life.hold is None:
            earlier.append(lot)
    return (*earlier, *lots)


def _plan_of_part(records: Records, lots: Sequence[str]) -> tuple[Plan | None, str]:
    """The newest released plan of the lots' part, else that of the last lot's runs; and what to call it."""
    part = _part_of(records, lots)
    released = next((each for each in records.released_plans() if each.part == part), None)
    if released is not None:
        return parse_plan(released.source_text, part), f"control plan {part} revision {released.revision}"
    return plan_of(records, lot_standing(records, lots[-1])), f"control plan of lot {lots[-1]}"


def _part_of(records: Records, lots: Sequence[str]) -> str:
    plans = [plan_of(records, lot_standing(records, lot)) for lot in lots]
    parts = {"" if each is None else each.part for each in plans}
    if len(parts) > 1:
        raise RecordError(f"{', '.join(lots)}: lots of several parts never make one set.")
    return parts.pop()
