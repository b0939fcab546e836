"""How long a fixture's probes have served: counted in contacts, from the fixture's own counter and the log. Pure."""

from dataclasses import dataclass

from station.core.equipment import FixtureSetup

CLEANED, CHANGED = "cleaned", "probes changed"
"""What the log may say was done. Other probes are clean ones."""


@dataclass(frozen=True, slots=True)
class ServiceState:
    """What the log says of one fixture: what its counter showed at each service, None if there was none."""

    cleaned_at_cycles: int | None = None
    changed_at_cycles: int | None = None
    since_verification: bool = False
    """A service was entered after the latest verification: in order of record, whatever the clocks said."""


@dataclass(frozen=True, slots=True)
class FixtureLife:
    """Contacts since the last cleaning, and of this set of probes, with whether each is due."""

    cycles_since_cleaning: int = 0
    probe_cycles: int = 0
    clean_due: bool = False
    replace_due: bool = False
    serviced_since_verification: bool = False


NO_LIFE = FixtureLife()
"""Nothing is watched."""


def fixture_life(setup: FixtureSetup, service: ServiceState, contact_cycles: int) -> FixtureLife:
    """Return how long the probes have served when the fixture's counter shows `contact_cycles`.

    A counter that shows less than at the last service has begun anew: it counts from there, and what was
    counted before is lost, so such a fixture should be entered as serviced again.
    """
    cleaned = _since(contact_cycles, max(service.cleaned_at_cycles or 0, service.changed_at_cycles or 0))
    probes = _since(contact_cycles, service.changed_at_cycles or 0)
    return FixtureLife(
        cycles_since_cleaning=cleaned,
        probe_cycles=probes,
        clean_due=setup.clean_at_cycles is not None and cleaned >= setup.clean_at_cycles,
        replace_due=setup.replace_at_cycles is not None and probes >= setup.replace_at_cycles,
        serviced_since_verification=service.since_verification,
    )


def _since(cycles: int, before: int) -> int:
    return cycles - before if cycles >= before else cycles
