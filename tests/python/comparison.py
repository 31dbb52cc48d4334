"""Checks tolerance factors, event probabilities and the normality statistic of the host against scipy.

    python comparison.py < CASES.json

Factors: one-sided as quantiles of the noncentral t distribution; two-sided by adaptive quadrature of the definition. Nothing is shared with
the host but the definitions. Exits with a traceback at the first disagreement.
"""

import json
import sys

import numpy as np
from scipy import integrate, optimize, stats


def one_sided(n, coverage, confidence):
    root = np.sqrt(n)
    return stats.nct.ppf(confidence, n - 1, stats.norm.ppf(coverage) * root) / root


def covered(k, n, coverage):
    """Probability that mean ± k·s covers the share."""

    def given(x):
        r = optimize.brentq(lambda r: stats.norm.cdf(x + r) - stats.norm.cdf(x - r) - coverage, 0, abs(x) + 40, xtol=1e-13)
        return stats.norm.pdf(x, scale=1 / np.sqrt(n)) * stats.chi2.sf((n - 1) * (r / k) ** 2, n - 1)

    return 2 * integrate.quad(given, 0, 9 / np.sqrt(n), epsabs=1e-11, epsrel=1e-10, limit=200)[0]


def events(before, minutes_before, after, minutes_after):
    share = minutes_after / (minutes_before + minutes_after)
    n = before + after
    tails = stats.binom.cdf(after, n, share), stats.binom.sf(after - 1, n, share)
    return min(1.0, 2 * min(tails))


def main():
    cases = json.load(sys.stdin)
    for case in cases["factors"]:
        n, coverage, confidence = case["n"], case["coverage"], case["confidence"]
        want = one_sided(n, coverage, confidence)
        assert abs(case["one_sided"] - want) <= 1e-7 * abs(want), (case, want)
        # The factor itself is what is searched for: the probability at it must be the confidence.
        got = covered(case["two_sided"], n, coverage)
        assert abs(got - confidence) <= 1e-8, (case, got)
    for case in cases["events"]:
        want = events(*case["counts"])
        assert abs(case["p"] - want) <= 1e-9, (case, want)
    for case in cases["normality"]:
        n = len(case["values"])
        plain = stats.anderson(case["values"], "norm", method="interpolate").statistic
        want = plain * (1 + 0.75 / n + 2.25 / n**2)
        assert abs(case["statistic"] - want) <= 1e-9, (case["statistic"], want)
    print(f"{len(cases['factors'])} factors, {len(cases['events'])} event probabilities, {len(cases['normality'])} samples agree")


if __name__ == "__main__":
    main()
