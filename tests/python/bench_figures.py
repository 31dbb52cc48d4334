"""Sets the host's figures of a long trace beside the same by numpy and scipy: values, times, ratio, in one table.

    python bench_figures.py TRACE.parquet FIGURES.json

FIGURES.json comes from the example bench_trace: the host's figures of that trace and its time for them. Exits 1 when a figure
disagrees by more than figures.ALLOWED, or is lacking on either side. Both sides read from memory, both on one core.

The host's time is that of its whole analysis: every figure, and the defects with their places, histograms and
uncertainties; numpy's is that of the figures in the table alone, without uncertainties.
"""

import json
import os
import sys
import time

# One core for both: before numpy starts its threads.
for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[threads] = "1"

import figures  # noqa: E402

ROUNDS = 5


def timed(trace):
    """numpy's figures, the best time for them in seconds, and how many samples the trace holds."""
    columns, zero = figures.load(trace)
    samples = len(columns["time_us"]) * (len(columns) - 1)
    # Reading the file is not what is compared.
    figures.load = lambda path: (columns.copy(), zero)
    best = float("inf")
    for _ in range(ROUNDS):
        start = time.perf_counter()
        out = figures.figures(trace)
        best = min(best, time.perf_counter() - start)
    return out, best, samples


def main():
    trace, host_file = sys.argv[1:]
    with open(host_file, encoding="utf-8") as file:
        host = json.load(file)
    mine, seconds, samples = timed(trace)
    theirs = {(f["figure"], f["channel"]): (f["value"], f["expanded_uncertainty"]) for f in host["figures"]}
    bad = 0
    print(f"{'figure':<24}{'line':<10}{'host':>10}{'numpy':>10}{'E_n':>10}")
    for key in sorted(mine, key=lambda k: (k[0], k[1] or "")):
        name, line = key
        value, expanded = theirs.get(key, (float("nan"), float("nan")))
        number = figures.e_n(*mine[key], value, expanded)
        wrong = not number <= 1
        bad += wrong
        print(f"{name:<24}{line or '':<10}{value:>10.4f}{mine[key][0]:>10.4f}{number:>10.2f}{'  DISAGREE' if wrong else ''}")
    only_host = sorted({name for name, line in theirs if (name, line) not in mine})
    print(f"{bad} of {len(mine)} figures disagree; the host has {len(theirs)}, numpy leaves out {', '.join(only_host)} and all findings")
    print(f"host, whole analysis:        {host['seconds']:.3f} s for {samples / 1e6:.1f} M samples ({samples / host['seconds'] / 1e6:.1f} M samples/s)")
    print(f"numpy/scipy, these figures:  {seconds:.3f} s ({samples / seconds / 1e6:.1f} M samples/s)")
    print(f"ratio numpy/scipy to host:   {seconds / host['seconds']:.2f}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
