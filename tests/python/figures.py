"""The figures of a grip sensor's sweep, read anew with numpy and scipy from a stored trace.

An independent reading of the definitions, for checking the host: it shares no code with it. Written for clarity, vectorised
as numpy allows, so that it can also stand as the peer in the bench.

    python figures.py TRACE.parquet [OUTCOME.json]

prints the figures; with an outcome it compares and exits 1 on disagreement.
"""

import json
import sys

import numpy as np
import pyarrow.parquet as pq
from scipy.ndimage import uniform_filter1d
from scipy.optimize import linprog, minimize_scalar
from scipy.signal import savgol_filter
from scipy.stats import norm

STEP = 0.1  # deg, grid
EDGE = 1.0  # deg at each end, left out for the hysteresis
CONTACT_OHM = 0.01  # a good mated contact: 0 to 20 mohm (common practice, no source)
NEAR = 0.05  # deg from the rest at a stop: there a stroke begins and ends; half a bin, so that every bin is passed
SMOOTH = 5  # bins: 0.5 deg
DRAWS = 20  # of the bootstrap: its own error is then a quarter of the scatter's share


def load(path):
    """Trace columns and the closed stop's reference reading."""
    table = pq.read_table(path)
    note = json.loads(table.schema.metadata[b"trackpair.trace"])
    zero = note["provenance"]["reference_zero_deg"]
    # A channel that was not recorded is a column of nulls.
    recorded = [name for name in table.column_names if table[name].null_count < len(table)]
    columns = {name: table[name].to_numpy() for name in recorded}
    return columns, zero


def at_the_plug(columns, period_us):
    """Both lines as ratios of the supply at the part's plug: the loom's return wire, sensed, and its supply wire drop the same.

    The supply is that of the same scan, as far as the line follows it: what is faster than 5 ms counts with the gain that least squares
    find for each line over it and its neighbours, else the noise of the supply's own channel would come into the ratio.
    """
    window = max(1, round(5000 / period_us)) | 1
    drop = np.zeros(1)
    if "ground_volts" in columns:
        drop = uniform_filter1d(columns["ground_volts"].astype(float), window)
        if "supply_amps" in columns:
            drop = drop + CONTACT_OHM * np.nanmean(columns["supply_amps"])
    read = columns["supply_volts"].astype(float)
    slow = uniform_filter1d(read, window)
    fast = np.stack([np.roll(read - slow, k) for k in (-1, 0, 1)])
    ratios = []
    for name in ("rising_volts", "falling_volts"):
        volts = columns[name].astype(float)
        share = uniform_filter1d(volts, window) / slow
        of_line = np.diff(volts, 2)
        of_supply = np.diff(share * fast, 2)
        usual = np.abs(of_line) < 5 * 1.4826 * np.median(np.abs(of_line)) + 1e-9
        gains = np.linalg.lstsq(of_supply[:, usual].T, of_line[usual], rcond=None)[0]
        ratios.append((volts - drop) / (slow + gains @ fast - 2 * drop))
    return ratios


