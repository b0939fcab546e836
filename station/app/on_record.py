"""What the records say of a bench's shift and of the lot on it: read anew for what pages show."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from itertools import takewhile

from station.app.plans import plans_in_use
from station.app.shown import SPREAD_OF
from station.core.counters import Counters, Done, count
from station.core.equipment import Bench
from station.errors import RecordError
from station.records import Records

LONGEST_SHIFT = timedelta(hours=12)


def shift_counters(records: Records, bench: Bench, operator: str) -> Counters:
    """Count the shift: the last runs of this bench in a row that are of this badge.

    From the records, so that neither a reload nor a restart loses a count.
    """
    runs = records.recent_runs(bench.name, since_utc=datetime.now(UTC) - LONGEST_SHIFT)
    own = list(takewhile(lambda each: each.operator == operator, reversed(runs)))
    return count(
        [
            Done(each.serial, each.decision, each.bin_number or 0, each.bin_name, each.opened_utc, closed)
            for each in reversed(own)
            if each.decision is not None and (closed := each.closed_utc) is not None
        ],
        speed=bench.clock_speed,
    )


def plan_facts(records: Records) -> dict[str, object]:
    """Return the released plans and their revisions, as `Shown` has them."""
    return {
        "plans": tuple(each.plan for each in plans_in_use(records, None)),
        "revisions": tuple((each.plan_hash, each.revision) for each in records.released_plans()),
    }


def lot_facts(records: Records, lot: str) -> dict[str, object]:
    """Return how many units came with the lot, and how many have a decision, as `Shown` has them."""
    if lot:
        with suppress(RecordError):  # what a newer version has entered of the lot is not needed to measure
            return {"lot_received": records.lot_life(lot).received, "lot_decided": records.positions(lot, "")[0]}
    return {"lot_received": None, "lot_decided": 0}


def lot_spread(records: Records, lot: str) -> tuple[float, ...]:
    """Return the lot's values of `SPREAD_OF` so far, SI; none for a lot of which nothing is on record yet."""
    try:
        return tuple(map(float, records.lot_values(lot, SPREAD_OF).values))
    except RecordError:
        return ()


def taken_up(records: Records, lot: str) -> dict[str, object]:
    """Return all that `Shown` has of a lot that is taken up."""
    return {"lot": lot, "spread": lot_spread(records, lot)} | lot_facts(records, lot)
