"""Makes runs, plans and verifications for the tests of the records. Invented values."""

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count

from station.core.plan import Bin, BinFor, Characteristic, CoilDesign, Frequency, MethodStep, Plan
from station.core.results import Decision, Judgement, Reason, Result, ResultStatus, Shape, Term
from station.core.run_record import (
    InstrumentIdentity,
    Purpose,
    RunOpened,
    RunRecord,
    Trace,
    TranscriptMessage,
    UnitId,
)
from station.core.verification import Verification

START = datetime(2026, 11, 25, 8, 0, 0, 123456, tzinfo=UTC)
_numbers: Iterator[int] = count(1)

_DIALOGUE = [("out", b"FETC?\n"), ("in", b"+7.912E+00,\xff\x00\n")] * 30

NO_CONTACT = Reason("contact_open", "pad 2 does not touch", "Seat the unit again.")


def make_opened(
    serial: str = "L2641-01-A01",
    *,
    run_id: str = "",
    lot: str = "L2641",
    panel: str = "01",
    bench: str = "bench-1",
    purpose: Purpose = Purpose.PRODUCTION,
    simulated: bool = True,
    repeats_run_id: str = "",
) -> RunOpened:
    """Return a run about to begin, with an id of its own unless one is given."""
    number = next(_numbers)
    return RunOpened(
        run_id=run_id or f"019ac000-0000-7000-8000-{number:012d}",
        unit=UnitId(serial, lot, panel, "A", "01"),
        part="IS-20",
        plan_hash="ab" * 32,
        bench=bench,
        nest="nest-1",
        operator="OP-07",
        purpose=purpose,
        simulated=simulated,
        opened_utc=START + timedelta(seconds=number),
        software_version="0.1.0",
        repeats_run_id=repeats_run_id,
    )


def make_record(
    opened: RunOpened,
    *,
    decision: Decision = Decision.PASS,
    r20_ohm: float | None = 7.91234567890123,
    held: bool = False,
    verification_id: str = "",
    results: int = 12,
) -> RunRecord:
    """Return `opened` closed with `results` results, a trace and a transcript."""
    names = ["R20", "L", *(f"B@{place}mm" for place in range(1, results - 1))][:results]
    reason = {Decision.PASS: None, Decision.FAIL: Reason("R20.upper", "R20 above its limit")}
    return RunRecord(
        opened=opened,
        closed_utc=opened.opened_utc + timedelta(seconds=9),
        results=tuple(_result(name, r20_ohm) for name in names),
        judgements=tuple(_judgement(name, decision, r20_ohm) for name in names),
        decision=decision,
        reason=reason.get(decision, NO_CONTACT),
        bin_number={Decision.PASS: 1, Decision.FAIL: 8}.get(decision, 9),
        bin_name={Decision.PASS: "good", Decision.FAIL: "scrap"}.get(decision, "hold"),
        held=held,
        traces=(Trace("field", (("height_m", (1e-3, 2e-3)), ("flux_density_t_per_a", (0.011, 0.007)))),),
        identities=(
            InstrumentIdentity("lcr-1", "GENERIC,LCR-A,SN1,1.0", "2027-03-01"),
            InstrumentIdentity("source-1", "GENERIC,DC-A,SN2,1.0", ""),
        ),
        transcript=tuple(
            TranscriptMessage("lcr-1", direction, 0.1 * place, data)
            for place, (direction, data) in enumerate([("out", b"FETC?\n"), ("in", b"+7.912E+00,\xff\x00\n")] * 30)
        ),
        drive_off_verified=True,
        verification_id=verification_id,
        clock_speed=100.0,
        seed=7,
    )


def make_plan(*, part: str = "IS-20", title: str = "Iris shutter coil") -> Plan:
    """Return a small plan whose text differs with `title`."""
    text = f'part = "{part}"\ntitle = "{title}"\n'
    return Plan(
        part=part,
        title=title,
        serial_pattern=r"(?P<lot>L\d{4})-.*",
        serial_length_limit=40,
        check_digit="",
        coil=CoilDesign("circle", 2, 20, 3e-3, 0.12e-3, 0.12e-3, 18e-6, 50e-6),
        steps=(MethodStep("contact", Frequency()),),
        characteristics=(Characteristic("R20", "ohm", "resistance", 6.8, 9.2),),
        bins=(Bin(1, "good"), Bin(9, "hold", BinFor.HOLD)),
        source_text=text,
        text_hash=hashlib.sha256(text.encode()).hexdigest(),
    )


def make_verification(number: int = 1, *, verified: bool = True) -> Verification:
    """Return verification `number` of bench-1, nest-1."""
    done = START + timedelta(hours=number)
    return Verification(
        verification_id=f"verification-{number}",
        bench="bench-1",
        nest="nest-1",
        fixture_identity="FX-20,SN7",
        part="IS-20",
        done_utc=done,
        verified=verified,
        verified_until_utc=done + timedelta(hours=8),
        unit_limit=500,
        operator="OP-07",
        words="two reference units agree",
        run_ids=("run-a", "run-b"),
    )


def with_reason(record: RunRecord, reason: Reason) -> RunRecord:
    """Return `record` with another reason."""
    return replace(record, reason=reason)


def _result(name: str, r20_ohm: float | None) -> Result:
    if r20_ohm is None:
        return Result(name, "ohm", ResultStatus.NOT_MEASURED, reason=NO_CONTACT)
    value = r20_ohm if name == "R20" else 28.7e-6
    return Result(
        characteristic=name,
        unit_symbol="ohm" if name == "R20" else "H",
        status=ResultStatus.MEASURED,
        value=value,
        standard_uncertainty=value * 1e-3,
        degrees_of_freedom=float("inf"),
        expanded_uncertainty=value * 1.96e-3,
        terms=(
            Term("LCR meter, of reading", value * 8e-4, shape=Shape.RECTANGULAR, sign=-1),
            Term("repeatability", value * 6e-4, 9.0),
        ),
        messages=(4, 9),
    )


def _judgement(name: str, decision: Decision, r20_ohm: float | None) -> Judgement:
    if name == "R20":
        return Judgement(name, decision, r20_ohm is not None, 6.82, 9.18, None)
    return Judgement(name, Decision.PASS if r20_ohm is not None else Decision.INVALID, False, None, 30e-6)
