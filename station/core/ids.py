"""Run numbers that sort by time: UUID version 7 (RFC 9562, 5.7)."""

import uuid

RANDOM_BITS = 74
"""How many random bits `uuid7` takes."""


def uuid7(unix_ms: int, random_bits: int) -> str:
    """Return the UUIDv7 of a time (ms since 1970, UTC) and 74 random bits, in the usual text form.

    Pure: time and chance are the caller's. The upper 12 random bits become rand_a. Raises ValueError for a
    time beyond 48 bits or chance beyond 74.
    """
    if not 0 <= unix_ms < 1 << 48:
        raise ValueError(f"a time must be 0 or more and fit 48 bits, in ms; got {unix_ms}")
    if not 0 <= random_bits < 1 << RANDOM_BITS:
        raise ValueError(f"random bits must be 0 or more and fit {RANDOM_BITS} bits; got {random_bits}")
    version, variant = 0x7, 0b10
    rand_a, rand_b = random_bits >> 62, random_bits & ((1 << 62) - 1)
    return str(uuid.UUID(int=unix_ms << 80 | version << 76 | rand_a << 64 | variant << 62 | rand_b))
