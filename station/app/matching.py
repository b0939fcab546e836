"""Matched sets of a lot's good units: proposed from the records, and put on record when somebody says so.

Recorded sets are one audit entry each time, in the station's digest chain: what was put together can't be changed
unseen, and a unit in a set is not proposed again.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from station.core.quantity import Dimension, QuantityError, parse_quantity
from station.errors import RecordError, StationError
from station.quality.set_classes import SetClasses, set_classes
from station.quality.sets import Agreed, MatchedSets, matched_sets
from station.quality.sets_several import matched_sets_several
from station.records import AuditEntry, Records
from station.records.standing import lot_standing

ACTION = "record sets"
DISSOLVE = "dissolve sets"
_FORMAT, _DISSOLVED_FORMAT = 1, 2
_SUBJECT = "matched sets"
"""One subject for all lots: a set may have units of several, and one entry is one transaction."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A characteristic that the units of a set agree in."""

    characteristic: str
    unit_symbol: str
    agreed: Agreed


@dataclass(frozen=True, slots=True)
class RecordedSet:
    """A set on record. `tolerances`: as they were asked for, by characteristic."""

    name: str
    serials: tuple[str, ...]
    lots: tuple[str, ...]
    tolerances: tuple[tuple[str, str], ...]
    who: str
    utc: datetime


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Units that may go into sets: PASS, not held, not scrapped or shipped, in no set yet, with every value."""

    lots: tuple[str, ...]
    simulated: bool
    quantities: tuple[Quantity, ...]
    serials: tuple[str, ...]
    values: np.ndarray
    """Shape (units, quantities), in the quantities' units."""
    in_sets: int
    """Good units that are in recorded sets already."""
    without_value: int
    """Good units that lack a value."""

    @property
    def population(self) -> str:
        """In words."""
        named = ", ".join(each.characteristic for each in self.quantities)
        return (
            f"units of {', '.join(f'lot {lot}' for lot in self.lots)} that pass, are not held, scrapped or shipped, "
            f"are in no set yet, with a measured {named}"
        )


