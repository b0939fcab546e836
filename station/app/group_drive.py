"""Drive compensation of a group of units on record: their R20 and field by ampere, looked up."""

from collections.abc import Sequence

from station.app.matching import sets_on_record
from station.core.set_label import read_set_label
from station.errors import RecordError
from station.quality.drive import DrivenCoil
from station.records import Records


def serials_of(records: Records, names: Sequence[str]) -> tuple[str, ...]:
    """Return serials with each recorded set's name, or its label's scan, replaced by its units; the rest as it came."""
    sets = sets_on_record(records)
    found: list[str] = []
    for each in names:
        label = read_set_label(each)
        found += sets.get(each if label is None else label.name, (each,))
    return tuple(found)


def driven_coils(
    records: Records, serials: Sequence[str], field_characteristic: str, thermal_resistance_k_per_w: float
) -> tuple[DrivenCoil, ...]:
    """Return what is known of good units, in order. `field_characteristic`: such as `B@2mm`, in T/A.

    Raises RecordError for a unit that is unknown, does not pass, is held, or lacks a value; or one named twice.
    """
    if len(set(serials)) < len(serials):
        raise RecordError("a serial is named twice: each unit of the group once, please.")
    return tuple(_coil(records, serial, field_characteristic, thermal_resistance_k_per_w) for serial in serials)


def _coil(records: Records, serial: str, name: str, thermal_resistance_k_per_w: float) -> DrivenCoil:
    state = records.unit_state(serial, characteristics=("R20", name))
    if state is None:
        raise RecordError(f"{serial} is not on record. Look at the serial, or at --home.")
    if state.held or state.decision is None or state.decision.value != "PASS":
        raise RecordError(f"{serial} is {'held' if state.held else 'no unit that passes'}: it gets no drive.")
    resistance, field = state.last("R20"), state.last(name)
    if resistance is None or field is None:
        missing = "R20" if resistance is None else name
        raise RecordError(f"{serial} has no value of {missing}. Measure it, or name another height with --at.")
    if field.unit_symbol != "T/A":
        raise RecordError(f"{name} is in {field.unit_symbol} and not in T/A. Name a field, such as --at B@2mm.")
    return DrivenCoil(serial, resistance.value, field.value, thermal_resistance_k_per_w)
