"""A report before it is set: what it says, in order. `pdf` and `html_page` put the same one on paper and screen."""

from dataclasses import dataclass
from datetime import datetime
from typing import TypeAlias

SIMULATED = "SIMULATED: every value is invented; no coil was measured."
PROVISIONAL = "PROVISIONAL: fewer than five lots."


@dataclass(frozen=True, slots=True)
class Heading:
    """Begins a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Plain words; nothing in them is markup."""

    text: str


@dataclass(frozen=True, slots=True)
class Bullets:
    """Short items."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt; framed."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Name and value, a pair a line."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a header line. `words` are the columns that hold words and so stand at the left; numbers don't."""

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: tuple[int, ...] = (0,)

    def __post_init__(self) -> None:
        """Raise ValueError for a row that has other than a cell a header: the table would shift silently."""
        if any(len(row) != len(self.headers) for row in self.rows):
            raise ValueError(f"every row needs {len(self.headers)} cells: {', '.join(self.headers)}")


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing as SVG, and the words that stand for it where it can't be seen."""

    svg: bytes
    alt: str
    caption: str
    width: float = 1.0
    """Of the text's width."""


Block: TypeAlias = Heading | Paragraph | Bullets | Caution | Facts | Table | Picture


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report. `date_utc` is of the newest record in it, never of the printing: same records, same bytes."""

    title: str
    subtitle: str
    date_utc: datetime
    blocks: tuple[Block, ...]
    simulated: bool = False
    """Then SIMULATED stands on every page."""
    provisional: bool = False
    """Then PROVISIONAL does."""
    footer: str = ""
    """At the foot of every page, before its number."""

    @property
    def mark(self) -> str:
        """What stands on every page; empty for real measurements that are enough."""
        return " ".join(words for words, said in ((SIMULATED, self.simulated), (PROVISIONAL, self.provisional)) if said)
