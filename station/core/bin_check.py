"""Finds what is wrong with a plan's bins: overlaps, gaps, bins that no unit can reach.

The pass bins must split the region that passes: every point of it goes to exactly one bin. The region is the
product of the tolerance intervals; the ends of the bins' intervals cut it into cells, and one value of each
cell (each end is a cell of its own) stands for all of it. A characteristic whose method is not due for every
unit has one state more: not due, together with all others of its method.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

from station.core.characteristics import yields
from station.core.intervals import contains, format_interval
from station.core.plan import Bin, BinFor, Characteristic, FrequencyKind, Interval, MethodStep

_CELL_LIMIT = 200_000
_SHOWN = 5


@dataclass(frozen=True, slots=True)
class BinMistake:
    """What is wrong, and with which bin of the list (None: with all of them)."""

    index: int | None
    message: str


@dataclass(frozen=True, slots=True)
class _Cell:
    """A piece of one characteristic's axis: `interval` None is "not due"."""

    interval: Interval | None
    sample: float = 0.0


@dataclass(frozen=True, slots=True)
class _Axis:
    name: str
    unit_symbol: str
    group: int
    """Index of the method's step: what comes from one step is due together."""
    cells: tuple[_Cell, ...]


def find_bin_mistakes(
    steps: Sequence[MethodStep], characteristics: Sequence[Characteristic], bins: Sequence[Bin]
) -> list[BinMistake]:
    """Return the mistakes of a plan's bins, defaults included; an empty list if each unit has its place."""
    return [*_kind_mistakes(bins), *_pass_mistakes(steps, characteristics, bins)]


def _kind_mistakes(bins: Sequence[Bin]) -> Iterator[BinMistake]:
    holds = [index for index, each in enumerate(bins) if each.takes is BinFor.HOLD]
    for index in holds:
        if bins[index].needs:
            yield BinMistake(index, "takes HOLD, which is for everything else, so it can't have `needs`")
    if len(holds) != 1:
        yield BinMistake(holds[1] if holds else None, f"exactly one bin must take HOLD; {len(holds)} do")
    catch_all: int | None = None
    for index, each in enumerate(bins):
        if each.takes is not BinFor.FAIL:
            continue
        if catch_all is not None:
            message = (
                f"can never be reached: bin {bins[catch_all].number} before it takes every unit that fails"
            )
            yield BinMistake(index, message)
        elif not each.needs:
            catch_all = index


def _pass_mistakes(
    steps: Sequence[MethodStep], characteristics: Sequence[Characteristic], bins: Sequence[Bin]
) -> Iterator[BinMistake]:
    passing = [(index, each) for index, each in enumerate(bins) if each.takes is BinFor.PASS]
    if not passing:
        yield BinMistake(None, "at least one bin must take PASS")
        return
    axes = _axes(steps, characteristics, [each for _, each in passing])
    size = 1
    for axis in axes:
        size *= len(axis.cells)
    if size > _CELL_LIMIT:
        yield BinMistake(
            None, f"the bins' limits make {size} combinations; at most {_CELL_LIMIT} can be checked"
        )
        return
    reached: set[int] = set()
    gaps: list[str] = []
    overlaps: dict[tuple[int, ...], list[str]] = {}
    for words, matching in _runs(axes, passing):
        reached.update(matching)
        if not matching:
            gaps.append(words)
        elif len(matching) > 1:
            overlaps.setdefault(matching, []).append(words)
    for words in gaps[:_SHOWN]:
        yield BinMistake(None, f"no bin takes a unit that passes with {words}{_more(gaps)}")
    for matching, places in overlaps.items():
        numbers = " and ".join(str(bins[index].number) for index in matching)
        yield BinMistake(
            matching[-1], f"bins {numbers} overlap: both take a unit with {places[0]}{_more(places, shown=1)}"
        )
    for index, _ in passing:
        if index not in reached:
            yield BinMistake(index, "can never be reached: no unit that passes meets its `needs`")


def _more(found: list[str], *, shown: int = _SHOWN) -> str:
    return f" (and {len(found) - shown} more)" if len(found) > shown else ""


