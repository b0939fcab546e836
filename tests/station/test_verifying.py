"""A bench proves that it measures right, or passes no unit: at the library's entrance."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from drivers.stop import Stopped
from sim.truth import CoilTruth
from station.app.files import read_plan
from station.app.simulated import MemoryPlace, reference_truth
from station.core.plan_file import parse_plan
from station.core.reference_check import missing_references
from station.core.results import Decision
from station.core.run_record import Purpose, UnitId
from station.data import data_path
from station.errors import BenchError, SerialError
from station.inspection import REFERENCE_LOT, PlanInUse, Request
from station.verifying import BEGUN
from tests.station.verification_bench import GOOD, REFERENCES, VerificationBench, lcr_off_by, verification_bench

LOW, HIGH, THERMAL = (f"L2600-01-{place}" for place in ("A01", "A02", "A03"))
OPEN, SHORTED, OUT = (f"L2600-01-{place}" for place in ("B01", "B02", "B03"))


def truth_of(serial: str) -> CoilTruth:
    """What a shipped reference unit is, as assigned."""
    return next(reference_truth(each) for each in REFERENCES if each.serial == serial)


def reason_of(bench: VerificationBench) -> str:
    """The code of the reason why a good unit is not passed."""
    record = bench.measure()
    return "" if record.reason is None else record.reason.code


def test_sound_bench_is_verified_and_passes(tmp_path: Path) -> None:
    """Three good units agree in all that is assigned, three broken ones fail as they must."""
    with verification_bench(tmp_path) as bench:
        report = bench.verify()
        passed = bench.passes()
        mishaps = bench.place.bench.world.mishaps
        kept = bench.station.records.verification_values(report.verification.verification_id)

    words = "14 values of 3 good reference units agree, 3 known-defect ones fail as they must"

    assert (True, True, []) == (report.verification.verified, passed, mishaps)
    assert words == report.verification.words
    assert report.values == kept


def test_bench_that_was_never_verified_passes_no_unit(tmp_path: Path) -> None:
    """The good unit is measured, and is not passed."""
    with verification_bench(tmp_path) as bench:
        assert "not_verified" == reason_of(bench)


def test_expired_verification_passes_no_unit(tmp_path: Path) -> None:
    """It holds for ten hours, and not a minute longer."""
    with verification_bench(tmp_path) as bench:
        until = bench.verify().verification.verified_until_utc
        bench.wait(until - bench.place.clock.utc_now() - timedelta(minutes=1))
        before = bench.passes()
        bench.wait(timedelta(minutes=1))

        assert (True, "verification_expired") == (before, reason_of(bench))


def test_verification_holds_for_so_many_units_and_so_long_as_the_bench_file_says(tmp_path: Path) -> None:
    """Two units in an hour, and no third one."""
    units = tuple(replace(GOOD, serial=f"L2641-01-A0{place}") for place in range(1, 4))
    with verification_bench(
        tmp_path, units=units, setup=lambda bench: replace(bench, verified_for_s=3600.0, verified_units=2)
    ) as bench:
        verification = bench.verify().verification
        decisions = [bench.measure(each.serial) for each in units]

    assert timedelta(hours=1) == verification.verified_until_utc - verification.done_utc
    assert [Decision.PASS, Decision.PASS, Decision.INVALID] == [each.decision for each in decisions]
    assert decisions[2].reason is not None
    assert "verification_used_up" == decisions[2].reason.code


def test_other_revision_of_the_plan_passes_no_unit_until_verified(tmp_path: Path) -> None:
    """It may ask for what the reference units have not shown."""
    with verification_bench(tmp_path) as bench:
        bench.verify()
        before = bench.passes()
        used = bench.inspection.plans[0]
        revised = parse_plan(used.plan.source_text.replace('drive = "100 mA"', 'drive = "90 mA"'), "IS-20.toml")
        bench.inspection.plans = (replace(used, plan=revised),)

        assert (True, "other_plan") == (before, reason_of(bench))
        assert bench.verify().verification.verified
        assert bench.passes()


@pytest.mark.slow
def test_plan_that_heats_is_verified_with_the_thermal_reference(tmp_path: Path) -> None:
    """It alone is heated; what this plan can't judge is left out. Without it the bench is not verified."""
    with verification_bench(tmp_path) as bench:
        plan = read_plan(data_path("plans/IS-20-heating.toml"))
        bench.inspection.plans = (PlanInUse(plan, released=True),)
        report = bench.verify()
        lacking = missing_references(plan, [each for each in REFERENCES if each.serial != THERMAL], date(2026, 1, 5))
    rises = {each.subject for each in report.values if each.characteristic.startswith("rise@")}

    assert (True, {THERMAL}) == (report.verification.verified, rises)
    assert SHORTED not in {each.subject for each in report.values}
    assert ("no good reference unit has an assigned value of rise@2V, Rth@air",) == lacking


