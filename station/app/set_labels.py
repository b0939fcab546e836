"""Labels of recorded sets, and of the bags of their units."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from station.app.lot_samples import lot_standing, plan_of
from station.app.matching import RecordedSet, recorded_sets
from station.core.quantity import format_quantity
from station.core.set_label import set_label_text
from station.errors import RecordError
from station.records import Records
from station.records.placings import lot_pockets
from station.reports.labels import MOST_LABELS, Label, label_sheet
from station.reports.pictures import symbols

_SHOWN_SERIALS = 4


def set_labels(records: Records, lot: str, *, names: Sequence[str] = (), bags: bool = False) -> tuple[bytes, int]:
    """Return sheets of labels for the recorded sets of a lot as PDF, and how many labels: one a set, or a unit's bag.

    Args:
        names: only these sets; empty: all of the lot.
        bags: a label for each unit's bag instead; its code is the serial.

    Raises:
        RecordError: unknown lot, no set on record, a name that is none, or more labels than a sheet can have.
    """
    standing = lot_standing(records, lot)
    sets = recorded_sets(records, lot=lot)
    unknown = [each for each in names if each not in {found.name for found in sets}]
    if not sets:
        raise RecordError(f"lot {lot}: no set is on record. Record some: coilgate sets make {lot} --record --who --why")
    if unknown:
        raise RecordError(f"lot {lot}: set {unknown[0]!r} is not on record. List them: coilgate sets show {lot}")
    wanted = [each for each in sets if not names or each.name in names]
    plan = plan_of(records, standing)
    lots = sorted({each for found in wanted for each in found.lots})
    labels = _Labels(records, "" if plan is None else plan.part, lots, standing.simulated)
    made = [label for each in wanted for label in (labels.bags(each) if bags else (labels.of(each),))]
    if len(made) > MOST_LABELS:
        raise RecordError(f"{len(made)} labels; at most {MOST_LABELS} at once. Name sets: --set NAME.")
    newest: datetime = max(each.utc for each in wanted)
    what = "bags" if bags else "sets"
    title = f"Labels of {what}, lot {lot}"
    return label_sheet(made, title=title, date_utc=newest, simulated=standing.simulated), len(made)


class _Labels:
    """Makes labels of sets whose units are of `lots`."""

    def __init__(self, records: Records, part: str, lots: Sequence[str], simulated: bool) -> None:
        self._records = records
        self._part = part
        self._lots = lots
        self._simulated = simulated
        self._pockets = lot_pockets(records, lots)
        self._values: dict[str, tuple[Mapping[str, float], str]] = {}

    def of(self, found: RecordedSet) -> Label:
        """The label of a set."""
        ranges = [(name, each) for name, _ in found.tolerances if (each := self._range(name, found)) is not None]
        values = ", ".join(f"{name} {low} to {high}" for name, (low, high) in ranges)
        code = set_label_text(
            found.name, found.serials, lots=found.lots, part=self._part, values=values, simulated=self._simulated
        )
        more = len(found.serials) - _SHOWN_SERIALS
        shown = found.serials if more <= 1 else (*found.serials[:_SHOWN_SERIALS], f"and {more} more")
        where = f"{self._part}, lot {', '.join(found.lots)}"
        return Label(code, (found.name, where, *shown, *(_printed(name, *ends) for name, ends in ranges)))

    def bags(self, found: RecordedSet) -> tuple[Label, ...]:
        """A label for the bag of each unit of a set."""
        count = len(found.serials)
        return tuple(
            Label(
                serial,
                (
                    serial,
                    self._part,
                    f"set {found.name}",
                    f"unit {place} of {count}",
                    *(symbols(each) for name, _ in found.tolerances if (each := self._value(name, serial))),
                    *((f"tray {lies[0]}, pocket {lies[1]}",) if (lies := self._pockets.get(serial)) else ()),
                ),
            )
            for place, serial in enumerate(found.serials, start=1)
        )

    def _range(self, name: str, found: RecordedSet) -> tuple[str, str] | None:
        by_serial, unit = self._of(name)
        values = [by_serial[each] for each in found.serials if each in by_serial]
        if not values:
            return None
        return format_quantity(min(values), unit, digits=4), format_quantity(max(values), unit, digits=4)

    def _value(self, name: str, serial: str) -> str:
        by_serial, unit = self._of(name)
        return f"{name} {format_quantity(by_serial[serial], unit, digits=4)}" if serial in by_serial else ""

    def _of(self, name: str) -> tuple[Mapping[str, float], str]:
        if name not in self._values:
            tables = [self._records.lot_values(lot, name) for lot in self._lots]
            by_serial = {s: v for each in tables for s, v in zip(each.serials, each.values.tolist(), strict=True)}
            self._values[name] = by_serial, next((each.unit_symbol for each in tables if each.unit_symbol), "1")
        return self._values[name]


def _printed(name: str, low: str, high: str) -> str:
    return f"{name} {symbols(low)} to {symbols(high)}"
