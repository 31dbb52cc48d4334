"""True figures of a dual-line angle sensor, by their published definitions, from its noise-free curves.

Written without sight of the project's analysis. Sources (as quoted in the project's REFERENCES):

* independent linearity: the line whose slope and intercept make the largest deviation smallest, of the average of upscale and
  downscale curves; terminal: the line through both end points; zero-based: the zero end fixed, the slope makes the largest
  deviation smallest (potentiometer standard quoted in makers' handbooks; 43 CFR 3175.135 for the up/down average).
* hysteresis: largest ascending-minus-descending difference at one input (43 CFR 3175.135), here brought to degrees by the slope
  (of the whole travel, or local).
* dead band: range of input at a reversal (here: at a stop) without change of output (ISA-51.1, from memory).
* correlation residual: second - (m rising + k), with m and k from the nominal lines.

Where definitions leave room (travel with or without the dead bands, texture smoothed or not) a figure is an interval
`[low, high]` over the admissible readings: a part is beyond a limit only if all readings are, sound only if none comes near.
"""

import numpy as np


def strip(x, y):
    """Half the height of the lowest vertical strip that holds all points (exact): the independent linearity error.

    The height is convex and piecewise linear in the slope, with its corners at slopes of the edges of the convex hull."""
    upper, lower = hull(x, y, -1.0), hull(x, y, 1.0)
    edges = []
    for h in (upper, lower):
        edges.append(np.diff(y[h]) / np.diff(x[h]))
    slopes = np.concatenate(edges)
    top = np.max(y[upper][None, :] - slopes[:, None] * x[upper][None, :], axis=1)
    bottom = np.min(y[lower][None, :] - slopes[:, None] * x[lower][None, :], axis=1)
    best = np.argmin(top - bottom)
    slope, middle = slopes[best], 0.5 * (top[best] + bottom[best])
    return 0.5 * (top[best] - bottom[best]), slope, middle


def hull(x, y, side):
    """Indices of the lower (side 1) or upper (side -1) convex hull of points with rising x (Andrew's monotone chain)."""
    kept = []
    xs, ys = x.tolist(), (side * y).tolist()
    for i in range(len(xs)):
        while len(kept) > 1:
            a, b = kept[-2], kept[-1]
            if (xs[b] - xs[a]) * (ys[i] - ys[a]) - (ys[b] - ys[a]) * (xs[i] - xs[a]) <= 0.0:
                kept.pop()
            else:
                break
        kept.append(i)
    return np.array(kept)


def zero_based(x, y):
    """Largest deviation from the line through the first point whose slope makes it smallest (exact)."""
    dx, dy = x[1:] - x[0], y[1:] - y[0]
    low, high = np.min(dy / dx), np.max(dy / dx)
    # max |dy - s dx| is convex in s: golden section to far below any tolerance used.
    ratio = (np.sqrt(5.0) - 1.0) / 2.0

    def worst(s):
        return np.max(np.abs(dy - s * dx))

    a, b = low, high
    for _ in range(50):
        c, d = b - ratio * (b - a), a + ratio * (b - a)
        if worst(c) < worst(d):
            b = d
        else:
            a = c
    return worst(0.5 * (a + b))


def terminal(x, y, ends):
    """Largest deviation from the line through the mean of the first and of the last `ends` points."""
    x0, x1 = np.mean(x[:ends]), np.mean(x[-ends:])
    y0, y1 = np.mean(y[:ends]), np.mean(y[-ends:])
    return np.max(np.abs(y - (y0 + (y1 - y0) * (x - x0) / (x1 - x0))))


def smooth(y, points):
    """Running mean over an odd number of points, shortened at both ends."""
    if points < 3:
        return y
    half = points // 2
    sums = np.concatenate([[0.0], np.cumsum(y)])
    i = np.arange(y.size)
    reach = np.minimum(np.minimum(i, y.size - 1 - i), half)
    return (sums[i + reach + 1] - sums[i - reach]) / (2 * reach + 1)


def reading(values):
    values = [float(v) for v in values]
    return [min(values), max(values)]


def dead_band(angle, *curves):
    """Travel from the first point over which a curve does not change yet: least and most over the curves (directions)."""
    ends = []
    for y in curves:
        moved = np.flatnonzero(np.abs(y - y[0]) > 2e-5)
        ends.append(abs(angle[max(moved[0] - 1, 0)] - angle[0]) if moved.size else abs(angle[-1] - angle[0]))
    return reading(ends)


