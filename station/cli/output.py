"""Writing: facts to standard output, progress to standard error, numbers for people."""

import json
from collections.abc import Iterable, Mapping, Sequence

import click

from station.core.quantity import format_quantity
from station.core.results import Decision, Result, ResultStatus

MARKS = {Decision.PASS: "+", Decision.FAIL: "x", Decision.INVALID: "?"}
"""A shape beside each word, for those who don't see the colour."""

COLOURS = {Decision.PASS: "green", Decision.FAIL: "red", Decision.INVALID: "yellow"}

WORDS = {Decision.PASS: "pass", Decision.FAIL: "fail", Decision.INVALID: "not measured"}


def emit(fact: Mapping[str, object]) -> None:
    """Write one fact as one line of JSON on standard output, at once."""
    click.echo(json.dumps(fact, ensure_ascii=False, allow_nan=False))


def say(words: str) -> None:
    """Write progress or an instruction on standard error."""
    click.echo(words, err=True)


def decision_text(decision: Decision) -> str:
    """Return the decision as shape, word and colour."""
    return click.style(f"{MARKS[decision]} {WORDS[decision]}", fg=COLOURS[decision], bold=True)


def result_text(result: Result) -> str:
    """Return a result as people read it: value with expanded uncertainty, or why there is none."""
    if result.status is not ResultStatus.MEASURED or result.value is None:
        return result.status.value
    value = format_quantity(result.value, result.unit_symbol)
    if result.expanded_uncertainty is None:
        return value
    return f"{value} ± {format_quantity(result.expanded_uncertainty, result.unit_symbol, digits=2)}"


def table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a plain table: columns padded, two spaces between, no lines that a screen reader reads aloud."""
    lines = [tuple(headers), *map(tuple, rows)]
    plain = [[click.unstyle(cell) for cell in line] for line in lines]
    widths = [max(len(line[i]) for line in plain) for i in range(len(headers))]
    out = []
    for line, bare in zip(lines, plain, strict=True):
        cells = [c + " " * (w - len(b)) for c, b, w in zip(line, bare, widths, strict=True)]
        out.append("  ".join(cells).rstrip())
    return "\n".join(out)
