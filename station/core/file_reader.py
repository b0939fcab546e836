"""Reads the tables of a TOML file that a person wrote and collects every mistake, each with its line.

A `Table` is asked for its keys one by one. What was not asked for is unknown and becomes a mistake with the
nearest known key. A key that is wrong gives the stand-in passed as `default` (or a neutral one), so that
reading goes on and the next mistake is found too; the caller refuses the file if there is any.
"""

import difflib
import math
import tomllib
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from station.core.quantity import Dimension, QuantityError, format_quantity, parse_quantity
from station.core.toml_lines import Path, key_lines, line_of
from station.errors import Mistake

_SIZE_LIMIT = 1_000_000


class Mistakes:
    """The mistakes of one file."""

    def __init__(self, file_name: str, lines: dict[Path, int]) -> None:
        self._file_name = file_name
        self._lines = lines
        self._found: list[Mistake] = []
        self._paths: set[Path] = set()

    def add(self, path: Path, message: str) -> None:
        """Note a mistake at the key `path`."""
        mistake = Mistake(self._file_name, line_of(self._lines, path), path_words(path), message)
        self._paths.add(path)
        if mistake not in self._found:
            self._found.append(mistake)

    def within(self, section: str) -> bool:
        """Tell whether a mistake was found in a section: at a first key such as `coil`, or below it."""
        return any(path[:1] == (section,) for path in self._paths)

    @property
    def found(self) -> tuple[Mistake, ...]:
        """All of them, in order of line."""
        return tuple(sorted(self._found, key=lambda each: each.line))


