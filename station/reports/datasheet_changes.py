"""What a datasheet says of its revisions: which one it is, what changed, and whether that is more than chance."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from station.reports.document import Block, Heading, Paragraph, Table
from station.reports.pictures import printed


@dataclass(frozen=True, slots=True)
class Revision:
    """A datasheet that somebody put on record."""

    number: int
    who: str
    why: str
    utc: datetime
    lots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """One figure that differs from the revision before. `figure`: `minimum`, `typical` or `maximum`."""

    name: str
    figure: str
    unit_symbol: str
    before: float | None
    after: float | None
    interval: tuple[float, float] | None
    """95 % interval of how the process itself has changed (its mean, or percentile); None where that is not known."""
    words: str
    """`more than chance`, `within chance`, or why that can't be said."""


@dataclass(frozen=True, slots=True)
class Revisions:
    """Where a sheet stands: `this` is None for one that is not on record; `changes` are from the one before."""

    this: Revision | None
    history: tuple[Revision, ...]
    changes: tuple[Change, ...]

    @property
    def before(self) -> Revision | None:
        """The revision that `changes` are from."""
        if self.this is None:
            return self.history[-1] if self.history else None
        return next((each for each in reversed(self.history) if each.number < self.this.number), None)

    @property
    def words(self) -> str:
        """`Revision 2`, or what it would be: no paper should pass for a revision that nobody has put on record."""
        if self.this is not None:
            return f"Revision {self.this.number}"
        return f"Draft of revision {self.history[-1].number + 1 if self.history else 1}"


NO_REVISIONS = Revisions(None, (), ())


def change_blocks(found: Revisions) -> Iterator[Block]:
    """Yield the section on revisions; nothing if none is on record."""
    if not found.history:
        return
    yield Heading("Revisions")
    before = found.before
    if before is not None:
        yield Paragraph(_change_words(found, before))
    if before is not None and found.changes:
        headers = ("", "figure", f"revision {before.number}", "now", "change", "of the process (95\u00a0%)", "")
        yield Table(headers, tuple(_row(each) for each in found.changes), words=(0, 1, 6))
        yield Paragraph(
            "Of the process: the 95\u00a0% interval of how its mean (typical) or its percentile (minimum, maximum) has "
            "changed; if it holds 0, chance may have done it. Minimum and maximum are cautious bounds, which also move "
            "as more units and lots are known. Revisions are taken as independent: where they share lots more is put "
            "down to chance than need be. A change below U may also be the bench's."
        )
    yield Table(
        ("revision", "recorded", "by", "why", "lots"),
        tuple(
            (str(each.number), each.utc.date().isoformat(), each.who, each.why, ", ".join(each.lots))
            for each in found.history
        ),
        words=(1, 2, 3, 4),
    )


def _change_words(found: Revisions, before: Revision) -> str:
    if not found.changes:
        return f"No figure has changed since revision {before.number}."
    more = sum(each.words == MORE for each in found.changes)
    return (
        f"{found.words} against revision {before.number}: {len(found.changes)} figures differ, {more} of them by more "
        "than chance."
    )


MORE, WITHIN = "more than chance", "within chance"


def _row(change: Change) -> tuple[str, ...]:
    both = change.before is not None and change.after is not None
    difference = (change.after or 0.0) - (change.before or 0.0)
    sign = "+" if difference > 0 else ""
    return (
        change.name,
        change.figure,
        printed(change.before, change.unit_symbol),
        printed(change.after, change.unit_symbol),
        f"{sign}{printed(difference, change.unit_symbol, digits=2)}" if both else "–",
        interval_words(change.interval, change.unit_symbol),
        change.words,
    )


def interval_words(interval: tuple[float, float] | None, unit_symbol: str) -> str:
    """Return an interval of a change with its signs: `-12 to +30 mΩ`, each end with its unit."""
    if interval is None:
        return "–"
    return " to ".join(f"{'+' if each > 0 else ''}{printed(each, unit_symbol, digits=2)}" for each in interval)
