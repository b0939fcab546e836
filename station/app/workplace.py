"""One workplace as the pages see it: a bench in its nest's thread, what is shown of it, and what may be asked.

Everything that is asked returns at once; what comes of it is told by events and seen in `shown`. Only the nest's
thread touches the bench, so a browser that goes away takes nothing with it.
"""

import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from drivers.errors import InstrumentError
from drivers.stop import Stopped
from station.app.files import read_bench
from station.app.hands import ToldHands
from station.app.nest_work import NestWork
from station.app.on_record import plan_facts, shift_counters, taken_up
from station.app.panel_desk import PanelDesk
from station.app.showing import Listener, Showing
from station.app.shown import Shown
from station.app.sorting import Sorting
from station.app.station import Station
from station.app.study_at_page import PageStudies
from station.app.trays_on_record import note_tray
from station.core.board import Phase
from station.core.equipment import Bench
from station.core.events import (
    Event,
    NextAction,
    ScanEnded,
)
from station.core.lot_life import lot_refusal
from station.core.panel import PanelWay
from station.core.places import read_tray
from station.core.scans import Scan, ScanKind, recognise
from station.errors import NestBusy, StationError
from station.inspection import Inspection
from station.nest import Nest
from station.quality.study_state import StudyTurn
from station.stop import NestStop

if TYPE_CHECKING:
    from station.app.simulated import Simulation

GIVEN_UP = "the place was given up"

T = TypeVar("T")


