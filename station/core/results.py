"""Results: a characteristic's corrected value with its uncertainty, and how it was judged."""

from dataclasses import dataclass
from enum import StrEnum


class Decision(StrEnum):
    """PASS and FAIL are about the unit, INVALID is about us. On screens: pass, fail, not measured."""

    PASS = "PASS"
    FAIL = "FAIL"
    INVALID = "INVALID"


class Shape(StrEnum):
    """Distribution of an uncertainty term (GUM 4.3)."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"


@dataclass(frozen=True, slots=True)
class Term:
    """One line of an uncertainty budget: its contribution to the result, in the result's unit."""

    name: str
    standard_uncertainty: float
    degrees_of_freedom: float = float("inf")
    shape: Shape = Shape.NORMAL
    sign: int = 0
    """Where the result goes if the term's cause (the meter, the thermometer) reads too much: 1 up, -1 down. Results of
    one run that share a cause are correlated by it, with the product of their signs. 0: not known, or not shared."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a characteristic or a run is not PASS. `code` is stable, `words` and `remedy` are for people."""

    code: str
    words: str
    remedy: str = ""


class ResultStatus(StrEnum):
    """Whether there is a value."""

    MEASURED = "measured"
    NOT_DUE = "not due"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True, slots=True)
class Result:
    """`value`, `standard_uncertainty` and `expanded_uncertainty` (95 %) are None unless MEASURED.

    Values in `unit_symbol`, SI unscaled. `messages` are indices into the run's transcript.
    """

    characteristic: str
    unit_symbol: str
    status: ResultStatus
    value: float | None = None
    standard_uncertainty: float | None = None
    degrees_of_freedom: float | None = None
    expanded_uncertainty: float | None = None
    terms: tuple[Term, ...] = ()
    reason: Reason | None = None
    messages: tuple[int, int] | None = None
    """First and one-past-last index into the run's transcript that this result rests on."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """One result against its limits. `decision` is None for a characteristic that is not due."""

    characteristic: str
    decision: Decision | None
    conditional: bool = False
    """Within the guard band of a limit, on either side."""
    acceptance_lower: float | None = None
    acceptance_upper: float | None = None
    reason: Reason | None = None
