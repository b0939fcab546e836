"""An uncertainty budget as people read it: shares of variance, which term dominates, what would halve it. Pure."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from station.core.results import Result, ResultStatus, Shape, Term
from station.core.uncertainty import combine, expanded_uncertainty

DOMINANT_SHARE = 0.5
"""A term with more than this share of the variance dominates."""

MATTERS = 0.3
"""Correlations below this change a difference or a ratio of two results by little: (1 - 0.3)^0.5 = 0.84."""

OWN = frozenset({"repeatability", "still warm", "fit", "noise", "still climbing", "share", "nodes of the fit"})
"""Terms that each result has of its own: noise of its own readings."""


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One term: its standard uncertainty in the result's unit, and its share of the variance."""

    term: Term
    share: float


@dataclass(frozen=True, slots=True)
class Halving:
    """What would halve U: each named term made smaller by `factor`, all at once. Infinite: taken away."""

    names: tuple[str, ...]
    factor: float


@dataclass(frozen=True, slots=True)
class Budget:
    """A result's budget; `lines` by falling share. `dominant` is None if no term has half of the variance."""

    characteristic: str
    unit_symbol: str
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    expanded_uncertainty: float
    lines: tuple[BudgetLine, ...]
    dominant: BudgetLine | None
    halving: Halving

    @property
    def coverage_factor(self) -> float:
        """U over u; 0 for a result without any doubt."""
        return self.expanded_uncertainty / self.standard_uncertainty if self.standard_uncertainty else 0.0

    @property
    def needs_monte_carlo(self) -> bool:
        """Tell whether a rectangular term dominates: then the shape decides, and JCGM 101 is the check."""
        return self.dominant is not None and self.dominant.term.shape is Shape.RECTANGULAR


@dataclass(frozen=True, slots=True)
class Correlation:
    """Two results of one run that share terms; negative: what moves one up moves the other down."""

    first: str
    second: str
    shared: tuple[str, ...]
    coefficient: float
    signed: bool = False
    """False: a sign is not on record (runs of older versions), and `coefficient` is the largest that it can be."""
    opposite: tuple[str, ...] = ()
    """Those of `shared` that move the two results in opposite senses."""


def budget_of(result: Result) -> Budget | None:
    """Return the budget of a measured result; None if it was not measured or has no terms."""
    if result.status is not ResultStatus.MEASURED or result.value is None or not result.terms:
        return None
    u, freedom = combine(result.terms)
    variance = u * u or 1.0
    lines = sorted(
        (BudgetLine(each, each.standard_uncertainty**2 / variance) for each in result.terms),
        key=lambda line: -line.share,
    )
    return Budget(
        characteristic=result.characteristic,
        unit_symbol=result.unit_symbol,
        value=result.value,
        standard_uncertainty=u,
        degrees_of_freedom=freedom,
        expanded_uncertainty=expanded_uncertainty(result.terms),
        lines=tuple(lines),
        dominant=lines[0] if lines[0].share > DOMINANT_SHARE else None,
        halving=halving_of(result.terms),
    )


def halving_of(terms: Iterable[Term]) -> Halving:
    """Return the fewest terms, largest first, that can halve U, and by how much each must shrink.

    U itself is halved, not only u: with another shape or other degrees of freedom the coverage factor moves
    too. The factor is found by bisection to three digits. No doubt at all gives no names.
    """
    ordered = sorted(terms, key=lambda each: -each.standard_uncertainty)
    whole = expanded_uncertainty(ordered) if ordered else 0.0
    if whole == 0.0:
        return Halving((), 1.0)
    for count in range(1, len(ordered) + 1):
        if _with_shrunk(ordered, count, math.inf) <= whole / 2.0:
            return Halving(tuple(each.name for each in ordered[:count]), _factor(ordered, count, whole / 2.0))
    raise AssertionError("with every term gone nothing is left")


def _factor(ordered: Sequence[Term], count: int, wanted: float) -> float:
    small, large = 1.0, 2.0
    while _with_shrunk(ordered, count, large) > wanted:
        small, large = large, 2.0 * large
        if large > 1e6:
            return math.inf
    while large / small > 1.001:
        middle = math.sqrt(small * large)
        small, large = (middle, large) if _with_shrunk(ordered, count, middle) > wanted else (small, middle)
    return large


def _with_shrunk(ordered: Sequence[Term], count: int, factor: float) -> float:
    shrunk = [replace(each, standard_uncertainty=each.standard_uncertainty / factor) for each in ordered[:count]]
    return expanded_uncertainty((*shrunk, *ordered[count:]))


def correlations_of(results: Iterable[Result]) -> tuple[Correlation, ...]:
    """Return which results of one run share so much that their difference or ratio must know it.

    Terms of one name come from one cause (one meter, one source, one sensor): r = sum s_i(x) s_i(y) u_i(x) u_i(y) /
    u(x) u(y), s the terms' signs (GUM F.1.2.3). Where a sign is not on record it is the largest that it can be.
    Against limits, one result at a time, correlations do not matter.
    """
    known = [each for each in results if each.status is ResultStatus.MEASURED and each.terms]
    found = []
    for place, first in enumerate(known):
        for second in known[place + 1 :]:
            pair = _correlation(first, second)
            if pair is not None and abs(pair.coefficient) >= MATTERS:
                found.append(pair)
    return tuple(found)


def _correlation(first: Result, second: Result) -> Correlation | None:
    ours = {each.name: each for each in first.terms if each.name not in OWN}
    theirs = {each.name: each for each in second.terms if each.name not in OWN}
    shared = tuple(name for name in ours if name in theirs)
    product = combine(first.terms)[0] * combine(second.terms)[0]
    if not shared or product == 0.0:
        return None
    signs = {name: ours[name].sign * theirs[name].sign for name in shared}
    signed = all(signs.values())
    total = sum(
        (signs[name] if signed else 1) * ours[name].standard_uncertainty * theirs[name].standard_uncertainty
        for name in shared
    )
    opposite = tuple(name for name in shared if signs[name] < 0)
    coefficient = max(-1.0, min(1.0, total / product))
    return Correlation(first.characteristic, second.characteristic, shared, coefficient, signed, opposite)
