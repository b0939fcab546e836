"""A fixture's log and the trend of its contacts, for commands and pages."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from station.core.fixture_life import CHANGED, CLEANED
from station.errors import RecordError
from station.methods.contact import PADS
from station.records import ContactPoint, FixtureService, Records

RECENT = 50
"""Runs whose median says how a contact is now."""


@dataclass(frozen=True, slots=True)
class ContactTrend:
    """One contact of one nest. Resistances in ohm: medians of the oldest and the newest runs since the last service.

    `per_1000_ohm` is the slope of a straight line over contact cycles, with its standard uncertainty; None with
    fewer than four runs.
    """

    pad: str
    runs: int
    first_ohm: float
    now_ohm: float
    per_1000_ohm: float | None
    per_1000_u_ohm: float | None

    @property
    def moves(self) -> bool:
        """Tell whether the slope is more than its own doubt: beyond three times its standard uncertainty."""
        return None not in (self.per_1000_ohm, self.per_1000_u_ohm) and (
            abs(self.per_1000_ohm or 0.0) > 3.0 * (self.per_1000_u_ohm or 0.0)
        )


def enter_service(
    records: Records, bench: str, *, who: str, why: str, utc: datetime, nest: str | None = None, changed: bool = False
) -> FixtureService:
    """Put on record that the fixture of a bench was cleaned, or got other probes; return the entry.

    Which fixture, and what its counter showed, is taken from its latest verification and run.

    Raises:
        RecordError: nothing of this bench is on record, it has several nests and none is named, or no word why.
    """
    past = [each for each in records.verifications(bench) if nest in (None, each.nest)]
    nests = sorted({each.nest for each in past})
    if not past:
        raise RecordError(f"{bench}: no verification of it in {records.where}. Look at the name: coilgate bench verify")
    if len(nests) > 1:
        raise RecordError(f"{bench} has nests {', '.join(nests)}: say which one was cleaned, --nest {nests[0]}")
    newest = records.contact_points(bench, nest=nests[0], newest=1)
    done = FixtureService(
        bench=bench,
        nest=nests[0],
        fixture_identity=past[-1].fixture_identity,
        action=CHANGED if changed else CLEANED,
        contact_cycles=newest[-1].contact_cycles if newest else 0,
        who=who,
        why=why,
        utc=utc,
    )
    records.add_fixture_service(done)
    return done


def contact_trends(points: Sequence[ContactPoint], services: Sequence[FixtureService]) -> tuple[ContactTrend, ...]:
    """Return the trend of each contact since the last service; all runs if none of them came after it."""
    last = services[-1].contact_cycles if services else 0
    since = [each for each in points if each.contact_cycles > last] or list(points)
    pads = min((len(each.resistances_ohm) for each in since), default=0)
    return tuple(_trend(PADS[pad] if pad < len(PADS) else f"pad {pad + 1}", since, pad) for pad in range(pads))


def _trend(name: str, points: Sequence[ContactPoint], pad: int) -> ContactTrend:
    import numpy as np

    ohm = np.array([each.resistances_ohm[pad] for each in points])
    cycles = np.array([float(each.contact_cycles) for each in points])
    slope = doubt = None
    if ohm.size >= 4 and np.ptp(cycles) > 0.0:
        line, covariance = np.polyfit(cycles - cycles.mean(), ohm, 1, cov=True)
        slope, doubt = 1000.0 * float(line[0]), 1000.0 * float(covariance[0, 0]) ** 0.5
    first, now = float(np.median(ohm[:RECENT])), float(np.median(ohm[-RECENT:]))
    return ContactTrend(name, ohm.size, first, now, slope, doubt)
