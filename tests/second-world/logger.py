"""A logger of another make: what it writes of two lines, the supply and the angle.

Written without sight of the project's simulator and analysis. Sampling, quantisation (uniform converter with a range),
jitter, time stamps, lost and doubled rows, skew, hum, supply ripple and sag, a reference encoder with steps, eccentricity
(sine once a turn), lag and noise. Two classes, by what a bench would want of a logger:

careful: at least 1 kHz and 12 bit with range over the lines, supply in the same scan, reference finer than 0.05 deg with lag
below 0.2 ms and eccentricity up to 0.03 deg, hum up to 0.3 mV, jitter below 1 %, time stamps to the microsecond, no rows lost;
any: everything else.
"""

from dataclasses import asdict, dataclass

import numpy as np

import losses as lost_contact


@dataclass
class Logger:
    careful: bool
    rate: float                 # scans per second
    bits: int
    full_scale: float           # V
    noise: float                # V rms, white
    gain_error: float           # of each line against the supply, relative, one sd
    zero_error: float           # V, one sd
    hum_volts: float            # amplitude on the lines
    hum_hz: float
    ripple_volts: float         # amplitude on the supply
    ripple_hz: float
    sag_volts: float            # slow change of the supply over the recording
    jitter: float               # share of the period, one sd
    jitter_stamped: bool        # the time column shows when a scan was really taken
    stamp: float                # s, step of the time column; 0: finer than needed
    lost: float                 # share of rows
    doubled: float
    skew: tuple                 # s, of line 2, supply and reference after line 1
    supply: str                 # "scan", "slow", "coarse", "absent"
    reference: str              # "fine", "stepped", "absent"
    reference_step: float       # deg
    eccentric: float            # deg
    lag: float                  # s
    reference_noise: float      # deg rms
    input_tau: float            # s, filter of each line
    input_ohms: float           # to ground

    def truth(self):
        return asdict(self) | {"class": "careful" if self.careful else "any"}


def careful_logger(rng, highest):
    """`highest`: the highest line's volts, which the range must cover."""
    rate = float(rng.choice([1000.0, 2000.0, 5000.0, 10000.0]))
    ranges = [r for r in (5.0, 5.5, 10.0) if r > highest + 0.15]
    ripple = rng.random() < 0.5
    return Logger(
        True, rate, int(rng.choice([12, 16])), float(rng.choice(ranges)), 10.0 ** rng.uniform(-4.3, -3.4), 2e-4, 5e-4,
        rng.uniform(0.0, 3e-4), float(rng.choice([50.0, 60.0])), rng.uniform(0.0, 0.02) if ripple else 0.0, rng.uniform(50, 300),
        rng.uniform(-0.03, 0.03), rng.uniform(0.0, 0.008), bool(rng.random() < 0.5), 1e-6, 0.0, 0.0,
        tuple(rng.uniform(0.0, 20e-6, 3)), "scan", "fine", float(rng.choice([0.005, 0.01, 0.02, 0.04])), rng.uniform(0.0, 0.03),
        rng.uniform(0.0, 1.5e-4), rng.uniform(0.0, 0.005), float(rng.choice([0.0, 2e-5, 1e-4])), 1e7)


