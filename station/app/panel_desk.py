"""What pages may ask of a panel: take it up, measure the unit of the next place, skip, missing, leave."""

from collections.abc import Callable
from datetime import datetime
from typing import Protocol

from station.app.panel_walk import Act, PanelWalk
from station.app.shown import Shown
from station.core.board import Phase
from station.core.panel import PanelWay
from station.core.run_record import RunRecord
from station.errors import StationError
from station.records import Records


class Desk(Protocol):
    """What a panel needs of the workplace."""

    @property
    def shown(self) -> Shown:
        """What is shown now."""
        ...

    @property
    def under_way(self) -> str:
        """What is under way, in words."""
        ...

    def refuse(self, text: str, words: str) -> None:
        """Tell that a scan was not taken."""
        ...

    def measure(self, text: str, operator: str, *, repeat: bool = False) -> None:
        """Load and measure a unit."""
        ...

    def set_lot(self, lot: str) -> None:
        """Take up another lot."""
        ...

    def show_panel(self, way: PanelWay | None, *, said: str = "") -> None:
        """Show the way as it is now."""
        ...

    def give_up_loading(self) -> None:
        """Wait for a unit no longer."""
        ...


class PanelDesk:
    """The panel under way at one workplace."""

    def __init__(self, desk: Desk, records: Records, utc_now: Callable[[], datetime]) -> None:
        self._desk = desk
        self._walk = PanelWalk(records, utc_now)

    def take_up(self, code: str) -> None:
        """Go through the panel whose label was scanned; what is on record of it is known."""
        shown = self._desk.shown
        if shown.board.busy:
            self._desk.refuse(code, f"Panel {code} was not taken up: {self._desk.under_way}. Scan it again afterwards.")
            return
        try:
            way = self._walk.take_up(code, shown.plans, lot=shown.lot)
        except StationError as error:
            self._desk.refuse(code, str(error))
            return
        if way.lot != shown.lot:
            self._desk.set_lot(way.lot)
            if self._desk.shown.lot != way.lot:
                return  # it was refused, and that is told
        self._desk.show_panel(way)

    def may_measure(self, serial: str) -> bool:
        """Tell whether a scanned unit may be measured now: any, without a panel; else refuse what is not next."""
        shown = self._desk.shown
        if shown.panel is None or shown.board.busy:
            return True  # who is busy refuses it in better words
        try:
            way = self._walk.scanned(shown.panel, serial, shown.plans)
        except StationError as error:
            self._desk.refuse(serial, str(error))
            return False
        self._desk.show_panel(way)
        return True

    def measure_here(self, operator: str, *, shown: str) -> None:
        """Measure the unit of the next place: its place says which it is.

        `shown`: serial of the place that the page showed as the next one; a page that is behind is refused.
        """
        way = self._desk.shown.panel
        if way is None or self._is_behind(way, shown):
            return
        try:
            serial = self._walk.here(way)
        except StationError as error:
            self._desk.refuse(way.code, str(error))
            return
        self._desk.measure(serial, operator)

    def skip(self, *, shown: str) -> None:
        """Leave the next place for the end; a unit that is waited for at it is waited for no longer."""
        self._note(self._walk.skip, shown)

    def missing(self, operator: str, *, shown: str) -> None:
        """Put on record that there is no unit at the next place."""
        self._note(lambda way: self._walk.missing(way, operator), shown)

    def leave(self) -> None:
        """Go through the panel no further; scan it again to go on."""
        self._desk.show_panel(None)

    def note(self, record: RunRecord) -> None:
        """Note a unit's decision at its place."""
        way = self._desk.shown.panel
        if way is not None:
            self._desk.show_panel(self._walk.decided(way, record))

    def _is_behind(self, way: PanelWay, shown: str) -> bool:
        """Tell whether a key was meant for another place than the next one: two windows, or an update on its way."""
        due = way.next
        if due is None or due.serial == shown:
            return False
        words = f"{due.name} comes next now, not the place that the key was pressed at. Look, then press it again."
        self._desk.refuse(way.code, words)
        return True

    def _note(self, act: Callable[[PanelWay], Act], shown: str) -> None:
        way, board = self._desk.shown.panel, self._desk.shown.board
        if way is None:
            return
        here = way.next
        loading = board.phase is Phase.LOADING and here is not None and board.serial == here.serial
        if board.busy and not loading:
            self._desk.refuse(way.code, f"Nothing was noted: {self._desk.under_way}. Press the key again afterwards.")
            return
        if self._is_behind(way, shown):
            return
        try:
            done = act(way)
        except StationError as error:
            self._desk.refuse(way.code, str(error))
            return
        if loading:
            self._desk.give_up_loading()
        self._desk.show_panel(done.way, said=done.words)
