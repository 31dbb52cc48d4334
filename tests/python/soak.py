"""Reads a soak's log by itself and checks what its outcome says of it, with scipy and no code in common.

    python soak.py RECORD_FOLDER

Slopes: scipy.stats.theilslopes. Significance: Kendall's S counted here, its variance with ties, against scipy.stats.kendalltau (asymptotic,
without continuity) where neighbours are independent. Rates: exact Poisson bounds from chi-squared quantiles; halves: scipy.stats.binomtest.
Prints what it checked; exits with a traceback at the first disagreement.
"""

import hashlib
import json
import pathlib
import sys

import numpy as np
from scipy import stats


def close(a, b, relative=1e-9, absolute=1e-12):
    assert abs(a - b) <= absolute + relative * max(abs(a), abs(b)), (a, b)


def series(rounds):
    """Hours and values of each figure, by name, line and condition."""
    found = {}
    for line in rounds:
        for figure in line["figures"]:
            key = figure["figure"], figure.get("channel"), json.dumps(figure.get("condition", {}), sort_keys=True)
            found.setdefault(key, []).append((line["t_s"] / 3600, figure["value"]))
    return {key: np.array(values).T for key, values in found.items()}


def mann_kendall(y, widening):
    n = len(y)
    s = sum(np.sign(y[i + 1 :] - y[i]).sum() for i in range(n))
    _, ties = np.unique(y, return_counts=True)
    term = lambda m: m * (m - 1) * (2 * m + 5)
    variance = (term(n) - term(ties).sum()) / 18 * widening
    z = max(abs(s) - 1, 0) / np.sqrt(variance) if variance > 0 else 0.0
    return 2 * stats.norm.sf(z), s, variance


def hamed_rao(n, rho):
    i = np.arange(1, n - 2)
    return 1 + 2 / (n * (n - 1) * (n - 2)) * ((n - i) * (n - i - 1) * (n - i - 2) * rho**i).sum()


def main():
    folder = pathlib.Path(sys.argv[1])
    raw = (folder / "soak.jsonl").read_bytes()
    lines = [json.loads(line) for line in raw.splitlines()]
    soak = json.loads((folder / "outcome.json").read_text())["soak"]
    assert soak["log"]["sha256"] == hashlib.sha256(raw).hexdigest() and soak["log"]["bytes"] == len(raw)
    rounds = [line for line in lines if line["line"] == "round"]
    assert len(rounds) == soak["rounds"] <= 300, "blocks are for longer ones"
    values = series(rounds)
    p = []
    for drift in soak["drifts"]:
        t, y = values[drift["figure"], drift["channel"], json.dumps(drift.get("condition", {}), sort_keys=True)]
        slope, _, _, _ = stats.theilslopes(y, t)
        close(slope, drift["per_hour"], absolute=1e-9)
        expected, s, variance = mann_kendall(y, hamed_rao(len(y), drift["resemblance"]))
        close(expected, drift["p"], relative=1e-7, absolute=1e-13)
        if drift["resemblance"] == 0 and variance > 0:
            tau = stats.kendalltau(t, y, method="asymptotic")
            close(tau.pvalue, 2 * stats.norm.sf(abs(s) / np.sqrt(variance)), relative=1e-6)
        p.append(expected)
        # Sen's interval leaves out as many slopes at either end as the 97.5 % point of S says.
        pairs = np.sort([(y[j] - y[i]) / (t[j] - t[i]) for i in range(len(t)) for j in range(i + 1, len(t)) if t[j] > t[i]])
        half = stats.norm.ppf(0.975) * np.sqrt(variance)
        low, high = int(round((len(pairs) - half) / 2)) - 1, int(round((len(pairs) + half) / 2))
        close(pairs[max(low, 0)], drift["lower"], absolute=1e-9)
        close(pairs[min(high, len(pairs) - 1)], drift["upper"], absolute=1e-9)
    order = np.argsort(p)
    running = 0.0
    for rank, k in enumerate(order):
        running = max(running, min(1.0, (len(p) - rank) * p[k]))
        close(running, soak["drifts"][k]["p_family"], relative=1e-7, absolute=1e-12)
        assert soak["drifts"][k]["drifts"] == (soak["drifts"][k]["p_family"] <= 0.05)
    check_events(rounds, soak["events"])
    print(f"{len(rounds)} rounds, {len(p)} figures, {soak['events']['all']['events']} dropouts: all agree")


def check_events(rounds, told):
    events = sum(sum(e["sure"] for e in r["events"]) + r["events_beyond"] for r in rounds)
    minutes = sum(r["watched_min"] for r in rounds)
    assert events == told["all"]["events"]
    close(minutes, told["all"]["minutes"])
    lower = stats.chi2.ppf(0.025, 2 * events) / 2 if events else 0.0
    close(lower / minutes, told["lower"], relative=1e-6)
    close(stats.chi2.ppf(0.975, 2 * events + 2) / 2 / minutes, told["upper"], relative=1e-6)
    a, b = told["first_half"], told["second_half"]
    assert a["events"] + b["events"] == events
    close(a["minutes"] + b["minutes"], minutes)
    if events:
        share = b["minutes"] / minutes
        tails = stats.binom.cdf(b["events"], events, share), stats.binom.sf(b["events"] - 1, events, share)
        close(min(1.0, 2 * min(tails)), told["p"], relative=1e-7)


if __name__ == "__main__":
    main()
