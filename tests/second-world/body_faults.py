"""Faults of a throttle body, with severities from far below to well above where they matter, everywhere along the travel.

Written without sight of the project's simulator and analysis. `severity`: degrees of lost motion for teeth; for the rest the
share of the sheet's limit that is used (1 at the limit) or, where there is none, a size of its own.
"""

import numpy as np

import body_physics as b
import grip_faults
from body_part import OPEN_DEG, PITCH_DEG
from losses import Loss

RIGHT = {
    "worn_tooth": {"worn_tooth", "missing_tooth", "lash"}, "chipped_tooth": {"worn_tooth", "missing_tooth"},
    "missing_tooth": {"missing_tooth", "worn_tooth"}, "general_lash": {"lash", "worn_tooth"}, "weak_main_spring": {"weak_spring", "slow_return"},
    "broken_main_spring": {"broken_spring", "slow_return"}, "weak_default_spring": {"weak_spring", "broken_spring"},
    "dry_bearing": {"dry_bearing", "slow_return", "not_testable"}, "sticky_stop": {"sticky_plate", "slow_return"},
    "brush_dead_spot": {"brush_dead_spot"}, "winding_resistance": {"winding"}, "shorted_turns": {"winding"},
    "feedback_offset": {"feedback_offset", "gain_offset"}, "feedback_dropout": {"dropout", "feedback_intermittent"},
    "feedback_dead": {"dead_channel", "feedback_intermittent"}, "supply_lead": {"supply_lead", "feedback_offset", "gain_offset"},
    "ground_lead": {"ground_lead", "feedback_offset", "gain_offset"}, "signal_lead": {"signal_lead"}, "leak": {"leakage", "feedback_offset"},
}
KINDS = tuple(RIGHT)


def bump(centre, width, depth):
    """Worn flank: flat over the middle, cosine to nothing at the edges."""
    def wear(x):
        u = np.abs(x - centre) / (0.5 * width)
        return depth * np.where(u < 0.4, 1.0, np.where(u < 1.0, 0.5 + 0.5 * np.cos(np.pi * (u - 0.4) / 0.6), 0.0))
    return wear


def band(kind, severity):
    """Teeth are banded by their depth, the rest as grips are."""
    if kind.startswith(("worn", "chipped")):
        return "far below" if severity < 0.15 else "below" if severity < 0.25 else "above" if severity < 0.4 else "well above"
    return "" if kind == "sound" else grip_faults.band(severity)


