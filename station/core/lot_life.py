"""The life of a lot: received, open, held, closed; and whether its numbers add up. Pure.

    received --first unit measured--> open --close--> closed --reopen--> open
    received, open --hold--> held --release--> as before

A part of a lot may be closed (shipped) while the rest stays open. Every change is an event on record; the life is what
they add up to, oldest first. `apply` refuses an event that the life so far does not allow, so whatever the order of
what people ask for, the numbers stay whole:

    received + surplus = passed + failed + held + conceded + scrapped + not measured     (lot_tally.py)
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum

from station.errors import LotError


class LotState(StrEnum):
    """Where a lot stands."""

    RECEIVED = "received"
    """Nothing of it was measured yet."""
    OPEN = "open"
    HELD = "held"
    CLOSED = "closed"


class LotChange(StrEnum):
    """What happens to a lot; the words of the audit entries."""

    RECEIVED = "lot received"
    HELD = "lot held"
    RELEASED = "lot released"
    SCRAPPED = "units scrapped"
    CLOSED = "lot closed"
    PART_CLOSED = "part of lot closed"
    REOPENED = "lot reopened"


@dataclass(frozen=True, slots=True)
class PlaceCount:
    """Units at one place: a bin by its number, `held`, `scrapped`, or `unmeasured` (in no bin yet)."""

    place: str
    name: str
    recorded: int
    """By the records."""
    counted: int
    """By hand."""

    @property
    def difference(self) -> int:
        """counted - recorded."""
        return self.counted - self.recorded


@dataclass(frozen=True, slots=True)
class LotEvent:
    """One change. Which fields count follows from `change`."""

    change: LotChange
    who: str
    utc: datetime
    why: str = ""
    part: str = ""
    """RECEIVED: of what product."""
    quantity: int = 0
    """RECEIVED: units (negative: a correction); SCRAPPED: units without a serial."""
    serials: tuple[str, ...] = ()
    """SCRAPPED: which; PART_CLOSED: the units of the part."""
    counts: tuple[PlaceCount, ...] = ()
    """CLOSED, PART_CLOSED: bin by bin."""
    closing: int = 0
    """REOPENED: which closing is undone."""


@dataclass(frozen=True, slots=True)
class Closing:
    """A closing of the lot, or of a part of it, that stands. `number`: 1, 2, ... in order."""

    number: int
    whole: bool
    event: LotEvent

    @property
    def counted(self) -> int:
        """Units counted."""
        return sum(each.counted for each in self.event.counts)

    @property
    def recorded(self) -> int:
        """Units on record at the time."""
        return sum(each.recorded for each in self.event.counts)


@dataclass(frozen=True, slots=True)
class LotLife:
    """What has happened to a lot so far. `received`: None if it never was received on record."""

    lot: str
    part: str = ""
    received: int | None = None
    hold: LotEvent | None = None
    scrapped: frozenset[str] = frozenset()
    scrapped_unnumbered: int = 0
    closings: tuple[Closing, ...] = ()
    """That stand."""
    closings_made: int = 0
    events: tuple[LotEvent, ...] = ()
    closed_units: frozenset[str] = field(default=frozenset())
    """Of the parts that are closed."""

    @property
    def closed(self) -> Closing | None:
        """The closing of the whole lot, if it stands."""
        return next((each for each in self.closings if each.whole), None)

    def state(self, *, measured: bool) -> LotState:
        """Return where the lot stands. `measured`: whether a unit of it has a production run."""
        if self.closed is not None:
            return LotState.CLOSED
        if self.hold is not None:
            return LotState.HELD
        return LotState.OPEN if measured or self.received is None else LotState.RECEIVED


def life_of(lot: str, events: Iterable[LotEvent]) -> LotLife:
    """Return what events, oldest first, add up to. Raises LotError for a series that can't be."""
    life = LotLife(lot)
    for event in events:
        life = apply(life, event)
    return life


