"""Counts with exact bounds, the goals, and the Markdown tables of a study.

A score is a flat dictionary per recording (`score`). Bounds are Clopper and Pearson's, 95 %, two-sided (Biometrika 26, 1934).
"""

from collections import Counter, defaultdict

from scipy.stats import beta

import grip_faults
from runner import figure_key

BANDS = ("far below", "below", "above", "well above")


def bounds(count, trials):
    """Clopper-Pearson, 95 %, two-sided."""
    if trials == 0:
        return 0.0, 1.0
    low = 0.0 if count == 0 else float(beta.ppf(0.025, count, trials - count + 1))
    high = 1.0 if count == trials else float(beta.ppf(0.975, count + 1, trials - count))
    return low, high


def share(count, trials):
    low, high = bounds(count, trials)
    if trials == 0:
        return "none drawn"
    return f"{count} of {trials} ({100 * low:.1f} to {100 * high:.1f} %)"


def score(truth, result):
    """What counts of one recording."""
    outcome = result["outcome"] or {}
    kinds = [f["kind"] for f in outcome.get("findings", [])]
    told = [f["kind"] for f in outcome.get("findings", []) if f.get("effect") in ("outside", "undecided")] or kinds
    covered = []
    for figure in outcome.get("figures", []):
        true = truth.get("figures_as_logged", truth.get("figures", {})).get(figure_key(figure))
        value, expanded = figure.get("value"), figure.get("expanded_uncertainty")
        if true is None or value is None or not expanded:
            continue
        miss = max(true[0] - value, value - true[1], 0.0)
        covered.append((figure["figure"], bool(miss <= expanded), float(miss), float(expanded)))
    motion = truth.get("motion", {})
    loose = [r for r in outcome.get("reasons", []) if r.startswith(("outside", "undecided"))] or outcome.get("reasons", [])
    return {
        "index": truth["index"], "what": truth.get("what", "grip"), "state": truth["state"], "kind": truth["fault"]["kind"],
        "severity": truth["fault"].get("severity", 0.0), "band": truth["fault"].get("band", ""),
        "class": truth["logger"]["class"] if "logger" in truth else "rig", "beyond": truth["beyond"],
        "must_show": truth["losses_that_must_show"], "verdict": result["verdict"], "code": result["code"], "kinds": kinds,
        "first": told[0] if told else None, "covered": covered, "reasons": loose[:4], "words": result["words"][-600:],
        "panic": result["panic"], "rig_broke": result.get("rig_broke", False), "stops": motion.get("reaches_closed", True) and motion.get("reaches_open", True), "seconds": result["seconds"],
    }


def goals(scores):
    """(name, count, trials, allowed share) of every goal that a grip study can check."""
    # A rig of this generator that broke down by itself (its numbers ran away in a blow of the gears) shows nothing but a lost link.
    scores = [s for s in scores if not s["rig_broke"] or s["panic"]]
    careful = [s for s in scores if s["what"] == "grip" and s["class"] == "careful"]
    anywhere = [s for s in scores if s["what"] == "grip" and s["class"] == "any"]
    out = []

    def add(name, among, test, allowed):
        hits = [s for s in among if test(s)]
        out.append((name, hits, len(among), allowed))

    sound = [s for s in careful if s["state"] == "sound"]
    add("sound, careful logger: outside", sound, lambda s: s["verdict"] == "outside", 0.005)
    add("sound, careful logger: undecided", sound, lambda s: s["verdict"] == "undecided", 0.02)
    add("sound, any logger: outside", [s for s in anywhere if s["state"] == "sound"], lambda s: s["verdict"] == "outside", 0.01)
    add("  of these, with a stop not reached", [s for s in anywhere if s["state"] == "sound" and not s["stops"]],
        lambda s: s["verdict"] == "outside", 0.01)
    for name, among in (("careful", careful), ("any", anywhere)):
        add(f"true figure beyond its limit, {name} logger: within", [s for s in among if s["beyond"]],
            lambda s: s["verdict"] == "within", 0.001)
        add(f"contact loss of a scan and 1 % of supply, {name} logger: within", [s for s in among if s["must_show"]],
            lambda s: s["verdict"] == "within", 0.0)
    driven = [s for s in scores if s["what"] == "driven grip"]
    add("driven grip, sound: outside", [s for s in driven if s["state"] == "sound"], lambda s: s["verdict"] == "outside", 0.005)
    add("driven grip, true figure beyond its limit: within", [s for s in driven if s["beyond"]],
        lambda s: s["verdict"] == "within", 0.001)
    bodies = [s for s in scores if s["what"] == "body"]
    add("body, sound: outside", [s for s in bodies if s["state"] == "sound"], lambda s: s["verdict"] == "outside", 0.01)
    worn = [s for s in bodies if s["kind"] == "worn_tooth" and s["severity"] >= 0.25]
    add("body, worn tooth of 0.25 deg and more: not seen", worn, lambda s: s["verdict"] == "within", 0.05)
    add("run that failed or panicked", scores, lambda s: s["verdict"] == "failed" or s["panic"], 0.0)
    return [g for g in out if g[2]]


