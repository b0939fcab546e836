"""Digest chains: one a bench, and one of the station for what belongs to no bench.

Whoever edits the database without the key can't make an entry that holds. `check.py` walks the chains.
"""

from sqlalchemy import bindparam, select

from station.records.canonical import FORMAT, NO_DIGEST, content_digest, entry_digest
from station.records.hot import Driver, Hot
from station.records.schema import chain
from station.records.views import Head

STATION = ""
"""The chain of plans, holds and audit entries."""

_LAST = Hot(
    select(chain.c.seq, chain.c.digest).where(chain.c.bench == bindparam("bench")).order_by(chain.c.seq.desc()).limit(1)
)
_ADD = Hot.adding(chain)


def append(driver: Driver, key: bytes, bench: str, kind: str, subject: str, content: bytes) -> int:
    """Add an entry for `subject`, of canonical bytes `content`, to the chain of `bench`; return its number.

    Inside a writing transaction only, which makes sure that nobody else adds at the same time.
    """
    last = _LAST.one(driver, bench=bench)
    seq, previous = (1, NO_DIGEST) if last is None else (last["seq"] + 1, bytes(last["digest"]))
    inner = content_digest(key, kind, subject, content)
    entry = {
        "bench": bench,
        "seq": seq,
        "kind": kind,
        "subject": subject,
        "format": FORMAT,
        "content": inner,
        "previous": previous,
        "digest": entry_digest(key, bench, kind, subject, inner, previous),
    }
    _ADD.run(driver, entry)
    return int(seq)


def head(driver: Driver, bench: str) -> Head:
    """Return the last entry of the chain of `bench`; number 0 without digest if it has none."""
    last = _LAST.one(driver, bench=bench)
    return Head(bench, 0, "") if last is None else Head(bench, last["seq"], bytes(last["digest"]).hex())