def any_logger(rng):
    rate = float(10.0 ** rng.uniform(2.0, np.log10(2e4)))
    rate = float(rng.choice([100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0, 20000.0, round(rate, 1)]))
    often = rng.random
    reference = str(rng.choice(["fine", "stepped", "absent"], p=[0.4, 0.4, 0.2]))
    supply = str(rng.choice(["scan", "slow", "coarse", "absent"], p=[0.5, 0.15, 0.15, 0.2]))
    stamp = float(rng.choice([0.0, 1e-3, 1e-2])) if often() < 0.4 else 1e-6
    sag = rng.uniform(-0.05, 0.05) if supply == "absent" else rng.uniform(-0.3, 0.1)
    return Logger(
        False, rate, int(rng.choice([10, 12, 16])), float(rng.choice([3.3, 4.096, 4.4, 5.0, 5.5, 10.0], p=[.07, .1, .1, .3, .23, .2])),
        10.0 ** rng.uniform(-4.0, -2.7), 1e-3, 2e-3, rng.uniform(0.0, 5e-3) if often() < 0.6 else 0.0,
        float(rng.choice([50.0, 60.0])), rng.uniform(0.0, 0.1) if often() < 0.5 else 0.0, rng.uniform(50.0, 300.0),
        sag if often() < 0.4 else 0.0, rng.uniform(0.0, 0.15) if often() < 0.5 else 0.0,
        bool(often() < 0.5), stamp, rng.uniform(0.0, 0.01) if often() < 0.3 else 0.0, rng.uniform(0.0, 0.005) if often() < 0.15 else 0.0,
        tuple(rng.uniform(1e-6, 200e-6, 3)), supply, reference,
        0.0 if reference == "fine" else float(10.0 ** rng.uniform(np.log10(0.005), np.log10(0.5))),
        rng.uniform(0.0, 0.1), rng.uniform(0.0, 5e-3) if often() < 0.5 else 0.0, 10.0 ** rng.uniform(-3.0, -1.3),
        float(rng.choice([0.0, 2e-5, 1e-4, 2e-4])), float(rng.choice([1e6, 1e7])))


def convert(volts, logger):
    top = 2**logger.bits - 1
    return np.clip(np.round(volts / logger.full_scale * (top + 1)), 0, top) * logger.full_scale / (top + 1)


def record(rng, part, motion, logger, losses, drift, common_supply_dips=()):
    """The rows that the logger writes, and what was true of the losses in them. `drift`: (2, 2) ratio, offset and gain of
    each line from first to last scan. `common_supply_dips`: losses in front of where the supply is measured."""
    count = int((motion.seconds - 2e-3) * logger.rate) - 4
    ideal = (np.arange(count) + 2.0) / logger.rate
    jitter = np.clip(rng.normal(0.0, logger.jitter, count), -0.45, 0.45)
    taken = ideal + jitter / logger.rate
    by_line = [taken, np.minimum(taken + logger.skew[0], motion.seconds)]
    path = part.ratios(motion.angle)
    clean = np.array([np.interp(t, motion.time, path[k]) for k, t in enumerate(by_line)])
    if logger.input_ohms < 1e9 and part.track_ohms > 0.0:
        clean *= 1.0 - clean * (1.0 - clean) * part.track_ohms / logger.input_ohms
    phase = np.array(by_line) / motion.seconds - 0.5
    clean = clean + drift[:, 0:1] * phase + drift[:, 1:2] * phase * (clean - 0.5)
    lines, dropped = lost_contact.apply(clean, by_line, losses, max(logger.input_tau, part.input_tau))
    truth = losses_truth(losses, clean, dropped, by_line)

    # The ripple's phase wanders by about one radian in a second.
    wander_at = np.arange(0.0, motion.seconds + 0.1, 0.05)
    wander = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0.0, np.sqrt(0.05), wander_at.size))
    # Whoever does not log the supply has measured it: it is nearer to what was stated.
    set_to = 5.0 + rng.uniform(-1.0, 1.0) * (0.02 if logger.supply == "absent" else 0.05)

    def supply_at(t):
        base = set_to + logger.sag_volts * np.sin(np.pi * t / motion.seconds) ** 2
        volts = base + logger.ripple_volts * np.sin(2 * np.pi * logger.ripple_hz * t + np.interp(t, wander_at, wander))
        for dip in common_supply_dips:
            volts = volts * (1.0 - dip.depth * dip.level(t, 1e-5))
        return volts

    volts = np.array([lines[k] * supply_at(t) for k, t in enumerate(by_line)])
    gains, zeros = 1.0 + rng.normal(0.0, logger.gain_error, 2), rng.normal(0.0, logger.zero_error, 2)
    supply_gain = 1.0 + rng.normal(0.0, logger.gain_error)
    for low, high, size, which in part.noisy:
        here = motion.at(taken)
        for k in which:
            moving = np.abs(np.gradient(here, taken)) > 1.0
            inside = (here >= low) & (here <= high) & moving
            volts[k] += inside * rng.normal(0.0, size, count)
    hum = rng.uniform(0, 2 * np.pi)
    for k, t in enumerate(by_line):
        volts[k] += rng.normal(0.0, part.noise, count) * 1.0
        volts[k] += logger.hum_volts * np.sin(2 * np.pi * logger.hum_hz * t + hum) * (1.0 if k == 0 else 0.8)
        volts[k] = volts[k] * gains[k] + zeros[k]
        volts[k] = convert(volts[k] + rng.normal(0.0, logger.noise, count), logger)
    columns = {"t": ideal if not logger.jitter_stamped else taken}
    if logger.stamp > 0.0:
        columns["t"] = np.round(columns["t"] / logger.stamp) * logger.stamp
    if logger.reference != "absent":
        columns["angle"] = reference(rng, motion, logger, taken + logger.skew[2])
    columns["line1"], columns["line2"] = volts
    if logger.supply != "absent":
        columns["supply"] = supply_column(rng, logger, supply_at, taken + logger.skew[1], supply_gain)
    keep = rng.random(count) >= logger.lost
    order = np.flatnonzero(keep)
    twice = order[rng.random(order.size) < logger.doubled]
    order = np.sort(np.concatenate([order, twice]))
    # What the logger's calibration does to the ratios, supply included: gains, zeros as ratios.
    if logger.supply == "absent":
        supply_gain = 5.0 / float(np.mean(supply_at(taken)))
    errors = gains / supply_gain, zeros / 5.0
    return {name: values[order] for name, values in columns.items()}, truth, errors


