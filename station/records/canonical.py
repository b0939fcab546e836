"""The bytes that digests are made of. They depend on what is recorded, not on the database that keeps it.

Format 1: JSON, UTF-8, no spaces, numbers as Python's shortest repr, bytes as the hexadecimal SHA-256 of them.
A run is a list of its parts, each a list of the columns below in that order (a column that a later schema
adds belongs to a later format), results in order of characteristic; everything else is a dictionary with
sorted keys. Digests: HMAC-SHA-256 (RFC 2104, FIPS 180-4).

    content = HMAC(key, "coilgate content 1" | kind | subject | canonical bytes)
    digest  = HMAC(key, "coilgate entry 1" | bench | kind | subject | content | digest of the entry before)
"""

import hashlib
import hmac
import json
from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Any

from station.records.rows import Row, RunRows

FORMAT = 1
NO_DIGEST = b""
"""What stands before the first entry of a chain."""


def _columns(names: str) -> Callable[[Row], list[Any]]:
    """Return what gives a row's columns as a list; an empty row (its rows are gone) gives an empty list."""
    wanted = names.split()
    return lambda row: [row[name] for name in wanted] if row else []


_OPENED = _columns(
    "run_id part plan_hash bench nest operator purpose simulated opened_utc software_version repeats_run_id"
)
_UNIT = _columns("serial lot panel row column")
_RUN = _columns("closed_utc drive_off_verified verification_id clock_speed seed")
_RESULT = _columns(
    "characteristic result_place judgement_place unit_symbol status value standard_uncertainty "
    "degrees_of_freedom expanded_uncertainty reason_code reason_words reason_remedy first_message "
    "past_message judgement conditional acceptance_lower acceptance_upper judgement_code judgement_words "
    "judgement_remedy"
)
_DECISION = _columns(
    "place plan_hash decision reason_code reason_words reason_remedy bin_number bin_name held concession who "
    "why decided_utc judgements"
)
_HOLD = _columns("held reason_code who why utc")
_BLOB = _columns("format data")
_TRACE = _columns("place name columns data")
_IDENTITY = _columns("name identity calibration_due")


def run_bytes(rows: RunRows) -> bytes:
    """Return the canonical bytes of a closed run."""
    parts = [
        _OPENED(rows.opened),
        _UNIT(rows.unit),
        _RUN(rows.run),
        sorted(map(_RESULT, rows.results), key=itemgetter(0)),
        _DECISION(rows.decision),
        _HOLD(rows.hold or {}),
        _BLOB(rows.budget or {}),
        [_TRACE(row) for row in rows.traces],
        _BLOB(rows.transcript),
        [_IDENTITY(row) for row in rows.identities],
    ]
    return json.dumps(parts, separators=(",", ":"), default=_hashed).encode()


def canonical_bytes(content: Row) -> bytes:
    """Return the canonical bytes of what is no run: texts, numbers, bytes and None by name."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), default=_hashed).encode()


def values_bytes(rows: Sequence[Row]) -> bytes:
    """Return the canonical bytes of the values of one verification, in order of place."""
    ordered = sorted(rows, key=itemgetter("place"))
    return json.dumps(ordered, sort_keys=True, separators=(",", ":")).encode()


def content_digest(key: bytes, kind: str, subject: str, content: bytes) -> bytes:
    """Return the keyed digest of what one thing on record says."""
    return _keyed(key, b"coilgate content 1", kind.encode(), subject.encode(), content)


def entry_digest(key: bytes, bench: str, kind: str, subject: str, content: bytes, previous: bytes) -> bytes:
    """Return the keyed digest of one entry; `previous` is that of the entry before it."""
    return _keyed(key, b"coilgate entry 1", bench.encode(), kind.encode(), subject.encode(), content, previous)


def _keyed(key: bytes, *parts: bytes) -> bytes:
    # Each part with its length: no two different lists of parts give the same bytes.
    message = b"".join(len(part).to_bytes(8, "big") + part for part in parts)
    return hmac.digest(key, message, "sha256")


def _hashed(value: object) -> str:
    return "sha256:" + hashlib.sha256(value).hexdigest()  # type: ignore[arg-type]
