"""Changes single values in a TOML text and leaves everything else, comments included, as it stands.

For texts that `tomllib` has accepted, written a key a line. Whoever edits parses the outcome again and looks whether it
is what was wanted: a layout that defeats this ends in an error there, never in another plan.
"""

import re
from collections.abc import Sequence

Span = tuple[int, int]
"""Lines of a table's body: first, and one past the last."""

_HEADER = re.compile(r"\s*\[{1,2}[^\[]")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def text_literal(text: str) -> str:
    """Return a text as a TOML basic string."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def key_literal(name: str) -> str:
    """Return a name as a TOML key, quoted if it must be."""
    return name if _BARE.fullmatch(name) else text_literal(name)


def table_span(lines: Sequence[str], *names: str) -> Span | None:
    """Return the body of the table `[a.b]`; None if there is none of its own."""
    path = r"\s*\.\s*".join(rf"""(?:"{re.escape(each)}"|'{re.escape(each)}'|{re.escape(each)})""" for each in names)
    header = re.compile(rf"\s*\[\s*{path}\s*\]\s*(#.*)?$")
    return next((_body(lines, i) for i, line in enumerate(lines) if header.match(line)), None)


def array_spans(lines: Sequence[str], name: str) -> list[Span]:
    """Return the bodies of all tables `[[name]]`, in order."""
    header = re.compile(rf"\s*\[\[\s*{re.escape(name)}\s*\]\]\s*(#.*)?$")
    return [_body(lines, i) for i, line in enumerate(lines) if header.match(line)]


def _body(lines: Sequence[str], header: int) -> Span:
    """Without the blank and comment lines at its end: they stand above what comes next."""
    end = next((i for i in range(header + 1, len(lines)) if _HEADER.match(lines[i])), len(lines))
    while end > header + 1 and not lines[end - 1].split("#")[0].strip():
        end -= 1
    return header + 1, end


def comment_place(line: str) -> int:
    """Return where a line's comment begins, or its length without one; a # in a text is none."""
    quote = ""
    for place, each in enumerate(line):
        if quote:
            escaped = quote == '"' and place > 0 and line[place - 1] == "\\" and line[place - 2 : place] != "\\\\"
            quote = "" if each == quote and not escaped else quote
        elif each in "\"'":
            quote = each
        elif each == "#":
            return place
    return len(line.rstrip("\r\n"))


def find_key(lines: Sequence[str], span: Span, key: str) -> int | None:
    """Return the line on which a table states a key; None if it doesn't."""
    form = re.compile(rf"""\s*(?:{re.escape(key)}|"{re.escape(key)}")\s*=""")
    return next((i for i in range(*span) if form.match(lines[i])), None)


def put(lines: list[str], span: Span, key: str, literal: str, *, note: str = "") -> None:
    """State a key's value in a table: on its line if it has one, else on a new one; empty: take the line away.

    A comment stays; a `note` goes before it.
    """
    at = find_key(lines, span, key)
    if not literal:
        if at is not None:
            del lines[at]
        return
    if at is None:
        lines.insert(span[1], f"{key_literal(key)} = {literal}{f'   # {note}' if note else ''}\n")
        return
    place = comment_place(lines[at])
    former = lines[at][place:].strip().lstrip("#").strip()
    words = "; ".join(each for each in (note, former) if each)
    indent = lines[at][: len(lines[at]) - len(lines[at].lstrip())]
    gap = "   " if not former else _gap(lines[at], place)
    lines[at] = f"{indent}{key_literal(key)} = {literal}{f'{gap}# {words}' if words else ''}\n"


def _gap(line: str, place: int) -> str:
    return line[len(line[:place].rstrip()) : place] or "   "