def reference(rng, motion, logger, times):
    angle = motion.at(np.maximum(times - logger.lag, 0.0))
    turn = rng.uniform(0, 2 * np.pi)
    error = logger.eccentric * np.sin(np.deg2rad(angle) * rng.choice([1.0, 2.0]) + turn)
    error = error - logger.eccentric * np.sin(turn)   # set to zero at the closed stop
    angle = angle + error + rng.normal(0.0, logger.reference_noise, times.size)
    if logger.reference_step > 0.0:
        angle = np.round(angle / logger.reference_step) * logger.reference_step
    return angle


def supply_column(rng, logger, supply_at, times, gain):
    volts = supply_at(times) * gain
    if logger.supply == "slow":   # one new reading in 20, held
        volts = volts[(np.arange(times.size) // 20) * 20]
    volts = volts + rng.normal(0.0, logger.noise, times.size)
    step = 0.05 if logger.supply == "coarse" else max(logger.full_scale, 5.5) / 2**logger.bits
    return np.round(volts / step) * step


def losses_truth(losses, clean, dropped, by_line):
    out = []
    for loss in losses:
        deepest, scans, by_supply = 0.0, 0, 0.0
        for k, name in enumerate(("rising", "second")):
            if loss.where not in (name, "both", "supply", "ground"):
                continue
            a, b = np.searchsorted(by_line[k], [loss.start, loss.start + loss.length])
            at = min(a, clean.shape[1] - 1)
            there = clean[k, at]
            lowest = min(clean[0, at], clean[1, at])
            share = {"both": lowest, "ground": 1.0 - there}.get(loss.where, there)
            by_supply = max(by_supply, loss.depth * share)
            if b > a:
                deepest = max(deepest, float(np.max(np.abs(dropped[k, a:b]))))
                scans = max(scans, int(np.sum(np.abs(dropped[k, a:b]) >= 0.01)))
        out.append(loss.truth(by_supply, scans, deepest))
    return out


def write(columns, path):
    """A CSV file with one row a scan."""
    names = list(columns)
    digits = {"t": "%.6f", "angle": "%.4f", "line1": "%.5f", "line2": "%.5f", "supply": "%.4f"}
    table = np.column_stack([columns[n] for n in names])
    with open(path, "w") as out:
        out.write(",".join(names) + "\n")
        line = ",".join(digits[n] for n in names) + "\n"
        # One formatting call a block of rows is many times faster than savetxt.
        for a in range(0, len(table), 4096):
            block = table[a:a + 4096]
            out.write((line * len(block)) % tuple(block.ravel().tolist()))