def path_words(path: Path) -> str:
    """Return a path as people write it; an array's index counts from 1: `measure 3 drive`, `coil.layers`."""
    words = ""
    for part in path:
        if isinstance(part, int):
            words += f" {part + 1} "
        else:
            words += ("." if words and not words.endswith(" ") else "") + part
    return words.strip() or "file"


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return `; did you mean 'x'?` for the nearest known word, or nothing."""
    by_lower = {each.lower(): each for each in known}
    near = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return f"; did you mean {by_lower[near[0]]!r}?" if near else ""


def read_file(text: str, file_name: str) -> "tuple[Table, Mistakes]":
    """Return the root table of a TOML text. Text that is no TOML gives an empty table and one mistake."""
    mistakes = Mistakes(file_name, {})
    if len(text) > _SIZE_LIMIT:
        mistakes.add((), f"must have at most {_SIZE_LIMIT} characters; has {len(text)}")
        return Table({}, (), mistakes), mistakes
    try:
        # Some editors put a byte order mark in front.
        content = tomllib.loads(text.removeprefix("\ufeff"))
        mistakes = Mistakes(file_name, key_lines(text.removeprefix("\ufeff")))
    except (ValueError, RecursionError) as error:
        # ValueError: TOMLDecodeError is one, and an integer of thousands of digits is another.
        mistakes = _syntax_mistake(text, file_name, error)
        return Table({}, (), mistakes), mistakes
    return Table(content, (), mistakes), mistakes


def _syntax_mistake(text: str, file_name: str, error: Exception) -> Mistakes:
    said = str(error)
    _, _, behind = said.rpartition("(at line ")
    number = behind.split(",")[0]
    line = int(number) if number.isdecimal() else text.count("\n") + 1
    mistakes = Mistakes(file_name, {("file",): line})
    mistakes.add(("file",), f"is no valid TOML: {said}")
    return mistakes


class Table:
    """One table of the file. Each reader takes a key, notes a mistake if it is wrong, returns a value."""

    def __init__(self, content: dict[str, object], path: Path, mistakes: Mistakes) -> None:
        self._content = content
        self.path = path
        self._mistakes = mistakes
        self._asked: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self._content

    def mistake(self, key: str, message: str) -> None:
        """Note a mistake at `key` (empty: at the table itself)."""
        self._mistakes.add((*self.path, key) if key else self.path, message)

    def names(self) -> tuple[str, ...]:
        """Return the keys that the file has, in its order; all of them then count as known."""
        self._asked |= set(self._content)
        return tuple(self._content)

    def close(self) -> None:
        """Note every key that nobody asked for."""
        for key in self._content:
            if key not in self._asked:
                self.mistake(key, f"is not known here{did_you_mean(key, self._asked)}{self._choice()}")

    def _choice(self) -> str:
        return f" (known: {', '.join(sorted(self._asked))})" if self._asked else ""

    def _take(self, key: str, kinds: type | tuple[type, ...], right: str, required: bool) -> object | None:
        self._asked.add(key)
        if key not in self._content:
            if required:
                self.mistake(key, f"is missing; must be {right}")
            return None
        value = self._content[key]
        if not isinstance(value, kinds) or (isinstance(value, bool) and kinds is not bool):
            self.mistake(key, f"must be {right}; got {_show(value)}")
            return None
        return value

    def text(self, key: str, *, default: str | None = None, limit: int = 200) -> str:
        """Return a text of at most `limit` characters; without `default` it must not be missing or empty."""
        value = self._take(key, str, "a text in quotes", default is None)
        if value is None:
            return default or ""
        text = str(value)
        if not text.strip() and default is None:
            self.mistake(key, "must not be empty")
        if len(text) > limit:
            self.mistake(key, f"must have at most {limit} characters; has {len(text)}")
        if not text.replace("\t", " ").isprintable():
            self.mistake(key, f"must be plain text on one line; got {_show(text)}")
        return text

    def choice(self, key: str, known: Sequence[str], *, default: str | None = None) -> str:
        """Return one of the `known` words; a wrong one gives the default, or an empty text."""
        listed = ", ".join(repr(each) for each in known)
        value = self._take(key, str, f"one of {listed}", default is None)
        if value is None:
            return default or ""
        if value not in known:
            self.mistake(key, f"must be one of {listed}; got {value!r}{did_you_mean(str(value), known)}")
            return default or ""
        return str(value)

    def flag(self, key: str, *, default: bool) -> bool:
        """Return true or false."""
        value = self._take(key, bool, "true or false", False)
        return default if value is None else bool(value)

    def integer(self, key: str, *, lower: int, upper: int, default: int | None = None) -> int:
        """Return a whole number within the bounds; a wrong one gives the default, or `lower`."""
        stand_in = lower if default is None else default
        value = self._take(key, int, f"a whole number from {lower} to {upper}", default is None)
        if value is None:
            return stand_in
        number = int(str(value))
        if not lower <= number <= upper:
            self.mistake(key, f"must be a whole number from {lower} to {upper}; got {number}")
            return stand_in
        return number

    def optional_integer(self, key: str, *, lower: int, upper: int) -> int | None:
        """Return a whole number within the bounds, None if it is not there."""
        self._asked.add(key)
        return self.integer(key, lower=lower, upper=upper) if key in self._content else None

    def number(self, key: str, *, lower: float, upper: float, default: float | None = None) -> float:
        """Return a number without unit within the bounds; a wrong one gives the default, or NaN."""
        right = f"a number from {lower:g} to {upper:g}"
        value = self._take(key, (int, float), right, default is None)
        if value is None:
            return math.nan if default is None else default
        number = float(str(value))
        if not lower <= number <= upper:
            self.mistake(key, f"must be {right}; got {_show(value)}")
            return math.nan
        return number

    def day(self, key: str) -> date | None:
        """Return a date (TOML writes it without quotes: 2027-03-31), or None if there is none."""
        value = self._take(key, date, "a date without quotes, such as 2027-03-31", False)
        return value.date() if isinstance(value, datetime) else value if isinstance(value, date) else None

    def quantity(
        self,
        key: str,
        dimension: Dimension,
        *,
        default: float | None = None,
        lower: float = -math.inf,
        upper: float = math.inf,
    ) -> float:
        """Return a quantity in SI, within the bounds (ends included); a wrong one gives NaN."""
        found = self.optional_quantity(key, dimension, lower=lower, upper=upper, required=default is None)
        if found is None:
            return math.nan if default is None else default
        return found

    def optional_quantity(
        self,
        key: str,
        dimension: Dimension,
        *,
        lower: float = -math.inf,
        upper: float = math.inf,
        required: bool = False,
    ) -> float | None:
        """Return a quantity in SI, None if it is not there, NaN if it is wrong."""
        value = self._take(key, str, "a text with number and unit", required)
        if value is None:
            return math.nan if key in self._content else None
        return self._checked_quantity((*self.path, key), str(value), dimension, lower, upper)

    def first_text(self, key: str) -> str:
        """Return the first element of a list if it is a text, else an empty one; notes no mistake."""
        value = self._content.get(key)
        return value[0] if isinstance(value, list) and value and isinstance(value[0], str) else ""

    def quantities(
        self, key: str, dimension: Dimension, *, lower: float = -math.inf, upper: float = math.inf
    ) -> tuple[float, ...]:
        """Return a list of quantities in SI; wrong ones are left out."""
        value = self._take(key, list, "a list of texts with number and unit", True)
        found = []
        for index, each in enumerate(value if isinstance(value, list) else []):
            path = (*self.path, key, index)
            if not isinstance(each, str):
                self._mistakes.add(path, f"must be a text with number and unit; got {_show(each)}")
                continue
            found.append(self._checked_quantity(path, each, dimension, lower, upper))
        return tuple(each for each in found if not math.isnan(each))

    def _checked_quantity(
        self, path: Path, text: str, dimension: Dimension, lower: float, upper: float
    ) -> float:
        try:
            value = parse_quantity(text, dimension)
        except QuantityError as error:
            self._mistakes.add(path, str(error))
            return math.nan
        if not lower <= value <= upper:
            self._mistakes.add(path, f"must be {_bounds(lower, upper, dimension)}; got {text!r}")
            return math.nan
        return value

    def table(self, key: str, *, required: bool = False) -> "Table":
        """Return the table at `key`; an empty one if it is not there or no table."""
        value = self._take(key, dict, f"a table: [{path_words((*self.path, key))}]", required)
        if required and not isinstance(value, dict):
            # One mistake is enough: what is read from a missing table is missing in silence.
            return Table({}, (*self.path, key), Mistakes("", {}))
        return Table(value if isinstance(value, dict) else {}, (*self.path, key), self._mistakes)

    def tables(self, key: str, *, required: bool = False) -> "list[Table]":
        """Return the array of tables at `key`; an empty list if it is not there."""
        right = f"one or more tables: [[{path_words((*self.path, key))}]]"
        value = self._take(key, list, right, required)
        found = []
        for index, each in enumerate(value if isinstance(value, list) else []):
            if isinstance(each, dict):
                found.append(Table(each, (*self.path, key, index), self._mistakes))
            else:
                self._mistakes.add((*self.path, key, index), f"must be a table; got {_show(each)}")
        return found


def _bounds(lower: float, upper: float, dimension: Dimension) -> str:
    low, high = (format_quantity(each, dimension, digits=None) for each in (lower, upper))
    if math.isinf(upper):
        return f"{low} or more"
    return f"{high} or less" if math.isinf(lower) else f"from {low} to {high}"


def _show(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
