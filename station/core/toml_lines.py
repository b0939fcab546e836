"""On which line each key of a TOML text stands, so that a mistake can be shown where it was made.

The standard library's reader keeps no positions. This scanner reads text that it has already accepted, so it
only needs to find its way, not to judge: headers, keys, strings, arrays and inline tables (TOML 1.0).
"""

import tomllib

Path = tuple[str | int, ...]
"""Keys from the root down; an integer is the index in an array of tables or array."""


def key_lines(text: str) -> dict[Path, int]:
    """Return the line (from 1) of every key, table header and array element of `text`.

    `text` must be TOML that `tomllib` accepts; what comes of other text is not defined.
    """
    scanner = _Scanner(text)
    scanner.scan()
    return scanner.lines


def line_of(lines: dict[Path, int], path: Path) -> int:
    """Return the line of `path`, or of the nearest part of it that is there, or 1."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


class _Scanner:
    def __init__(self, text: str) -> None:
        # A mark at the end spares each look-ahead its own check for the end of the text.
        self._text = text + "\n\0"
        self._at = 0
        self._line = 1
        self._counts: dict[Path, int] = {}
        self.lines: dict[Path, int] = {}

    def scan(self) -> None:
        table: Path = ()
        while self._skip_blank() != "\0":
            if self._text.startswith("[[", self._at):
                table = self._array_header()
            elif self._text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def _skip(self, count: int) -> None:
        self._line += self._text.count("\n", self._at, self._at + count)
        self._at += count

    def _skip_blank(self) -> str:
        """Go past white space, line ends, commas and comments; return the character there."""
        while (character := self._text[self._at]) in " \t\r\n,#":
            if character == "#":
                self._skip(self._text.index("\n", self._at) - self._at)
            else:
                self._skip(1)
        return character

    def _note(self, path: Path, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _resolve(self, keys: tuple[str, ...]) -> Path:
        """Put the index of the newest element behind each key that is an array of tables."""
        path: Path = ()
        for key in keys:
            path = (*path, key)
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
        return path

    def _header(self) -> Path:
        line = self._line
        self._skip(1)
        path = self._resolve(self._keys())
        self._skip(1)
        self._note(path, line)
        return path

    def _array_header(self) -> Path:
        line = self._line
        self._skip(2)
        keys = self._keys()
        self._skip(2)
        path: Path = (*self._resolve(keys[:-1]), keys[-1])
        count = self._counts[path] = self._counts.get(path, 0) + 1
        self._note((*path, count - 1), line)
        return (*path, count - 1)

    def _pair(self, table: Path) -> None:
        line = self._line
        path = (*table, *self._keys())
        self._skip(1)
        self._note(path, line)
        self._value(path)

    def _keys(self) -> tuple[str, ...]:
        """Read a dotted key; stop at the character behind it (`=` or `]`)."""
        keys = []
        while True:
            self._skip_blank()
            keys.append(self._key())
            if self._skip_blank() != ".":
                return tuple(keys)
            self._skip(1)

    def _key(self) -> str:
        start = self._at
        if self._text[start] in "\"'":
            self._string()
            return str(tomllib.loads("key = " + self._text[start : self._at])["key"])
        while self._text[self._at] not in ".=] \t":
            self._at += 1
        return self._text[start : self._at]

    def _value(self, path: Path) -> None:
        opener = self._skip_blank()
        if opener in "\"'":
            self._string()
        elif opener == "[":
            self._array(path)
        elif opener == "{":
            self._skip(1)
            while self._skip_blank() != "}":
                self._pair(path)
            self._skip(1)
        else:
            while self._text[self._at] not in ",]}#\n\0":
                self._at += 1

    def _array(self, path: Path) -> None:
        self._skip(1)
        index = 0
        while self._skip_blank() != "]":
            self._note((*path, index), self._line)
            self._value((*path, index))
            index += 1
        self._skip(1)

    def _string(self) -> None:
        quote = self._text[self._at]
        if self._text.startswith(quote * 3, self._at):
            self._skip(3)
            self._to_end_of_string(quote * 3)
            # Up to two quotes may stand inside, right before the closing three.
            while self._text[self._at] == quote:
                self._skip(1)
        elif self._text.startswith(quote * 2, self._at):
            self._skip(2)
        else:
            self._skip(1)
            self._to_end_of_string(quote)

    def _to_end_of_string(self, closing: str) -> None:
        while not self._text.startswith(closing, self._at):
            self._skip(2 if closing[0] == '"' and self._text[self._at] == "\\" else 1)
        self._skip(len(closing))
