"""Drafts of control plans: every number that nobody has decided yet is marked `# proposed` on its line.

A text with such a mark can't be released. An engineer accepts each number; the mark then says who did, and when.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from station.core.intervals import format_interval
from station.core.plan import Interval, Plan
from station.core.plan_file import parse_plan
from station.core.quantity import format_quantity
from station.core.toml_edit import array_spans, comment_place, key_literal, put, table_span, text_literal
from station.errors import Mistake, PlanError

_MARK = re.compile(r"#\s*proposed\b")
_PAIR = re.compile(r"\s*([A-Za-z0-9_-]+)\s*=\s*(\S.*)")
_HEADER = re.compile(r"\s*\[{1,2}\s*[A-Za-z0-9_\"'-][^,]*\]\s*$")
_NO_NUMBERS = {"part", "title", "serial", "check_digit", "fixture", "method", "suffix", "number", "name", "takes"}
_NO_NUMBERS |= {"rows", "columns"}
"""Keys whose values name something, digits or not."""
_NAMED = 3
"""So many lines are named one by one where a plan is refused."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A line with a number that is only proposed."""

    line: int
    """From 1."""
    text: str


@dataclass(frozen=True, slots=True)
class ProposedLimits:
    """Limits of one characteristic, SI; None: no limit on that side. `note` says what they rest on."""

    characteristic: str
    lower: float | None
    upper: float | None
    edges: tuple[float, ...]
    """Where its bins part, from low to high: as many as the plan has; empty if its bins don't part by it."""
    note: str


def proposed_marks(text: str) -> tuple[Mark, ...]:
    """Return the lines that are marked as proposed, in order."""
    return tuple(
        Mark(number, line.strip())
        for number, line in enumerate(text.splitlines(), start=1)
        if _MARK.match(line, comment_place(line))
    )


def require_accepted(text: str, file_name: str) -> None:
    """Raise `PlanError`, naming the first lines and how many more, if a number of the plan is only proposed."""
    marks = proposed_marks(text)
    if marks:
        words = "is only proposed; an engineer accepts it first (coilgate plan accept FILE --who EN-02)"
        mistakes = [Mistake(file_name, each.line, each.text.partition("=")[0].strip(), words) for each in marks]
        more = len(marks) - _NAMED
        if more > 0:
            counted = f"and {more} more that are only proposed: coilgate plan accept FILE shows them"
            mistakes[_NAMED:] = [Mistake(file_name, marks[_NAMED].line, "...", counted)]
        raise PlanError(mistakes)


def accept_marks(text: str, lines: Iterable[int], *, who: str, day: str) -> str:
    """Return the text with the marks on some lines turned into who accepted them, and when (`2026-11-25`)."""
    wanted = set(lines)
    found = text.splitlines(keepends=True)
    for number, line in enumerate(found, start=1):
        place = comment_place(line)
        if number in wanted and _MARK.match(line, place):
            found[number - 1] = line[:place] + _MARK.sub(f"# accepted by {who} {day}, proposed", line[place:], count=1)
    return "".join(found)


def mark_every_number(text: str, note: str, *, file_name: str = "plan") -> str:
    """Return a plan's text with each line that states a number marked as proposed. Raises `PlanError`."""
    before = parse_plan(text, file_name)
    marked = "".join(_marked(line, note) for line in text.splitlines(keepends=True))
    _require_same(before, parse_plan(marked, file_name), file_name)
    return marked


def _marked(line: str, note: str) -> str:
    place = comment_place(line)
    code = line[:place].rstrip()
    pair = _PAIR.fullmatch(code)
    # A line that is neither a pair nor a header goes on with an array that began above.
    stated = pair.group(2) if pair else "" if _HEADER.match(code) else code
    if (pair is not None and pair.group(1) in _NO_NUMBERS) or not any(each.isdigit() for each in stated):
        return line
    former = line[place:].strip().lstrip("#").strip()
    words = "; ".join(each for each in (f"proposed: {note}", former) if each)
    return f"{line[:place].rstrip()}   # {words}\n"


def _require_same(before: Plan, after: Plan, file_name: str) -> None:
    parts = ("coil", "steps", "characteristics", "bins", "winding_constant_k", "serial_pattern")
    if any(getattr(before, each) != getattr(after, each) for each in parts):
        raise PlanError([Mistake(file_name, 1, "", "could not be marked; write a key a line, then try again")])


def pass_edges(plan: Plan, characteristic: str) -> tuple[float, ...]:
    """Return where the bins part by a characteristic, its outer ends included, from low to high."""
    ends = {
        end
        for each in plan.bins
        for name, interval in each.needs
        if name == characteristic and interval is not None
        for end in (interval.lower, interval.upper)
        if end is not None
    }
    return tuple(sorted(ends))


def with_proposals(text: str, proposals: Sequence[ProposedLimits], *, file_name: str = "plan") -> str:
    """Return a plan's text with limits proposed, bins moved along, each of these lines marked.

    Bins keep their order and their number. Raises `PlanError` if the outcome is no sound plan.
    """
    plan = parse_plan(text, file_name)
    lines = text.splitlines(keepends=True)
    moves = {each.characteristic: _moves(plan, each) for each in proposals}
    for each in proposals:
        _put_limits(lines, plan, each, file_name)
    _put_bins(lines, plan, moves, {each.characteristic: each.note for each in proposals})
    edited = "".join(lines)
    parse_plan(edited, file_name)
    return edited


def _moves(plan: Plan, proposed: ProposedLimits) -> dict[float, float]:
    before = pass_edges(plan, proposed.characteristic)
    return dict(zip(before, proposed.edges, strict=True)) if proposed.edges else {}


def _put_limits(lines: list[str], plan: Plan, proposed: ProposedLimits, file_name: str) -> None:
    found = plan.characteristic(proposed.characteristic)
    if found is None:
        return
    for key, value, former in (("lower", proposed.lower, found.lower), ("upper", proposed.upper, found.upper)):
        span = table_span(lines, "characteristic", found.name)
        if span is None:
            words = "has no table of its own; edit the plan's text instead"
            raise PlanError([Mistake(file_name, 1, f"characteristic.{found.name}", words)])
        if value is None:
            continue
        was = "" if former in (None, value) else f", was {format_quantity(former, found.unit_symbol, digits=None)}"
        literal = text_literal(format_quantity(value, found.unit_symbol, digits=None))
        put(lines, span, key, literal, note=f"proposed: {proposed.note}{was}")


def _put_bins(
    lines: list[str], plan: Plan, moves: Mapping[str, Mapping[float, float]], notes: Mapping[str, str]
) -> None:
    for place in range(len(array_spans(lines, "bin"))):
        needs = plan.bins[place].needs
        moved = [name for name, interval in needs if interval is not None and moves.get(name)]
        if not moved:
            continue
        written = []
        for name, interval in needs:
            found = plan.characteristic(name)
            unit = found.unit_symbol if found else "1"
            new = None if interval is None else _moved(interval, moves.get(name, {}))
            words = "not due" if new is None else format_interval(new, unit)
            written.append(f"{key_literal(name)} = {text_literal(words)}")
        note = f"proposed: bins part where they take alike many; {notes[moved[0]]}"
        span = array_spans(lines, "bin")[place]
        put(lines, span, "needs", f"{{ {', '.join(written)} }}", note=note)


def _moved(interval: Interval, moves: Mapping[float, float]) -> Interval:
    def end(value: float | None) -> float | None:
        return None if value is None else moves.get(value, value)

    return Interval(end(interval.lower), end(interval.upper), interval.lower_included, interval.upper_included)