def strokes(deg, time_us):
    """Index ranges that go one way through most of the travel: (start, stop, +1 or -1)."""
    low, high = np.percentile(deg[:: max(1, len(deg) // 100_000)], [0.5, 99.5])
    a, b = low + NEAR, high - NEAR
    zone = np.where(deg < a, -1, np.where(deg > b, 1, 0)).astype(np.int8)
    known = np.flatnonzero(zone)
    turns = np.flatnonzero(np.diff(zone[known]) != 0)
    return [(known[k], known[k + 1] + 1, int(zone[known[k + 1]])) for k in turns], (low, high)


def rests(columns, deg, runs):
    """Mean ratios of both lines, and mean angles, at the closed and the open stop: the second half of every rest between two strokes, when
    it has settled. The rest before the first stroke is left out: it was not reached from the other stop."""
    places = {1: [], -1: []}
    for (_, arrived, way), after in zip(runs, [*(start for start, _, _ in runs[1:]), len(deg)]):
        places[way].append(slice((arrived + after) // 2, after))
    at = [np.concatenate([np.arange(len(deg))[s] for s in places[way]]) for way in (-1, 1)]
    return [[r[k].mean() for k in at] for r in columns["ratio"]], [deg[k].mean() for k in at]


def grid_mean(x, y, lo, n):
    """Mean of y per bin of x, moved to the bin's centre along the overall slope."""
    k = np.floor((x - lo) / STEP).astype(np.int64)
    ok = (k >= 0) & (k < n)
    count = np.bincount(k[ok], minlength=n)
    mean = np.bincount(k[ok], y[ok], minlength=n) / count
    at = np.bincount(k[ok], x[ok], minlength=n) / count
    centre = lo + (np.arange(n) + 0.5) * STEP
    slope = (mean[-1] - mean[0]) / (at[-1] - at[0])
    return mean + slope * (centre - at)


def speed_at(x, deg, seconds):
    """Speed of a stroke over half a degree to either side of each place, deg/s: it starts and stops within the travel."""
    order = np.argsort(deg, kind="stable")
    passed = np.interp([x - 0.5, x + 0.5], deg[order], uniform_filter1d(seconds[order], 9))
    reach = np.interp([x - 0.5, x + 0.5], deg[order], deg[order])
    return (reach[1] - reach[0]) / (passed[1] - passed[0])


def curves(columns, deg, ends, runs):
    """Upward and downward curves of each line on the grid, from stop to stop, without what they lag by."""
    lo = ends[0]
    n = int((ends[1] - lo) / STEP)
    centre = lo + (np.arange(n) + 0.5) * STEP
    seconds = columns["time_us"] * 1e-6
    speeds = np.array([speed_at(centre, deg[s:e], seconds[s:e]) for s, e, _ in runs])
    speed = speeds[:, 20:-20].mean(axis=1)
    ways = np.array([w for _, _, w in runs])
    out = []
    for r in columns["ratio"]:
        each = np.array([grid_mean(deg[s:e], r[s:e], lo, n) for s, e, _ in runs])
        slope = (each[:, -1] - each[:, 0]).mean() / (centre[-1] - centre[0])
        # A lag t moves a stroke by -slope * speed * t; play does not go with speed: regression within each way.
        inner, about, of = slice(20, -20), np.empty(len(runs)), np.empty((len(runs), n))
        for way in (1, -1):
            k = ways == way
            about[k], of[k] = speed[k] - speed[k].mean(), each[k] - each[k].mean(axis=0)
        lag = 0.0
        if np.ptp(np.abs(speed)) > 0.2 * np.abs(speed).mean():
            lag = -(about @ of[:, inner].mean(axis=1)) / (about @ about) / slope
        # Where the line is steeper the lag moves it by more: each stroke is read where the grip will be a lag later.
        later = centre + lag * speeds
        each = np.array([np.interp(at, centre, y - slope * centre) + slope * at for at, y in zip(later, each)])
        mean = {way: each[ways == way].mean(axis=0) for way in (1, -1)}
        variance = sum(each[ways == way].var(axis=0, ddof=1).mean() / (ways == way).sum() / 4 for way in (1, -1))
        out.append((mean[1], mean[-1], np.sqrt(variance)))
    return centre, out


def play(x, up, down):
    """Play in degrees: the median difference of both directions over the slope."""
    slope = (up[-1] + down[-1] - up[0] - down[0]) / 2 / (x[-1] - x[0])
    return np.median((down - up)[10:-10]) / slope, slope


def average(x, up, down):
    """Mean of both directions, each moved by half of the play against the other, so that a defect is not smeared."""
    whole, slope = play(x, up, down)
    half = whole / 2
    trend = slope * x
    back = np.interp(x, x - half, up - trend) + trend + slope * half
    forth = np.interp(x, x + half, down - trend) + trend - slope * half
    # Within the play of the end that it starts from, a direction shows nothing of the line.
    skip = int(np.ceil(abs(whole) / STEP))
    mean = (back + forth) / 2
    if skip:
        mean[:skip], mean[-skip:] = forth[:skip], back[-skip:]
    return mean


def without_scatter(worst, y, sd):
    """A largest deviation less what scatter alone adds to it: what adding as much scatter again adds (parametric bootstrap); and the
    standard deviation of that over the draws."""
    plain, random = np.array(worst(y)), np.random.default_rng(1)
    again = [worst(y + sd * random.standard_normal(len(y))) for _ in range(DRAWS)]
    return 2 * plain - np.mean(again, axis=0), np.std(again, axis=0, ddof=1)


def smooth(y, n=SMOOTH):
    """Running mean; the ends are continued straight, so that a line stays one."""
    return np.convolve(np.pad(y, n // 2, mode="reflect", reflect_type="odd"), np.ones(n) / n, "valid")


def minimax(x, y):
    """Smallest largest deviation of any line, by linear programming."""
    a = np.r_[np.c_[-np.ones_like(x), -x, -np.ones_like(x)], np.c_[np.ones_like(x), x, -np.ones_like(x)]]
    fit = linprog([0, 0, 1], A_ub=a, b_ub=np.r_[-y, y], bounds=[(None, None)] * 2 + [(0, None)], method="highs")
    return fit.fun


def linearity(x, y, closed, opened):
    """Independent, terminal and zero-based linearity from stop to stop, % of span. Ends: (angle, ratio) at rest on both stops; the bins
    between them by a parabola over 5 of them."""
    inside = (x > closed[0]) & (x < opened[0])
    x = np.r_[closed[0], x[inside], opened[0]]
    s = np.r_[closed[1], savgol_filter(y, 5, 2)[inside], opened[1]]
    slope = (opened[1] - closed[1]) / (opened[0] - closed[0])

    def worst(k):
        return np.abs(s - (closed[1] + k * (x - closed[0]))).max()

    zero = minimize_scalar(worst, bracket=(slope * 0.98, slope * 1.02), tol=1e-12).fun
    return [100 * v / abs(opened[1] - closed[1]) for v in (minimax(x, s), worst(slope), zero)]


def hysteresis(x, mean, gap, whole):
    """Largest mean difference of both directions over any 2 deg, by what the line rises over them (where that is less than half
    of its whole slope, by the whole slope); at each end 1 deg, or as much as the play, is left out."""
    edge, width = round(max(EDGE, abs(whole)) / STEP), round(2.0 / STEP)
    inner = slice(edge, len(x) - edge)
    all_of_it = np.polyfit(x[inner], mean[inner], 1)[0]
    worst = 0.0
    for start in range(edge, len(x) - edge - width + 1, 5):
        end = start + width - 1
        slope = (mean[end] - mean[start]) / (x[end] - x[start])
        slope = slope if slope / all_of_it > 0.5 else all_of_it
        worst = max(worst, abs(gap[start : end + 1].mean() / slope))
    return worst


def noise_mv(r):
    """1 sd from second differences over sqrt 6, outliers beyond 5 robust sd left out, mV at 5 V."""
    d = np.diff(r, 2)
    scale = 1.4826 * np.median(np.abs(d[:: max(1, len(d) // 100_000)])) + 1e-9
    return 5000 * np.sqrt(np.mean(np.square(d[np.abs(d) < 5 * scale])) / 6)


def scatter_sd(y):
    """1 sd from the median magnitude of second differences over sqrt 6."""
    d = np.diff(y, 2)
    return 1.4826 * np.median(np.abs(d - np.median(d))) / np.sqrt(6)


def figures(path, line=(-1.0, 1.0)):
    """All figures as {(name, channel): (value, standard uncertainty of this reading alone)}. `line`: second = m first + k."""
    columns, zero = load(path)
    time_us = columns["time_us"]
    period_us = float(np.median(np.diff(time_us[:10_000])))
    columns["ratio"] = at_the_plug(columns, period_us)
    deg = columns["reference_deg"].astype(float) - zero
    runs, ends = strokes(deg, time_us)
    out = {}
    at_rest, places = rests(columns, deg, runs)
    x, both = curves(columns, deg, ends, runs)
    for name, rest, (up, down, sd), r in zip(("rising", "falling"), at_rest, both, columns["ratio"]):
        out["closed_volts", name], out["open_volts", name] = (5 * v for v in rest)
        out["span", name] = 5 * abs(rest[1] - rest[0])
        mean = average(x, up, down)
        whole, _ = play(x, up, down)
        # What is read at rest belongs half the play further on: it was reached from the other end.
        closed, opened = (places[0] + whole / 2, rest[0]), (places[1] - whole / 2, rest[1])
        worst = without_scatter(lambda y: linearity(x, y, closed, opened), mean, sd)
        # Where the grid begins is arbitrary: what half a bin changes is an uncertainty of this reading too.
        there = linearity((x[1:] + x[:-1]) / 2, (mean[1:] + mean[:-1]) / 2, closed, opened)
        moved = np.array(there) - linearity(x, mean, closed, opened)
        for kind, v, own in zip(("independent", "terminal", "zero_based"), worst[0], np.hypot(worst[1], moved)):
            out["linearity_" + kind, name] = (v, own)
        out["hysteresis", name] = without_scatter(lambda gap: hysteresis(x, mean, gap, whole), down - up, 2 * sd)
        out["noise", name] = noise_mv(r)
    m, k = line
    up, down = (both[1][w] - (m * both[0][w] + k) for w in (0, 1))
    residual = (up + down) / 2
    out["correlation_worst", None] = 100 * max(np.abs(smooth(up)).max(), np.abs(smooth(down)).max())
    out["correlation_offset", None] = 100 * residual.mean()
    # Of every scan of the recording: what noise alone makes of the largest of so many is taken off.
    single = np.abs(columns["ratio"][1] - (m * columns["ratio"][0] + k))
    at = int(np.nanargmax(single))
    near = np.array(columns["ratio"][1] - m * columns["ratio"][0])
    sd = max(scatter_sd(near), scatter_sd(near[max(0, at - 64) : at + 65]))
    out["correlation_momentary", None] = 100 * max(0.0, single[at] - sd * norm.ppf(1 - 0.5 / len(single)))
    out["correlation_slope", None] = 100 * np.polyfit(x, residual, 1)[0] * (x[-1] - x[0])
    return {key: v if isinstance(v, tuple) else (v, 0.0) for key, v in out.items()}


# Two readings agree when they differ by no more than their expanded uncertainties allow: |E_n| <= 1, E_n = (x - X) / sqrt(U_x^2 + U_X^2)
# (ISO 13528:2022, 9.7; number of the clause from memory). The host states its own; this reading's is that of the bootstrap.


def e_n(value, own, host, expanded):
    """E_n of this reading, whose standard uncertainty is `own`, and the host's with its expanded one."""
    return abs(value - host) / np.hypot(expanded, 2 * own)


def compare(mine, outcome):
    """Prints both readings; how many disagree."""
    bad = 0
    for f in outcome["figures"]:
        key = (f["figure"], f["channel"])
        if key not in mine:
            continue
        value, own = mine[key]
        number = e_n(value, own, f["value"], f["expanded_uncertainty"])
        wrong = not number <= 1
        bad += wrong
        said = f"E_n {number:5.2f}  {'DISAGREE' if wrong else 'ok'}"
        print(f"{key[0]:<22} {key[1] or '':<8} host {f['value']:9.4f}  numpy {value:9.4f}  {said}")
    return bad


def main():
    trace = sys.argv[1]
    if len(sys.argv) < 3:
        for (name, channel), (value, own) in figures(trace).items():
            print(f"{name:<22} {channel or '':<8} {value:9.4f} +- {own:.4f}")
        return 0
    with open(sys.argv[2], encoding="utf-8") as file:
        outcome = json.load(file)
    lines = {"complementary": (-1.0, 1.0), "half-slope": (0.5, 0.0), "parallel-offset": (1.0, -0.05)}
    mine = figures(trace, lines[outcome["sheet"]["topology"]])
    bad = compare(mine, outcome)
    print(f"{bad} of {len(mine)} figures disagree")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
