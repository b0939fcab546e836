"""A gauge study in memory: a desk that notes what is said, and what a lot's figures are."""

import io
import re
from collections.abc import Callable, Iterable

import numpy as np

from drivers.stop import Stopped
from station.app.study_begin import StudyWanted, begin_study
from station.app.study_sitting import StudySitting, open_sitting, take_readings
from station.core.events import Event
from station.core.run_record import RunRecord
from station.quality.study_order import Step
from station.quality.study_state import StudyState
from station.records import Records
from station.records.export import write_csv
from station.records.lot_findings import lot_findings
from tests.end_to_end.shop import OpenShop

APPRAISERS = ("OP-07", "OP-09")


class NotingDesk:
    """Scans what is asked for, after the wrong scans that a test lays in; notes all that it is told.

    `leave_at`: goes away instead of scanning its so-many-th unit (from 0).
    """

    def __init__(
        self,
        *,
        badges: Iterable[str] = (),
        scans: Iterable[str] = (),
        leave_at: int | None = None,
        before: Callable[[int], object] = lambda count: None,
    ) -> None:
        self.said: list[str] = []
        self.asked: list[Step] = []
        self._badges, self._scans = list(badges), list(scans)
        self._leave_at, self._before = leave_at, before

    def badge(self, state: StudyState) -> str:
        """Return a wrong badge while there is one, then the first that is waited for."""
        return self._badges.pop(0) if self._badges else state.waiting[0]

    def unit(self, state: StudyState, step: Step) -> str:
        """Return a wrong scan while there is one, then the unit's serial."""
        if len(self.asked) == self._leave_at:
            raise Stopped("the desk is left")
        self._before(len(self.asked))
        self.asked.append(step)
        return self._scans.pop(0) if self._scans else step.part

    def say(self, words: str) -> None:
        """Note it."""
        self.said.append(words)

    def tell(self, event: Event) -> None:
        """Note an event, as much of it as there is."""
        self.said.append(repr(event))


def begin(opened: OpenShop, *, units: int = 3, method: str = "resistance", trials: int = 2) -> StudyState:
    """Begin a crossed study of the first units of an open bench."""
    serials = tuple(each.serial for each in opened.units[:units])
    wanted = StudyWanted(serials, APPRAISERS, method=method, trials=trials, seed=1)
    return begin_study(opened.station.records, opened.inspection, wanted)


def sit(opened: OpenShop, state: StudyState, desk: NotingDesk) -> StudySitting:
    """Take every reading that is left, at a desk; raises what `take_readings` raises."""
    sitting = open_sitting(opened.station.records, opened.inspection, state, desk.tell)
    take_readings(sitting, desk)
    return sitting


def runs_of(records: Records, state: StudyState) -> list[RunRecord]:
    """Return the runs of the readings that are taken, in order of the steps."""
    return [records.run(state.taken[each]) for each in state.steps if each in state.taken]


def digits_in(text: str, values: Iterable[float]) -> list[str]:
    """Return the numbers in a text whose first three digits are those of a value, wherever the point stands."""
    wanted = {_leading(value) for value in values}
    return [each for each in re.findall(r"\d+\.\d+|\d{3,}", text) if _leading(float(each)) in wanted]


def _leading(value: float) -> str:
    return f"{abs(value):.2e}"[:4]


def figures_of(records: Records, lot: str) -> list[object]:
    """Return all that is reckoned from a lot's records, to be compared before and after."""
    table = io.StringIO()
    write_csv(records, lot, table)
    values = records.lot_values(lot, "R20")
    findings = lot_findings(records, lot, ("R20", "L"))
    return [
        records.lots(),
        records.lot_summary(lot),
        (values.serials, values.decisions, values.values.tolist(), values.expanded_uncertainties.tolist()),
        (findings.serials, findings.codes, findings.last_utc, np.nan_to_num(findings.values["L"]).tolist()),
        table.getvalue(),
        records.positions(lot, "01"),
        records.held_units(),
        [records.unit_state(each) for each in values.serials],
    ]
