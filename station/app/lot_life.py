"""What an engineer does with a lot as a whole: receive, hold, release, scrap, close, reopen; and where it stands."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime

from station.app.panel_walk import missing_places
from station.app.plans import plans_in_use
from station.core.lot_life import LotChange, LotEvent, LotLife, PlaceCount, difference_words
from station.core.lot_tally import LotNow, counted_places, lying_in_bins, now_of, tally
from station.core.plan import Plan
from station.core.scans import ScanKind, recognise
from station.errors import LotError, RecordError
from station.inspection import REFERENCE_LOT
from station.records import Records
from station.records.lot_life import change_lot, lot_unit_standings, lots_received
from station.records.stamps import name as checked_name


def lot_now(records: Records, lot: str) -> LotNow:
    """Return where a lot stands. Raises RecordError for one that was never received and has no unit."""
    life, units = records.lot_life(lot), lot_unit_standings(records, lot)
    if not life.events and not units:
        raise _unknown(lot)
    return now_of(life, units, missing=missing_places(records, lot))


def is_known(records: Records, lot: str) -> bool:
    """Tell whether anything is on record of a lot."""
    return bool(records.lot_life(lot).events) or lot in records.lots()


def every_lot(records: Records) -> tuple[str, ...]:
    """Return the names of all lots, sorted: measured, received only, imported; not where reference units are filed."""
    return tuple(sorted({*records.lots(), *lots_received(records)} - {REFERENCE_LOT}))


def receive_lot(
    records: Records, lot: str, quantity: int, *, part: str = "", who: str, why: str = "", utc: datetime
) -> LotLife:
    """Put on record that units came in; a second time adds, a negative quantity (with a reason) corrects.

    Raises LotError for a new lot that no serial of a released plan (of the part) can be of: a slip of the keys
    would make that lot for ever.
    """
    checked_name(lot, "lot")
    if not is_known(records, lot):
        _require_possible(lot, [each.plan for each in plans_in_use(records, None) if part in ("", each.plan.part)])
    event = LotEvent(LotChange.RECEIVED, who, utc, why, part=part, quantity=quantity)
    return change_lot(records, lot, lambda life: event)[0]


def hold_lot(records: Records, lot: str, *, who: str, why: str, utc: datetime) -> LotLife:
    """Hold a lot: its units' scans are refused until it is released."""
    _require_known(records, lot)
    return change_lot(records, lot, lambda life: LotEvent(LotChange.HELD, who, utc, why))[0]


def release_lot(records: Records, lot: str, *, who: str, why: str, utc: datetime) -> LotLife:
    """Release a held lot."""
    return change_lot(records, lot, lambda life: LotEvent(LotChange.RELEASED, who, utc, why))[0]


def scrap_units(
    records: Records, lot: str, serials: Sequence[str] = (), *, unnumbered: int = 0, who: str, why: str, utc: datetime
) -> LotLife:
    """Put on record that units were scrapped: by serial, or so many without one (a broken panel)."""
    _require_known(records, lot)

    def make(life: LotLife) -> LotEvent:
        for serial in serials:
            _require_of_lot(records, lot, serial)
        return LotEvent(LotChange.SCRAPPED, who, utc, why, quantity=unnumbered, serials=tuple(serials))

    return change_lot(records, lot, make)[0]


def close_lot(
    records: Records, lot: str, counted: Mapping[str, int], *, who: str, why: str = "", utc: datetime
) -> tuple[LotLife, str]:
    """Close a lot, reconciled with what was counted place by place; return its life, and in words what differs.

    Raises LotError if a place is not counted, or a difference has no reason.
    """
    _require_known(records, lot)

    def make(life: LotLife) -> LotEvent:
        absent = missing_places(records, lot)
        places = tally(life, lot_unit_standings(records, lot), missing=absent).places
        counts = counted_places(places, counted, lot=lot, part=False)
        return LotEvent(LotChange.CLOSED, who, utc, why, counts=counts)

    life, event = change_lot(records, lot, make)
    return life, difference_words(_before(life), event)


