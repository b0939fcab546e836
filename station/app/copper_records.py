"""Findings on copper on record: entries in the digest chain, never edited; a later one takes an earlier one's place."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from station.app.copper_rows import CopperKind, Row, as_entry, from_entry
from station.errors import RecordError
from station.records import AuditEntry, Records

ACTION = "copper findings"
_FORMAT = 1
TEMPERATURE_UNCERTAINTY_K = 0.5
"""Standard, of coupons whose thermometer nobody stated (ours)."""


@dataclass(frozen=True, slots=True)
class CopperEntry:
    """One entry. number: 1 is the lot's first. instead_of: entries whose place it takes. replaced_by: 0 if it stands.

    method: microscope, X-ray, micro-section, in the words of who entered it.
    """

    number: int
    utc: datetime
    who: str
    why: str
    kind: CopperKind
    method: str
    rows: tuple[Row, ...]
    instead_of: tuple[int, ...]
    replaced_by: int
    temperature_uncertainty_k: float = TEMPERATURE_UNCERTAINTY_K

    @property
    def stands(self) -> bool:
        """Tell whether no later entry took its place."""
        return self.replaced_by == 0


def record_copper(
    records: Records,
    lot: str,
    rows: Sequence[Row],
    *,
    who: str,
    why: str,
    utc: datetime,
    method: str = "",
    instead_of: Sequence[int] = (),
    temperature_uncertainty_k: float = TEMPERATURE_UNCERTAINTY_K,
) -> int:
    """Put rows of one kind on record; return the entry's number. To be checked before (`station.app.copper`).

    One transaction with the look at what is to be replaced: of two who replace one entry at once the second is told.

    Raises RecordError without rows, who or why, or if an entry to be replaced is unknown, replaced already, or of
    another kind.
    """
    if not who.strip() or not why.strip():
        raise RecordError("findings are put on record by somebody, for a reason: say --who and --why.")
    if not rows:
        raise RecordError(f"lot {lot}: nothing to put on record.")
    kind = rows[0].kind
    entry: dict[str, object] = {
        "format": _FORMAT,
        "why": why,
        "kind": kind.value,
        "method": method,
        "rows": [as_entry(each) for each in rows],
        "instead_of": list(instead_of),
    }
    if kind is CopperKind.COUPONS:
        entry["temperature_uncertainty_k"] = temperature_uncertainty_k
    numbers: list[int] = []

    def make(entries: tuple[AuditEntry, ...]) -> AuditEntry:
        before = _of_entries(lot, entries)
        for number in instead_of:
            _check_replaced(before, number, kind, lot)
        numbers.append(len(before) + 1)
        return AuditEntry(utc, who, ACTION, f"lot {lot}", json.dumps(entry))

    records.audit_from(f"lot {lot}", make)
    return numbers[-1]


def copper_entries(records: Records, lot: str) -> tuple[CopperEntry, ...]:
    """Return every entry of a lot, oldest first, replaced ones too. Raises RecordError for a newer version's."""
    return _of_entries(lot, records.audit_entries(subject=f"lot {lot}"))


def _of_entries(lot: str, entries: Sequence[AuditEntry]) -> tuple[CopperEntry, ...]:
    found: list[CopperEntry] = []
    replaced: dict[int, int] = {}
    for each in entries:
        if each.action != ACTION:
            continue
        entry = json.loads(each.why)
        if entry.get("format") != _FORMAT:
            raise RecordError(f"lot {lot}: findings on copper were recorded by a newer version. Update coilgate.")
        kind, number = CopperKind(entry["kind"]), len(found) + 1
        instead_of = tuple(entry["instead_of"])
        replaced |= dict.fromkeys(instead_of, number)
        rows = tuple(from_entry(kind, row) for row in entry["rows"])
        doubt_k = entry.get("temperature_uncertainty_k", TEMPERATURE_UNCERTAINTY_K)
        found.append(
            CopperEntry(number, each.utc, each.who, entry["why"], kind, entry["method"], rows, instead_of, 0, doubt_k)
        )
    return tuple(_with_replaced(each, replaced.get(each.number, 0)) for each in found)


def _with_replaced(entry: CopperEntry, by: int) -> CopperEntry:
    from dataclasses import replace

    return replace(entry, replaced_by=by)


def _check_replaced(before: tuple[CopperEntry, ...], number: int, kind: CopperKind, lot: str) -> None:
    if not 1 <= number <= len(before):
        raise RecordError(f"lot {lot}: there is no entry {number} to replace; it has {len(before)}.")
    former = before[number - 1]
    if former.kind is not kind:
        raise RecordError(f"lot {lot}: entry {number} has {former.kind}, not {kind}; it can't be replaced by them.")
    if not former.stands:
        raise RecordError(f"lot {lot}: entry {number} was replaced by entry {former.replaced_by} already.")
