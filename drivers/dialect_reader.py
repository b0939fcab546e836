"""Reads the tables of a dialect file and notes every mistake with file, line, key and what would be right."""

import re
import tomllib

Plain = dict[str, object]


class DialectError(ValueError):
    """A dialect file is wrong. The message has one line for each mistake found."""


class Mistakes:
    """What is wrong with one file, gathered so that all of it can be told at once."""

    def __init__(self, text: str, file_name: str) -> None:
        self._lines = text.splitlines()
        self._file_name = file_name
        self._found: list[str] = []

    def add(self, table: str, key: str, problem: str) -> None:
        """Note that `key` of `table` (empty for the top) is wrong, and what would be right."""
        where = f"{table}.{key}" if table else key
        line = self._line_of(table, key)
        place = f"{self._file_name}, line {line}" if line else self._file_name
        self._found.append(f"{place}: '{where}' {problem}")

    def raise_any(self) -> None:
        """Raise `DialectError` if anything was noted."""
        if self._found:
            raise DialectError("\n".join(self._found))

    def _line_of(self, table: str, key: str) -> int | None:
        """Return the line of `key` after its table's header, else the header's: the parser tells no lines."""
        header = re.compile(rf"\s*\[+\s*{re.escape(table.split('[')[0])}\s*\]+")
        entry = re.compile(rf"\s*{re.escape(key)}\s*=")
        inside, header_line = not table, None
        for number, line in enumerate(self._lines, start=1):
            if line.lstrip().startswith("["):
                inside = bool(table) and header.match(line) is not None
                header_line = number if inside else header_line
            elif inside and entry.match(line):
                return number
        return header_line


class Table:
    """One table of a file. Each getter notes a mistake and returns a stand-in, so that reading goes on."""

    def __init__(self, content: Plain, mistakes: Mistakes, *, path: str = "") -> None:
        self._content = dict(content)
        self._mistakes = mistakes
        self._path = path

    def text(self, key: str, *, default: str | None = None) -> str:
        """Return a text that is not empty."""
        value = self._content.pop(key, default)
        if isinstance(value, str) and (value or default == ""):
            return value
        self.wrong(key, f"must be a text; got {_shown(value)}")
        return ""

    def choice(self, key: str, choices: tuple[str, ...], *, default: str | None = None) -> str:
        """Return one of `choices`."""
        value = self._content.pop(key, default)
        if value in choices:
            return str(value)
        self.wrong(key, f"must be one of {', '.join(map(repr, choices))}; got {_shown(value)}")
        return choices[0]

    def number(self, key: str, *, above: float = 0.0) -> float:
        """Return a number above `above`."""
        value = self._content.pop(key, None)
        if isinstance(value, int | float) and not isinstance(value, bool) and above < value < float("inf"):
            return float(value)
        self.wrong(key, f"must be a number above {above:g}; got {_shown(value)}")
        return above + 1.0

    def integer(self, key: str, *, least: int = 1, default: int | None = None) -> int:
        """Return a whole number of at least `least`."""
        value = self._content.pop(key, default)
        if isinstance(value, int) and not isinstance(value, bool) and value >= least:
            return value
        self.wrong(key, f"must be a whole number of at least {least}; got {_shown(value)}")
        return least

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, possibly empty."""
        value = self._content.pop(key, None)
        if isinstance(value, list) and all(isinstance(item, str) and item for item in value):
            return tuple(value)
        self.wrong(key, f'must be a list of texts like ["a", "b"]; got {_shown(value)}')
        return ()

    def pattern(self, key: str, *, groups: tuple[str, ...] = ()) -> re.Pattern[bytes]:
        """Return a regular expression for response bytes that has the named `groups`."""
        text = self.text(key)
        try:
            pattern = re.compile(text.encode("ascii"))
        except (re.error, UnicodeEncodeError) as error:
            self.wrong(key, f"must be a regular expression in ASCII; {error}")
            return re.compile(b"")
        missing = [group for group in groups if group not in pattern.groupindex]
        if text and missing:
            self.wrong(key, f"must have the groups {', '.join(f'(?P<{group}>...)' for group in missing)}")
        return pattern

    def table(self, key: str) -> "Table":
        """Return the table below this one."""
        value = self._content.pop(key, None)
        path = f"{self._path}.{key}" if self._path else key
        if not isinstance(value, dict):
            self.wrong(key, f"must be a table [{path}]; got {_shown(value)}")
            value = {}
        return Table(value, self._mistakes, path=path)

    def tables(self, key: str) -> list["Table"]:
        """Return the array of tables of that name; at least one."""
        value = self._content.pop(key, None)
        if not isinstance(value, list) or not value or not all(isinstance(item, dict) for item in value):
            self.wrong(key, f"must be one or more tables [[{key}]]; got {_shown(value)}")
            return []
        return [
            Table(item, self._mistakes, path=f"{key}[{number}]") for number, item in enumerate(value, start=1)
        ]

    def has(self, key: str) -> bool:
        """Tell whether `key` is there and not read yet."""
        return key in self._content

    def wrong(self, key: str, problem: str) -> None:
        """Note a mistake that only the caller can see."""
        self._mistakes.add(self._path, key, problem)

    def close(self) -> None:
        """Note every key that nobody read: a misspelt setting must not be ignored."""
        for key in self._content:
            self.wrong(key, "is not known here; remove it or correct its spelling")


def read_toml(text: str, file_name: str) -> Plain:
    """Return the tables of `text`; raises `DialectError` with file and line if it is no TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DialectError(f"{file_name}: no valid TOML: {error}") from error


def _shown(value: object) -> str:
    return "nothing" if value is None else repr(value)
