"""What a coil of given time constant would have done under the power so far: a bank of first-order responses.

Every candidate time constant has its response to 1 K/W: x' = (P - x) / tau. A thermal model of one or two terms
is a weighted sum of two of them, so a least-squares fit needs only their scalar products, which grow from
sample to sample and never need the whole curve again.
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_FIRST_ROOM = 256


class ResponseBank:
    """Responses of all candidate time constants to the power given so far, with their scalar products.

    `gram` has the products of responses with each other, shape (j, j); `moments` with the rises, shape (j,);
    `sums` the responses' sums, shape (j,). All are for the `count` samples up to the last `settle_accounts`.
    """

    def __init__(self, time_constants_s: FloatArray) -> None:
        """Begin at rest. `time_constants_s`: shape (j,), in s, ascending."""
        size = len(time_constants_s)
        self.time_constants_s = time_constants_s
        self.gram: FloatArray = np.zeros((size, size))
        self.moments: FloatArray = np.zeros(size)
        self.sums: FloatArray = np.zeros(size)
        self.squares = 0.0
        self.total = 0.0
        self.count = 0
        self._rates = -1.0 / time_constants_s
        self._response: FloatArray = np.zeros(size)
        self._time_s = 0.0
        self._power_w: float | None = None
        self._rows: FloatArray = np.zeros((_FIRST_ROOM, size))
        self._rises: FloatArray = np.zeros(_FIRST_ROOM)
        self._given = 0

    def add(self, time_s: float, power_w: float, rise_k: float) -> None:
        """Take one sample.

        The first one is the moment of switching on. Between samples the power is taken as the mean of both.

        Raises:
            ValueError: the time does not ascend.
        """
        if self._power_w is not None:
            if not time_s > self._time_s:
                raise ValueError(f"samples must ascend in time; got {time_s:g} s after {self._time_s:g} s")
            self._relax(time_s, 0.5 * (power_w + self._power_w))
        self._time_s, self._power_w = time_s, power_w
        if self._given == len(self._rises):
            self._grow()
        self._rows[self._given] = self._response
        self._rises[self._given] = rise_k
        self._given += 1

    def switch_power(self, time_s: float, power_w: float) -> None:
        """Note that the power was as before up to `time_s`, and is `power_w` from then on. No reading."""
        if self._power_w is not None:
            self._relax(time_s, self._power_w)
        self._time_s, self._power_w = time_s, power_w

    def forget_rises(self) -> None:
        """Begin the sums anew; the responses go on as they are, for the power was what it was."""
        for each in (self.gram, self.moments, self.sums):
            each.fill(0.0)
        self.squares = self.total = 0.0
        self.count = self._given = 0

    def settle_accounts(self) -> None:
        """Take the samples since the last time into the scalar products."""
        if self._given == self.count:
            return
        rows, rises = self._rows[self.count : self._given], self._rises[self.count : self._given]
        self.gram += rows.T @ rows
        self.moments += rises @ rows
        self.sums += rows.sum(axis=0)
        self.squares += float(rises @ rises)
        self.total += float(rises.sum())
        self.count = self._given

    def residuals(self, first: int, second: int, weights: tuple[float, float]) -> FloatArray:
        """Return rises less a sum of two responses, in K, shape (count,); `weights` in K/W."""
        rows = self._rows[: self.count]
        model = rows[:, first] * weights[0] + rows[:, second] * weights[1]
        return np.asarray(self._rises[: self.count] - model)

    def _relax(self, time_s: float, power_w: float) -> None:
        decay = np.exp(self._rates * (time_s - self._time_s))
        self._response = power_w + (self._response - power_w) * decay

    def _grow(self) -> None:
        self._rows = np.concatenate([self._rows, np.zeros_like(self._rows)])
        self._rises = np.concatenate([self._rises, np.zeros_like(self._rises)])
