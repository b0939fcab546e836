"""Transcripts, traces and uncertainty budgets as bytes, and back. Each has a format number beside it.

Deflated by zlib (RFC 1950). A budget is JSON (UTF-8): in format 1 it maps a characteristic to a list of [name,
standard uncertainty, degrees of freedom or null for infinite, shape]; format 2 adds the sign: 1 or -1 for where the
result goes if the term's cause reads too much, 0 if that is not known. A transcript (format 1) is one line of JSON, two
lists [[instrument, direction], ...] and [number of bytes, ...], one item a message; a line feed; the monotonic
times as float64, least significant byte first; the bytes of all messages one after the other.
"""

import json
import math
import struct
import zlib
from collections.abc import Iterable, Mapping
from itertools import accumulate
from typing import Any

from station.core.results import Shape, Term
from station.core.run_record import Trace, TranscriptMessage
from station.errors import RecordError

FORMAT = 1
BUDGET_FORMAT = 2
# Level 1: on real transcripts 10 % larger than level 6 at a quarter of the time.
_LEVEL = 1
# More than any honest transcript; a damaged or hostile blob can't fill the memory.
_LARGEST = 1 << 28
# What reading bytes that somebody else wrote may raise; hostile JSON can nest without end.
_DAMAGE = (TypeError, ValueError, AttributeError, OverflowError, RecursionError, MemoryError, struct.error)


def pack_transcript(messages: Iterable[TranscriptMessage]) -> bytes:
    """Return `messages` in format 1."""
    messages = tuple(messages)
    head = [[(m.instrument, m.direction) for m in messages], [len(m.data) for m in messages]]
    times = struct.pack(f"<{len(messages)}d", *[m.monotonic_s for m in messages])
    data = b"".join([m.data for m in messages])
    return zlib.compress(json.dumps(head, separators=(",", ":")).encode() + b"\n" + times + data, _LEVEL)


def unpack_transcript(number: int, data: bytes) -> tuple[TranscriptMessage, ...]:
    """Return the messages in `data` of format `number`.

    Raises:
        RecordError: another format, or damaged.
    """
    try:
        head, _, rest = _inflate(number, data).partition(b"\n")
        names, lengths = json.loads(head)
        times = struct.unpack_from(f"<{len(names)}d", rest)
        ends = list(accumulate(lengths, initial=8 * len(names)))
        if len(lengths) != len(names) or ends[-1] != len(rest) or min(lengths, default=0) < 0:
            raise ValueError("lengths do not add up")
        return tuple(
            TranscriptMessage(str(name[0]), str(name[1]), when, rest[start:end])
            for name, when, start, end in zip(names, times, ends, ends[1:])
        )
    except _DAMAGE as error:
        raise RecordError(f"a transcript is damaged: {error}") from error


def pack_budget(terms: Mapping[str, tuple[Term, ...]]) -> bytes:
    """Return the `terms` of each characteristic in the newest format."""
    return _pack({name: [_term_list(term) for term in each] for name, each in terms.items()})


def unpack_budget(number: int, data: bytes) -> dict[str, tuple[Term, ...]]:
    """Return the terms by characteristic in `data` of format `number`.

    Raises:
        RecordError: another format, or damaged.
    """
    try:
        budget = dict(_unpack(number, data, newest=BUDGET_FORMAT))
        return {name: tuple(_term(*each) for each in terms) for name, terms in budget.items()}
    except _DAMAGE as error:
        raise RecordError(f"an uncertainty budget is damaged: {error}") from error


def pack_trace(trace: Trace) -> tuple[str, bytes]:
    """Return the JSON list of [column, length] and the columns' values, float64, little-endian."""
    shape = json.dumps([[name, len(values)] for name, values in trace.columns])
    return shape, b"".join(struct.pack(f"<{len(values)}d", *values) for _, values in trace.columns)


def unpack_trace(name: str, shape: str, data: bytes) -> Trace:
    """Return the trace called `name` from what `pack_trace` gave.

    Raises:
        RecordError: damaged.
    """
    try:
        columns, start = [], 0
        for column, length in json.loads(shape):
            columns.append((column, struct.unpack_from(f"<{int(length)}d", data, start)))
            start += 8 * int(length)
    except _DAMAGE as error:
        raise RecordError(f"trace {name!r} is damaged: {error}") from error
    return Trace(name, tuple(columns))


def _term_list(term: Term) -> list[str | float | int | None]:
    freedom = float(term.degrees_of_freedom)
    return [
        term.name,
        float(term.standard_uncertainty),
        None if freedom == math.inf else freedom,
        term.shape.value,
        term.sign,
    ]


def _term(name: str, uncertainty: float, freedom: float | None, shape: str, sign: int = 0) -> Term:
    if sign not in (-1, 0, 1):
        raise ValueError(f"a sign is 1, -1 or 0; got {sign}")
    return Term(name, float(uncertainty), math.inf if freedom is None else float(freedom), Shape(shape), int(sign))


def _pack(content: object) -> bytes:
    return zlib.compress(json.dumps(content, separators=(",", ":")).encode(), _LEVEL)


def _unpack(number: int, data: bytes, *, newest: int) -> Any:
    return json.loads(_inflate(number, data, newest=newest))


def _inflate(number: int, data: bytes, *, newest: int = FORMAT) -> bytes:
    if not 1 <= number <= newest:
        raise RecordError(f"format {number} is not known to this version. Install a newer one to read it.")
    inflater = zlib.decompressobj()
    try:
        text = inflater.decompress(data, _LARGEST)
    except zlib.error as error:
        raise ValueError(str(error)) from error
    if not inflater.eof:
        raise ValueError("it ends early or is too large")
    return text