def wanted_tolerances(texts: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Return (characteristic, tolerance) of texts such as `R20=1 %`, `L=0.1 uH`, or `1 %` for R20.

    Raises StationError for none, an empty part, or a characteristic that stands twice.
    """
    pairs = []
    for text in texts:
        name, equals, quantity = text.rpartition("=")
        pairs.append((name.strip() if equals else "R20", quantity.strip()))
    names = [name for name, _ in pairs]
    if not pairs or not all(name and quantity for name, quantity in pairs) or len(set(names)) < len(names):
        raise StationError(
            f"a tolerance is a characteristic and how closely it must agree, each once: 'R20=1 %' or 'L=0.1 uH'; "
            f"got {', '.join(map(repr, texts)) or 'none'}."
        )
    return tuple(pairs)


def candidates(records: Records, lots: Sequence[str], tolerances: Sequence[tuple[str, str]]) -> Candidates:
    """Return the good units of lots with their values. Raises RecordError or StationError in words."""
    standings = [lot_standing(records, lot) for lot in lots]
    if len({each.simulated for each in standings}) > 1:
        raise RecordError(f"{', '.join(lots)}: simulated and real units never go into one set.")
    used = {serial for members in sets_on_record(records).values() for serial in members}
    gone = frozenset[str]().union(*(_gone(records, lot) for lot in lots))
    tables = [[records.lot_values(lot, name) for name, _ in tolerances] for lot in lots]
    quantities = tuple(
        Quantity(name, unit, _agreed(name, text, unit))
        for (name, text), unit in zip(tolerances, _units(tables, tolerances), strict=True)
    )
    serials: list[str] = []
    rows: list[list[float]] = []
    without = 0
    for standing, columns in zip(standings, tables, strict=True):
        found = [dict(zip(each.serials, each.values.tolist(), strict=True)) for each in columns]
        for serial in sorted(standing.passed - used - gone):
            if all(serial in each for each in found):
                serials.append(serial)
                rows.append([each[serial] for each in found])
            else:
                without += 1
    passed = sum(len(each.passed & used) for each in standings)
    values = np.array(rows).reshape(len(rows), len(quantities))
    return Candidates(tuple(lots), standings[0].simulated, quantities, tuple(serials), values, passed, without)


def _gone(records: Records, lot: str) -> frozenset[str]:
    """Units of a lot that are scrapped or shipped with a part of it. Raises RecordError for a lot that is held."""
    life = records.lot_life(lot)
    if life.hold is not None:
        raise RecordError(f"lot {lot} is held: {life.hold.why}. Release it, then make sets of it.")
    return life.scrapped | life.closed_units


def propose(units: Candidates, size: int) -> MatchedSets:
    """Return matched sets of `size`: optimal for one quantity, near-optimal with a bound for several."""
    agreed = [each.agreed for each in units.quantities]
    if len(agreed) == 1:
        return matched_sets(units.values[:, 0], size, agreed[0], population=units.population)
    return matched_sets_several(units.values, size, agreed, population=units.population)


def propose_classes(units: Candidates, size: int) -> SetClasses:
    """Return classes of the one quantity of `units`. Raises StationError if there are several."""
    if len(units.quantities) != 1:
        raise StationError("classes are of one characteristic; give one --tolerance.")
    return set_classes(units.values[:, 0], size, units.quantities[0].agreed, population=units.population)


def set_names(records: Records, lot: str, count: int) -> tuple[str, ...]:
    """Return names for `count` new sets under a lot's name, after those on record: L2641-S0001, ..."""
    # A dissolved set's name is never given again: its label may still lie about.
    given = {name for entry in _entries(records.audit_entries(subject=_SUBJECT)) for name in entry.get("sets", ())}
    first = 1 + sum(name.startswith(_stem(lot)) for name in given)
    return tuple(f"{_stem(lot)}{first + i:04d}" for i in range(count))


def record_sets(
    records: Records, units: Candidates, found: MatchedSets, *, who: str, why: str, utc: datetime
) -> tuple[str, ...]:
    """Put sets on record, under the last lot's name; return their names.

    One transaction: who records meanwhile comes before or after, never between the look at what is free and the entry.
    Raises RecordError without who or why, or if a unit has gone into another set, or was measured again, meanwhile.
    """
    if not who.strip() or not why.strip():
        raise RecordError("sets are put on record by somebody, for a reason: say --who and --why.")
    lot, made = units.lots[-1], list[tuple[str, ...]]()

    def make(_before: tuple[AuditEntry, ...]) -> AuditEntry:
        _require_free(records, units, found)
        names = set_names(records, lot, len(found.sets))
        made.append(names)
        entry = {
            "format": _FORMAT,
            "why": why,
            "lots": list(units.lots),
            "tolerances": {each.characteristic: _tolerance_text(each) for each in units.quantities},
            "sets": {
                name: [units.serials[i] for i in members] for name, members in zip(names, found.sets, strict=True)
            },
        }
        return AuditEntry(utc, who, ACTION, _SUBJECT, json.dumps(entry))

    records.audit_from(_SUBJECT, make)
    return made[-1]


def _require_free(records: Records, units: Candidates, found: MatchedSets) -> None:
    """Refuse sets of units that are no longer free, or whose values are no longer those that they were matched by."""
    tolerances = [(each.characteristic, _tolerance_text(each)) for each in units.quantities]
    now = candidates(records, units.lots, tolerances)
    values = dict(zip(now.serials, map(tuple, now.values.tolist()), strict=True))
    for i in sorted(i for members in found.sets for i in members):
        serial, matched = units.serials[i], tuple(units.values[i].tolist())
        if serial not in values:
            raise RecordError(f"{serial} is no longer free for a set. Propose the sets again.")
        if values[serial] != matched:
            raise RecordError(f"{serial} was measured again meanwhile. Propose the sets again.")


def sets_on_record(records: Records, *, lot: str = "") -> Mapping[str, tuple[str, ...]]:
    """Return the recorded sets, or those made from a lot (and others, maybe): name to serials.

    Raises RecordError for sets that a newer version recorded.
    """
    return {each.name: each.serials for each in recorded_sets(records, lot=lot)}


def recorded_sets(records: Records, *, lot: str = "") -> tuple[RecordedSet, ...]:
    """Return the recorded sets, or those made from a lot, oldest first. Raises as `sets_on_record`."""
    entries = records.audit_entries(subject=_SUBJECT)
    sets: dict[str, RecordedSet] = {}
    for each, entry in zip(entries, _entries(entries), strict=True):
        for name in entry.get("dissolved", ()):
            sets.pop(name, None)
        for name, serials in entry.get("sets", {}).items():
            lots, tolerances = tuple(entry["lots"]), tuple(entry["tolerances"].items())
            sets[name] = RecordedSet(name, tuple(serials), lots, tolerances, each.who, each.utc)
    return tuple(each for each in sets.values() if not lot or lot in each.lots)


def dissolve_sets(records: Records, names: Sequence[str], *, who: str, why: str, utc: datetime) -> tuple[str, ...]:
    """Put on record that sets are no more; return their units, which are free again if they are good.

    All or nothing. Raises RecordError without who or why, or for a name that is no set on record.
    """
    if not who.strip() or not why.strip():
        raise RecordError("a set is dissolved by somebody, for a reason: say --who and --why.")
    freed: list[str] = []

    def make(_before: tuple[AuditEntry, ...]) -> AuditEntry:
        sets = sets_on_record(records)
        unknown = [each for each in names if each not in sets]
        if unknown:
            raise RecordError(f"set {unknown[0]!r} is not on record. List them: coilgate sets show LOT")
        freed[:] = [serial for name in dict.fromkeys(names) for serial in sets[name]]
        entry = {"format": _DISSOLVED_FORMAT, "why": why, "dissolved": list(dict.fromkeys(names))}
        return AuditEntry(utc, who, DISSOLVE, _SUBJECT, json.dumps(entry))

    records.audit_from(_SUBJECT, make)
    return tuple(freed)


def _entries(entries: Sequence[AuditEntry]) -> list[dict[str, Any]]:
    found = [json.loads(each.why) for each in entries]
    if any(each.get("format") not in (_FORMAT, _DISSOLVED_FORMAT) for each in found):
        raise RecordError("matched sets were recorded by a newer version. Update coilgate.")
    return found


def _stem(lot: str) -> str:
    return f"{lot}-S"


def _units(tables: Sequence[Sequence[object]], tolerances: Sequence[tuple[str, str]]) -> list[str]:
    units = []
    for place, (name, _) in enumerate(tolerances):
        found = {getattr(columns[place], "unit_symbol", "") for columns in tables} - {""}
        if len(found) != 1:
            raise RecordError(f"no unit has a value of {name}. Look at the name, or measure first.")
        units.append(found.pop())
    return units


def _agreed(name: str, text: str, unit: str) -> Agreed:
    relative = text.rstrip().endswith(("%", "ppm"))
    try:
        value = parse_quantity(text, Dimension.FRACTION if relative else unit)
    except QuantityError as error:
        raise StationError(f"--tolerance {name}: {error}, or a percentage such as '1 %'.") from error
    if value < 0.0:
        raise StationError(f"--tolerance {name}: must be 0 or more; got {text!r}.")
    return Agreed(value, relative=relative)


def _tolerance_text(quantity: Quantity) -> str:
    from station.core.quantity import format_quantity

    unit = Dimension.FRACTION if quantity.agreed.relative else quantity.unit_symbol
    return format_quantity(quantity.agreed.within, unit, digits=None)
