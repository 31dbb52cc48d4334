"""One drawn recording of a grip: part x motion x logger -> CSV and truth. Recording `index` of a seed is always the same.

Written without sight of the project's simulator and analysis; see README.md for what the truth file says.
"""

import json
import os

import numpy as np

import grip_faults
import logger as loggers
import motion
import sheets
from figures import use_of_limit
from grip_part import TOPOLOGIES, sound_part
from losses import Loss

# A part is sound only if no true figure uses more of its limit than this: the guard band of a careful bench (its uncertainty
# times 1.65, at most a tenth of the tolerances here) and as much again lie between.
SOUND_USE = 0.80
# A figure is beyond its limit for the goals only from here: nearer is the guard band of the logger.
BEYOND_USE = {"careful": 1.05, "any": 1.10}
LONGEST_ROWS = 400_000


def draw(path, seed, index, kind=None, careful=None):
    """Recording `index` of `seed`. `kind`: None draws; "sound" plants nothing. Returns columns, truth, sheet's name."""
    rng = np.random.default_rng([seed, index, 0x6752])
    topology = TOPOLOGIES[rng.integers(3)]
    sheet_name = f"grip-{topology}"
    sheet = sheets.sheet(path, sheet_name)
    nominal = sheets.nominal(sheet)
    careful = bool(rng.random() < 0.5) if careful is None else careful
    kind = kind or (str(rng.choice(grip_faults.KINDS)) if rng.random() < 0.6 else "sound")
    for attempt in range(200):
        part = sound_part(rng, topology, nominal)
        part.input_tau = 0.0
        if most_used(part.true_figures(), sheet)[0] <= SOUND_USE - (0.02 if kind == "sound" else 0.1):
            break
    else:
        raise RuntimeError("no sound part in 200 draws")
    path_turned = turn(rng, part, careful, kind)
    fault, losses = {"kind": "sound"}, []
    if kind != "sound":
        fault, losses = grip_faults.plant(rng, part, kind, path_turned.seconds)
    if kind == "seized":
        path_turned = motion.still(rng, float(rng.choice([0.0, rng.uniform(0.0, part.travel)])), rng.uniform(5.0, 20.0))
    rows = part.tables()[1]
    used_range = rows[:, 300:-300]
    highest = 5.1 * float(np.max(used_range))
    log = loggers.careful_logger(rng, min(highest, 4.95)) if careful else loggers.any_logger(rng)
    log.rate = min(log.rate, LONGEST_ROWS / path_turned.seconds)
    drift = rng.uniform(-1, 1, (2, 2)) * 10.0 ** rng.uniform(-4.0, -3.0, (2, 2)) * 0.5
    dips = []
    if not careful and rng.random() < 0.15:   # in front of where the supply is measured: the bench's, not the part's
        dips = [Loss(rng.uniform(0.5, path_turned.seconds - 0.5), 10.0 ** rng.uniform(-3, -1), rng.uniform(0.01, 0.1), "supply")
                for _ in range(rng.integers(1, 4))]
        if log.supply != "scan":
            dips = []
    columns, seen, errors = loggers.record(rng, part, path_turned, log, losses, drift, dips)
    truth = tell(part, sheet, fault, path_turned, log, drift, seen, errors)
    truth |= {"seed": seed, "index": index, "sheet": sheet_name, "supply_dips": [vars(d) for d in dips]}
    return columns, truth, sheet_name


def turn(rng, part, careful, kind):
    if careful:
        speeds = rng.choice([15.0, 30.0, 60.0, 90.0, 120.0, 180.0], 2, replace=False)
        if min(speeds) < 20.0:
            return motion.rig_sweep(rng, part.travel, speeds, 2)
        return motion.rig_sweep(rng, part.travel, speeds, int(rng.integers(2, 5)))
    if rng.random() < 0.35:
        speeds = rng.choice([20.0, 30.0, 60.0, 120.0, 180.0, 360.0], rng.integers(1, 4), replace=False)
        whole = rng.random() < 0.75
        low = 0.0 if whole else rng.uniform(0.0, 5.0)
        high = part.travel if whole else part.travel - rng.uniform(0.0, 30.0)
        return motion.rig_sweep(rng, part.travel, speeds, int(rng.integers(1, 5)), (0.0, 0.5), low, high)
    reaches = (rng.random() < 0.8, rng.random() < 0.75)
    low = 0.0 if reaches[0] else rng.uniform(0.5, 6.0)
    high = part.travel if reaches[1] else part.travel - rng.uniform(1.0, 30.0)
    return motion.hand_sweep(rng, part.travel, rng.uniform(8.0, 45.0), low, high, reaches, bool(rng.random() < 0.7))