def pair_figures(angle, up, down, plain_up, plain_down, nominal, play):
    """All static figures. `angle`: grid from stop to stop, deg; `up`, `down`: ratios of both lines, shape (2, n);
    `plain_up`, `plain_down`: the same without the texture of the tracks, for the dead bands;
    `nominal`: ((closed, open), (closed, open)) ratios. Returns {(figure, channel): [low, high]} in the sheets' units."""
    step = angle[1] - angle[0]
    found = {}
    window, wide = int(round(0.5 / step)) | 1, int(round(2.0 / step)) | 1
    for k, name in enumerate(("rising", "second")):
        found["dead_band_closed", name] = dead_band(angle, plain_up[k], plain_down[k])
        found["dead_band_open", name] = dead_band(angle[::-1], plain_up[k][::-1], plain_down[k][::-1])
    electrical = (max(found["dead_band_closed", n][1] for n in ("rising", "second")),
                  angle[-1] - max(found["dead_band_open", n][1] for n in ("rising", "second")))
    if electrical[1] - electrical[0] < 10.0:
        electrical = (angle[0], angle[-1])
    for k, name in enumerate(("rising", "second")):
        mean = 0.5 * (up[k] + down[k])
        closed, opened = mean[0], mean[-1]
        span = abs(opened - closed)
        found["closed_volts", name] = reading([5.0 * closed])
        found["open_volts", name] = reading([5.0 * opened])
        found["span", name] = reading([5.0 * span])
        between = (angle >= electrical[0]) & (angle <= electrical[1])
        variants = []
        for y in (mean, smooth(mean, window)):
            variants += [(angle, y), (angle[between], y[between])]
        one_degree = int(round(1.0 / step))
        found["linearity_independent", name] = reading(100.0 * strip(x, y)[0] / span for x, y in variants)
        found["linearity_terminal", name] = reading(
            100.0 * terminal(x, y, e) / span for x, y in variants for e in (1, one_degree))
        found["linearity_zero_based", name] = reading(100.0 * zero_based(x, y) / span for x, y in variants)
        slope = span / (electrical[1] - electrical[0])
        apart = np.abs(up[k] - down[k])
        inner = (angle >= 1.0 + play) & (angle <= angle[-1] - 1.0 - play) & between
        local = np.abs(smooth(np.gradient(mean, step), wide))
        variants = [np.max(apart) / slope, np.max(smooth(apart, wide)[inner]) / slope]
        variants += [np.max((smooth(apart, wide) / np.maximum(local, 0.3 * slope))[inner])]
        found["hysteresis", name] = reading(variants)
    (c1, o1), (c2, o2) = nominal
    m = (o2 - c2) / (o1 - c1)
    k = c2 - m * c1
    residuals = [r[1] - (m * r[0] + k) for r in (up, down)]
    worst = [100.0 * max(np.max(np.abs(smooth(r, w))) for r in residuals) for w in (1, window)]
    found["correlation_worst", None] = reading(worst)
    mean = 0.5 * (residuals[0] + residuals[1])
    x = (angle - angle[0]) / (angle[-1] - angle[0])
    slope, at_closed = np.polyfit(x, mean, 1)
    found["correlation_offset", None] = reading([100.0 * np.mean(mean)])
    found["correlation_slope", None] = reading([100.0 * slope])
    found["_correlation_at_closed", None] = reading([100.0 * at_closed])
    return found


def use_of_limit(interval, limit):
    """How much of a limit is used, (least, most) over the readings: 1 at the limit. With both bounds it is the distance from
    their middle by half the tolerance; with one, its share of the bound (which is not 0 then)."""
    low, high = limit.get("min"), limit.get("max")
    if low is not None and high is not None:
        uses = [abs(v - 0.5 * (low + high)) / (0.5 * (high - low)) for v in interval]
        if interval[0] <= 0.5 * (low + high) <= interval[1]:
            uses.append(0.0)
    elif high is not None:
        uses = [v / high if high > 0.0 else (2.0 if v > 0.0 else 0.0) for v in interval]
    else:
        uses = [low / v if v > 0.0 else 2.0 for v in interval]
    return min(uses), max(uses)
