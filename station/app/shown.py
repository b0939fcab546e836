"""What a page shows of a workplace at one moment, and whether a run now could give PASS."""

import re
from dataclasses import dataclass, field
from datetime import datetime

from station.core.board import Board
from station.core.counters import Counters
from station.core.equipment import Bench
from station.core.fixture_life import NO_LIFE, FixtureLife
from station.core.gates import gate
from station.core.panel import PanelWay
from station.core.plan import Plan
from station.core.reasons import reason
from station.core.results import Reason
from station.core.run_record import Purpose
from station.core.scans import ScanKind, recognise
from station.core.verification import Verification
from station.quality.study_state import StudyTurn

SPREAD_OF = "R20"
"""The characteristic whose spread over the lot is shown beside each unit."""


@dataclass(frozen=True, slots=True)
class Shown:
    """All that a page shows of a workplace at one moment. Replaced whole, never changed."""

    version: int = 0
    """Grows with every change: who has seen this one has seen all before it."""
    board: Board = field(default_factory=Board)
    bench: Bench | None = None
    trouble: str = ""
    """Why the bench is not open; empty if it is, or none was asked for."""
    plans: tuple[Plan, ...] = ()
    revisions: tuple[tuple[str, int], ...] = ()
    """(hash of the text, revision) of each plan."""
    lot: str = ""
    lot_received: int | None = None
    """Units that came with the lot, if that was entered."""
    lot_decided: int = 0
    """Units of the lot that have a decision."""
    verification: Verification | None = None
    units_since: int = 0
    """Units judged on that verification."""
    counters: Counters = field(default_factory=Counters)
    spread: tuple[float, ...] = ()
    """The lot's `SPREAD_OF` values so far, SI."""
    fixture_identity: str = ""
    calibration_overdue: tuple[str, ...] = ()
    life: FixtureLife = NO_LIFE
    panel: PanelWay | None = None
    """The panel that is gone through place by place."""
    panel_said: str = ""
    """What was last noted of a place."""
    study: StudyTurn | None = None
    """The gauge study that is under way, instead of production."""
    confirm: str = ""
    """What a person is asked to confirm, because the fixture can't see it."""

    @property
    def driven(self) -> bool:
        """Tell whether the coil may be driven now: never while a hand is asked to reach into the nest."""
        return self.board.driven and not self.confirm

    @property
    def plan(self) -> Plan | None:
        """The plan of the lot's part; while no lot is known, the only one released."""
        if len(self.plans) == 1:
            return self.plans[0]
        scan = self.lot or self.board.serial
        return next((each for each in self.plans if scan and _fits(scan, each)), None)

    @property
    def revision(self) -> int | None:
        """The revision of `plan`."""
        plan = self.plan
        return None if plan is None else dict(self.revisions).get(plan.text_hash)

    def stands_against(self, now_utc: datetime) -> Reason | None:
        """Return why a run now could not give PASS: the gate that the run itself will ask."""
        plan = self.plan
        if plan is None:
            return reason("not_verified") if self.verification is None else None
        return gate(
            Purpose.PRODUCTION,
            verification=self.verification,
            now_utc=now_utc,
            units_since_verification=self.units_since,
            plan_released=True,
            part=plan.part,
            fixture_identity=self.fixture_identity,
            calibration_overdue=self.calibration_overdue,
            fixture_required=plan.fixture,
            plan_hash=plan.text_hash,
            life=self.life,
        )


def _fits(scan: str, plan: Plan) -> bool:
    """Tell whether a scan is a lot or a unit of a plan's part."""
    found = recognise(scan, (plan,))
    return found.kind is ScanKind.LOT or re.fullmatch(plan.serial_pattern, found.text) is not None
