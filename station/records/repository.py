"""The records, as everybody else sees them. Nothing heavy is imported before `Records.open`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from station.core.fixture_life import ServiceState
from station.core.lot_life import LotLife
from station.core.plan import Plan
from station.core.run_record import Purpose, RunOpened, RunRecord
from station.core.verification import Verification, VerificationValue
from station.records.views import (
    AuditEntry,
    ChainReport,
    ContactPoint,
    FixtureService,
    Head,
    HeldUnit,
    LaterDecision,
    LotRows,
    LotSummary,
    LotValues,
    PastValue,
    PlanRevision,
    RunSummary,
    UnitState,
)

if TYPE_CHECKING:
    from station.records.database import Database


class Records:
    """What the station keeps. One object may be used by several threads; each call is one transaction.

    Every method raises `RecordError`, with words that can be shown, when the database can't do it: locked,
    read-only, disk full, damaged, server gone. Then nothing of that call is on record.
    """

    def __init__(self, database: Database, *, hook: Callable[[str], None] | None = None) -> None:
        """Take an open database; `Records.open` makes one."""
        from station.records.fixture_log import FixtureLog
        from station.records.lots import LotStore
        from station.records.plans import PlanStore
        from station.records.rejudge import DecisionStore
        from station.records.runs import RunStore
        from station.records.units import UnitStore
        from station.records.verification_values import ValueStore
        from station.records.verifications import AuditStore, VerificationStore

        self._database = database
        self._runs = RunStore(database, hook=hook or _nothing)
        self._decisions = DecisionStore(database)
        self._units = UnitStore(database)
        self._lots = LotStore(database)
        self._plans = PlanStore(database)
        self._verifications = VerificationStore(database)
        self._values = ValueStore(database)
        self._fixtures = FixtureLog(database)
        self._audit = AuditStore(database)

    @classmethod
    def open(
        cls,
        home: Path,
        *,
        url: str | None = None,
        wait_s: float = 10.0,
        hook: Callable[[str], None] | None = None,
    ) -> Records:
        """Open the records in folder `home`, or at `url` with their key in `home`; make new ones if none.

        Args:
            home: made if only the last folder of it is missing.
            url: `sqlite:///FILE` or `postgresql://USER@HOST/NAME`; None: `records.sqlite3` in `home`.
            wait_s: how long a call waits for another writer.
            hook: called with the name of each point of a write (`close_run.begun`, `.written` before the
                commit, `.committed`): where a test may kill the process.

        Raises:
            RecordError: folder missing, not a database, locked, read-only, full, damaged, of a newer schema,
                key missing or of other records. The message says what to do.
        """
        from station.records.database import Database

        return cls(Database.open(home, url=url, wait_s=wait_s), hook=hook)

    def close(self) -> None:
        """Close the database. More than once is fine."""
        self._database.close()

    def __enter__(self) -> Records:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def where(self) -> str:
        """The database's file or URL (without password), for people."""
        return self._database.where

    # Runs

    def open_run(self, opened: RunOpened) -> None:
        """Put on record, durably, that a run begins; before the first contact.

        Raises:
            RecordError: the id is on record, the unit belongs to another lot or place, the lot's other runs
                are simulated and this one is real (or the other way), the run that it repeats is unknown.
        """
        self._runs.open_run(opened)

    def close_run(self, record: RunRecord) -> int:
        """Put a whole run on record in one durable transaction; return its number in the bench's chain.

        A run that is held holds its unit.

        Raises:
            RecordError: never opened, opened otherwise, closed already, or it holds a number that is none.
        """
        return self._runs.close_run(record)

    def close_unfinished(self, bench: str, *, closed_utc: datetime) -> list[str]:
        """Close what `bench` opened and never closed as INVALID "station stopped"; return the run ids.

        To be called by who has the bench, before its first run: any open run is taken for dead.
        """
        return self._runs.close_unfinished(bench, closed_utc=closed_utc)

    def run(self, run_id: str) -> RunRecord:
        """Return a closed run as it was recorded, transcript and traces included.

        Raises:
            RecordError: unknown, not closed yet, or damaged.
        """
        return self._runs.run(run_id)

    def judge_again(self, later: LaterDecision) -> int:
        """Put another decision on a closed run; return its place (1, 2, ...). The latest one counts.

        `held` is noted; `hold` and `release_held` are what holds a unit or lets it go.

        Raises:
            RecordError: the run is not closed on record, or no word who and why.
        """
        return self._decisions.add(later)

    def later_decisions(self, run_id: str) -> tuple[LaterDecision, ...]:
        """Return the decisions on a run after its own one, oldest first."""
        return self._decisions.of_run(run_id)

    # Units

    def runs_of(self, serial: str) -> list[RunSummary]:
        """Return every run of a unit, open ones too, in order of opening; empty for an unknown serial."""
        return self._units.runs_of(serial)

    def unit_state(self, serial: str, *, characteristics: Sequence[str] = ("R20", "L")) -> UnitState | None:
        """Return where a unit stands, with its last measured `characteristics`; None if unknown."""
        return self._units.state(serial, characteristics=characteristics)

    def recent_runs(self, bench: str, *, since_utc: datetime, limit: int = 2_000) -> list[RunSummary]:
        """Return the last closed production runs of a bench, opened since then, oldest first."""
        return self._units.recent(bench, since_utc=since_utc, limit=limit)

    def held_units(self) -> tuple[HeldUnit, ...]:
        """Return every unit that is held now, in order of being held."""
        return self._units.held()

    def is_held(self, serial: str) -> bool:
        """Tell whether a unit is held; an unknown one is not."""
        return self._units.is_held(serial)

    def hold(self, serial: str, *, reason_code: str, who: str, why: str, utc: datetime) -> None:
        """Hold a unit outside of any run.

        Raises:
            RecordError: unknown unit, held already, or no word who and why.
        """
        self._units.set_held(serial, True, reason_code=reason_code, who=who, why=why, utc=utc)

    def release_held(self, serial: str, *, reason_code: str, who: str, why: str, utc: datetime) -> None:
        """Release a held unit; its INVALID runs are counted anew from here.

        Raises:
            RecordError: unknown unit, not held, or no word who and why.
        """
        self._units.set_held(serial, False, reason_code=reason_code, who=who, why=why, utc=utc)

    # Lots

    def lots(self) -> tuple[str, ...]:
        """Return the names of all lots, sorted."""
        return self._lots.lots()

    def lot_summary(self, lot: str) -> LotSummary:
        """Return a lot's counts: each unit once, by the latest decision on its latest production run.

        Raises:
            RecordError: unknown lot.
        """
        return self._lots.summary(lot)

    def lot_values(
        self, lot: str, characteristic: str, *, purpose: Purpose = Purpose.PRODUCTION
    ) -> LotValues:
        """Return the last measured value of a characteristic of each unit of a lot, of runs of one purpose.

        Raises:
            RecordError: unknown lot.
        """
        return self._lots.values(lot, characteristic, purpose)

    def lot_rows(self, lot: str, *, every_run: bool = False, with_u: bool = False) -> AbstractContextManager[LotRows]:
        """Give a lot as one wide table for an export, to be read within a `with`; memory stays flat.

        A row a unit, its latest closed production run, or with `every_run` a row a closed run. `with_u` adds
        standard uncertainties and degrees of freedom.

        Raises:
            RecordError: unknown lot.
        """
        from station.records.lot_rows import lot_rows

        return lot_rows(self._database, lot, every_run=every_run, with_u=with_u)

    def lot_life(self, lot: str) -> LotLife:
        """Return what has happened to a lot: received, held, closed; an empty life if nothing was entered.

        Raises:
            RecordError: recorded by a newer version.
        """
        from station.records.lot_life import lot_life

        return lot_life(self, lot)

    def positions(self, lot: str, panel: str, *, serial: str = "") -> tuple[int, int]:
        """Return how many units of the lot, and of its panel, were decided before: for frequencies.

        PASS and FAIL in production runs count, once a unit. A `serial` that was decided before gets the
        numbers it had then, so a repeat has the same methods due.
        """
        return self._lots.positions(lot, panel, serial)

    # Plans

    def release_plan(self, plan: Plan, *, who: str, why: str, utc: datetime) -> PlanRevision:
        """Release a plan as the next revision of its part.

        Raises:
            RecordError: this text is released already, or no word who and why.
        """
        return self._plans.release(plan, who=who, why=why, utc=utc)

    def released_plans(self, *, every_revision: bool = False) -> tuple[PlanRevision, ...]:
        """Return the latest revision of each part, or every one; in order of part and revision."""
        return self._plans.released(every_revision=every_revision)

    def plan_revision(self, plan_hash: str) -> PlanRevision | None:
        """Return the released revision with this SHA-256 of its text (hex), or None."""
        return self._plans.revision(plan_hash)

    def keep_plan(self, plan: Plan) -> None:
        """Keep the text of a plan that runs follow though nobody released it; more than once is fine."""
        self._plans.keep_text(plan)

    def plan_text(self, plan_hash: str) -> str | None:
        """Return the text of a plan, released or kept, by its SHA-256 (hex); None if unknown."""
        return self._plans.text(plan_hash)

    # Verifications

    def add_verification(
        self,
        verification: Verification,
        *,
        values: Sequence[VerificationValue] = (),
        held: Sequence[str] = (),
    ) -> None:
        """Put a verification on record with what it rests on, and hold units, all or nothing.

        Args:
            verification: in the chain of its bench.
            values: in order; each is drawn over time.
            held: serials of units that can't be trusted any more; one that is held already stays so.

        Raises:
            RecordError: its id is on record already, a unit is unknown, a value is not a number.
        """
        self._verifications.add(verification, values=values, held=held)

    def verification_values(self, verification_id: str) -> tuple[VerificationValue, ...]:
        """Return what a verification rests on, in order; empty for an unknown one."""
        return self._values.of(verification_id)

    def verification_history(
        self, bench: str, *, characteristic: str | None = None, nest: str | None = None
    ) -> tuple[PastValue, ...]:
        """Return every verification value of a bench (of one characteristic, one nest), oldest first."""
        return self._values.history(bench, nest, characteristic)

    def latest_verification(self, bench: str, nest: str) -> Verification | None:
        """Return the last verification of a nest, verified or not; None if there is none."""
        return self._verifications.latest(bench, nest)

    def verifications(self, bench: str) -> tuple[Verification, ...]:
        """Return every verification of a bench, oldest first."""
        return self._verifications.every(bench)

    def units_since(self, verification: Verification) -> tuple[str, ...]:
        """Return the serials whose production runs stand on `verification`, in order."""
        return self._verifications.units_since(verification.verification_id)

    def count_since(self, verification: Verification) -> int:
        """Return how many units `units_since` would name."""
        return self._verifications.count_since(verification.verification_id)

    # Fixtures

    def add_fixture_service(self, done: FixtureService) -> None:
        """Put on record, in the chain of its bench, that a fixture was cleaned or got other probes.

        Raises:
            RecordError: an unknown action, or no word who and why.
        """
        self._fixtures.add(done)

    def fixture_services(self, bench: str) -> tuple[FixtureService, ...]:
        """Return the cleaning log of a bench, oldest first."""
        return self._fixtures.of(bench)

    def service_state(
        self, bench: str, nest: str, fixture_identity: str, *, verification_id: str = ""
    ) -> ServiceState:
        """Return what the log says of a fixture, and whether any service came after a verification."""
        return self._fixtures.state(bench, nest, fixture_identity, verification_id)

    def contact_points(
        self, bench: str, *, nest: str | None = None, newest: int = 10_000
    ) -> tuple[ContactPoint, ...]:
        """Return the contact resistances of a bench's newest runs (of one nest), in order of run."""
        return self._fixtures.contacts(bench, nest, newest)

    # Audit and digest chains

    def audit(self, *, who: str, action: str, subject: str, why: str, utc: datetime) -> None:
        """Put on record that somebody did something that needs a reason."""
        self._audit.add(AuditEntry(utc, who, action, subject, why))

    def audit_from(self, subject: str, make: Callable[[tuple[AuditEntry, ...]], AuditEntry]) -> None:
        """Put an audit entry on record that `make` makes of those of `subject` before it, oldest first.

        One transaction: nobody writes between what `make` sees and its entry. It may read the records by this object
        (what is committed stands still meanwhile) but not write; what it raises leaves nothing on record.
        """
        self._audit.add_from(subject, make)

    def audit_entries(self, *, subject: str | None = None, action: str | None = None) -> tuple[AuditEntry, ...]:
        """Return the audit entries, of one subject or action if given, oldest first."""
        return self._audit.entries(subject, action)

    def head(self, bench: str) -> Head:
        """Return the last entry of a bench's digest chain, to be kept elsewhere; `""`: the station's."""
        from station.records import chain
        from station.records.hot import Driver

        with self._database.reading() as connection:
            return chain.head(Driver.of(connection), bench)

    def check(self, *, heads: Sequence[Head] = ()) -> ChainReport:
        """Walk all digest chains; name each thing changed, removed, inserted, reordered, cut off.

        Args:
            heads: earlier `head`s, from a report or a backup; without them a tail that was cut off with
                everything that belongs to it can't show.
        """
        from station.records.check import check

        return check(self._database, heads)


def _nothing(_point: str) -> None:
    """The hook of everyday."""