class Workplace:
    """Opens a bench and takes what people at it ask for. A context manager; leaving it makes the bench safe."""

    def __init__(self, station: Station, *, where: str, references: Path | None = None) -> None:
        """Prepare.

        Args:
            where: the pages' address, told to whoever finds the bench busy.
            references: folder of the reference units' files; None: the shipped, invented ones.
        """
        self.station = station
        self._references = references
        self._showing = Showing(replace(Shown(), **plan_facts(station.records)))  # type: ignore[arg-type]
        self.sorting = Sorting(station.records, station.clock.utc_now)
        """The trays that are being filled; told by the scan of their labels, and known again after a restart."""
        self._work = NestWork(station, self._showing, self.sorting)
        self.panels = PanelDesk(self, station.records, station.clock.utc_now)
        """What may be asked of a panel that is gone through place by place."""
        self.studies = PageStudies(self, station.records, references=references)
        """What may be asked of a gauge study."""
        self._where = where
        self._stack = ExitStack()
        self._nest: Nest[Inspection] | None = None
        self._confirmed = threading.Event()
        self._typed = ""

    def __enter__(self) -> "Workplace":
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    @property
    def shown(self) -> Shown:
        """Return what is to be shown now."""
        return self._showing.shown

    @property
    def busy(self) -> bool:
        """Tell whether the nest has work, also before its first event."""
        return self._nest is not None and bool(self._nest.busy_with)

    def subscribe(self, listener: Listener) -> Callable[[], None]:
        """Have `listener` called on every change; returns what ends that."""
        return self._showing.subscribe(listener)

    # Opening and closing

    def open(self, bench: Bench | Path) -> None:
        """Open a bench. An instrument that stands against it is shown as `trouble`.

        Raises:
            BenchError: the bench file is wrong.
        """
        setup = bench if isinstance(bench, Bench) else read_bench(bench)
        self.close()
        self._open(setup)

    def simulate(self, simulation: "Simulation", *, references: Path | None = None) -> Path:
        """Serve a simulated bench within this program and open it; return where its bench file is.

        `references`: folder of the files of what lies on its shelf as reference units; None: as before.
        """
        from station.app.simulated import served, write_bench_file

        self.close()
        setup, _, _ = self._stack.enter_context(served(simulation))
        self._references = references or self._references
        path = self.station.home / f"{setup.name}.toml"
        write_bench_file(setup, path)
        self._open(setup)
        return path

    def _open(self, setup: Bench) -> None:
        hands = None if setup.operator_address else ToldHands(self._ask)
        self.open_with(lambda stop: self.station.inspecting(setup, where=self._where, hands=hands))

    def open_with(self, inspecting: Callable[[NestStop], AbstractContextManager[Inspection]]) -> None:
        """Open what `inspecting` makes, in the nest's own thread."""
        nest: Nest[Inspection] = Nest(inspecting, stop=self.station.stop)
        try:
            nest.__enter__()
        except (StationError, InstrumentError, Stopped) as error:
            self._showing.show(trouble=str(error))
            return
        self._nest = nest
        self._stack.push(nest)
        nest.run(self._work.begin, what="opening the bench")
        self._wait_until_cool()

    def close(self) -> None:
        """Stop what is under way, make the bench safe, close it. More than once is fine."""
        stack, self._stack, self._nest = self._stack, ExitStack(), None
        stack.close()
        if self.shown.bench is not None:
            self.sorting.forget()
        self._showing.show(bench=None, trouble="")

    # What people ask for

    def recognise(self, text: str) -> Scan:
        """Return what a scan is, by the released plans."""
        return recognise(text, self.shown.plans)

    def scan(self, text: str, operator: str, *, repeat: bool = False) -> None:
        """Take a scan that is no badge: a lot, or a unit that is then loaded and measured."""
        found = self.recognise(text)
        if self.shown.study is not None:
            self.studies.scan(found.text, operator)
        elif found.kind is ScanKind.LOT:
            self.set_lot(found.text)
        elif found.kind is ScanKind.PANEL:
            self.panels.take_up(found.text)
        elif found.kind is ScanKind.TRAY:
            self.use_tray(found.text, operator=operator)
        elif self.panels.may_measure(found.text):
            self.measure(found.text, operator, repeat=repeat)

    def set_lot(self, lot: str) -> None:
        """Take up another lot, unless something is under way."""
        if self.shown.board.busy:
            self.refuse(lot, f"Lot {lot} was not taken up: {self.under_way}. Scan it again afterwards.")
            return
        why = lot_refusal(self.station.records.lot_life(lot))
        if why:
            self.refuse(lot, why)
            return
        self._showing.show(panel=None, **taken_up(self.station.records, lot))

    def show_panel(self, way: PanelWay | None, *, said: str = "") -> None:
        """Show the way through a panel as it is now, and what was noted."""
        self._showing.show_panel(way, said=said)

    def show_study(self, turn: StudyTurn | None) -> None:
        """Show a gauge study as it is now; no panel is gone through meanwhile."""
        self._showing.show(study=turn, panel=None)

    def give_up_loading(self) -> None:
        """Wait for the unit that is being loaded no longer."""
        if self._nest is not None and self.shown.board.phase is Phase.LOADING and not self.shown.board.verifying:
            self._nest.request_stop(GIVEN_UP)

    def use_tray(self, text: str, *, operator: str = "") -> None:
        """Take up a tray: `T7` for units that pass, `2=T8` for those of bin 2. A unit that waits goes into it."""
        if self.shown.board.busy:
            self.refuse(text, f"Tray {text[:20]} was not taken up: {self.under_way}. Scan it again afterwards.")
            return
        try:
            words, setup = self.sorting.use(text), self.shown.bench
            if setup is not None:
                utc = self.station.clock.utc_now()
                note_tray(self.station.records, setup, read_tray(text), who=operator, utc=utc)
            self._showing.tell(NextAction(words=words))
        except StationError as error:
            self.refuse(text, str(error))

    def verify(self, operator: str, *, part: str = "") -> None:
        """Measure the reference units."""

        def work(inspection: Inspection) -> None:
            self._work.verify(inspection, operator, part=part, references=self._references)

        self._submit(work, text="verification", what="the verification")

    def request_stop(self, who: str) -> None:
        """Stop what is under way: the drive goes off on its way out. CAUTION: this is no emergency stop."""
        if self._nest is not None and self.busy:
            self._nest.request_stop(f"Stop drive, asked for by {who}")
            self._confirmed.set()

    def confirm(self) -> None:
        """A person says that what was asked for is done."""
        self._confirmed.set()

    def clear_latch(self, *, who: str, why: str) -> None:
        """Clear *drive state unknown* after a person has looked at the source."""

        def work(inspection: Inspection) -> None:
            self._work.clear_latch(inspection, who=who, why=why)

        self._submit(work, text="clearing the latch", what="clearing the latch")

    def typed_twice(self, text: str) -> bool:
        """Tell whether a serial that was typed by hand has now been typed twice alike, or proves itself.

        A plan with a check character needs no second time: a slip shows by itself.
        """
        plan = self.shown.plan
        if plan is not None and plan.check_digit:
            return True
        alike, self._typed = self._typed == text, text
        if alike:
            self._typed = ""
        return alike

    def begin_shift(self, operator: str) -> None:
        """Count for this badge from now on: its own last unbroken series of runs, which may be empty."""
        self._work.operator = operator
        if self.shown.bench is not None:
            self._showing.show(counters=shift_counters(self.station.records, self.shown.bench, operator))

    def tell(self, event: Event) -> None:
        """Tell an event to all pages."""
        self._showing.tell(event)

    def in_nest(self, work: Callable[[Inspection], T], *, what: str) -> T:
        """Carry out work on the open bench and wait for its end. Raises what it raises, NestBusy, StationError."""
        if self._nest is None:
            raise StationError(f"No bench is open. {self.shown.trouble or 'Open one first.'}")
        return self._nest.run(work, what=what)

    def carry_out(
        self, work: Callable[[Inspection], None], *, text: str, what: str, ended: Callable[[], None]
    ) -> None:
        """Hand work to the open bench and return at once; `text` is refused if that can't be.

        `ended` is called when the bench is free again, after what the work raised was told.
        """

        def done(outcome: "Future[None]") -> None:
            self._ended(outcome)
            ended()

        self._submit(work, text=text, what=what, ended=done)

    def refuse(self, text: str, words: str) -> None:
        """Tell that a scan was not taken, and why."""
        self._showing.refuse(text, words)

    def plans_changed(self) -> None:
        """Look at the released plans anew, for what is shown; a run looks by itself."""
        self._showing.show(**plan_facts(self.station.records))

    def measure(self, text: str, operator: str, *, repeat: bool = False) -> None:
        """Load and measure a unit by its serial."""
        if operator != self._work.operator:
            self.begin_shift(operator)

        def work(inspection: Inspection) -> None:
            self._work.measure(inspection, text, operator, repeat=repeat, panels=self.panels)

        self._submit(work, text=text, what=f"unit {text[:40]}")

    def _submit(
        self,
        work: Callable[[Inspection], None],
        *,
        text: str,
        what: str,
        ended: Callable[["Future[None]"], None] | None = None,
    ) -> None:
        if self._nest is None:
            self.refuse(text, f"No bench is open. {self.shown.trouble or 'Open one first.'}")
            return
        try:
            self._nest.submit(work, what=what).add_done_callback(ended or self._ended)
        except NestBusy:
            self.refuse(text, f"'{text[:40]}' was NOT taken: {self.under_way}. Wait for its end, then scan again.")
        except StationError as error:
            self.refuse(text, str(error))

    def _ended(self, outcome: "Future[None]") -> None:
        error = outcome.exception()
        if isinstance(error, Stopped):
            given_up = str(error) == GIVEN_UP
            words = f"Stopped: {error}. Nothing was measured; scan again when ready."
            self._showing.tell(ScanEnded(words="" if given_up else words))
        elif isinstance(error, StationError | InstrumentError):
            self._showing.tell(ScanEnded(words=str(error)))
        elif error is not None:
            self._showing.tell(ScanEnded(words=f"The station itself made an error: {error}. Call the engineer."))
        # Not part of the work: the next scan is accepted already while the counts are read anew.
        self._work.refresh()
        if error is None or isinstance(error, Stopped):
            self._wait_until_cool()

    def _wait_until_cool(self) -> None:
        """A nest that is hot with nothing under way (a restart, a stop while it cooled) is released all the same."""
        if self.shown.board.hot is not None and not self.shown.board.latched and not self.station.stop.ended:
            self._submit(
                lambda inspection: inspection.release(),
                text="",
                what="waiting until the nest is cool",
                ended=self._cooled,
            )

    def _cooled(self, outcome: "Future[None]") -> None:
        error = outcome.exception()
        if isinstance(error, Stopped):
            self._wait_until_cool()  # the drive is off: there is nothing to stop
        elif error is not None:
            self._showing.tell(ScanEnded(words=str(error)))

    @property
    def under_way(self) -> str:
        """Say what is under way."""
        board = self.shown.board
        if board.verifying:
            return "the bench is being verified"
        if board.hot is not None and not board.busy:
            return "the nest is hot"
        return f"{board.serial} is being {'loaded' if board.phase is Phase.LOADING else 'measured'}"

    def _ask(self, words: str) -> None:
        """Wait until a person confirms `words` on a page; a stop ends the waiting."""
        self._confirmed.clear()
        self._showing.tell(NextAction(words=words))
        self._showing.show(confirm=words)
        try:
            while not self._confirmed.wait(0.05):
                self.station.stop.check()
            self.station.stop.check()
        finally:
            self._showing.show(confirm="")
