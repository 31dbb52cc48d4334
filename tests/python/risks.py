"""Checks consumer's and producer's risks of the host against scipy.

    python risks.py < CASES.json

A part's true value X is normal, its measured value Y = X + normal error: together they are bivariate normal, and every risk is the
probability of rectangles of (X, Y) (JCGM 106:2012, 9.5). Here from scipy's bivariate normal distribution function (Genz), there by quadrature
over X. The zones are worked out anew from the rule: 95 % probability on one side of a limit, by root finding between two. Nothing is
shared with the host but the definitions. Exits with a traceback at the first disagreement.
"""

import json
import sys

import numpy as np
from scipy import optimize, stats

SURE = 0.95
FAR = 40.0


def zones(low, high, u):
    """Accepted interval or None, and where outside begins downward and upward."""
    guard = stats.norm.ppf(SURE) * u
    below = -np.inf if low is None else low - guard
    above = np.inf if high is None else high + guard
    if low is None or high is None:
        return (-np.inf if low is None else low + guard, np.inf if high is None else high - guard), below, above
    middle = 0.5 * (low + high)

    def lacks(half):
        y = middle + half
        return stats.norm.cdf((high - y) / u) - stats.norm.cdf((low - y) / u) - SURE

    if lacks(0.0) < 0:
        return None, below, above
    half = optimize.brentq(lacks, 0.0, 0.5 * (high - low) + u, xtol=1e-14)
    return (middle - half, middle + half), below, above


def rectangle(case, x, y):
    """Probability that X and Y lie in intervals."""
    mean, sd, u = case["mean"], case["sd"], case["u"]
    spread = np.hypot(sd, u)
    scaled = [np.clip((np.array(x) - mean) / sd, -FAR, FAR), np.clip((np.array(y) - mean) / spread, -FAR, FAR)]
    both = stats.multivariate_normal([0, 0], [[1, sd / spread], [sd / spread, 1]])
    at = lambda i, j: both.cdf([scaled[0][i], scaled[1][j]])
    return at(1, 1) - at(0, 1) - at(1, 0) + at(0, 0)


def risks(case):
    low, high = case["min"], case["max"]
    accepted, below, above = zones(low, high, case["u"])
    inside = (-np.inf if low is None else low, np.inf if high is None else high)
    beyond = [piece for piece in ((-np.inf, inside[0]), (inside[1], np.inf)) if piece[0] < piece[1]]
    consumer = sum(rectangle(case, piece, accepted) for piece in beyond) if accepted else 0.0
    producer = sum(rectangle(case, inside, piece) for piece in ((-np.inf, below), (above, np.inf)))
    kept = rectangle(case, inside, (-np.inf, np.inf))
    held = kept - producer - (rectangle(case, inside, accepted) if accepted else 0.0)
    return {"consumer": consumer, "producer": producer, "held_back": held, "beyond": 1 - kept}


def main():
    cases = json.load(sys.stdin)
    for case in cases:
        for name, want in risks(case).items():
            assert abs(case[name] - want) <= 2e-7, (name, case, want)
    print(f"{len(cases)} cases of four risks agree")


if __name__ == "__main__":
    main()
