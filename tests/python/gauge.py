"""Works a gauge study out anew from its readings, with numpy and scipy alone, and holds it against what the program printed.

    python gauge.py RESULT.json      (`trackpair gauge result STUDY --json`)

Sums of squares are differences of the residuals of least-squares fits with one column per level, not formulas of means; variances follow from the
expected mean squares; intervals from draws of this script's own. Exits with a traceback at the first disagreement.
"""

import json
import sys

import numpy as np
from scipy import stats

RNG = np.random.default_rng(7)
DRAWS = 400_000


def residual(y, *factors):
    """Residual sum of squares of a fit with one column per level of every factor, and its degrees of freedom."""
    columns = [np.ones((len(y), 1))] + [(f[:, None] == np.unique(f)[None, :]).astype(float) for f in factors]
    matrix = np.hstack(columns)
    fitted, _, rank, _ = np.linalg.lstsq(matrix, y, rcond=None)
    return float(((y - matrix @ fitted) ** 2).sum()), len(y) - rank


def step(fewer, more):
    """What a factor takes off: sum of squares and degrees of freedom."""
    return fewer[0] - more[0], fewer[1] - more[1]


def sources(y, layout, mountings):
    a, b, r = layout
    part, mounting, _ = (f.ravel() for f in np.meshgrid(*map(np.arange, layout), indexing="ij"))
    # The level that all readings share is taken off first: it is no part of any sum of squares and costs digits.
    y = y - y.mean()
    none, parts, cells = residual(y), residual(y, part), residual(y, part * b + mounting)
    rows = {"part": step(none, parts)}
    if mountings == "nested":
        rows["mounting"] = step(parts, cells)
    else:
        both = residual(y, part, mounting)
        rows["mounting"], rows["interaction"] = step(parts, both), step(both, cells)
    rows["repeatability"], rows["total"] = cells, none
    # Sweeps that agree to the last digit leave the fit's own rounding.
    return {name: (ss if ss > 1e-18 * none[0] else 0.0, df) for name, (ss, df) in rows.items()}


def near(got, want, scale, share=1e-6):
    assert got is not None and abs(got - want) <= share * scale, (got, want)


def table(printed, rows, mountings):
    assert [r["source"] for r in printed["rows"]] == list(rows), printed
    total = rows["total"][0]
    below = "interaction" if "interaction" in rows else None
    names = list(rows)
    for row in printed["rows"]:
        ss, df = rows[row["source"]]
        assert row["df"] == df, (row, df)
        near(row["ss"], ss, total)
        if row["source"] in ("repeatability", "total"):
            assert row["f"] is None
            continue
        if below and row["source"] in ("part", "mounting"):
            over = below
        elif mountings == "crossed":
            over = "repeatability"
        else:
            over = names[names.index(row["source"]) + 1]
        if rows[over][0] == 0:
            assert row["f"] is None
            continue
        f = (ss / df) / (rows[over][0] / rows[over][1])
        near(row["f"], f, max(f, 1.0), 1e-4)
        near(row["p"], stats.f.sf(f, df, rows[over][1]), 1.0, 1e-4)


def variances(ms, layout, mountings, pooled):
    """Variances by source from mean squares: numbers or arrays of draws."""
    a, b, r = layout
    up = lambda v: np.maximum(v, 0.0)
    if mountings == "nested":
        if pooled:
            return ms["repeatability"], 0.0, up((ms["part"] - ms["repeatability"]) / (b * r))
        return ms["repeatability"], up((ms["mounting"] - ms["repeatability"]) / r), up((ms["part"] - ms["mounting"]) / (b * r))
    if pooled:
        e = ms["repeatability"]
        return e, up((ms["mounting"] - e) / (a * r)), up((ms["part"] - e) / (b * r))
    e, i = ms["repeatability"], ms["interaction"]
    return e, up((ms["mounting"] - i) / (a * r)) + up((i - e) / r), up((ms["part"] - i) / (b * r))


def gauge(ms, layout, mountings):
    a, _, r = layout
    if mountings == "nested":
        return (ms["mounting"] + (r - 1) * ms["repeatability"]) / r
    return (ms["mounting"] + (a - 1) * ms["interaction"] + a * (r - 1) * ms["repeatability"]) / (a * r)


def figure(f, layout, mountings):
    y = np.array(f["readings"])
    assert len(y) == np.prod(layout)
    rows = sources(y, layout, mountings)
    table(f["full"], rows, mountings)
    shown = rows
    if f["pooled"]:
        last = [n for n in rows if n not in ("repeatability", "total")][-1]
        assert f["pooled"]["pooled"] == last and f["full"]["rows"][-3]["p"] > 0.25
        ss, df = (x + z for x, z in zip(rows[last], rows["repeatability"]))
        shown = {n: v for n, v in rows.items() if n != last} | {"repeatability": (ss, df)}
        shown = {n: shown[n] for n in rows if n in shown}
        table(f["pooled"], shown, mountings)
    ms = {n: ss / df for n, (ss, df) in shown.items() if n != "total"}
    e, m, p = variances(ms, layout, mountings, bool(f["pooled"]))
    scale = np.sqrt(e + m + p)
    for name, variance in [("repeatability", e), ("mounting", m), ("gauge", e + m), ("part", p)]:
        near(f[name]["standard_deviation"], np.sqrt(variance), scale, 1e-4)
    near(f["of_total"]["percent"], 100 * np.sqrt((e + m) / (e + m + p)), 100, 1e-4)
    assert f["categories"] == max(1, int(1.41 * np.sqrt(p / (e + m)))), f["categories"]
    limit = f["limit"] or {}
    if f["of_tolerance"]:
        low, high = limit.get("min"), limit.get("max")
        width, sigmas = (high - low, 6) if None not in (low, high) else (abs((low if high is None else high) - y.mean()), 3)
        want = 100 * sigmas * np.sqrt(e + m) / width
        near(f["of_tolerance"]["percent"], want, want, 1e-4)
    # Intervals are the full model's.
    full = {n: (ss / df, df) for n, (ss, df) in rows.items() if n != "total"}
    drawn = {n: value * df / RNG.chisquare(df, DRAWS) for n, (value, df) in full.items()}
    rig = gauge(drawn, layout, mountings)
    part = variances(drawn, layout, mountings, False)[2]
    for printed, values, estimate in [
        (f["gauge"]["interval"], np.sqrt(rig), f["gauge"]["standard_deviation"]),
        (f["of_total"]["interval"], 100 * np.sqrt(rig / (rig + part)), f["of_total"]["percent"]),
    ]:
        # 10,000 draws against 400,000: the share beyond an end is known as a count of draws is, to four of its standard deviations. Draws may
        # pile up in one value (no part variance: 100 %). An end is moved out to the estimate where that lies beyond it.
        known = 4 * np.sqrt(0.025 * 0.975 * (1 / 10_000 + 1 / DRAWS))
        for end, sign in [("low", 1.0), ("high", -1.0)]:
            beyond, up_to = np.mean(sign * values < sign * printed[end]), np.mean(sign * values <= sign * printed[end] + 1e-9)
            moved = np.isclose(printed[end], estimate)
            assert beyond <= 0.025 + known and (moved or up_to >= 0.025 - known), (end, printed, beyond, up_to)


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        result = json.load(file)
    plan = result["plan"]
    layout = (len(plan["parts"]), result["rounds"], plan["repeats"])
    assert result["sweeps"] == np.prod(layout)
    for f in result["figures"]:
        figure(f, layout, plan["mountings_are"])
    print(f"{len(result['figures'])} figures of {result['sweeps']} sweeps agree")


if __name__ == "__main__":
    main()
