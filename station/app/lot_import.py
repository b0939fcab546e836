"""Brings somebody else's readings in: an old spreadsheet, the board maker's sheet. Purpose imported, never a decision.

The runs say who measured (the source), by which file (its digest) and keep each row of it as raw message. They are
INVALID for the reason that they are imported: no gate of ours was passed, so none of them can be PASS.
"""

import hashlib
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

from station.core.characteristics import yields
from station.core.ids import RANDOM_BITS, uuid7
from station.core.plan import Plan
from station.core.reasons import reason
from station.core.results import Decision, Result, ResultStatus, Term
from station.core.run_record import InstrumentIdentity, Purpose, RunOpened, RunRecord, TranscriptMessage, UnitId
from station.core.serials import read_serial
from station.core.uncertainty import combine, expanded_uncertainty
from station.errors import Mistake, RecordError, SerialError, StudyError
from station.quality.csv_columns import refuse
from station.quality.readings_file import HowRead, Imported, Span, UnitReadings, read_map, read_readings
from station.records import Records
from station.records.imports import BENCH, add_imported, places_on_record
from station.records.stamps import name as checked_name

COPPER_K = 234.5
"""Winding constant of copper (IEC 60034-1), where no plan states one."""

_USUAL = {"R20": "ohm", "L": "H", "Rs": "ohm", "Q": "1"}


@dataclass(frozen=True, slots=True)
class ImportRequest:
    """What the person says of a file."""

    lot: str
    source: str
    who: str
    maps: tuple[str, ...]
    why: str = ""
    span: Span | None = None
    within_k: float = 1.0
    relative_u95: Mapping[str, float] = field(default_factory=dict)
    simulated: bool = False
    again: bool = False


@dataclass(frozen=True, slots=True)
class ReadFile:
    """A file that was read: rows that can be imported, mistakes of those that can't."""

    file: str
    digest: str
    plan: Plan | None
    rows: tuple[UnitReadings, ...]
    mistakes: tuple[Mistake, ...]
    encoding: str

    @property
    def values(self) -> dict[str, int]:
        """How many units have a value, by characteristic."""
        counts: dict[str, int] = {}
        for row in self.rows:
            for each in row.values:
                counts[each.characteristic] = counts.get(each.characteristic, 0) + 1
        return counts


def read_file(
    records: Records, data: bytes, file: str, asked: ImportRequest, *, plan: Plan | None, skip_bad: bool = False
) -> ReadFile:
    """Return the rows of a file. `plan`: whose serials they are; None: of no plan, and any serial will do.

    Raises StudyError with every mistake, unless `skip_bad`; always if map or header line are wrong.
    """
    if not asked.source.strip() or not asked.who.strip():
        raise RecordError("say whose readings these are (--source) and who brings them in (--who).")
    checked_name(asked.lot, "lot")
    symbols = _symbols(plan)
    text, encoding = _text(data, file)
    k = COPPER_K if plan is None else plan.winding_constant_k
    columns = read_map(asked.maps, symbols)
    how = HowRead(columns, symbols, k, asked.span, asked.within_k, asked.relative_u95)
    check = (lambda serial: "") if plan is None else _serial_check(plan, asked.lot)
    rows, mistakes = read_readings(text, file, how, check=check)
    rows, strange = _without_strange(records, rows, file, asked.lot, plan)
    mistakes = tuple(sorted((*mistakes, *strange), key=lambda each: each.line))
    if not skip_bad:
        refuse(list(mistakes))
    if not rows:
        raise StudyError([*mistakes[:20], Mistake(file, 1, "file", "no row of it can be imported")])
    return ReadFile(file, hashlib.sha256(data).hexdigest(), plan, rows, mistakes, encoding)


def import_file(
    records: Records,
    read: ReadFile,
    asked: ImportRequest,
    *,
    utc: datetime,
    software_version: str,
    told: Callable[[int], object] = lambda count: None,
) -> int:
    """Put the rows of a file on record, all or none; return how many units. Raises RecordError as `add_imported`."""
    facts = {
        "file": read.file,
        "lot": asked.lot,
        "source": asked.source,
        "why": asked.why,
        "map": list(asked.maps),
        "values": read.values,
        "left_out": len({each.line for each in read.mistakes}),
        "temperature_degc": None if asked.span is None else [asked.span.low_degc, asked.span.high_degc],
        "temperature_within_k": asked.within_k,
        "relative_u95": dict(asked.relative_u95),
        "simulated": asked.simulated,
    }
    runs = _runs(read, asked, utc, software_version)
    return add_imported(
        records, runs, digest=read.digest, facts=facts, who=asked.who, utc=utc, again=asked.again, told=told
    )


