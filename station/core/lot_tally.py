"""A lot in numbers, by the records and by hand: where its units lie, and whether they are all there. Pure.

    received + surplus = passed + failed + held + conceded + scrapped + not measured

Each unit counts once, in the first of these that it is: scrapped, held, conceded, passed, failed, not measured.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from station.core.lot_life import Closing, LotLife, LotState, PlaceCount, missing_units
from station.core.results import Decision
from station.errors import LotError

HELD_PLACE = "held"
UNMEASURED_PLACE = "unmeasured"
SCRAP_PLACE = "scrapped"
MISSING_PLACE = "missing"
"""Places of a panel where no unit was: nobody can count them, so their number on record stands unless it is given."""


@dataclass(frozen=True, slots=True)
class UnitStanding:
    """Where one unit of a lot stands by the records. `decision` is None without a decided production run."""

    serial: str
    decision: Decision | None
    bin_number: int
    bin_name: str
    held: bool
    conceded: bool
    """It fails, and is accepted by concession."""


@dataclass(frozen=True, slots=True)
class Tally:
    """A lot in numbers, by the records: each unit once. `never_measured` is part of `not_measured`.

    missing: places of its panels that are on record as without a unit; `missing_received` of them are among those
    received, and part of `never_measured` (the others were not delivered, nor counted as received).

    surplus: units on record or scrapped beyond those received; 0 if nothing was received on record (then
    `received` is None and no unit counts as never measured). places: what is not closed yet, to be counted.
    """

    received: int | None
    passed: int
    failed: int
    held: int
    conceded: int
    scrapped: int
    not_measured: int
    never_measured: int
    missing: int
    missing_received: int
    surplus: int
    closed: int
    """Units of it in parts that are closed, by the records of their closing."""
    places: tuple[PlaceCount, ...]

    @property
    def total(self) -> int:
        """All of them; `received + surplus` where it was received on record."""
        return self.passed + self.failed + self.held + self.conceded + self.scrapped + self.not_measured


@dataclass(frozen=True, slots=True)
class LotNow:
    """A lot as a whole, now. `since_closing`: places whose number on record is not what it was when it was closed."""

    life: LotLife
    state: LotState
    tally: Tally
    since_closing: tuple[PlaceCount, ...]
    """recorded: then; counted: on record now."""


def tally(life: LotLife, units: Iterable[UnitStanding], *, missing: Collection[str] = ()) -> Tally:
    """Return a lot in numbers. `units`: all that the records know of, each once.

    missing: serials that units at places without one would have; one that was found since counts as what it is.
    """
    kinds: Counter[str] = Counter()
    places: Counter[str] = Counter()
    names: dict[str, str] = {HELD_PLACE: "", UNMEASURED_PLACE: "", SCRAP_PLACE: ""}
    bare = 0
    absent = set(missing) - life.scrapped - life.closed_units
    for each in units:
        if each.serial in life.scrapped:
            continue  # counted by the life: some are scrapped before anybody measures them
        if each.decision is None and not each.held and not each.conceded:
            # On record by a run that counts for nothing (a study, a readings file): one of those never measured.
            bare += 1
            continue
        absent.discard(each.serial)
        kinds[_kind(each)] += 1
        if each.serial not in life.closed_units:
            place = place_of(each)
            places[place] += 1
            names.setdefault(place, each.bin_name)
    scrapped = len(life.scrapped) + life.scrapped_unnumbered
    known = kinds.total() + scrapped
    never = bare if life.received is None else max(life.received - known, bare)
    places[SCRAP_PLACE] += scrapped
    explained = 0 if life.received is None else min(len(absent), never)
    if absent:
        names[MISSING_PLACE] = ""
        places[MISSING_PLACE] += explained
    places[UNMEASURED_PLACE] += never - explained
    return Tally(
        received=life.received,
        passed=kinds["passed"],
        failed=kinds["failed"],
        held=kinds["held"],
        conceded=kinds["conceded"],
        scrapped=scrapped,
        not_measured=kinds["not measured"] + never,
        never_measured=never,
        missing=len(absent),
        missing_received=explained,
        surplus=0 if life.received is None else known + never - life.received,
        closed=len(life.closed_units),
        places=tuple(PlaceCount(place, names[place], places[place], 0) for place in sorted(names, key=_place_order)),
    )


def _kind(unit: UnitStanding) -> str:
    if unit.held:
        return "held"
    if unit.conceded:
        return "conceded"
    return {Decision.PASS: "passed", Decision.FAIL: "failed"}.get(unit.decision or Decision.INVALID, "not measured")


def place_of(unit: UnitStanding) -> str:
    """Return where a unit lies: its bin's number, `held`, or `unmeasured` (it went into no bin)."""
    if unit.held:
        return HELD_PLACE
    return str(unit.bin_number) if unit.decision is not None and unit.bin_number else UNMEASURED_PLACE


