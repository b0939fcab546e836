"""Sorts decided units into trays: which tray stands at the bench now, and the pocket that each unit goes into.

A unit that has no pocket is never a reason to stop: its run is on record already. It is told, and the next tray that
is scanned takes it.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from threading import Lock

from station.core.places import NOWHERE, Place, TrayInUse, read_tray
from station.core.plan import Plan
from station.core.results import Decision
from station.core.run_record import Purpose, RunRecord
from station.errors import RecordError
from station.records import Records
from station.records.placings import Placing, place_unit, placing_of, take_out, tray_contents

SORTED = "sorted"


class Sorting:
    """The trays in use at one bench. Its methods may be called from several threads."""

    def __init__(self, records: Records, utc_now: Callable[[], datetime], *, trays: Sequence[str] = ()) -> None:
        """Begin with `trays`: `T7` is for units that pass, `2=T8` for those of bin 2. Raises StationError."""
        self._records = records
        self._utc_now = utc_now
        self._lock = Lock()
        self._trays: dict[int | None, str] = {}
        self._waiting: tuple[RunRecord, Plan] | None = None
        self.last = NOWHERE
        """Where the last decided unit went."""
        for each in trays:
            self.use(each)

    @property
    def in_use(self) -> tuple[TrayInUse, ...]:
        """The trays that are being filled."""
        with self._lock:
            return tuple(TrayInUse(tray, number) for number, tray in self._trays.items())

    def resume(self, trays: Iterable[TrayInUse]) -> None:
        """Go on filling trays that were in use before a restart; one that was taken up since stays."""
        with self._lock:
            for each in trays:
                self._trays.setdefault(each.bin_number, each.tray)

    def forget(self) -> None:
        """Have no tray in use, and no unit that waits for one: the trays stay with their bench."""
        with self._lock:
            self._trays.clear()
            self._waiting = None

    def use(self, text: str) -> str:
        """Take up a tray by the scan of its label; return what that means, in words.

        A unit that waits for a tray goes into it. Raises StationError for what is no tray.
        """
        asked = read_tray(text)
        with self._lock:
            self._trays[asked.bin_number] = asked.tray
            waiting = self._waiting
        words = f"Tray {asked.tray} takes {asked.words}."
        if waiting is None or not self._still_counts(waiting[0]):
            return words
        record, plan = waiting
        place = self.place(record, plan)
        serial = record.opened.unit.serial
        return f"{words} {serial}: {place.words or place.trouble or 'no pocket'}."

    def _still_counts(self, record: RunRecord) -> bool:
        """A unit that waits may be held, or measured or judged again elsewhere, before its tray is scanned."""
        state = self._records.unit_state(record.opened.unit.serial)
        if state is None or state.held or state.run_id != record.opened.run_id:
            return False
        return (state.decision, state.bin_number) == (record.decision, record.bin_number)

    def place(self, record: RunRecord, plan: Plan) -> Place:
        """Give a decided unit its pocket, on record. What stands against it is not raised: `Place.trouble` says it."""
        try:
            place = self._place(record, plan)
        except RecordError as error:
            place = Place(trouble=str(error))
        with self._lock:
            self._waiting = (record, plan) if place.trouble else None
            self.last = place
        return place

    def _place(self, record: RunRecord, plan: Plan) -> Place:
        again = record.decision is Decision.INVALID and not record.held
        if record.opened.purpose is not Purpose.PRODUCTION or again:
            return NOWHERE
        passed = record.decision is Decision.PASS and not record.held
        serial = record.opened.unit.serial
        # Only a unit that was measured before can lie in a tray: the usual unit costs no query.
        lay = placing_of(self._records, serial) if record.opened.repeats_run_id else None
        if lay is not None and passed and lay.decision is Decision.PASS and self._same_bin(record):
            # It was taken out to be measured again; nobody has got its pocket.
            return Place(lay.tray, lay.pocket)
        tray = self._tray_for(record.bin_number, passed)
        if tray:
            return self._into(tray, record, plan)
        if lay is not None:
            self._left(record, lay)
        if passed and plan.trays is not None:
            return Place(trouble=f"no tray is in use for bin {record.bin_number}: scan the label of one")
        return NOWHERE

    def _same_bin(self, record: RunRecord) -> bool:
        """Tell whether a unit's bin is that of its run before: a tray may be for that bin only."""
        runs = self._records.runs_of(record.opened.unit.serial)
        before = [each for each in runs if each.run_id != record.opened.run_id and each.decision is Decision.PASS]
        return bool(before) and before[-1].bin_number == record.bin_number

    def _tray_for(self, bin_number: int, passed: bool) -> str:
        with self._lock:
            return self._trays.get(bin_number) or (self._trays.get(None, "") if passed else "")

    def _into(self, tray: str, record: RunRecord, plan: Plan) -> Place:
        if record.decision is not Decision.PASS:
            # A concession is never of the run that has just ended.
            _require_apart(self._records, record.opened.unit.serial, tray, conceded=False)
        pocket = place_unit(
            self._records,
            record.opened.unit.serial,
            tray,
            decision=Decision.INVALID if record.held else record.decision,
            who=record.opened.operator or record.opened.bench,
            why=SORTED,
            utc=self._utc_now(),
            pockets=None if plan.trays is None else plan.trays.pockets,
        )
        return Place(tray, pocket)

    def _left(self, record: RunRecord, lay: Placing) -> None:
        """It lies where it lay no more: what passes no more must not be picked from a tray of good ones."""
        take_out(
            self._records,
            [lay.serial],
            who=record.opened.operator or record.opened.bench,
            why=f"measured again: bin {record.bin_number} ({record.bin_name})",
            utc=self._utc_now(),
        )


def place_by_hand(
    records: Records, serial: str, tray: str, pocket: int | None, *, who: str, why: str, utc: datetime
) -> Place:
    """Put on record where a unit lies, as a person says. Raises RecordError for what can't be, as `place_unit`."""
    state = records.unit_state(serial)
    if state is None or state.decision is None:
        raise RecordError(f"{serial} was not measured yet: nothing says in which tray it may lie.")
    _require_apart(records, serial, read_tray(tray).tray, conceded=bool(state.concession))
    found = place_unit(
        records,
        serial,
        read_tray(tray).tray,
        decision=Decision.INVALID if state.held else state.decision,
        who=who,
        why=why,
        utc=utc,
        pocket=pocket,
    )
    return Place(tray, found)


def _require_apart(records: Records, serial: str, tray: str, *, conceded: bool) -> None:
    """Raise RecordError if units accepted by concession and others that fail would share a tray."""
    for each in tray_contents(records, tray):
        other = None if each.serial == serial else records.unit_state(each.serial)
        if other is not None and bool(other.concession) != conceded:
            raise RecordError(
                f"{serial} can't go into tray {tray}, where {each.serial} lies: units that are accepted by concession "
                "never lie among others. Take another tray."
            )
