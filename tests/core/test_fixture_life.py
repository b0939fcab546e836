"""How long probes have served, and what is due."""

from hypothesis import given
from hypothesis import strategies as st

from station.core.equipment import FixtureSetup
from station.core.fixture_life import ServiceState, fixture_life

SETUP = FixtureSetup(clean_at_cycles=100, replace_at_cycles=1000)
counts = st.integers(0, 10**7)


def test_cleaning_is_due_at_its_count_and_not_one_contact_before() -> None:
    """Counted from the last cleaning."""
    service = ServiceState(cleaned_at_cycles=500)

    assert not fixture_life(SETUP, service, 599).clean_due
    assert fixture_life(SETUP, service, 600).clean_due


def test_probes_are_due_at_their_count_and_not_one_contact_before() -> None:
    """Cleaning them does not make them new."""
    service = ServiceState(cleaned_at_cycles=1490, changed_at_cycles=500)

    assert not fixture_life(SETUP, service, 1499).replace_due
    assert fixture_life(SETUP, service, 1500).replace_due


def test_other_probes_are_clean_ones() -> None:
    """A change counts as a cleaning too."""
    life = fixture_life(SETUP, ServiceState(cleaned_at_cycles=100, changed_at_cycles=700), 750)

    assert (50, 50, False) == (life.cycles_since_cleaning, life.probe_cycles, life.clean_due)


def test_counter_that_began_anew_counts_from_zero() -> None:
    """A controller that lost its count: what it shows is what is known."""
    assert 30 == fixture_life(SETUP, ServiceState(cleaned_at_cycles=500), 30).cycles_since_cleaning


def test_nothing_is_due_when_nothing_is_watched() -> None:
    """No counts in the bench file."""
    life = fixture_life(FixtureSetup(), ServiceState(), 10**9)

    assert (False, False) == (life.clean_due, life.replace_due)


@given(cleaned=counts, more=counts, extra=counts)
def test_more_contacts_never_undo_what_is_due(cleaned: int, more: int, extra: int) -> None:
    """Only a service does."""
    service = ServiceState(cleaned_at_cycles=cleaned)
    before = fixture_life(SETUP, service, cleaned + more)
    after = fixture_life(SETUP, service, cleaned + more + extra)

    assert not before.clean_due or after.clean_due
    assert not before.replace_due or after.replace_due