def _place_order(place: str) -> tuple[int, int, str]:
    return (0, int(place), "") if place.isdecimal() else (1, 0, place)


def counted_places(
    places: Iterable[PlaceCount], counted: Mapping[str, int], *, lot: str, part: bool
) -> tuple[PlaceCount, ...]:
    """Return places with what was counted there. For a whole lot every place that holds a unit must be counted.

    Places without a unit hold none: what is on record of them stands, unless another number is given.

    Raises LotError for a place that nobody counted, one that does not exist, or (for a part) that is no bin.
    """
    known = {each.place: each for each in places}
    if MISSING_PLACE in known and not part:
        counted = {MISSING_PLACE: known[MISSING_PLACE].recorded, **counted}
    strange = sorted(set(counted) - set(known) - {each for each in counted if each.isdecimal()})
    if strange:
        raise LotError(f"lot {lot}: {strange[0]!r} is no place; there are {', '.join(known)}.")
    if part and any(not each.isdecimal() for each in counted):
        raise LotError(f"lot {lot}: a part of a lot is bins; held, scrapped and unmeasured units stay with the rest.")
    left_out = [each.place for each in known.values() if each.recorded and each.place not in counted]
    if left_out and not part:
        raise LotError(
            f"lot {lot}: not counted: {', '.join(left_out)}. Count them and give each: "
            + " ".join(f"--counted {each}=N" for each in left_out)
        )
    found = [replace(each, counted=counted[each.place]) for each in known.values() if each.place in counted]
    # A bin that nobody should have used, but somebody found units in.
    found += [PlaceCount(each, "", 0, count) for each, count in counted.items() if each not in known]
    return tuple(sorted(found, key=lambda each: _place_order(each.place)))


def now_of(life: LotLife, units: Sequence[UnitStanding], *, missing: Collection[str] = ()) -> LotNow:
    """Return where a lot stands. `missing`: as in `tally`."""
    found = tally(life, units, missing=missing)
    state = life.state(measured=any(each.decision is not None for each in units))
    changed: tuple[PlaceCount, ...] = ()
    if life.closed is not None:
        then = {each.place: each for each in life.closed.event.counts}
        now = {each.place: each for each in found.places}
        changed = tuple(
            PlaceCount(place, (now.get(place) or then[place]).name, before, after)
            for place in {**then, **now}
            if (before := then[place].recorded if place in then else 0)
            != (after := now[place].recorded if place in now else 0)
        )
    return LotNow(life, state, found, changed)


def lying_in_bins(life: LotLife, units: Sequence[UnitStanding]) -> dict[str, tuple[str, str]]:
    """Return the units in bins that are neither closed nor scrapped: serial to place and the bin's name."""
    return {
        each.serial: (place, each.bin_name)
        for each in units
        if (place := place_of(each)).isdecimal()
        and each.serial not in life.closed_units
        and each.serial not in life.scrapped
    }


def missing_of(life: LotLife, closing: Closing) -> int:
    """Return how many units a standing closing of the whole lot lacked against what was received."""
    earlier = tuple(each for each in life.closings if each.number < closing.number)
    return missing_units(LotLife(life.lot, received=life.received, closings=earlier), closing.event)


def place_words(place: PlaceCount) -> str:
    """Return a place for people: `bin 1 (low R)`, `held`, `unmeasured (in no bin)`."""
    if place.place.isdecimal():
        return f"bin {place.place}{f' ({place.name})' if place.name else ''}"
    return {
        HELD_PLACE: "held (set aside, whatever bin they came from)",
        UNMEASURED_PLACE: "unmeasured (in no bin)",
        MISSING_PLACE: "missing (places without a unit)",
    }.get(place.place, place.place)


def never_words(found: Tally) -> str:
    """Return what part of `not measured` was never measured: `5 never, 2 of them missing`; empty if none was."""
    if not found.never_measured:
        return ""
    absent = f", {found.missing_received} of them missing" if found.missing_received else ""
    return f"{found.never_measured} never{absent}"


def missing_words(found: Tally) -> str:
    """Say how many places are on record as without a unit, and whether they explain anything; empty if none is."""
    if not found.missing:
        return ""
    places = f"{found.missing} {'place of its panels is' if found.missing == 1 else 'places of its panels are'}"
    if found.received is None:
        return f"{places} on record as missing (no unit there)."
    beyond = found.missing - found.missing_received
    return f"{places} on record as missing (no unit there){f'; {beyond} not among those received' if beyond else ''}."