@pytest.mark.parametrize("gain", [0.005, -0.005])
def test_bench_whose_meter_drifted_is_not_verified_and_passes_no_unit(tmp_path: Path, gain: float) -> None:
    """Half a per cent is three times what both uncertainties allow; the unit would pass if it were let."""
    with verification_bench(tmp_path) as bench:
        bench.verify()
        bench.set_errors(lcr_off_by(gain))
        report = bench.verify()

        assert (False, "verification_failed") == (report.verification.verified, reason_of(bench))


def test_units_since_last_good_verification_are_held_when_bench_drifted(tmp_path: Path) -> None:
    """The first unit stands on the verification before, the second is in doubt, until an engineer decides."""
    second = replace(GOOD, serial="L2641-01-A02")
    with verification_bench(tmp_path, units=(GOOD, second)) as bench:
        records = bench.station.records
        bench.verify()
        bench.measure()
        bench.verify()
        bench.measure(second.serial)
        bench.set_errors(lcr_off_by(0.005))
        report = bench.verify()
        again = bench.verify()
        held = [records.is_held(each.serial) for each in (GOOD, second)]
        with pytest.raises(SerialError, match=r"is held: .*An engineer releases it"):
            bench.measure(second.serial)

    assert ((second.serial,), (second.serial,), [False, True]) == (report.held, again.held, held)
    assert not report.verification.verified


def test_units_are_not_held_when_reference_was_not_seated(tmp_path: Path) -> None:
    """A reference unit without contact leaves the bench unverified, but says nothing of earlier units."""
    no_contact = replace(truth_of(LOW), contact_start_ohm=float("inf"))
    with verification_bench(tmp_path) as bench:
        bench.verify()
        bench.measure()
        bench.place.bench.units[LOW] = no_contact
        report = bench.verify()

        assert (False, (), "verification_failed") == (report.verification.verified, report.held, reason_of(bench))


def test_good_reference_that_disagrees_is_seated_once_more(tmp_path: Path) -> None:
    """A bad contact of the first seating is cured by the second; the record says so."""
    seated_badly = replace(truth_of(LOW), contact_end_ohm=float("inf"), contact_cured_by_reseating=True)
    with verification_bench(tmp_path, truths=(seated_badly,)) as bench:
        report = bench.verify()
        runs = [each.serial for each in bench.station.records.runs_of(LOW)]

    assert (True, [LOW, LOW]) == (report.verification.verified, runs)
    assert f"{LOW} on its second seating" in report.verification.words


def test_bench_stops_at_reference_that_disagrees_twice(tmp_path: Path) -> None:
    """The low one is tried twice; the others are not loaded any more."""
    with verification_bench(tmp_path, errors=lcr_off_by(0.005)) as bench:
        bench.verify()
        runs = {each: len(bench.station.records.runs_of(each)) for each in (LOW, HIGH, OPEN)}

    assert {LOW: 2, HIGH: 0, OPEN: 0} == runs


@pytest.mark.parametrize("serial", [OPEN, SHORTED, OUT])
def test_bench_that_passes_a_known_defect_is_not_verified(tmp_path: Path, serial: str) -> None:
    """Whatever reads like a good unit where a broken one lies: not verified, at the first seating."""
    with verification_bench(tmp_path, truths=(replace(GOOD, serial=serial),)) as bench:
        report = bench.verify()
        runs = len(bench.station.records.runs_of(serial))

        assert (False, 1, "verification_failed") == (report.verification.verified, runs, reason_of(bench))


