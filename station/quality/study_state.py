"""Where a study on a bench stands: what it is of, which readings are taken, which unit an appraiser loads next.

A crossed study has an order of its own for each appraiser; a type-1 study loads one reference unit again and again.
Knows no values: who guides a study must not be able to show one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import cache

from station.quality.gauge_type1 import LEAST_READINGS
from station.quality.study_order import Step, study_order


class StudyKind(StrEnum):
    """What a study asks."""

    CROSSED = "crossed"
    """Repeatability and reproducibility (AIAG): every appraiser measures every unit equally often."""
    TYPE1 = "type 1"
    """Repeatability and bias on one reference unit, against its assigned value (ISO 22514-7)."""


@dataclass(frozen=True, slots=True)
class Studied:
    """A characteristic that is studied, with the limits of its plan. Values in `unit_symbol`, SI unscaled."""

    name: str
    unit_symbol: str
    lower: float | None = None
    upper: float | None = None
    assigned: float | None = None
    """The reference unit's assigned value; None in a crossed study."""
    assigned_uncertainty: float | None = None
    """Expanded, 95 %."""
    assigned_origin: str = ""

    def tolerance(self, mean: float) -> float | None:
        """Return the width of the tolerance, or None without limits.

        One limit alone is taken for half a tolerance that reaches from the readings' `mean` to it (common practice,
        no source); None if the mean lies beyond it.
        """
        if self.lower is not None and self.upper is not None:
            return self.upper - self.lower
        one = self.lower if self.lower is not None else self.upper
        if one is None:
            return None
        width = 2.0 * (mean - one if self.lower is not None else one - mean)
        return width if width > 0.0 else None


@dataclass(frozen=True, slots=True)
class StudySetup:
    """What a study is of, fixed before its first reading."""

    name: str
    kind: StudyKind
    bench: str
    nest: str
    fixture_identity: str
    simulated: bool
    part: str
    plan_hash: str
    method: str
    characteristics: tuple[Studied, ...]
    units: tuple[str, ...]
    """Serials; one in a type-1 study."""
    appraisers: tuple[str, ...]
    """Badge codes."""
    trials: int
    seed: int
    opened_utc: datetime
    who: str
    why: str = ""
    bench_state: str = ""
    """Whether the bench was verified when the study was opened, in words."""


@dataclass(frozen=True, slots=True)
class NotTaken:
    """A run of a step that gave no reading, and the cause's code: the step was repeated."""

    step: Step
    run_id: str
    code: str


@dataclass(frozen=True, slots=True)
class StudyState:
    """A study and how far it has come: `taken` has the run of each step that gave its reading."""

    setup: StudySetup
    taken: Mapping[Step, str] = field(default_factory=dict)
    not_taken: tuple[NotTaken, ...] = ()

    @property
    def steps(self) -> tuple[Step, ...]:
        """All loadings, appraiser by appraiser, each in the appraiser's own order."""
        return steps_of(self.setup)

    def next_step(self, appraiser: str) -> Step | None:
        """Return what this appraiser loads next; None if nothing is left."""
        return next((each for each in self.steps if each.appraiser == appraiser and each not in self.taken), None)

    def left(self, appraiser: str) -> int:
        """Return how many readings an appraiser has still to take."""
        return sum(each.appraiser == appraiser and each not in self.taken for each in self.steps)

    @property
    def waiting(self) -> tuple[str, ...]:
        """The appraisers who have readings to take."""
        return tuple(each for each in self.setup.appraisers if self.left(each))

    @property
    def complete(self) -> bool:
        """Tell whether every reading is taken; only then may any be shown."""
        return len(self.taken) == len(self.steps)


@dataclass(frozen=True, slots=True)
class StudyTurn:
    """A study that is under way at a bench, and whose turn it is: `appraiser` is empty until a badge is scanned."""

    state: StudyState
    appraiser: str = ""

    @property
    def step(self) -> Step | None:
        """What is loaded next; None until somebody with readings to take has scanned a badge."""
        return self.state.next_step(self.appraiser) if self.appraiser else None


@cache
def steps_of(setup: StudySetup) -> tuple[Step, ...]:
    """Return the loadings of a study in order.

    Raises ValueError for a crossed study that is too small or names something twice, and for a type-1 study without
    exactly one unit and one appraiser, or with fewer trials than its statistics need.
    """
    if setup.kind is StudyKind.CROSSED:
        return study_order(setup.units, setup.appraisers, setup.trials, seed=setup.seed)
    if len(setup.units) != 1 or len(setup.appraisers) != 1 or setup.trials < LEAST_READINGS:
        raise ValueError(
            f"a type-1 study is of 1 unit by 1 appraiser in {LEAST_READINGS} trials or more; got "
            f"{len(setup.units)}, {len(setup.appraisers)} and {setup.trials}"
        )
    return tuple(Step(setup.appraisers[0], trial + 1, setup.units[0]) for trial in range(setup.trials))
