"""What pages may ask of a gauge study: begin one, take it up, scan badges and units, leave it.

Who is signed in is the appraiser: each scan of a unit comes with a badge. A step at a time goes to the nest's thread,
so that a study can be left after any of them.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol, TypeVar

from station.app.plans import plans_in_use
from station.app.shown import Shown
from station.app.study_begin import StudyWanted, begin_study
from station.app.study_records import study
from station.app.study_sitting import appraiser_of, check_unit, open_sitting
from station.core.events import Event, NextAction, RunStarted, ScanEnded, ScanTaken
from station.errors import NestBusy, SerialError, StationError
from station.inspection import Inspection
from station.quality.study_order import Step
from station.quality.study_state import StudyState, StudyTurn
from station.records import Records

T = TypeVar("T")

SHOWN = (ScanTaken, RunStarted)
"""Events without readings that the board needs, besides those that every study shows."""


class Bench(Protocol):
    """What a study needs of the workplace."""

    @property
    def shown(self) -> Shown:
        """What is shown now."""
        ...

    def tell(self, event: Event) -> None:
        """Tell an event to all pages."""
        ...

    def refuse(self, text: str, words: str) -> None:
        """Tell that a scan was not taken."""
        ...

    def show_study(self, turn: StudyTurn | None) -> None:
        """Show a study as it is now."""
        ...

    def in_nest(self, work: Callable[[Inspection], T], *, what: str) -> T:
        """Carry out work on the open bench and wait for its end."""
        ...

    def carry_out(
        self, work: Callable[[Inspection], None], *, text: str, what: str, ended: Callable[[], None]
    ) -> None:
        """Hand work to the open bench and return at once; `ended` is called when the bench is free again."""
        ...


class PageStudies:
    """The gauge study that is under way at one workplace."""

    def __init__(self, bench: Bench, records: Records, *, references: Path | None = None) -> None:
        """Take studies of a workplace; `references`: folder of the reference units' files."""
        self._bench = bench
        self._records = records
        self._references = references

    def begin(self, wanted: StudyWanted) -> StudyState:
        """Put a new study on record and take it up.

        Raises StationError: as `begin_study`; no bench is open, or something is under way.
        """

        def work(inspection: Inspection) -> StudyState:
            inspection.plans = plans_in_use(self._records, None)
            return begin_study(self._records, inspection, replace(wanted, references=self._references))

        state = self._bench.in_nest(work, what="beginning a gauge study")
        self._show(state)
        return state

    def take_up(self, name: str) -> None:
        """Go on with a study. Raises StationError if it can't go on at this bench, or has all its readings."""
        state = study(self._records, name)
        if state.complete:
            raise StationError(f"study {name} has all its readings.")
        # Nobody would see why not otherwise before the first unit is scanned.
        self._bench.in_nest(lambda inspection: self._require(inspection, state), what=f"study {name}")
        self._show(state)

    def leave(self) -> None:
        """Go no further with the study now; what is taken is on record. Raises NestBusy while a unit is measured."""
        if self._bench.shown.board.busy:
            raise NestBusy("A unit is being measured. Leave the study afterwards.")
        self._bench.show_study(None)

    def badge(self, badge: str) -> None:
        """Note who measures now; whoever takes no part is told so."""
        turn = self._bench.shown.study
        if turn is None:
            return
        try:
            self._bench.show_study(replace(turn, appraiser=appraiser_of(turn.state, badge)))
        except SerialError as error:
            self._bench.show_study(replace(turn, appraiser=""))
            self._bench.refuse(badge, str(error))

    def scan(self, text: str, badge: str) -> None:
        """Take the scan of a unit by whoever is signed in: refused aloud if it is not the next one of this badge."""
        turn = self._bench.shown.study
        if turn is None:
            return
        try:
            appraiser = appraiser_of(turn.state, badge)
            step = turn.state.next_step(appraiser)
            if step is None:
                return
            check_unit(turn.state, step, text)
        except SerialError as error:
            self._bench.refuse(text, str(error))
            return
        name = turn.state.setup.name
        said: list[str] = []
        self._bench.carry_out(
            lambda inspection: said.append(self._measure(inspection, name, step)),
            text=text,
            what=f"study {name}",
            ended=lambda: self._ended(name, said),
        )

    def _show(self, state: StudyState) -> None:
        self._bench.tell(ScanEnded(words=""))  # the last unit's decision has nothing to do with the study
        self._bench.show_study(StudyTurn(state))

    def _require(self, inspection: Inspection, state: StudyState) -> None:
        """Raise what stands against going on here; nobody is told anything."""
        before = inspection.tell
        try:
            open_sitting(self._records, inspection, state, before)
        finally:
            inspection.tell = before

    def _measure(self, inspection: Inspection, name: str, step: Step) -> str:
        """Take one reading; return why there is none and what to do, empty if there is one."""
        before = inspection.tell
        state = study(self._records, name)
        if step in state.taken:
            raise SerialError(f"{step.part} has its reading of this trial already. See what is next.")
        sitting = open_sitting(self._records, inspection, state, self._bench.tell, also=SHOWN)
        try:
            cause = sitting.measure(step)
            if sitting.state.complete:
                sitting.finish()
        finally:
            inspection.tell = before
        return "" if cause is None else f"{step.part} was not measured: {cause.words}. {cause.remedy}".strip()

    def _ended(self, name: str, said: Sequence[str]) -> None:
        """Show what is next, now that a scan would be taken; what ended in an error is told already."""
        state = study(self._records, name)
        self._show_after(state)
        for words in said:
            self._bench.tell(ScanEnded(words=words))
        if state.complete:
            self._bench.tell(NextAction(words=f"Study {name} has all its readings. An engineer sees them."))

    def _show_after(self, state: StudyState) -> None:
        """The turn is whose badge was scanned last, maybe while the unit was measured."""
        turn = self._bench.shown.study
        appraiser = "" if turn is None or not state.left(turn.appraiser) else turn.appraiser
        self._bench.show_study(None if state.complete else StudyTurn(state, appraiser))