@dataclass
class WrongPiece:
    """Hands that put a coil in where the shorting piece is asked for."""

    place: MemoryPlace

    def unload(self) -> None:
        """As asked."""
        self.place.hands.unload()

    def load(self, serial: str) -> None:
        """Take the low reference unit for the shorting piece."""
        self.place.hands.load(LOW if serial == "SHORT" else serial)

    def place_spacer(self, height_m: float) -> None:
        """There is a stage."""


def test_short_correction_is_not_taken_with_a_coil_in_the_nest(tmp_path: Path) -> None:
    """The meter would take 7 ohm off every unit after it: what it reads is looked at first."""
    with verification_bench(tmp_path, hands=WrongPiece) as bench:
        report = bench.verify()
        raw = [each.data for each in bench.inspection.bench.transcript()]
        names = [each.characteristic for each in report.values]

    assert not any(b"CORR:SHOR" in each for each in raw)
    assert ("short before correction", False) == (names[-1], report.verification.verified)


def test_field_sensor_of_wrong_sign_is_found(tmp_path: Path) -> None:
    """A sensor wired the other way round gives no field at all."""
    with verification_bench(tmp_path) as bench:
        bench.set_errors(replace(bench.place.bench.world.errors, field_gain=-2.0))
        report = bench.verify()

    assert not report.verification.verified
    assert "wrong sign" in report.verification.words


def test_overdue_calibration_is_not_verified(tmp_path: Path) -> None:
    """Nor is a reference unit loaded for it."""
    with verification_bench(
        tmp_path,
        setup=lambda bench: replace(
            bench,
            instruments=tuple(replace(each, calibration_due=date(2025, 1, 1)) for each in bench.instruments),
        ),
    ) as bench:
        report = bench.verify()
        runs = bench.station.records.runs_of(LOW)

    assert (False, []) == (report.verification.verified, runs)
    assert "calibration: overdue: lcr-1" in report.verification.words


def test_verification_broken_off_leaves_no_verified_bench(tmp_path: Path) -> None:
    """Whoever sees it go wrong can't stop it and go on with the one before."""
    with verification_bench(tmp_path) as bench:
        bench.verify()
        bench.station.stop.set("by hand")
        with pytest.raises(Stopped):
            bench.verify()
        bench.station.stop.clear()
        latest = bench.station.records.latest_verification("bench-1", "A")

        assert latest is not None
        assert (False, BEGUN) == (latest.verified, latest.words)
        assert "verification_failed" == reason_of(bench)


def test_reference_unit_is_refused_in_production(tmp_path: Path) -> None:
    """It has a serial of the range that is its own, and no lot's statistics see it."""
    with verification_bench(tmp_path) as bench:
        bench.verify()
        with pytest.raises(SerialError, match="is a reference unit"):
            bench.measure(LOW)
        lots = bench.station.records.lots()
        units = bench.station.records.lot_summary(REFERENCE_LOT).units

    assert ((REFERENCE_LOT,), 0) == (lots, units)


def test_unit_of_a_lot_is_refused_as_reference_unit(tmp_path: Path) -> None:
    """The other way round."""
    with verification_bench(tmp_path) as bench:
        bench.measure(LOW)
        with pytest.raises(SerialError, match="is on record as a unit of lot L2600"):
            bench.verify()


def test_production_run_can_not_choose_its_methods(tmp_path: Path) -> None:
    """Who leaves the field out would pass what was never measured."""
    with verification_bench(tmp_path) as bench:
        bench.verify()
        plan = bench.inspection.plans[0]
        unit = UnitId(GOOD.serial, "L2641", "01", "A", "01")
        request = Request("OP-07", Purpose.PRODUCTION, methods=("contact", "resistance"))
        record = bench.inspection.measure(plan, unit, request)

    assert Decision.PASS is record.decision
    assert all(each.value is not None for each in record.results)


def test_real_bench_needs_reference_units_of_its_own(tmp_path: Path) -> None:
    """The shipped ones are invented."""
    with verification_bench(tmp_path) as bench:
        opened = bench.inspection.bench
        opened.setup = replace(opened.setup, simulated=False)
        with pytest.raises(BenchError, match="say where the files of your reference units are: --references"):
            bench.verify()
