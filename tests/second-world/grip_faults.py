"""Faults of a grip sensor and how severe they are. Each changes the part (or the losses, or the motion) and says what it did.

Written without sight of the project's simulator and analysis. Severities run from far below the limits to well above them:
`severity` is in units of where a fault begins to matter. That is 0.5 deg of lost angle for a flat spot (the sheets' limit on
hysteresis), 4 mV for noise (the sheets' limit), and for whatever moves the true figures the share of the sheet's limit that
the worst of them uses (worked out later, from the truth). Bands: far below < 0.5, below < 1, above < 2, well above.
"""

import numpy as np

import losses as lost_contact

# The kinds of findings that name a fault rightly, in the program's own words (from its schema).
RIGHT = {
    "flat_spot": {"flat_spot"},
    "noisy_track": {"noisy_track"},
    "wiper_wear": {"noisy_track", "flat_spot", "common_nonlinearity"},
    "gain": {"gain_offset"},
    "offset": {"gain_offset"},
    "shift": {"gain_offset"},
    "bend_common": {"common_nonlinearity", "flat_spot"},
    "bend_one": {"gain_offset", "flat_spot", "common_nonlinearity"},
    "play": set(),              # the limit on hysteresis says it; no finding of its own
    "dead_band": set(),
    "supply_lead": {"supply_lead", "gain_offset", "signal_lead", "ground_lead"},
    "ground_lead": {"ground_lead", "gain_offset", "signal_lead", "supply_lead"},
    "leak": {"leakage", "gain_offset", "signal_lead"},
    "stuck": {"dead_channel", "swapped_channels", "gain_offset"},
    "dead": {"dead_channel"},
    "swapped": {"swapped_channels"},
    "seized": {"not_moving"},
} | {kind: {"dropout"} for kind in lost_contact.KINDS}

KINDS = ("flat_spot", "flat_spot", "noisy_track", "wiper_wear", "gain", "offset", "shift", "bend_common", "bend_one", "play",
         "dead_band", "supply_lead", "ground_lead", "leak", "stuck", "dead", "swapped", "seized",
         "loss_short", "loss_short", "loss_long", "loss_long", "loss_partial", "loss_partial", "loss_slow", "loss_slow",
         "loss_common")


def severity_factor(rng):
    """0.15 to 6 times where it begins to matter."""
    return float(10.0 ** rng.uniform(np.log10(0.15), np.log10(6.0)))


def band(severity):
    return "far below" if severity < 0.5 else "below" if severity < 1.0 else "above" if severity < 2.0 else "well above"


