"""Sets `judge` on long files beside pandas (CSV) and pyarrow (Parquet) with simpler figures by numpy: time, memory, ratio.

    python bench_files.py TRACE.parquet TRACKPAIR

TRACE.parquet comes from the example bench_files; its first half is written as CSV beside it. Every job is a process of its own, from
the start of the program to its end, in turns, the best of each; memory is the largest the system saw. All may use every processor.
The peers read the same columns and work out end voltages, linearity by least squares, hysteresis, noise and the worst correlation, without
uncertainties, places, defects or lost contact.
"""

import os
import subprocess
import sys
import time

ROUNDS = int(os.environ.get("FILES_ROUNDS", "5"))
LINES = ("rising_volts", "falling_volts")


def simple_figures(columns):
    """Of arrays by name; none of them changed."""
    import numpy as np

    deg, supply = columns["reference_deg"], columns["supply_volts"]
    low, high = np.percentile(deg[::100], [0.5, 99.5])
    grid = np.clip(((deg - low) * 10).astype(np.int32), 0, int((high - low) * 10))
    up = np.gradient(deg[::50]).repeat(50)[: len(deg)] > 0
    ratios, out = [], {}
    for name in LINES:
        ratio = columns[name] / supply
        ratios.append(ratio)
        slope, offset = np.polyfit(deg, ratio, 1)
        count = [np.bincount(grid[way], minlength=grid.max() + 1) for way in (up, ~up)]
        mean = [np.bincount(grid[way], ratio[way], minlength=grid.max() + 1) / np.maximum(n, 1) for way, n in zip((up, ~up), count)]
        centre = low + (np.arange(len(mean[0])) + 0.5) / 10
        span = abs(slope) * (high - low)
        out[name] = {
            "closed": float(5 * ratio[deg < low + 0.05].mean()),
            "open": float(5 * ratio[deg > high - 0.05].mean()),
            "linearity": float(100 * np.abs((mean[0] + mean[1]) / 2 - offset - slope * centre)[10:-10].max() / span),
            "hysteresis": float(100 * np.abs(mean[0] - mean[1])[10:-10].max() / span),
            "noise": float(1.4826 * np.median(np.abs(np.diff(ratio, 2))) / 6**0.5),
        }
    out["correlation"] = float(100 * np.abs(ratios[0] + ratios[1] - 1).max())
    return out


def peer(path):
    """What a peer process does."""
    wanted = ["time_us", *LINES, "supply_volts", "reference_deg"]
    if path.endswith(".csv"):
        import pandas as pd

        table = pd.read_csv(path, usecols=wanted)
        columns = {name: table[name].to_numpy() for name in wanted}
    else:
        import pyarrow.parquet as pq

        table = pq.read_table(path, columns=wanted)
        columns = {name: table[name].to_numpy() for name in wanted}
    print(simple_figures(columns))


def run(command):
    """Seconds, and peak memory in MB."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    code = os.waitstatus_to_exitcode(status)
    # Within, outside, undecided: judged, whatever the verdict.
    if code not in (0, 10, 11):
        sys.exit(f"{command} ended with {code}")
    return seconds, usage.ru_maxrss / 1024


def main():
    trace, program = sys.argv[1:]
    import pyarrow.csv
    import pyarrow.parquet as pq

    table = pq.read_table(trace, columns=["time_us", *LINES, "supply_volts", "reference_deg"])
    logged = trace.removesuffix(".parquet") + ".csv"
    if not os.path.exists(logged) or os.path.getmtime(logged) < os.path.getmtime(trace):
        pyarrow.csv.write_csv(table.slice(0, len(table) // 2), logged, pyarrow.csv.WriteOptions(quoting_style="none"))
    own = "rising=rising_volts,second=falling_volts,supply=supply_volts,reference=reference_deg,time=time_us"
    for path, rows, options in ((logged, len(table) // 2, ["--map", own]), (trace, len(table), [])):
        jobs = {"trackpair": [program, "judge", path, *options], "peer": [sys.executable, __file__, "--peer", path]}
        best = {name: (float("inf"), 0.0) for name in jobs}
        for _ in range(ROUNDS):
            for name, command in jobs.items():
                seconds, megabytes = run(command)
                best[name] = min(best[name][0], seconds), max(best[name][1], megabytes)
        print(f"{os.path.basename(path)}: {rows / 1e6:.1f} M rows, {os.path.getsize(path) / 1e6:.0f} MB, best of {ROUNDS}")
        names = {"trackpair": "trackpair judge", "peer": "pandas + numpy" if path == logged else "pyarrow + numpy"}
        for name, (seconds, megabytes) in best.items():
            print(f"  {names[name]:<18}{seconds:7.2f} s  {megabytes:7.0f} MB")
        print(f"  ratio {best['peer'][0] / best['trackpair'][0]:.2f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--peer"]:
        peer(sys.argv[2])
    else:
        main()
