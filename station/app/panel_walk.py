"""The panel that is gone through at a workplace: taken up by its label, resumed from the records.

A place without a unit goes on record as an audit entry, `place missing`, with who saw it and when: the digest chain
keeps it, and a panel that is taken up again knows it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from station.core.panel import OPEN, PanelWay, Place, PlaceState, begin, decided, go_to, missing, skip, state_of
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.plan_panel import panel_places
from station.core.results import ResultStatus
from station.core.run_record import RunRecord
from station.core.scans import ScanKind, recognise
from station.core.serials import read_serial
from station.errors import SerialError
from station.records import Records

MISSING = "place missing"
"""The audit entry's action; its subject is the serial that a unit at the place would have."""


@dataclass(frozen=True, slots=True)
class Act:
    """What came of something that was asked: the way now, and what to say."""

    way: PanelWay
    words: str = ""


def missing_places(records: Records, lot: str) -> frozenset[str]:
    """Return the serials that units would have at a lot's places that are on record as missing.

    Which lot a place is of, its serial says by the released plans, of any revision: it was looked at under one of them.
    """
    serials = {each.subject for each in records.audit_entries(action=MISSING)}
    # A plan is read only where somebody has found a place without a unit.
    texts = [each.source_text for each in records.released_plans(every_revision=True)] if serials else []
    plans = [parse_plan(each, "on record") for each in texts]
    return frozenset(each for each in serials if any(_is_of(plan, each, lot) for plan in plans))


def _is_of(plan: Plan, serial: str, lot: str) -> bool:
    try:
        return read_serial(plan, serial).lot == lot
    except SerialError:
        return False


def stays(record: RunRecord) -> bool:
    """Tell whether the unit of a place is to be seated again: then what is loaded next is no other place's unit."""
    return not record.held and any(each.status is ResultStatus.NOT_MEASURED for each in record.results)


class PanelWalk:
    """Takes panels up and notes what becomes of their places."""

    def __init__(self, records: Records, utc_now: Callable[[], datetime]) -> None:
        self._records = records
        self._utc_now = utc_now
        self._asked = ""

    def take_up(self, code: str, plans: Sequence[Plan], *, lot: str) -> PanelWay:
        """Return the way through the panel whose label was scanned, with what is on record of its units.

        Raises:
            SerialError: no plan knows its places, or it is of another lot than the one on the bench.
        """
        plan = next((each for each in plans if recognise(code, (each,)).kind is ScanKind.PANEL), None)
        if plan is None or plan.panel is None:
            part = "" if plan is None else f" of {plan.part}"
            raise SerialError(
                f"{code} is a panel's code, but the control plan{part} does not say where its units lie ([panel]). "
                "Scan a unit on it."
            )
        found_lot, panel, places = panel_places(plan, code)
        if lot and lot != found_lot:
            raise SerialError(f"panel {code} is of lot {found_lot}, but this is lot {lot}. Put it back to its own lot.")
        known = self._known(code, places)
        self._asked = ""
        return begin(code, found_lot, panel, places, known, unit_labels=plan.panel.unit_labels)

    def open_serials(self, code: str, plans: Sequence[Plan], *, lot: str) -> list[str]:
        """Return the serials of a panel's open places, for who goes through them in order.

        Raises:
            SerialError: as `take_up`; or units carry codes of their own, which must be scanned.
        """
        way = self.take_up(code, plans, lot=lot)
        if way.unit_labels:
            raise SerialError(f"on panel {code} each unit has a code of its own: scan these (unit measure -).")
        return [each.serial for each in way.places if each.state in OPEN]

    def here(self, way: PanelWay) -> str:
        """Return the serial of the unit at the next place, for whoever says that it is the one.

        Raises:
            SerialError: units carry codes, which are scanned; or nothing is left to do.
        """
        place = way.next
        if place is None:
            raise SerialError(f"Nothing is left to do on panel {way.code}: {way.words}. Scan the next panel.")
        if way.unit_labels:
            raise SerialError(f"Scan the code of the unit at place {place.name}: on this part each unit has its own.")
        return place.serial

    def scanned(self, way: PanelWay, serial: str, plans: Sequence[Plan]) -> PanelWay:
        """Return the way with the place of a scanned unit as the next one.

        Raises:
            SerialError: the unit is of another panel; or of another place, and this is the first time that it was
                scanned: the second time it is meant.
        """
        place, due = way.place(serial), way.next
        if place is None:
            self._asked = ""
            raise SerialError(_what(serial, way, plans))
        if place != due and self._asked != serial:
            self._asked = serial
            comes = "nothing is left to do" if due is None else f"{due.name} comes next"
            raise SerialError(f"{serial} is the unit of place {place.name}; {comes}. Scan it once more to go there.")
        self._asked = ""
        return go_to(way, serial)

    def skip(self, way: PanelWay) -> Act:
        """Leave the next place for the end."""
        here = way.next
        if here is None:
            return Act(way, f"Nothing is left to do on panel {way.code}.")
        if here.state not in OPEN:
            return Act(skip(way), f"{here.name} stays as it is: {here.state}.")
        return Act(skip(way), f"{here.name} is skipped: it comes again at the end.")

    def missing(self, way: PanelWay, who: str) -> Act:
        """Put on record that there is no unit at the next place."""
        here = way.next
        if here is None:
            return Act(way, f"Nothing is left to do on panel {way.code}.")
        if here.state not in OPEN:
            return Act(missing(way), f"{here.name} stays as it is: {here.state}.")
        why = f"no unit at place {here.name} of panel {way.code}"
        self._records.audit(who=who, action=MISSING, subject=here.serial, why=why, utc=self._utc_now())
        return Act(missing(way), f"{here.name} is on record as missing.")

    def decided(self, way: PanelWay, record: RunRecord) -> PanelWay:
        """Note a unit's decision at its place."""
        return decided(way, record.opened.unit.serial, record.decision, held=record.held)

    def _known(self, code: str, places: Sequence[Place]) -> dict[str, PlaceState]:
        entries = self._records.audit_entries(action=MISSING)
        known = {each.subject: PlaceState.MISSING for each in entries if each.subject.startswith(code)}
        for each in places:
            state = self._records.unit_state(each.serial)
            if state is not None and (state.decision is not None or state.held):
                known[each.serial] = state_of(state.decision, held=state.held)
        return known


def _what(serial: str, way: PanelWay, plans: Sequence[Plan]) -> str:
    """Say what a scan is that is not of this panel."""
    refusals: list[str] = []
    for plan in plans:
        try:
            unit = read_serial(plan, serial, others=plans)
        except SerialError as error:
            refusals.append(str(error))
            continue
        whose = f"{serial} is a unit of panel {unit.panel or 'unknown'} of lot {unit.lot}"
        return f"{whose}, but panel {way.code} is under way. Put it back, or leave the panel."
    return next(iter(refusals), f"'{serial[:40]}' is no unit of a released plan.")
