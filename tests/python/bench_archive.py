"""Sets `trackpair rejudge` over a whole archive beside numpy and scipy on the same files, on one core and on two.

    python bench_archive.py ARCHIVE PROGRAM SAMPLES

Both read every trace from disk. The host's time is that of everything: reading, SHA-256, figures with uncertainties, defects, verdict,
outcome; with documents and seals where it says "kept". numpy's is that of reading and the figures of figures.py alone. SAMPLES counts
scans times recorded channels. Peak memory is the largest resident size of the process, from wait4.
"""

import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[threads] = "1"

import pyarrow  # noqa: E402

import figures  # noqa: E402


def host(program, archive, more):
    """Seconds and peak MB of one run."""
    start = time.perf_counter()
    child = subprocess.Popen(
        [program, "rejudge", "--all", "--archive", archive, "--sheet", "grip-complementary", *more],
        stdout=subprocess.DEVNULL,
    )
    _, status, usage = os.wait4(child.pid, 0)
    assert status == 0, f"rejudge ended with {status}"
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def one(path):
    pyarrow.set_cpu_count(1)
    pyarrow.set_io_thread_count(1)
    return len(figures.figures(path))


def peer(traces, processes):
    """Seconds of the same figures by numpy, so many traces at a time."""
    start = time.perf_counter()
    with multiprocessing.Pool(processes) as pool:
        assert all(pool.map(one, traces, chunksize=1))
    return time.perf_counter() - start


def main():
    archive, program, samples = sys.argv[1], sys.argv[2], int(sys.argv[3])
    traces = [str(p) for p in sorted(Path(archive, "traces").rglob("*.parquet"))]
    million = samples / 1e6
    print(f"{len(traces)} records, {million:.1f} M samples, {sum(os.path.getsize(t) for t in traces) / 1e6:.0f} MB as Parquet")
    for name, more in (
        ("rejudge --dry-run, 1 core", ["--dry-run", "--jobs", "1"]),
        ("rejudge --dry-run, 2 cores", ["--dry-run", "--jobs", "2"]),
        ("rejudge, kept, 2 cores", ["--jobs", "2"]),
    ):
        seconds, peak = host(program, archive, more)
        print(f"{name:<28}{seconds:8.2f} s{million / seconds:8.1f} M samples/s{peak:8.0f} MB at most")
    for processes in (1, 2):
        seconds = peer(traces, processes)
        print(f"{f'numpy/scipy, {processes} process(es)':<28}{seconds:8.2f} s{million / seconds:8.1f} M samples/s")


if __name__ == "__main__":
    main()