def plant(rng, part, kind, seconds):
    """Plants one fault. Returns (truth, losses)."""
    factor = severity_factor(rng)
    truth = {"kind": kind, "factor": factor}
    which = int(rng.integers(2))
    lines = [0, 1] if rng.random() < 0.2 else [which]
    span = abs(part.nominal[which][1] - part.nominal[which][0])
    losses = []
    if kind in lost_contact.KINDS:
        losses = lost_contact.draw(rng, kind, seconds)
    elif kind == "flat_spot":
        truth |= flat_spot(rng, part, factor, lines)
    elif kind == "noisy_track":
        start = rng.uniform(0.0, part.travel - 1.0)
        width = min(10.0 ** rng.uniform(0.0, 1.6), part.travel - start)
        part.noisy.append((start, start + width, 4e-3 * factor * span / 0.8, lines))
        truth |= {"place": [start, start + width], "lines": lines, "severity": factor}
    elif kind == "wiper_wear":
        start, width = rng.uniform(0.0, 30.0), rng.uniform(3.0, 20.0)
        depth = 0.3 * factor

        def worn(a):
            u = np.clip((a - start) / width, 0.0, 1.0)
            return depth * np.sin(np.pi * u) ** 2

        part.angle_faults.append((worn, lines))
        part.noisy.append((start, start + width, 2e-3 * factor * span / 0.8, lines))
        grid = part.grid
        inside = (grid > start) & (grid < start + width)
        for k in lines:
            part.texture[k] *= 1.0 + inside * 2.0 * factor
        truth |= {"place": [start, start + width], "lines": lines}
    elif kind == "gain":
        part.gain[which] += rng.choice([-1, 1]) * 0.04 * factor
        truth |= {"lines": [which]}
    elif kind == "offset":
        part.offset[which] += rng.choice([-1, 1]) * 0.025 * factor * span / 0.8
        truth |= {"lines": [which]}
    elif kind == "shift":   # the element sits turned: an error of angle on both lines, or on one
        turned = rng.choice([-1, 1]) * 2.0 * factor
        part.angle_faults.append((lambda a: np.full_like(a, turned), lines))
        truth |= {"lines": lines, "degrees": float(turned)}
    elif kind in ("bend_common", "bend_one"):
        size, periods, phase = 1.5 * factor, float(rng.choice([0.5, 1.0, 1.5, 2.0, 3.0])), rng.uniform(0, 2 * np.pi)
        travel = part.travel
        part.angle_faults.append((lambda a: size * np.sin(2 * np.pi * periods * a / travel + phase),
                                  [0, 1] if kind == "bend_common" else [which]))
        truth |= {"lines": [0, 1] if kind == "bend_common" else [which], "periods": periods}
    elif kind == "play":
        part.play = 0.5 * factor
        truth |= {"degrees": part.play}
    elif kind == "dead_band":
        end = rng.choice(["closed", "open"])
        target = part.dead_closed if end == "closed" else part.dead_open
        target[lines] = 1.5 * factor
        truth |= {"lines": lines, "end": str(end)}
    elif kind == "supply_lead":
        part.supply_ohms = 0.06 * factor * 5.0 / part.current
    elif kind == "ground_lead":
        part.ground_ohms = 0.03 * factor * 5.0 / part.current
    elif kind == "leak":
        source = part.contact_ohms + part.track_ohms / 4 + 100.0
        part.leak_ohms[which] = source / (0.04 * factor)
        part.signal_ohms[which] = 100.0
        truth |= {"lines": [which]}
    elif kind == "stuck":
        part.stuck[which] = rng.uniform(0.06, 0.94)
        truth |= {"lines": [which], "severity": 3.0}
    elif kind == "dead":
        part.stuck[which] = rng.choice([0.0005, 0.9995])
        truth |= {"lines": [which], "severity": 3.0}
    elif kind == "swapped":
        part.swapped = True
        truth |= {"severity": 3.0}
    elif kind == "seized":
        truth |= {"severity": 3.0}
    else:
        raise ValueError(kind)
    part._tables = None
    return truth, losses


def flat_spot(rng, part, factor, lines):
    """Over a width the slope is less by a share; afterwards it snaps back, catches up, or the loss stays."""
    form = str(rng.choice(["snap", "catch-up", "permanent"]))
    width = float(10.0 ** rng.uniform(np.log10(0.2), np.log10(3.0)))
    loss = min(1.0, 0.5 * factor / width)
    loss = max(loss, rng.uniform(0.05, 0.15))
    lost = loss * width
    first = min(part.dead_closed[k] for k in lines)
    start = float(rng.uniform(first + 0.2, part.travel - max(part.dead_open[k] for k in lines) - 2.5 * width - 0.2))
    back = {"snap": 0.01, "catch-up": float(rng.uniform(1.0, 2.0)) * width, "permanent": None}[form]

    def missing(a):
        growing = np.clip((a - start) / width, 0.0, 1.0) * lost
        if back is None:
            return growing
        return growing * (1.0 - np.clip((a - start - width) / back, 0.0, 1.0))

    part.angle_faults.append((missing, lines))
    return {"form": form, "place": [start, start + width], "width": width, "loss": loss, "lost_deg": lost, "lines": lines,
            "severity": lost / 0.5}