def close_part(
    records: Records,
    lot: str,
    counted: Mapping[str, int],
    *,
    serials: Sequence[str] | None = None,
    who: str,
    why: str = "",
    utc: datetime,
) -> tuple[LotLife, str]:
    """Close a part of a lot, to be shipped: the bins counted, or these units of them; the rest stays as it is.

    Raises LotError as `close_lot`, or for a unit that lies in no bin.
    """
    _require_known(records, lot)

    def make(life: LotLife) -> LotEvent:
        lying = lying_in_bins(life, lot_unit_standings(records, lot))
        if serials is not None:
            strange = next((each for each in serials if each not in lying), None)
            if strange is not None:
                raise LotError(f"{strange} lies in no bin of lot {lot}: unknown, held, scrapped, or closed already.")
            lying = {each: lying[each] for each in serials}
        recorded, names = Counter(place for place, _ in lying.values()), dict(lying.values())
        places = [PlaceCount(place, names[place], number, 0) for place, number in recorded.items()]
        if serials is not None and set(recorded) - set(counted):
            raise LotError(f"lot {lot}: count the units of bin {', '.join(sorted(set(recorded) - set(counted)))} too.")
        counts = counted_places(places, counted, lot=lot, part=True)
        chosen = tuple(serial for serial, (place, _) in lying.items() if place in counted)
        # A serial named twice is refused where all events are, by `apply`.
        return LotEvent(
            LotChange.PART_CLOSED, who, utc, why, counts=counts, serials=chosen if serials is None else tuple(serials)
        )

    life, event = change_lot(records, lot, make)
    return life, difference_words(_before(life), event)


def reopen_lot(records: Records, lot: str, *, closing: int = 0, who: str, why: str, utc: datetime) -> LotLife:
    """Undo a closing: the newest that stands, or the one with that number."""

    def make(life: LotLife) -> LotEvent:
        newest = life.closings[-1].number if life.closings else 0
        return LotEvent(LotChange.REOPENED, who, utc, why, closing=closing or newest)

    return change_lot(records, lot, make)[0]


def counted_of(texts: Sequence[str], lot: str) -> dict[str, int]:
    """Return counts from texts such as `1=1203`, `held=4`. Raises LotError for what is none, or comes twice."""
    counted: dict[str, int] = {}
    for text in texts:
        place, _, number = (part.strip() for part in text.partition("="))
        place = str(int(place)) if place.isascii() and place.isdecimal() else place
        if not place or not (number.isascii() and number.isdecimal()) or place in counted:
            raise LotError(f"lot {lot}: a count is a place once and its units, such as 1=1203 or held=4; got {text!r}.")
        counted[place] = int(number)
    return counted


def _before(life: LotLife) -> LotLife:
    """The life before its last closing: what the closing was reconciled with."""
    return LotLife(life.lot, received=life.received, closings=life.closings[:-1])


def _require_known(records: Records, lot: str) -> None:
    if not is_known(records, lot):
        raise _unknown(lot)


def _require_possible(lot: str, plans: Sequence[Plan]) -> None:
    # Where the lot is not what a serial begins with, nothing can be said of it alone.
    if not plans or not all(each.serial_pattern.startswith("(?P<lot>") for each in plans):
        return
    if recognise(lot, plans).kind is not ScanKind.LOT:
        parts = ", ".join(each.part for each in plans)
        raise LotError(
            f"no serial of {parts} can be of a lot {lot!r}: look at the spelling, or release the plan first whose "
            "serials can. Nothing was recorded."
        )


def _require_of_lot(records: Records, lot: str, serial: str) -> None:
    """A unit of another lot is not scrapped here; one that nobody measured yet may be of any."""
    checked_name(serial, "serial")
    state = records.unit_state(serial)
    if state is not None and state.unit.lot != lot:
        raise LotError(f"{serial} is of lot {state.unit.lot}, not {lot}.")


def _unknown(lot: str) -> RecordError:
    return RecordError(
        f"lot {lot!r} is not on record. Check the name, or receive it: "
        f"coilgate lot receive {lot} --quantity N --who BADGE"
    )
