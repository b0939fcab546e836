"""The ring of events."""

from hypothesis import given
from hypothesis import strategies as st

from station.core.events import EventRing, NextAction


@given(count=st.integers(0, 30), size=st.integers(1, 20), seen=st.integers(0, 40))
def test_ring_resumes_by_the_last_number_seen(count: int, size: int, seen: int) -> None:
    """A listener gets what came after the last number it saw, oldest first, as far back as the ring keeps."""
    ring = EventRing(size=size)
    added = [ring.add(NextAction(words=str(index))) for index in range(count)]

    assert list(range(1, count + 1)) == [each.number for each in added]
    assert [each for each in added[-size:] if each.number > seen] == ring.since(seen)
