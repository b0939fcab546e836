"""Transcripts, traces and uncertainty budgets as bytes, and back. Each has a format number beside it.

Format 1: transcript and budget are JSON, UTF-8, deflated by zlib (RFC 1950). A transcript is a list of
[instrument, direction, monotonic time, data], the data's bytes as the code points 0 to 255. A budget maps a
characteristic to a list of [name, standard uncertainty, degrees of freedom or null for infinite, shape].
"""

import json
import math
import struct
import zlib
from collections.abc import Iterable, Mapping
from typing import Any

from station.core.results import Shape, Term
from station.core.run_record import Trace, TranscriptMessage
from station.errors import RecordError

FORMAT = 1
# Level 1: on real transcripts 10 % larger than level 6 at a quarter of the time.
_LEVEL = 1
# More than any honest transcript; a damaged or hostile blob can't fill the memory.
_LARGEST = 1 << 28
# What reading bytes that somebody else wrote may raise; hostile JSON can nest without end.
_DAMAGE = (TypeError, ValueError, AttributeError, OverflowError, RecursionError, MemoryError, struct.error)


def pack_transcript(messages: Iterable[TranscriptMessage]) -> bytes:
    """Return `messages` in format 1."""
    return _pack(
        [[m.instrument, m.direction, float(m.monotonic_s), m.data.decode("latin-1")] for m in messages]
    )


def unpack_transcript(number: int, data: bytes) -> tuple[TranscriptMessage, ...]:
    """Return the messages in `data` of format `number`.

    Raises:
        RecordError: another format, or damaged.
    """
    try:
        return tuple(
            TranscriptMessage(instrument, direction, float(when), text.encode("latin-1"))
            for instrument, direction, when, text in _unpack(number, data)
        )
    except _DAMAGE as error:
        raise RecordError(f"a transcript is damaged: {error}") from error


def pack_budget(terms: Mapping[str, tuple[Term, ...]]) -> bytes:
    """Return the `terms` of each characteristic in format 1."""
    return _pack({name: [_term_list(term) for term in each] for name, each in terms.items()})


def unpack_budget(number: int, data: bytes) -> dict[str, tuple[Term, ...]]:
    """Return the terms by characteristic in `data` of format `number`.

    Raises:
        RecordError: another format, or damaged.
    """
    try:
        return {
            name: tuple(_term(*each) for each in terms) for name, terms in dict(_unpack(number, data)).items()
        }
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


def _term_list(term: Term) -> list[str | float | None]:
    freedom = float(term.degrees_of_freedom)
    return [
        term.name,
        float(term.standard_uncertainty),
        None if math.isinf(freedom) else freedom,
        str(term.shape),
    ]


def _term(name: str, uncertainty: float, freedom: float | None, shape: str) -> Term:
    return Term(name, float(uncertainty), math.inf if freedom is None else float(freedom), Shape(shape))


def _pack(content: object) -> bytes:
    return zlib.compress(json.dumps(content, separators=(",", ":")).encode(), _LEVEL)


def _unpack(number: int, data: bytes) -> Any:
    if number != FORMAT:
        raise RecordError(f"format {number} is not known to this version. Install a newer one to read it.")
    inflater = zlib.decompressobj()
    try:
        text = inflater.decompress(data, _LARGEST)
    except zlib.error as error:
        raise ValueError(str(error)) from error
    if not inflater.eof:
        raise ValueError("it ends early or is too large")
    return json.loads(text)