def _axes(
    steps: Sequence[MethodStep], characteristics: Sequence[Characteristic], passing: Sequence[Bin]
) -> list[_Axis]:
    needed = {name for place in passing for name, _ in place.needs}
    axes = []
    for group, step in enumerate(steps):
        names = {name for name, _ in yields(step)}
        for each in characteristics:
            if each.name not in names or each.name not in needed:
                continue
            intervals = [interval for place in passing for name, interval in place.needs if name == each.name]
            cells = _cells(each, [interval for interval in intervals if interval is not None])
            not_due = () if step.frequency.kind is FrequencyKind.EVERY else (_Cell(None),)
            axes.append(_Axis(each.name, each.unit_symbol, group, cells + not_due))
    return axes


def _cells(characteristic: Characteristic, intervals: Sequence[Interval]) -> tuple[_Cell, ...]:
    lower, upper = characteristic.lower, characteristic.upper
    region = Interval(lower, upper, characteristic.lower_included, characteristic.upper_included)
    ends = {end for each in (region, *intervals) for end in (each.lower, each.upper) if end is not None}
    points = sorted(
        end for end in ends if (lower is None or end >= lower) and (upper is None or end <= upper)
    )
    if not points:
        return (_Cell(Interval(None, None, False, False)),)
    cells = []
    if lower is None:
        cells.append(_Cell(Interval(None, points[0], False, False), points[0] - abs(points[0]) - 1.0))
    for point, after in pairwise([*points, None]):
        if point is not None and contains(region, point):
            cells.append(_Cell(Interval(point, point, True, True), point))
        if (
            point is not None
            and after is not None
            and point < (middle := point + (after - point) / 2.0) < after
        ):
            cells.append(_Cell(Interval(point, after, False, False), middle))
    if upper is None:
        cells.append(_Cell(Interval(points[-1], None, False, False), points[-1] + abs(points[-1]) + 1.0))
    return tuple(cells)


def _runs(axes: Sequence[_Axis], passing: Sequence[tuple[int, Bin]]) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Yield (where in words, indices of the bins that take it), neighbours on the last axis as one."""
    if not axes:
        yield "any values", tuple(index for index, place in passing if _meets(place, (), ()))
        return
    *outer, last = axes
    for fixed in product(*(axis.cells for axis in outer)):
        run: list[_Cell] = []
        taken: tuple[int, ...] = ()
        for cell in last.cells:
            state = (*fixed, cell)
            if not _possible(axes, state):
                continue
            matching = tuple(index for index, place in passing if _meets(place, axes, state))
            if run and (matching != taken or cell.interval is None):
                yield _words(axes, fixed, run), taken
                run = []
            run.append(cell)
            taken = matching
        if run:
            yield _words(axes, fixed, run), taken


def _possible(axes: Sequence[_Axis], state: tuple[_Cell, ...]) -> bool:
    """Characteristics of one step are due together or not at all."""
    due: dict[int, bool] = {}
    return all(
        due.setdefault(axis.group, cell.interval is not None) is (cell.interval is not None)
        for axis, cell in zip(axes, state)
    )


def _meets(place: Bin, axes: Sequence[_Axis], state: tuple[_Cell, ...]) -> bool:
    cells = {axis.name: cell for axis, cell in zip(axes, state)}
    for name, interval in place.needs:
        cell = cells.get(name)
        if cell is None:
            return False
        if interval is None or cell.interval is None:
            if interval is not None or cell.interval is not None:
                return False
        elif not contains(interval, cell.sample):
            return False
    return True


def _words(axes: Sequence[_Axis], fixed: tuple[_Cell, ...], run: Sequence[_Cell]) -> str:
    first, final = run[0].interval, run[-1].interval
    together = None
    if first is not None and final is not None:
        together = Interval(first.lower, final.upper, first.lower_included, final.upper_included)
    states = [*(cell.interval for cell in fixed), together]
    return ", ".join(
        f"{axis.name} not due"
        if state is None
        else f"{axis.name} in {format_interval(state, axis.unit_symbol)}"
        for axis, state in zip(axes, states)
    )
