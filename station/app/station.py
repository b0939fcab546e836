"""The station: records, benches and inspections, built in one place."""

import secrets
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from types import TracebackType

from drivers.clock import Clock, RealClock
from drivers.links.open import open_link
from drivers.stop import Stopped
from station.app.doubt import VerificationReport, units_in_doubt
from station.app.drift import NEW_BASELINE, limited_by_drift, series_with, words_of
from station.app.files import read_bench, read_reference_units
from station.app.hands import SimulatedHands, ToldHands
from station.app.plans import plans_in_use
from station.bench import LinkOpener, OpenBench
from station.checking import Check, check_empty, check_loaded
from station.core.equipment import Bench
from station.core.gates import overdue_instruments
from station.core.ids import uuid7
from station.core.verification import ReferenceUnit, VerificationValue
from station.data import data_path
from station.errors import BenchError, RecordError
from station.heat_memory import HeatOnDisk
from station.inspection import LOAD_TIMEOUT_S, Hands, Inspection, PlanInUse
from station.records import Records
from station.records.export import write_csv, write_parquet
from station.stop import NestStop
from station.verifying import begin, verify


class Station:
    """One program's hold on the records, and the way to benches. A context manager."""

    def __init__(self, records: Records, home: Path, *, clock: Clock, stop: NestStop) -> None:
        self.records = records
        self.home = home
        self.clock = clock
        self.stop = stop

    @classmethod
    def open(cls, home: Path, *, url: str | None = None) -> "Station":
        """Open the records in `home` (made if need be), or at `url`.

        Raises:
            RecordError: the records can't be opened; the message says what to do.
        """
        stop = NestStop()
        return cls(Records.open(home, url=url), home, clock=RealClock(stop=stop), stop=stop)

    def __enter__(self) -> "Station":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.records.close()

    @contextmanager
    def inspecting(
        self,
        bench_file: Path | Bench,
        *,
        where: str,
        plan_file: Path | None = None,
        hands: Hands | None = None,
        links: LinkOpener | None = None,
        clock: Clock | None = None,
        new_id: Callable[[], str] | None = None,
    ) -> Iterator[Inspection]:
        """Open a bench and give what takes scans on it; the bench is safe and closed afterwards.

        Args:
            bench_file: the bench, or the file that describes it.
            where: where this program can be found, for whoever finds the bench busy.
            hands: whoever loads; by default the operator, or the simulated one of a simulated bench.
            links: opens links inside this program instead of ports (memory links, manual clock).

        Raises:
            BenchError, NestBusy, InstrumentError, DriveNotOff: as `OpenBench`.
        """
        setup = bench_file if isinstance(bench_file, Bench) else read_bench(bench_file)
        plans = plans_in_use(self.records, plan_file)
        with ExitStack() as stack:
            bench = stack.enter_context(
                OpenBench(setup, home=self.home, where=where, clock=clock, stop=self.stop, links=links)
            )
            # Who has the bench is the only one who can have open runs on it: these are left from a crash.
            self.records.close_unfinished(setup.name, closed_utc=bench.clock.utc_now())
            yield Inspection(
                bench=bench,
                records=self.records,
                plans=plans,
                hands=hands or self._hands(setup, stack),
                new_id=new_id or (lambda: new_run_id(bench.clock)),
                fixture_identity=_fixture_identity(bench),
                calibration_overdue=overdue_instruments(setup, bench.clock.utc_now().date()),
                heat=HeatOnDisk(self.home, setup.name, setup.nest),
            )

    def checks(
        self, inspection: Inspection, *, loaded: bool, tell: Callable[[str], object]
    ) -> Iterator[Check]:
        """Yield the checks of the bench with the nest empty, then, if `loaded`, with a good unit in it."""
        bench, plans = inspection.bench, inspection.plans
        plan = plans[0].plan if plans else None
        inspection.release()
        tell("Empty the nest.")
        inspection.hands.unload()
        inspection.wait(loaded=False, what="the nest was not emptied", timeout_s=LOAD_TIMEOUT_S)
        yield from check_empty(bench, plan, bench.clock.utc_now().date())
        if plan is None or not loaded:
            return
        folder = self.invented_references(plan.part)
        reference = next(iter(read_reference_units(folder, plan.part)), None)
        if reference is None and bench.setup.simulated:
            raise BenchError(
                f"{bench.setup.name}: no good unit of {plan.part} lies on the simulated shelf. "
                "Check the empty nest only: --empty-only"
            )
        tell("Load a good unit.")
        inspection.hands.load(reference.serial if reference else "")
        inspection.wait(loaded=True, what="no unit was loaded", timeout_s=LOAD_TIMEOUT_S)
        yield from check_loaded(bench, plan)
        tell("Take the unit out again.")
        inspection.hands.unload()

    def verify(
        self,
        inspection: Inspection,
        operator: str,
        *,
        references: Path | None = None,
        part: str = "",
        new_baseline: str = "",
    ) -> VerificationReport:
        """Check the bench, measure the reference units of a part, and put on record what that proves.

        That it began is on record before the first contact: from then on the bench is not verified until this
        has succeeded, also if it is broken off. If the bench has measured wrong, the units judged on its last
        good verification are held with the same transaction.

        Args:
            inspection: on the open bench.
            operator: badge code.
            references: folder of reference units' files.
            part: whose plan is used; empty: the only one released.
            new_baseline: why values over time begin anew with this one (an instrument was adjusted); empty: they
                go on. Assigned values and limits stay what they are.

        Raises:
            BenchError: no plan is released for it, or there are no reference units of it; the shipped ones
                are invented and serve simulated benches only.
        """
        plan = _only_plan(inspection, part)
        setup = inspection.bench.setup
        if references is None and not setup.simulated:
            raise BenchError(
                f"{setup.name}: say where the files of your reference units are: --references FOLDER. "
                "The shipped ones are invented."
            )
        folder = self.invented_references(plan.plan.part) if references is None else references
        units = read_reference_units(folder, plan.plan.part)
        uses = {each.serial: len(self.records.runs_of(each.serial)) for each in units}
        self.records.add_verification(begin(inspection, plan, operator=operator))
        proof = verify(inspection, plan, units, operator=operator, uses=uses)
        if new_baseline:
            marked = VerificationValue("", NEW_BASELINE, "", None, True)
            proof = replace(proof, values=(marked, *proof.values))
            self.records.audit(
                who=operator, action=NEW_BASELINE, subject=setup.name, why=new_baseline, utc=self.clock.utc_now()
            )
        series = series_with(self.records, proof)
        done = limited_by_drift(proof.verification, series)
        since = units_in_doubt(self.records, proof, done)
        self.records.add_verification(done, values=proof.values, held=since)
        warnings = tuple(words_of(each) for each in series if each.drift.warnings)
        return VerificationReport(done, proof.values, since, uses, units, warnings)

    def invented_references(self, part: str) -> Path:
        """Return the folder of a part's invented reference units: the last simulated shelf's, or the shipped ones."""
        from station.app.drawn_shelf import references_folder

        own = references_folder(self.home, part)
        return own if own.is_dir() else data_path("reference_units")

    @staticmethod
    def shipped_references(part: str) -> tuple[ReferenceUnit, ...]:
        """Return the invented reference units of a part that come with the station."""
        return read_reference_units(data_path("reference_units"), part)

    def export_lot(self, lot: str, target: Path, *, every_run: bool = False) -> int:
        """Write a lot to a .csv or .parquet file, which appears whole or not at all; return the number of rows.

        A row a unit by its latest production run, or with `every_run` a row a closed run, imported ones too.

        Raises:
            RecordError: unknown lot, the file can't be written, or what Parquet needs is not installed.
        """
        if target.suffix == ".parquet":
            return write_parquet(self.records, lot, target, every_run=every_run)
        unfinished = target.with_name(target.name + ".part")
        try:
            with unfinished.open("w", encoding="utf-8", newline="") as stream:
                rows = write_csv(self.records, lot, stream, every_run=every_run)
            unfinished.replace(target)
        except OSError as error:
            raise RecordError(f"{target}: can't be written: {error.strerror or error}.") from error
        finally:
            unfinished.unlink(missing_ok=True)
        return rows

    def _hands(self, setup: Bench, stack: ExitStack) -> Hands:
        if not setup.operator_address:
            return ToldHands(_confirm)
        hands = SimulatedHands(
            open_link(setup.operator_address, name="simulated operator", via="auto", stop=self.stop)
        )
        stack.callback(hands.close)
        return hands


def wait_for_stop(stop: NestStop) -> None:
    """Wait until a signal asks to stop."""
    clock = RealClock(stop=stop)
    with suppress(Stopped):
        while True:
            clock.sleep(3600.0)


def _only_plan(inspection: Inspection, part: str) -> PlanInUse:
    found = [each for each in inspection.plans if part in ("", each.plan.part)]
    if len(found) == 1:
        return found[0]
    parts = ", ".join(each.plan.part for each in inspection.plans) or "none"
    raise BenchError(f"say for which part the bench is verified: --part PART (released: {parts})")


def new_run_id(clock: Clock) -> str:
    """Return a new UUID version 7 (RFC 9562): in order of time, random beyond."""
    return uuid7(int(clock.utc_now().timestamp() * 1000), secrets.randbits(74))


def _fixture_identity(bench: OpenBench) -> str:
    fixture = bench.setup.instrument("fixture")
    name = "" if fixture is None else fixture.name
    return next((each.identity for each in bench.identities if each.name == name), "")


def _confirm(words: str) -> None:
    input(f"{words} Then press Enter. ")
