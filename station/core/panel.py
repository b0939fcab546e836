"""A panel that is measured place by place: which places are done, which comes next. Pure.

The places come in order, row by row. What is skipped comes again at the end, what is missing does not; a unit that
was not measured stays where it is until it is measured, skipped or found to be missing.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from station.core.results import Decision


class PlaceState(StrEnum):
    """What is known of a place; the words are shown."""

    TO_DO = "to do"
    PASS = "pass"
    FAIL = "fail"
    NOT_MEASURED = "not measured"
    HELD = "held"
    SKIPPED = "skipped"
    MISSING = "missing"


OPEN = frozenset({PlaceState.TO_DO, PlaceState.NOT_MEASURED, PlaceState.SKIPPED})
"""What is still to be measured."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place on a panel and what is known of it."""

    serial: str
    row: str
    column: str
    state: PlaceState = PlaceState.TO_DO
    skips: int = 0

    @property
    def name(self) -> str:
        """What people call it, such as `C07`."""
        return f"{self.row}{self.column}"


@dataclass(frozen=True, slots=True)
class PanelWay:
    """The way through one panel."""

    code: str
    """As scanned."""
    lot: str
    panel: str
    places: tuple[Place, ...]
    unit_labels: bool = True
    """Each unit has a code of its own, which is scanned; False: the place alone says which unit it is."""
    at: str = ""
    """The serial of the place where somebody is; empty: the next open one."""

    @property
    def next(self) -> Place | None:
        """The place that comes next; None if nothing is left to do."""
        here = self.place(self.at)
        if here is not None:
            return here
        todo = [each for each in self.places if each.state in OPEN]
        return min(todo, key=lambda each: each.skips, default=None)

    def place(self, serial: str) -> Place | None:
        """Return the place of a serial, None if it is not on this panel."""
        return next((each for each in self.places if each.serial == serial), None)

    def count(self) -> dict[PlaceState, int]:
        """Return how many places are in each state; states that no place is in are left out."""
        counts = Counter(each.state for each in self.places)
        return {each: counts[each] for each in PlaceState if counts[each]}

    @property
    def words(self) -> str:
        """Return the summary, such as `84 pass, 2 fail, 1 missing, 9 to do`."""
        order = sorted(self.count().items(), key=lambda each: each[0] in OPEN)
        return ", ".join(f"{count} {state}" for state, count in order)


def skip(way: PanelWay) -> PanelWay:
    """Leave the next place for the end; one that somebody went to and that is decided stays so, and is left."""
    here = way.next
    if here is None or here.state not in OPEN:
        return replace(way, at="")
    return _with(way, replace(here, state=PlaceState.SKIPPED, skips=here.skips + 1))


def missing(way: PanelWay) -> PanelWay:
    """Note that there is no unit at the next place; one that is decided stays so, and is left."""
    here = way.next
    if here is None or here.state not in OPEN:
        return replace(way, at="")
    return _with(way, replace(here, state=PlaceState.MISSING))


def decided(way: PanelWay, serial: str, decision: Decision, *, held: bool) -> PanelWay:
    """Note a unit's decision. One that was not measured keeps its place: it is seated again first."""
    here = way.place(serial)
    if here is None:
        return way
    state = state_of(decision, held=held)
    done = _with(way, replace(here, state=state))
    return replace(done, at=serial) if state is PlaceState.NOT_MEASURED else done


def go_to(way: PanelWay, serial: str) -> PanelWay:
    """Make a place of this panel the next one."""
    return way if way.place(serial) is None else replace(way, at=serial)


def state_of(decision: Decision | None, *, held: bool) -> PlaceState:
    """Return the state of a place whose unit has this decision; None: never measured."""
    if held:
        return PlaceState.HELD
    if decision is None:
        return PlaceState.TO_DO
    words = {Decision.PASS: PlaceState.PASS, Decision.FAIL: PlaceState.FAIL}
    return words.get(decision, PlaceState.NOT_MEASURED)


def begin(
    code: str,
    lot: str,
    panel: str,
    places: Iterable[Place],
    known: Mapping[str, PlaceState],
    *,
    unit_labels: bool,
) -> PanelWay:
    """Return the way through a panel of which some places are known already, by serial."""
    found = tuple(replace(each, state=known.get(each.serial, PlaceState.TO_DO)) for each in places)
    return PanelWay(code, lot, panel, found, unit_labels)


def _with(way: PanelWay, place: Place) -> PanelWay:
    places = tuple(place if each.serial == place.serial else each for each in way.places)
    return replace(way, places=places, at="")