def apply(life: LotLife, event: LotEvent) -> LotLife:
    """Return the life after one more event. Raises LotError if the life so far does not allow it."""
    if not event.who.strip():
        raise LotError(f"lot {life.lot}: {event.change.value}: say who.")
    life = _APPLY[event.change](life, event)
    return replace(life, events=(*life.events, event))


def _received(life: LotLife, event: LotEvent) -> LotLife:
    _require_not_closed(life)
    quantity = (life.received or 0) + event.quantity
    if event.quantity == 0 or (event.quantity < 0 and not event.why.strip()):
        raise LotError(f"lot {life.lot}: how many units? One or more; a correction is negative and needs a reason.")
    if event.part and life.part and event.part != life.part:
        raise LotError(f"lot {life.lot} is of part {life.part}, not {event.part}. A lot has one part.")
    gone = sum(each.counted for each in life.closings) + len(life.scrapped) + life.scrapped_unnumbered
    if quantity < gone:
        raise LotError(f"lot {life.lot}: {quantity} units would be fewer than the {gone} closed or scrapped already.")
    return replace(life, received=quantity, part=event.part or life.part)


def _held(life: LotLife, event: LotEvent) -> LotLife:
    _require_not_closed(life)
    _require_why(life, event)
    if life.hold is not None:
        raise LotError(f"lot {life.lot} is held already, by {life.hold.who}: {life.hold.why}.")
    return replace(life, hold=event)


def _released(life: LotLife, event: LotEvent) -> LotLife:
    _require_why(life, event)
    if life.hold is None:
        raise LotError(f"lot {life.lot} is not held.")
    return replace(life, hold=None)


def _scrapped(life: LotLife, event: LotEvent) -> LotLife:
    _require_not_closed(life)
    _require_why(life, event)
    _require_once(life, event.serials)
    if event.quantity < 0 or not (event.quantity or event.serials):
        raise LotError(f"lot {life.lot}: name the units that are scrapped, or how many without a serial.")
    again = sorted(life.scrapped.intersection(event.serials))
    if again:
        raise LotError(f"{again[0]} is scrapped already.")
    _require_open(life, event.serials)
    return replace(
        life,
        scrapped=life.scrapped | frozenset(event.serials),
        scrapped_unnumbered=life.scrapped_unnumbered + event.quantity,
    )


def _closed(life: LotLife, event: LotEvent) -> LotLife:
    whole = event.change is LotChange.CLOSED
    _require_not_closed(life)
    if life.hold is not None:
        raise LotError(f"lot {life.lot} is held: {life.hold.why}. Release it, then close it.")
    if life.received is None:
        raise LotError(
            f"lot {life.lot}: how many units were received is not on record. "
            f"Enter it: coilgate lot receive {life.lot} --quantity N --who BADGE"
        )
    if any(each.recorded < 0 or each.counted < 0 for each in event.counts):
        raise LotError(f"lot {life.lot}: a count is 0 or more.")
    if not whole and not event.serials:
        raise LotError(f"lot {life.lot}: no unit is in what would be closed.")
    _require_once(life, event.serials)
    _require_open(life, event.serials)
    gone = sorted(life.scrapped.intersection(event.serials))
    if gone:
        raise LotError(f"{gone[0]} is scrapped: it can't be shipped with a part of the lot.")
    if has_difference(life, event) and not event.why.strip():
        raise LotError(f"lot {life.lot}: {difference_words(life, event)}. A difference needs a reason: say why.")
    closing = Closing(life.closings_made + 1, whole, event)
    return replace(
        life,
        closings=(*life.closings, closing),
        closings_made=closing.number,
        closed_units=life.closed_units | frozenset(event.serials),
    )


