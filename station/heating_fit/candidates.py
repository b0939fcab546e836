"""Which thermal models are thought possible before the first sample: one term or two, and how likely."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from station.heating_fit.responses import FloatArray

NODE_RATIO = 1.02
"""Neighbouring time constants differ by this: the misfit between two nodes stays below the noise."""

FASTER_STEP = 2
"""Of two terms the faster may take each so-many-th node: it has died away by the time that matters."""

LEAST_RATIO = 3.0
"""Two terms closer than this look like one on any curve that is short enough to be worth stopping early."""

ONE_TERM_SHARE = 0.5
"""How likely one term is thought before the first sample; two terms have the rest."""


@dataclass(frozen=True, slots=True)
class Candidates:
    """Pairs of time constants (indices `first` < `second`, shape (m,)) with their logarithmic prior weights.

    Two neighbours stand for one term somewhere between them, two distant nodes for two terms.
    """

    time_constants_s: FloatArray
    first: np.ndarray
    second: np.ndarray
    log_prior: FloatArray


@cache
def candidates(shortest_s: float, longest_s: float) -> Candidates:
    """Return the candidates for time constants within `shortest_s` to `longest_s`, in s.

    Raises:
        ValueError: the range is empty.
    """
    if not 0 < shortest_s < longest_s:
        raise ValueError(f"time constants need a range above 0; got {shortest_s:g} to {longest_s:g} s")
    nodes = max(3, int(np.ceil(np.log(longest_s / shortest_s) / np.log(NODE_RATIO))) + 1)
    taus = np.geomspace(shortest_s, longest_s, nodes)
    lower, upper = np.triu_indices(nodes, 1)
    distant = (taus[upper] >= LEAST_RATIO * taus[lower]) & (lower % FASTER_STEP == 0)
    one = np.full(nodes - 1, ONE_TERM_SHARE / (nodes - 1))
    two = np.full(distant.sum(), (1.0 - ONE_TERM_SHARE) / max(1, distant.sum()))
    return Candidates(
        taus,
        np.concatenate([np.arange(nodes - 1), lower[distant]]),
        np.concatenate([np.arange(1, nodes), upper[distant]]),
        np.log(np.concatenate([one, two])),
    )
