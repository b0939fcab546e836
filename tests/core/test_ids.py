"""Run numbers."""

import uuid

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.ids import RANDOM_BITS, uuid7

chance = st.integers(0, 2**RANDOM_BITS - 1)


def test_uuid7_agrees_with_the_example_of_the_standard() -> None:
    """RFC 9562, appendix A.6 (from memory): 2022-02-22 19:22:22 UTC."""
    bits = 0xCC3 << 62 | 0x18C4DC0C0C07398F

    assert uuid7(0x017F22E279B0, bits) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@given(unix_ms=st.integers(0, 2**48 - 1), bits=chance)
def test_uuid7_has_version_and_variant(unix_ms: int, bits: int) -> None:
    """The fixed bits are those of RFC 9562, 5.7, and the time can be read back."""
    made = uuid.UUID(uuid7(unix_ms, bits))

    assert (7, uuid.RFC_4122, unix_ms) == (made.version, made.variant, made.int >> 80)


@given(times=st.tuples(st.integers(0, 2**48 - 1), st.integers(0, 2**48 - 1)), bits=st.tuples(chance, chance))
def test_uuid7_sorts_by_time(times: tuple[int, int], bits: tuple[int, int]) -> None:
    """A later run has the larger number, as text too."""
    early, late = sorted(times)
    if early < late:
        assert uuid7(early, bits[0]) < uuid7(late, bits[1])


@pytest.mark.parametrize(("unix_ms", "bits"), [(-1, 0), (2**48, 0), (0, -1), (0, 2**RANDOM_BITS)])
def test_uuid7_refuses_what_does_not_fit(unix_ms: int, bits: int) -> None:
    """No bit spills into another field."""
    with pytest.raises(ValueError, match="must be 0 or more"):
        uuid7(unix_ms, bits)