def most_used(figures, sheet):
    """The largest and the surest use of any limit: over the readings of each figure the most, and the least."""
    most, least, table = 0.0, 0.0, {}
    for (name, channel), interval in figures.items():
        for limit in sheets.limits(sheet, name, channel):
            low, high = use_of_limit(interval, limit)
            key = name if channel is None else f"{name}.{channel}"
            table[key] = (low, high)
            most, least = max(most, high), max(least, low)
    return most, least, table


def tell(part, sheet, fault, path_turned, log, drift, losses, errors):
    figures = part.true_figures()
    logged = as_logged(part, log, drift, errors)
    most, least, uses = most_used(figures, sheet)
    beyond_use = BEYOND_USE["careful" if log.careful else "any"]
    beyond = sorted(k for k, (low, _) in uses.items() if low > beyond_use)
    near = sorted(k for k, (low, high) in uses.items() if high > SOUND_USE and k not in beyond)
    must = [x for x in losses if x["scans"] >= 1 and x["length"] >= 1.0 / log.rate and x["depth_percent_supply"] >= 1.0]
    severity = fault.get("severity")
    if severity is None:
        severity = max((u[1] for k, u in uses.items()), default=0.0)
    if fault["kind"].startswith("loss"):
        severity = max((loss_severity(x, log.rate) for x in losses), default=0.0)
    fault = fault | {"severity": float(severity), "band": grip_faults.band(severity)}
    state = "sound" if fault["kind"] == "sound" and most <= SOUND_USE else "beyond" if beyond or must else "borderline"
    return {
        "sound": state == "sound", "state": state, "fault": fault, "beyond": beyond, "near": near,
        "uses": {k: [float(v) for v in u] for k, u in uses.items()},
        "figures": {(n if c is None else f"{n}.{c}"): v for (n, c), v in figures.items() if not n.startswith("_")},
        "figures_as_logged": {(n if c is None else f"{n}.{c}"): v for (n, c), v in logged.items() if not n.startswith("_")},
        "losses": losses, "losses_that_must_show": len(must),
        "part": {"topology": part.topology, "element": part.element, "travel": part.travel, "play": part.play,
                 "noise_mv": 1000 * part.noise, "dead_closed": part.dead_closed.tolist(), "dead_open": part.dead_open.tolist(),
                 "texture_percent": (100 * np.std(part.texture, axis=1)).tolist()},
        "motion": {"hand": path_turned.hand, "seconds": path_turned.seconds, "reaches_closed": path_turned.reaches_closed,
                   "reaches_open": path_turned.reaches_open, "rests_at_stops": path_turned.rests_at_stops,
                   "cycles": path_turned.cycles, "speeds": path_turned.speeds},
        "logger": log.truth(), "drift": drift.tolist(),
    }


def as_logged(part, log, drift, errors):
    """What a patient reader would find in the log: with the logger's calibration, noise and skew, and the drift's room.

    Stated uncertainties are held against these: a logger's own error is not in a file that does not tell of it."""
    found = part.true_figures(*errors)
    room = 100.0 * 0.25 * (abs(drift[:, 0]) + 0.4 * abs(drift[:, 1]))   # % of supply, a quarter of the whole drift
    for (name, channel), interval in found.items():
        if name in ("closed_volts", "open_volts", "span"):
            more = 0.05 * room[0 if channel == "rising" else 1]
        elif name.startswith("correlation"):
            more = float(np.sum(room))
        else:
            more = 0.0
        found[name, channel] = [interval[0] - more, interval[1] + more]
    step = log.full_scale / 2**log.bits
    for name in ("rising", "second") if found else ():
        low, high = found["noise", name]
        own = 1000.0 * np.hypot(log.noise, step / np.sqrt(12.0))
        found["noise", name] = [float(np.hypot(low, 1000.0 * log.noise)),
                                float(np.hypot(np.hypot(high, own), 707.0 * log.hum_volts))]
    if found:
        # A line read later shows more of the motion: it seems to lead.
        found["skew", None] = [-1e6 * log.skew[0]] * 2
    return found


def loss_severity(loss, rate):
    """1 is a loss of one scan and 1 % of supply at once; the smaller ratio counts."""
    return min(loss["length"] * rate, loss["depth_percent_supply"])


def write(columns, truth, folder, name):
    os.makedirs(folder, exist_ok=True)
    csv = os.path.join(folder, f"{name}.csv")
    loggers.write(columns, csv)
    with open(os.path.join(folder, f"{name}.truth.json"), "w") as out:
        json.dump(truth, out, indent=1)
    return csv


def mapping(columns):
    """The options of `judge` that say which column is which."""
    names = {"time": "t", "reference": "angle", "rising": "line1", "falling": "line2", "supply": "supply"}
    return ",".join(f"{role}={column}" for role, column in names.items() if column in columns)
