"""Reads the traces of one `follow` with numpy and pyarrow, and works out its times anew; no code in common with the program.

    python follow.py ARCHIVE RECORD_FOLDER

Lag: the shift of the asked-for angle that fits the plate best (grid search, squares), where the program fits a slope. Latency: the first
scan past half-way, where the program goes backwards and interpolates.
"""

import json
import sys
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

SPEEDS, TOLERANCE_MS = (20.0, 60.0, 180.0), 1.2


def load(path):
    table = pq.read_table(path)
    known = json.loads(table.schema.metadata[b"trackpair.trace"])
    return {name: table[name].to_numpy().astype(float) for name in table.column_names if table[name].null_count == 0}, known


def main():
    archive, record = Path(sys.argv[1]), Path(sys.argv[2])
    outcome = json.loads((record / "outcome.json").read_text(encoding="utf-8"))
    traces = [load(archive / p["trace_file"]) for p in outcome["procedures"] if p["procedure"] == "follow"]
    (grip, known), (plate, of_plate) = sorted(traces, key=lambda t: "motor_amps" in t[0])
    marks, known, scale = known["marks"], known["provenance"], of_plate["provenance"]["plate"]
    mapping = np.array(known["mapping"])
    time = grip["time_us"] - grip["time_us"][0]
    asked = np.interp(grip["rising_volts"] / grip["supply_volts"], mapping[:, 0], mapping[:, 1])
    ratio = plate["rising_volts"] / grip["supply_volts"]
    where = (ratio - scale["closed_ratio"]) / (scale["open_ratio"] - scale["closed_ratio"]) * scale["travel_deg"]
    program, period, reference = known["program"], known["period_us"], grip["reference_deg"]
    starts = [(m["at_us"] - grip["time_us"][0], m["kind"]["segment"]) for m in marks if m["kind"]["mark"] == "segment"]
    stretches = [
        (program[segment], int(np.searchsorted(time, at)), int(np.searchsorted(time, starts[k + 1][0])) if k + 1 < len(starts) else len(time))
        for k, (at, segment) in enumerate(starts)
    ]
    agreed = 0
    told = {(f["figure"], f.get("condition", {}).get("speed_deg_s")): f["value"] for f in outcome["figures"]}
    for speed in SPEEDS:
        ramps = [(a, b) for what, a, b in stretches if what["do"] == "ramp" and what["speed_deg_s"] == speed and abs(reference[b - 1] - reference[a]) > 60]
        best = []
        edge = int(150_000 / period)
        for (a, b), (c, d) in zip(ramps[0::2], ramps[1::2]):
            scans = np.r_[a + edge : b - edge, c + edge : d - edge]
            shifts = np.arange(-5, 150)
            squares = [np.var(where[scans] - asked[scans - s]) for s in shifts]
            best.append(shifts[int(np.argmin(squares))] * period / 1e3)
        lag = float(np.mean(best))
        assert abs(lag - told["follow_lag", speed]) < TOLERANCE_MS, (speed, lag, told["follow_lag", speed])
        mean5 = lambda v: v[: len(v) // 25 * 25].reshape(-1, 25).mean(axis=1)
        worst = max(np.abs(mean5((where - asked)[a + edge : b - edge])).max() for a, b in ramps)
        assert abs(worst - told["follow_deviation", speed]) < 0.15 * worst + 0.05, (speed, worst)
        agreed += 2
    times = []
    for what, a, b in stretches:
        if what["do"] != "step" or what["seconds"] > 0.4:
            continue
        level = lambda v, k: v[k - 200 : k].mean()
        s0, s1, p0 = level(asked, a), level(asked, b), level(where, a)
        if abs(s1 - s0) < 2:
            continue
        past = lambda v, half: np.argmax((v[a:b] - half) * np.sign(s1 - s0) >= 0)
        times.append((past(where, p0 + (s1 - s0) / 2) - past(asked, (s0 + s1) / 2)) * period / 1e3)
    for name, p in (("follow_latency_p50", 50), ("follow_latency_p95", 95)):
        value = np.percentile(times, p)
        assert abs(value - told[name, None]) < 0.5, (name, value, told[name, None])
        agreed += 1
    print(f"{agreed} figures agree; {len(times)} steps")


if __name__ == "__main__":
    main()
