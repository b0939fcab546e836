"""After the shift: records against what was acknowledged, bins against truth, named causes against what was done."""

from station.app.causes import explain_unit_on_record
from station.app.station import Station
from station.core.plan import Plan
from station.core.results import Decision
from station.errors import StationError
from station.nightly.shift import Shift
from station.nightly.tally import Counting
from station.nightly.truth import CAUSE_OF, conforms, damaged

CAUSES_LOOKED_AT = 10
"""Units of a night whose cause is asked for."""

_HEALTHY_CAUSES = ("nothing_unusual", "narrow_or_thin_copper", "wide_or_thick_copper")
"""What may be said of a unit without a defect that was not passed: lots spread."""


def look_at_records(station: Station, shift: Shift, counting: Counting) -> None:
    """Count acknowledged runs that are not on record any more, runs left open, and faults of the chains.

    Each was compared with its record when it was shown; that none was changed since, the chains' digests say.
    """
    shown = {each.run_id for each in shift.acknowledged}
    found: set[str] = set()
    for unit in shift.units:
        for run in station.records.runs_of(unit.serial):
            found.add(run.run_id)
            if run.decision is None:
                counting.fault("open_runs", f"run {run.run_id} of {unit.serial} was left open")
            elif run.run_id not in shown:
                counting.count("unacknowledged_runs")
    for run_id in sorted(shown - found):
        counting.fault("lost_runs", f"run {run_id} is not on record")
    for each in station.records.check().faults:
        counting.fault("chain_faults", each.words)


def look_at_units(station: Station, shift: Shift, plan: Plan, counting: Counting) -> None:
    """Count where the units ended against what they are; one that the last verification holds is not passed."""
    held = {each.serial for each in station.records.held_units()}
    last = {each.serial: each for each in shift.acknowledged}
    for unit in shift.units:
        counting.count("units")
        counting.count("held", times=int(unit.serial in held))
        run = last.get(unit.serial)
        if run is None or run.decision is Decision.INVALID:
            counting.count("not_measured")
            continue
        coil = run.coil or unit
        counting.count("mixed_up", times=int(coil.serial != unit.serial))
        good = conforms(plan, coil)
        counting.count("conforming", times=int(good and not damaged(coil)))
        if run.decision is Decision.PASS and unit.serial not in held:
            if not good:
                counting.fault("escapes", f"{unit.serial} passed: {run.words}")
            counting.count("damaged_passed", times=int(damaged(coil)))
        if run.decision is Decision.FAIL and good and not damaged(coil):
            counting.count("overkill")


def look_at_causes(station: Station, shift: Shift, counting: Counting) -> None:
    """Count for units that did not pass whether the likeliest cause is the true one."""
    last = {each.serial: each for each in shift.acknowledged}
    asked = [(each.serial, each.coil) for each in last.values() if each.coil and each.decision is not Decision.PASS]
    for serial, coil in asked[:CAUSES_LOOKED_AT]:
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
