"""What a number of runs lets one say: tolerance limits, bounds of a probability, rank correlation."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array


def wilks_runs(share: float, confidence: float, order: int = 1, *, two_sided: bool = False) -> int:
    """Return how many runs are needed for a tolerance limit that assumes no distribution.

    With that many, the order-th least value is below ``1 - share`` of all runs with the given confidence; two
    sided, that share lies between the order-th least and the order-th largest.

    Source: Wilks, Ann. Math. Stat. 12 (1941) 91; Nutt and Wallis, Reliab. Eng. Syst. Saf. 83 (2004) 57.
    """
    from scipy.stats import binom

    outside = (2 if two_sided else 1) * order
    low, high = outside - 1, outside
    while binom.sf(outside - 1, high, 1.0 - share) < confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if binom.sf(outside - 1, middle, 1.0 - share) >= confidence else (middle, high)
    return high


@lru_cache(maxsize=1024)  # asked for every pair of a campaign
def wilks_order(runs: int, share: float, confidence: float) -> int:
    """Return the largest order whose one-sided limit the runs allow; 0 when they are too few for any."""
    from scipy.stats import binom

    orders = np.arange(1, runs + 1)
    allowed = binom.sf(orders - 1, runs, 1.0 - share) >= confidence
    return int(np.count_nonzero(allowed))


def lower_limit(values: ArrayLike, share: float, confidence: float) -> float | None:
    """Return a value that ``share`` of all runs exceed, with confidence, whatever the distribution; None: too few."""
    ordered = np.sort(np.asarray(values, dtype=float))
    order = wilks_order(len(ordered), share, confidence)
    return float(ordered[order - 1]) if order else None


@lru_cache(maxsize=1024)  # asked for every pair of a campaign
def normal_factor(runs: int, share: float, confidence: float, *, two_sided: bool = False) -> float:
    """Return k so that mean - k s (and mean + k s) bounds a share of a normal distribution with confidence.

    One-sided: exact, by the noncentral t distribution. Two-sided: exact, by integration over the mean.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3; ISO 16269-6.
    """
    from scipy.optimize import brentq
    from scipy.stats import chi2, nct, ncx2, norm

    if not two_sided:
        root = math.sqrt(runs)
        return float(nct.ppf(confidence, runs - 1, norm.ppf(share) * root) / root)
    place, weight = np.polynomial.hermite_e.hermegauss(80)
    radius2 = ncx2.ppf(share, 1, np.maximum(place**2 / runs, 1e-300))

    def covered(k: float) -> float:
        return float(weight @ chi2.sf((runs - 1) * radius2 / k**2, runs - 1) / math.sqrt(2 * math.pi))

    return float(brentq(lambda k: covered(k) - confidence, 1e-3, 1e4, xtol=1e-10))


@lru_cache(maxsize=1024)  # asked for every pair of a campaign
def clopper_pearson(count: int, runs: int, confidence: float, *, upper_only: bool = False) -> tuple[float, float]:
    """Return exact bounds of a probability of which ``count`` of ``runs`` runs are the sample.

    Source: Clopper and Pearson, Biometrika 26 (1934) 404.

    Args:
        count, runs: 0 <= count <= runs, at least one run.
        confidence: that both bounds hold, or the upper one alone with ``upper_only`` (the lower is then 0).
    """
    from scipy.stats import beta

    tail = (1.0 - confidence) / (1.0 if upper_only else 2.0)
    low = 0.0 if upper_only or count == 0 else float(beta.ppf(tail, count, runs - count + 1))
    high = 1.0 if count == runs else float(beta.ppf(1.0 - tail, count + 1, runs - count))
    return low, high


def rank_correlation(drawn: Array, value: Array) -> Array:
    """Return Spearman's rank correlation (n,) of columns of ``drawn`` (R, n) with ``value`` (R,); nan if constant."""
    from scipy.stats import rankdata

    of_value = rankdata(value)
    of_value = of_value - of_value.mean()
    found = np.full(drawn.shape[1], np.nan)
    for k in range(drawn.shape[1]):  # one after another: the ranks of all are several times as large as the draws
        ranks = rankdata(drawn[:, k])
        ranks = ranks - ranks.mean()
        size = float(np.sqrt((ranks**2).sum() * (of_value**2).sum()))
        if size > 0.0:
            found[k] = ranks @ of_value / size
    return found
