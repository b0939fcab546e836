"""What the nest's thread does for a workplace: the bench taken up, verified, a unit measured, and what shows of it.

Nobody else touches the bench. What comes of the work is told by events and seen in what is shown.
"""

from datetime import UTC, datetime
from pathlib import Path

from station.app.on_record import lot_facts, plan_facts, shift_counters, taken_up
from station.app.panel_desk import PanelDesk
from station.app.plans import plans_in_use
from station.app.showing import Showing
from station.app.shown import SPREAD_OF
from station.app.sorting import Sorting
from station.app.station import Station
from station.app.trays_on_record import resumed_words, trays_on_record
from station.bench import OpenBench
from station.core.board import Board
from station.core.equipment import Bench
from station.core.events import BenchLatched, NestHot, NextAction, VerificationEnded, VerificationStarted
from station.errors import SerialError
from station.inspection import Inspection, Request


class NestWork:
    """The work of one workplace at its bench. Its methods that take an `Inspection` are for the nest's thread only."""

    def __init__(self, station: Station, showing: Showing, sorting: Sorting) -> None:
        self.operator = ""
        """Whose shift is counted."""
        self._station = station
        self._showing = showing
        self._sorting = sorting

    def begin(self, inspection: Inspection) -> None:
        """Take up the bench that was opened: show it, its trays, and whether it is hot or latched."""
        inspection.tell = self._showing.tell
        inspection.place = self._sorting.place
        self._showing.show(
            bench=inspection.bench.setup,
            trouble="",
            board=Board(number=self._showing.shown.board.number),
            fixture_identity=inspection.fixture_identity,
            calibration_overdue=inspection.calibration_overdue,
        )
        self._resume_trays(inspection.bench.setup)
        self._look_at_probes(inspection)
        mark = inspection.heat.hot()
        if mark is not None:
            self._showing.tell(
                NestHot(touch_limit_degc=mark.touch_limit_degc, driven=False, cool_by_utc=mark.cool_by_utc)
            )
        latched = getattr(inspection.bench, "latched", "")
        if latched:
            self._showing.tell(BenchLatched(words=latched))
        self.refresh()

    def verify(self, inspection: Inspection, operator: str, *, part: str, references: Path | None) -> None:
        """Measure the reference units."""
        inspection.plans = plans_in_use(self._station.records, None)
        self._showing.tell(VerificationStarted(part=part))
        report = self._station.verify(inspection, operator, references=references, part=part)
        verification = report.verification
        self._showing.tell(VerificationEnded(verified=verification.verified, words=verification.words))
        self._look_at_probes(inspection)

    def measure(self, inspection: Inspection, text: str, operator: str, *, repeat: bool, panels: PanelDesk) -> None:
        """Load and measure a unit by its serial; its place on a panel is noted."""
        shown, records = self._showing.shown, self._station.records
        inspection.plans = plans_in_use(records, None)
        try:
            record = inspection.inspect(text, Request(operator, lot=shown.lot, repeat=repeat))
        except SerialError as error:
            self._showing.refuse(text, str(error))
            return
        panels.note(record)
        shown = self._showing.shown
        if not shown.lot or record.opened.repeats_run_id:
            self._showing.show(**taken_up(records, record.opened.unit.lot))
        else:
            new = [each.value for each in record.results if each.characteristic == SPREAD_OF and each.value]
            self._showing.show(spread=(*shown.spread, *new))
        self._look_at_probes(inspection)

    def clear_latch(self, inspection: Inspection, *, who: str, why: str) -> None:
        """Clear *drive state unknown*, on record."""
        if isinstance(inspection.bench, OpenBench):
            inspection.bench.clear_latch(who=who, why=why)
            subject, utc = inspection.bench.setup.name, datetime.now(UTC)
            self._station.records.audit(who=who, action="latch cleared", subject=subject, why=why, utc=utc)
            self._showing.tell(BenchLatched(words=""))

    def refresh(self) -> None:
        """Read anew what the records say of bench and shift; from any thread."""
        setup, records = self._showing.shown.bench, self._station.records
        if setup is None:
            return
        verification = records.latest_verification(setup.name, setup.nest)
        self._showing.show(
            verification=verification,
            units_since=0 if verification is None else records.count_since(verification),
            counters=shift_counters(records, setup, self.operator),
            **plan_facts(records),
            **lot_facts(records, self._showing.shown.lot),
        )

    def _resume_trays(self, setup: Bench) -> None:
        """Go on with the trays that were being filled at this bench, and say so."""
        found = trays_on_record(self._station.records, setup)
        self._sorting.resume(each.tray for each in found if each.units)
        if found:
            self._showing.tell(NextAction(words=resumed_words(found, self._showing.shown.plans)))

    def _look_at_probes(self, inspection: Inspection) -> None:
        """Ask the fixture how long its probes have served; in the nest's thread only, as it may use the link."""
        setup = inspection.bench.setup
        found = self._station.records.latest_verification(setup.name, setup.nest)
        self._showing.show(life=inspection.fixture_life("" if found is None else found.verification_id))
