"""Times the same figures by numpy and scipy on a stored trace: the peer of the host's analysis bench.

    python bench_figures.py TRACE.parquet
"""

import sys
import time

import figures

figures.load(sys.argv[1])  # warm the file cache: reading is not what is compared
columns, _ = figures.load(sys.argv[1])
samples = len(columns["time_us"]) * (len(columns) - 1)
held = figures.load
figures.load = lambda path: (columns.copy(), 0.0)
times = []
for _ in range(3):
    start = time.perf_counter()
    out = figures.figures(sys.argv[1])
    times.append(time.perf_counter() - start)
figures.load = held
best = min(times)
print(f"numpy/scipy: {len(out)} figures on {samples / 1e6:.1f} M samples: best of 3 {best:.2f} s ({samples / best / 1e6:.1f} M samples/s)")