def plan_of_serials(plans: Sequence[Plan], part: str) -> Plan | None:
    """Return the released plan of a part; without a part the only one released, or None. Raises RecordError."""
    found = [each for each in plans if part in ("", each.part)]
    if len(found) == 1:
        return found[0]
    if part and not found:
        raise RecordError(f"no plan of part {part} is released. Leave --part out to import without one.")
    if len(found) > 1:
        raise RecordError(f"of which part is the lot? --part {' or '.join(sorted(each.part for each in found))}")
    return None


def _text(data: bytes, file: str) -> tuple[str, str]:
    """Return the text and its encoding: UTF-8 or UTF-16 by their marks, UTF-8, else Windows-1252 (old spreadsheets)."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return data.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise StudyError([Mistake(file, 1, "text", "is neither UTF-8, UTF-16 nor Windows-1252; save it as CSV in UTF-8")])


def _symbols(plan: Plan | None) -> dict[str, str]:
    of_plan = {} if plan is None else dict(pair for step in plan.steps for pair in yields(step))
    return _USUAL | of_plan


def _serial_check(plan: Plan, lot: str) -> Callable[[str], str]:
    def check(serial: str) -> str:
        try:
            read_serial(plan, serial, lot=lot)
        except SerialError as error:
            return str(error)
        return ""

    return check


def _unit(row: UnitReadings, lot: str, plan: Plan | None) -> UnitId:
    return UnitId(row.serial, lot, row.panel, row.row, row.column) if plan is None else read_serial(plan, row.serial)


def _without_strange(
    records: Records, rows: tuple[UnitReadings, ...], file: str, lot: str, plan: Plan | None
) -> tuple[tuple[UnitReadings, ...], tuple[Mistake, ...]]:
    """Leave out rows whose unit is on record as one of another lot or place."""
    known = places_on_record(records, [each.serial for each in rows])
    kept, strange = [], []
    for row in rows:
        before, now = known.get(row.serial), _unit(row, lot, plan)
        if before is None or before == now:
            kept.append(row)
            continue
        words = f"{row.serial} is on record in lot {before.lot}, panel {before.panel or '-'}, "
        words += f"row {before.row or '-'}, column {before.column or '-'}; not where the file has it"
        strange.append(Mistake(file, row.line, "serial", words))
    return tuple(kept), tuple(strange)


def _runs(read: ReadFile, asked: ImportRequest, utc: datetime, software_version: str) -> Iterator[RunRecord]:
    now_ms = int(utc.timestamp() * 1000)
    why = reason("imported", message=asked.source)
    who = (InstrumentIdentity("source", asked.source, ""),)
    for row in read.rows:
        opened = RunOpened(
            run_id=uuid7(now_ms, secrets.randbits(RANDOM_BITS)),
            unit=_unit(row, asked.lot, read.plan),
            part="" if read.plan is None else read.plan.part,
            plan_hash="" if read.plan is None else read.plan.text_hash,
            bench=BENCH,
            nest="",
            operator=asked.who,
            purpose=Purpose.IMPORTED,
            simulated=asked.simulated,
            opened_utc=row.measured_utc or utc,
            software_version=software_version,
        )
        yield RunRecord(
            opened=opened,
            closed_utc=utc,
            results=tuple(map(_result, row.values)),
            judgements=(),
            decision=Decision.INVALID,
            reason=why,
            bin_number=0,
            bin_name="",
            held=False,
            traces=(),
            identities=who,
            transcript=(TranscriptMessage("source", "in", 0.0, f"line {row.line}: {row.text}".encode()),),
            drive_off_verified=False,
            verification_id="",
        )


def _result(found: Imported) -> Result:
    u = u95 = freedom = None
    if found.terms:
        u, freedom = combine(found.terms)
        shapes = tuple((each.shape, each.standard_uncertainty / u if u else 0.0) for each in found.terms)
        u95 = u * _factor(tuple((shape, round(share, 3)) for shape, share in shapes))
    return Result(
        characteristic=found.characteristic,
        unit_symbol=found.unit_symbol,
        status=ResultStatus.MEASURED,
        value=found.value,
        standard_uncertainty=u,
        degrees_of_freedom=freedom,
        expanded_uncertainty=u95,
        terms=found.terms,
        messages=(0, 1),
    )


@lru_cache(maxsize=4096)
def _factor(shares: tuple[tuple[object, float], ...]) -> float:
    """Coverage factor of terms in these proportions: alike for most rows of a file, and worked out once."""
    from station.core.results import Shape

    terms = [Term("", share, shape=Shape(str(shape))) for shape, share in shares]
    u, _ = combine(terms)
    return expanded_uncertainty(terms) / u if u else 0.0
