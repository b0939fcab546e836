"""Puts lots on record whose units were judged by the example plan as runs judge them. Invented values."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from station.core.decide import decide
from station.core.limits import judge
from station.core.plan import BinFor
from station.core.reasons import reason
from station.core.results import Decision, Reason, Result, ResultStatus
from station.core.run_record import UnitId
from station.records import Records
from tests.core.examples import is_20
from tests.records.makers import START, make_opened, make_record

PLAN = is_20()
U95_OHM = 0.01
MIDDLES = {each.name: ((each.lower or 0.0) + (each.upper or 0.0)) / 2 for each in PLAN.characteristics}


def serials(count: int, *, lot: str = "L2641") -> list[str]:
    """Return the first serials of a lot's panels."""
    return [f"{lot}-{n // 96 + 1:02d}-{'ABCDEFGH'[n // 12 % 8]}{n % 12 + 1:02d}" for n in range(count)]


def measured(r20_ohm: float | None, **others: float) -> tuple[Result, ...]:
    """Return results in the middle of their limits, R20 and others as given; None: R20 was not measured."""
    found = []
    for each in PLAN.characteristics:
        value = r20_ohm if each.name == "R20" else others.get(each.name, MIDDLES[each.name])
        u95 = None if value is None else U95_OHM if each.name == "R20" else value * 1e-3
        status = ResultStatus.NOT_MEASURED if value is None else ResultStatus.MEASURED
        found.append(Result(each.name, each.unit_symbol, status, value, expanded_uncertainty=u95))
    return tuple(found)


def record_unit(
    records: Records, serial: str, results: tuple[Result, ...], *, held: bool = False, bench: str = "bench-1"
) -> str:
    """Put a production run of a unit on record, judged by the example plan; return its id."""
    lot, panel, place = serial.split("-")
    unit = UnitId(serial, lot, panel, place[0], place[1:])
    opened = replace(make_opened(serial, lot=lot, bench=bench), unit=unit, plan_hash=PLAN.text_hash)
    judgements = tuple(judge(each, found) for each, found in zip(PLAN.characteristics, results, strict=True))
    run_reason: Reason | None = None
    if any(each.status is ResultStatus.NOT_MEASURED for each in results):
        run_reason = reason("contact_open")
    decision, why = decide(judgements, run_reason=run_reason)
    takes = {Decision.PASS: BinFor.PASS, Decision.FAIL: BinFor.FAIL, Decision.INVALID: BinFor.HOLD}[decision]
    place_to = next(each for each in PLAN.bins if each.takes is takes)
    records.open_run(opened)
    records.close_run(
        replace(
            make_record(opened, decision=decision, held=held),
            results=results,
            judgements=judgements,
            decision=decision,
            reason=why,
            bin_number=place_to.number,
            bin_name=place_to.name,
        )
    )
    return opened.run_id


def record_lot(home: Path, values: Iterable[float | None], *, lot: str = "L2641") -> list[str]:
    """Put a lot with these R20 on record under the released example plan; return its serials."""
    known = list(values)
    names = serials(len(known), lot=lot)
    with Records.open(home) as records:
        release(records)
        for serial, value in zip(names, known, strict=True):
            record_unit(records, serial, measured(value))
    return names


def release(records: Records) -> None:
    """Release the example plan, unless it is."""
    if records.plan_revision(PLAN.text_hash) is None:
        records.release_plan(PLAN, who="EN-02", why="test", utc=START - timedelta(days=1))