def plant(rng, body, kind, severity=None):
    """Plants a fault (of a given severity, where that is told: worn teeth); returns its truth and losses of contact."""
    p = body.p
    severity = None if severity is None else float(severity)
    truth, losses = {"kind": kind}, []
    factor = grip_faults.severity_factor(rng)
    place = float(rng.uniform(1.0, OPEN_DEG - 1.0))
    if kind == "worn_tooth":
        depth = rng.uniform(0.1, 0.5) if severity is None else severity
        body.wear_a.append(bump(place, PITCH_DEG, depth))
        if rng.random() < 0.5:
            body.wear_b.append(bump(place, PITCH_DEG, 0.6 * depth))
        truth |= {"place": place, "severity": depth}
    elif kind == "chipped_tooth":
        depth = rng.uniform(0.3, 1.5)
        body.wear_a.append(bump(place, 0.5 * PITCH_DEG, depth))
        body.wear_b.append(bump(place, 0.5 * PITCH_DEG, depth))
        truth |= {"place": place, "severity": depth}
    elif kind == "missing_tooth":
        body.wear_a.append(bump(place, PITCH_DEG, 2.4))
        body.wear_b.append(bump(place, PITCH_DEG, 2.4))
        truth |= {"place": place, "severity": 2.4}
    elif kind == "general_lash":
        target = 0.48 * factor
        body.lash_deg = max(0.05, target - np.rad2deg(p[b.P_L1]) / 5.0)
        truth |= {"severity": body.total_lash(6.5) / 0.48}
    elif kind == "weak_main_spring":
        p[b.P_TPH] = 0.30 / factor if factor > 0.76 else p[b.P_TPH]
        p[b.P_TPH] = max(p[b.P_TPH], 0.05)
        truth |= {"severity": 0.30 / p[b.P_TPH]}
    elif kind == "broken_main_spring":
        p[b.P_TPH] = p[b.P_KSH] = 0.0
        truth |= {"severity": 6.0}
    elif kind == "weak_default_spring":
        p[b.P_TPL] = max(0.28 / factor if factor > 0.78 else p[b.P_TPL], 0.05)
        truth |= {"severity": 0.28 / p[b.P_TPL]}
    elif kind == "dry_bearing":   # friction up to what the spring pulls
        more = rng.uniform(0.1, 1.0) * max(0.05, p[b.P_TPH] - friction(p))
        p[b.P_TCP] += more
        truth |= {"severity": friction(p) / 0.36}
    elif kind == "sticky_stop":
        p[b.P_DEPOSIT] = 0.06 * factor
        p[b.P_DEPAT] = 0.0 if rng.random() < 0.7 else np.deg2rad(OPEN_DEG)
        truth |= {"severity": factor, "place": float(np.rad2deg(p[b.P_DEPAT]))}
    elif kind == "brush_dead_spot":
        p[b.P_DEADR] = 10.0 ** rng.uniform(0.0, 1.7)
        p[b.P_DEADAT], p[b.P_DEADW] = rng.uniform(0, 2 * np.pi), np.deg2rad(rng.uniform(8.0, 40.0))
        truth |= {"severity": p[b.P_DEADR] / 3.0}
    elif kind == "winding_resistance":
        p[b.P_R] = max(p[b.P_R], 1.5 * factor) if factor > 0.7 else p[b.P_R]
        truth |= {"severity": p[b.P_R] / 1.5}
    elif kind == "shorted_turns":
        share = rng.uniform(0.03, 0.45)
        p[b.P_R] *= 1.0 - share
        p[b.P_K] *= 1.0 - share
        p[b.P_L] *= (1.0 - share) ** 2
        truth |= {"severity": max(0.9 / p[b.P_R], 0.34 / (p[b.P_K] * p[b.P_N1] * p[b.P_N2]))}
    elif kind == "feedback_offset":
        body.feedback.offset[rng.integers(2)] += rng.choice([-1, 1]) * 0.02 * factor
    elif kind == "feedback_dropout":
        where = str(rng.choice(["rising", "second", "both", "supply"]))
        rate = 10.0 ** rng.uniform(-1.3, 0.3)
        at = np.cumsum(rng.exponential(1.0 / rate, 2000))
        length = 10.0 ** rng.uniform(-4.0, -1.5)
        losses = [Loss(float(t), length * rng.uniform(0.5, 2.0), rng.uniform(0.1, 1.0), where) for t in at if t < 900.0]
        truth |= {"severity": rate * 20.0}
    elif kind == "feedback_dead":
        body.feedback.stuck[rng.integers(2)] = rng.choice([0.0005, 0.9995, rng.uniform(0.1, 0.9)])
        truth |= {"severity": 6.0}
    elif kind in ("supply_lead", "ground_lead", "signal_lead", "leak"):
        feedback = body.feedback
        line = int(rng.integers(2))
        if kind == "supply_lead":
            feedback.supply_ohms = 0.05 * factor * 5.0 / feedback.current
        elif kind == "ground_lead":
            feedback.ground_ohms = 0.03 * factor * 5.0 / feedback.current
        elif kind == "signal_lead":
            feedback.signal_ohms[line] = 400.0 * factor
            truth |= {"severity": factor}
        else:
            feedback.signal_ohms[line] = 100.0
            feedback.leak_ohms[line] = (100.0 + feedback.contact_ohms + feedback.track_ohms / 4) / (0.03 * factor)
    else:
        raise ValueError(kind)
    body.feedback._tables = None
    return truth, losses


def friction(p):
    """Friction of a slow ramp, referred to the plate, N m."""
    n = p[b.P_N1] * p[b.P_N2]
    return float(p[b.P_TCM] * n + p[b.P_TC2] * p[b.P_N2] + p[b.P_TCP])
