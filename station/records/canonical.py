"""The bytes that digests are made of. They depend on what is recorded, not on the database that keeps it.

Format 1: JSON, UTF-8, keys sorted, no spaces, numbers as Python's shortest repr; bytes as the hexadecimal
SHA-256 of them; results in order of characteristic. Digests: HMAC-SHA-256 (RFC 2104, FIPS 180-4).

    content = HMAC(key, "coilgate content 1" | kind | subject | canonical bytes)
    digest  = HMAC(key, "coilgate entry 1" | bench | kind | subject | content | digest of the entry before)
"""

import hashlib
import hmac
import json

from station.records.rows import Row, RunRows

FORMAT = 1
NO_DIGEST = b""
"""What stands before the first entry of a chain."""


def run_bytes(rows: RunRows) -> bytes:
    """Return the canonical bytes of a closed run."""
    return canonical_bytes(
        {
            "opened": rows.opened,
            "unit": rows.unit,
            "run": rows.run,
            "results": sorted(rows.results, key=lambda row: row["characteristic"]),
            "decision": rows.decision,
            "hold": rows.hold,
            "budget": rows.budget,
            "traces": rows.traces,
            "transcript": rows.transcript,
            "identities": rows.identities,
        }
    )


def canonical_bytes(content: Row) -> bytes:
    """Return the canonical bytes of nested dictionaries, lists, texts, numbers, bytes and None."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), default=_hashed).encode()


def content_digest(key: bytes, kind: str, subject: str, content: bytes) -> bytes:
    """Return the keyed digest of what one thing on record says."""
    return _keyed(key, b"coilgate content 1", kind.encode(), subject.encode(), content)


def entry_digest(key: bytes, bench: str, kind: str, subject: str, content: bytes, previous: bytes) -> bytes:
    """Return the keyed digest of one entry; `previous` is that of the entry before it."""
    return _keyed(
        key, b"coilgate entry 1", bench.encode(), kind.encode(), subject.encode(), content, previous
    )


def _keyed(key: bytes, *parts: bytes) -> bytes:
    # Each part with its length: no two different lists of parts give the same bytes.
    message = b"".join(len(part).to_bytes(8, "big") + part for part in parts)
    return hmac.digest(key, message, "sha256")


def _hashed(value: object) -> str:
    return "sha256:" + hashlib.sha256(value).hexdigest()  # type: ignore[arg-type]