def _reopened(life: LotLife, event: LotEvent) -> LotLife:
    _require_why(life, event)
    if not life.closings:
        raise LotError(f"lot {life.lot} is not closed, nor is a part of it.")
    undone = next((each for each in life.closings if each.number == event.closing), None)
    if undone is None:
        standing = ", ".join(str(each.number) for each in life.closings)
        raise LotError(f"lot {life.lot}: closing {event.closing} does not stand; those that do: {standing}.")
    if life.closed is not None and not undone.whole:
        raise LotError(f"lot {life.lot} is closed as a whole: reopen that first (closing {life.closed.number}).")
    return replace(
        life,
        closings=tuple(each for each in life.closings if each is not undone),
        closed_units=life.closed_units - frozenset(undone.event.serials),
    )


_APPLY = {
    LotChange.RECEIVED: _received,
    LotChange.HELD: _held,
    LotChange.RELEASED: _released,
    LotChange.SCRAPPED: _scrapped,
    LotChange.CLOSED: _closed,
    LotChange.PART_CLOSED: _closed,
    LotChange.REOPENED: _reopened,
}


def _require_not_closed(life: LotLife) -> None:
    if life.closed is not None:
        raise LotError(
            f"lot {life.lot} is closed. An engineer reopens it: coilgate lot reopen {life.lot} --who BADGE --why WORDS"
        )


def _require_why(life: LotLife, event: LotEvent) -> None:
    if not event.why.strip():
        raise LotError(f"lot {life.lot}: {event.change.value}: say why.")


def _require_once(life: LotLife, serials: tuple[str, ...]) -> None:
    if len(set(serials)) < len(serials):
        raise LotError(f"lot {life.lot}: {Counter(serials).most_common(1)[0][0]} is named twice.")


def _require_open(life: LotLife, serials: tuple[str, ...]) -> None:
    closed = sorted(life.closed_units.intersection(serials))
    if closed:
        raise LotError(f"{closed[0]} is in a part of lot {life.lot} that is closed. Reopen that part first.")


def missing_units(life: LotLife, event: LotEvent) -> int:
    """Return how many units a closing of the whole lot lacks against what was received (negative: too many).

    received - counted now - counted in parts closed before. A part has no such sum: 0.
    """
    if event.change is not LotChange.CLOSED:
        return 0
    before = sum(each.counted for each in life.closings)
    return (life.received or 0) - before - sum(each.counted for each in event.counts)


def has_difference(life: LotLife, event: LotEvent) -> bool:
    """Tell whether a closing's counts differ from the records anywhere, or from what was received."""
    return missing_units(life, event) != 0 or any(each.difference for each in event.counts)


def difference_words(life: LotLife, event: LotEvent) -> str:
    """Return in words how a closing's counts differ; `nothing differs` if they don't."""
    off = (each for each in event.counts if each.difference)
    words = [f"{each.place} counted {each.counted}, on record {each.recorded}" for each in off]
    missing = missing_units(life, event)
    if missing:
        words.append(f"{abs(missing)} {'fewer' if missing > 0 else 'more'} in all than the {life.received} received")
    return "; ".join(words) or "nothing differs"


def lot_refusal(life: LotLife) -> str:
    """Return why no unit of the lot may be measured in production now, and what to do; empty if some may."""
    if life.hold is not None:
        return (
            f"lot {life.lot} is held: {life.hold.why}. Set it aside. "
            f"An engineer releases it: coilgate lot release {life.lot}"
        )
    if life.closed is not None:
        return (
            f"lot {life.lot} is closed. Set it aside and call the engineer, "
            f"who can reopen it: coilgate lot reopen {life.lot}"
        )
    return ""


def refusal(life: LotLife, serial: str) -> str:
    """Return why a unit of the lot may not be measured in production now, and what to do; empty if it may."""
    if serial in life.scrapped:
        return f"{serial} is scrapped. Put it into the scrap box; if that is wrong, call the engineer."
    whole = lot_refusal(life)
    if whole:
        return whole.replace("Set it aside", f"Set {serial} aside", 1)
    if serial in life.closed_units:
        return (
            f"{serial} is in a part of lot {life.lot} that is closed. Put it back to that part, or call the engineer, "
            f"who can reopen it: coilgate lot reopen {life.lot}"
        )
    return ""
