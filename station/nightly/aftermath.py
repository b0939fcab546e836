"""After the shift: records against what was acknowledged, bins against truth, named causes against what was done."""

from station.app.causes import explain_unit_on_record
from station.app.station import Station
from station.core.plan import Plan
from station.core.results import Decision
from station.core.run_record import RunRecord
from station.errors import StationError
from station.nightly.shift import Shift
from station.nightly.tally import Counting
from station.nightly.truth import CAUSE_OF, bins_claiming, conforms, damaged

CAUSES_LOOKED_AT = 10
"""Units of a night whose cause is asked for."""

_HEALTHY_CAUSES = ("nothing_unusual", "narrow_or_thin_copper", "wide_or_thick_copper")
"""What may be said of a unit without a defect that was not passed: lots spread."""


def look_at_records(station: Station, shift: Shift, counting: Counting) -> None:
    """Count acknowledged runs that are not on record as they were shown, runs left open, and faults of the chains."""
    for record, _ in shift.acknowledged:
        run_id = record.opened.run_id
        try:
            same = station.records.run(run_id) == record
        except StationError as error:
            counting.fault("lost_runs", f"run {run_id}: {error}")
            continue
        if not same:
            counting.fault("lost_runs", f"run {run_id} is not on record as it was shown")
    shown = {record.opened.run_id for record, _ in shift.acknowledged}
    for unit in shift.units:
        for run in station.records.runs_of(unit.serial):
            if run.decision is None:
                counting.fault("open_runs", f"run {run.run_id} of {unit.serial} was left open")
            elif run.run_id not in shown:
                counting.count("unacknowledged_runs")
    for each in station.records.check().faults:
        counting.fault("chain_faults", each.words)


def look_at_units(station: Station, shift: Shift, plan: Plan, counting: Counting) -> None:
    """Count where the units ended against what they are; one that the last verification holds is not passed."""
    held = {each.serial for each in station.records.held_units()}
    last = {record.opened.unit.serial: (record, coil) for record, coil in shift.acknowledged}
    for unit in shift.units:
        counting.count("units")
        counting.count("held", times=int(unit.serial in held))
        record, coil = last.get(unit.serial, (None, None))
        if record is None or record.decision is Decision.INVALID:
            counting.count("not_measured")
            continue
        coil = coil or unit
        counting.count("mixed_up", times=int(coil.serial != unit.serial))
        good = conforms(plan, coil)
        counting.count("conforming", times=int(good and not damaged(coil)))
        if record.decision is Decision.PASS and not record.held:
            _look_at_bin(plan, record, counting)
        if record.decision is Decision.PASS and unit.serial not in held:
            if not good:
                counting.fault("escapes", f"{unit.serial} passed: {_values(record)}")
            counting.count("damaged_passed", times=int(damaged(coil)))
        if record.decision is Decision.FAIL and good and not damaged(coil):
            counting.count("overkill")


def _look_at_bin(plan: Plan, record: RunRecord, counting: Counting) -> None:
    claiming = bins_claiming(plan, {each.characteristic: each.value for each in record.results})
    if [record.bin_number] == claiming:
        return
    claimed = " and ".join(map(str, claiming)) or "none"
    words = f"{record.opened.unit.serial} went into bin {record.bin_number}; its values belong into {claimed}"
    counting.fault("wrong_bin", f"{words}: {_values(record)}")


def look_at_causes(station: Station, shift: Shift, counting: Counting) -> None:
    """Count for units that did not pass whether the likeliest cause is the true one."""
    last = {record.opened.unit.serial: (record, coil) for record, coil in shift.acknowledged}
    asked = [(record, coil) for record, coil in last.values() if coil and record.decision is not Decision.PASS]
    for record, coil in asked[:CAUSES_LOOKED_AT]:
        serial = record.opened.unit.serial
        wanted = (CAUSE_OF[coil.defect],) if coil.defect else _HEALTHY_CAUSES
        try:
            named = explain_unit_on_record(station.records, serial).likeliest.cause.value
        except StationError as error:
            named = str(error)
        counting.count("causes_asked")
        if named in wanted:
            counting.count("causes_right")
        else:
            counting.count(f"cause: {wanted[0]} called {named}")


def _values(record: RunRecord) -> str:
    measured = [each for each in record.results if each.value is not None]
    return ", ".join(f"{each.characteristic} {each.value:.6g} {each.unit_symbol}" for each in measured)
