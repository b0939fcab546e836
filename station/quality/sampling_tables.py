"""Tables of ISO 2859-1:1999: code letters (table 1) and single sampling plans (tables 2-A, 2-B, 2-C).

The plan tables are written as what they are made of: the acceptance number depends on the sum of the two places, of
the letter and of the AQL. `Basis` says what each part rests on. Compared cell by cell with a printed text: code
letters, and normal inspection for AQL 0.65 to 10. Normal inspection below that follows by the tables' construction:
sample sizes and AQLs both go up by the fifth root of ten, so sample size times AQL, which with the acceptance number
rules the risk, stays what it is in the compared part (within 2 %; a test holds it). Tightened and reduced are from
memory: held only to what must be so (tightened never kinder at the AQL, reduced never harder, both by the binomial
distribution). Have the standard open before a contract depends on them.
"""

from enum import StrEnum

AQLS = (0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
"""In percent nonconforming. Higher ones are of nonconformities in 100 units, which is not what is judged here."""

LETTERS = "ABCDEFGHJKLMNPQR"
"""S belongs to tightened inspection only: R's samples there are too small for one AQL."""

LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")

LOT_ENDS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10000, 35000, 150000, 500000)
"""Largest lot of each row; the last row has no end."""

CODE_LETTERS = (
    "AAAAAAB",
    "AAAAABC",
    "AABBBCD",
    "ABBCCDE",
    "BBCCCEF",
    "BBCDDFG",
    "BCDEEGH",
    "BCDEFHJ",
    "CCEFGJK",
    "CDEGHKL",
    "CDFGJLM",
    "CDFHKMN",
    "DEGJLNP",
    "DEGJMPQ",
    "DEHKNQR",
)
"""A row a lot size, a column a level."""


class Severity(StrEnum):
    """How severe the inspection is (ISO 2859-1, clause 9)."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"


SAMPLE_SIZES = {
    Severity.NORMAL: (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
    Severity.TIGHTENED: (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150),
    Severity.REDUCED: (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800),
}

UP, DOWN = "up", "down"
"""Use the first plan above (smaller sample) or below (larger sample)."""

_DIAGONALS: dict[Severity, tuple[int | str, ...]] = {
    Severity.NORMAL: (0, UP, DOWN, 1, 2, 3, 5, 7, 10, 14, 21),
    Severity.TIGHTENED: (DOWN, 0, DOWN, DOWN, 1, 2, 3, 5, 8, 12, 18),
    Severity.REDUCED: (0, UP, DOWN, DOWN, 1, 2, 3, 5, 6, 8, 10),
}
"""Acceptance numbers by the sum of the places of letter and AQL, from 14 on; below: down, above: up."""

_FIRST_SUM = 14

_PRINTED_FROM = 0.65


def cell(letter: int, aql: int, severity: Severity) -> int | str:
    """Return the acceptance number at the places of letter and AQL, or the arrow `up` or `down`."""
    place = letter + aql - _FIRST_SUM
    diagonal = _DIAGONALS[severity]
    if place < 0:
        return DOWN
    return diagonal[place] if place < len(diagonal) else UP


class Basis(StrEnum):
    """What a part of the tables rests on."""

    PRINTED = "was compared cell by cell with a printed text"
    CONSTRUCTION = "follows from the printed part by the tables' construction, and was not itself compared with print"
    MEMORY = "is from memory, and was not compared with print"


def basis_of(aql: float, severity: Severity) -> Basis:
    """Return what this part of the tables rests on. aql: percent nonconforming."""
    if severity is not Severity.NORMAL:
        return Basis.MEMORY
    return Basis.PRINTED if aql >= _PRINTED_FROM else Basis.CONSTRUCTION


def is_checked(aql: float, severity: Severity) -> bool:
    """Tell whether this part of the tables has been checked against a printed text."""
    return basis_of(aql, severity) is Basis.PRINTED