def broken(count, trials, allowed):
    """A goal is broken when the count is more than the allowed share could give; exact at 95 % one-sided, zero goals at once."""
    if count == 0:
        return False
    if allowed == 0.0:
        return True
    return float(beta.ppf(0.05, count, trials - count + 1)) > allowed if count < trials else True


def goal_table(scores):
    lines = ["| goal | counted (exact 95 % bounds) | allowed | |", "|---|---|---|---|"]
    for name, hits, trials, allowed in goals(scores):
        mark = "**broken**" if broken(len(hits), trials, allowed) else "above" if len(hits) > allowed * trials else "kept"
        lines.append(f"| {name} | {share(len(hits), trials)} | {100 * allowed:g} % | {mark} |")
    broke = sum(s["rig_broke"] for s in scores)
    if broke:
        lines += ["", f"Left out: {share(broke, len(scores))} of the runs, in which this generator's own rig broke down."]
    return "\n".join(lines)


def fault_table(scores, what):
    groups = defaultdict(list)
    for s in scores:
        if s["what"] == what:
            groups[s["kind"], s["band"] if s["kind"] != "sound" else s["state"]].append(s)
    order = {b: i for i, b in enumerate(BANDS)}
    lines = ["| fault | severity | parts | outside | undecided | within | failed | first finding right |", "|---|---|---|---|---|---|---|---|"]
    for (kind, band), among in sorted(groups.items(), key=lambda g: (g[0][0] != "sound", g[0][0], order.get(g[0][1], 9))):
        by = Counter(s["verdict"] for s in among)
        right_kinds = right(what).get(kind)
        right_ones = "" if not right_kinds else share(sum(s["first"] in right_kinds for s in among), len(among))
        lines.append(f"| {kind} | {band} | {len(among)} | {by['outside']} | {by['undecided']} | {by['within']} | {by['failed']} | {right_ones} |")
    return "\n".join(lines)


def right(what):
    if what == "body":
        import body_faults

        return body_faults.RIGHT
    return grip_faults.RIGHT


def coverage_table(scores, what):
    """Among parts without lost contact, turned and wired as they should be: does the stated 95 % interval hold the truth?"""
    lines = ["| figure | class | stated interval holds the truth | median miss of the others, in expanded uncertainties |", "|---|---|---|---|"]
    found = defaultdict(list)
    for s in scores:
        if s["what"] == what and not s["must_show"] and s["kind"] not in ("swapped", "seized"):
            for name, holds, miss, expanded in s["covered"]:
                found[name, s["class"]].append((holds, miss / expanded))
    for (name, kind), rows in sorted(found.items()):
        misses = sorted(m for holds, m in rows if not holds)
        middle = f"{misses[len(misses) // 2]:.1f}" if misses else ""
        lines.append(f"| {name} | {kind} | {share(sum(h for h, _ in rows), len(rows))} | {middle} |")
    return "\n".join(lines)


def failures(scores):
    """Every score that goes against a goal, with the goal's name."""
    return [(name, s) for name, hits, _, _ in goals(scores) if not name.startswith(" ") for s in hits]
