"""The cleaning log and the contacts of runs; on both databases."""

from dataclasses import replace

import pytest

from station.core.fixture_life import ServiceState
from station.core.run_record import Trace
from station.errors import RecordError
from station.records import FixtureService, Records
from tests.records.makers import START, make_opened, make_record, make_verification

CLEANED = FixtureService("bench-1", "nest-1", "FX-20,SN7", "cleaned", 120, "OP-07", "due", START)
CHANGED = replace(CLEANED, action="probes changed", contact_cycles=300)


def state(
    records: Records, verification_id: str = "", *, nest: str = "nest-1", fixture: str = "FX-20,SN7"
) -> ServiceState:
    """What the log says of a fixture."""
    return records.service_state("bench-1", nest, fixture, verification_id=verification_id)


def test_log_comes_back_in_order(records: Records) -> None:
    """Of one bench; in its digest chain."""
    for each in (CLEANED, CHANGED, replace(CLEANED, bench="bench-2")):
        records.add_fixture_service(each)

    assert (CLEANED, CHANGED) == records.fixture_services("bench-1")
    assert records.check().sound


def test_state_says_what_the_counter_showed_at_each_service(records: Records) -> None:
    """The latest of each kind, of this fixture in this nest."""
    for each in (CLEANED, replace(CLEANED, contact_cycles=250), CHANGED):
        records.add_fixture_service(each)

    assert ServiceState(250, 300) == state(records)
    assert ServiceState() == state(records, fixture="FX-20,SN8")
    assert ServiceState() == state(records, nest="nest-2")


def test_service_after_a_verification_is_seen_whatever_the_clock_said(records: Records) -> None:
    """In order of record: a service stamped long before still ends the verification that it follows."""
    records.add_fixture_service(CLEANED)
    records.add_verification(make_verification())
    before = state(records, "verification-1").since_verification
    records.add_fixture_service(replace(CLEANED, utc=START.replace(year=2001)))
    after = state(records, "verification-1").since_verification

    assert (False, True) == (before, after)


def test_service_of_another_nest_ends_no_verification(records: Records) -> None:
    """Each nest is verified by itself."""
    records.add_verification(make_verification())
    records.add_fixture_service(replace(CLEANED, nest="nest-2"))

    assert not state(records, "verification-1").since_verification


@pytest.mark.parametrize("wrong", [{"who": " "}, {"why": ""}, {"action": "polished"}])
def test_service_needs_who_why_and_a_known_action(records: Records, wrong: dict[str, str]) -> None:
    """A log that says nothing is none."""
    with pytest.raises(RecordError):
        records.add_fixture_service(replace(CLEANED, **wrong))


def test_contacts_of_runs_come_back_oldest_first(records: Records) -> None:
    """The newest so many, of runs that have them."""
    for cycles in (10.0, 11.0, 12.0):
        opened = make_opened(f"U{cycles:g}")
        records.open_run(opened)
        contacts = Trace("contacts", (("contact_cycles", (cycles, cycles)), ("resistance_ohm", (6e-3, 7e-3))))
        records.close_run(replace(make_record(opened), traces=(contacts,)))
    points = records.contact_points("bench-1", newest=2)

    assert [("U11", 11), ("U12", 12)] == [(each.serial, each.contact_cycles) for each in points]
    assert {(6e-3, 7e-3)} == {each.resistances_ohm for each in points}
    assert () == records.contact_points("bench-1", nest="nest-9")
