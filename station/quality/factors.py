"""Quantiles and tail probabilities that the studies share; scipy is imported when one is asked for."""


def t_factor(freedom: float, *, level: float = 0.95) -> float:
    """Return the two-sided factor of Student's t: +-t holds `level` of the distribution."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + level / 2.0))


def t_probability(t: float, freedom: float) -> float:
    """Return the two-sided p of a t statistic."""
    from scipy.special import stdtr

    return float(2.0 * stdtr(freedom, -abs(t)))


def f_probability(f: float, above: float, below: float) -> float:
    """Return the upper-tail p of an F statistic with `above` and `below` degrees of freedom."""
    from scipy.special import fdtrc

    return float(fdtrc(above, below, f))


def deviation_interval(deviation: float, freedom: float, *, level: float = 0.95) -> tuple[float, float]:
    """Return the interval of a standard deviation of normal values: s sqrt(nu / chi2)."""
    from scipy.special import chdtri

    tail = (1.0 - level) / 2.0
    low, high = (float(deviation * (freedom / chdtri(freedom, p)) ** 0.5) for p in (tail, 1.0 - tail))
    return low, high


def share_interval(count: int, of: int, *, level: float = 0.95) -> tuple[float, float]:
    """Return the exact binomial interval of a share (Clopper and Pearson 1934)."""
    from scipy.special import betaincinv

    tail = (1.0 - level) / 2.0
    low = 0.0 if count == 0 else float(betaincinv(count, of - count + 1, tail))
    high = 1.0 if count == of else float(betaincinv(count + 1, of - count, 1.0 - tail))
    return low, high
