"""Lost contact: pulses in time on one line, both lines, the supply or the ground, and what an input filter makes of them.

Written without sight of the project's simulator and analysis. A rectangular pulse through a first-order low pass with time
constant tau is 1 - exp(-(t - t0)/tau) within and decays as exp(-(t - t1)/tau) after (textbook); exact, so pulses far shorter
than a scan are right too. Slow, partial losses have sloping edges.
"""

from dataclasses import dataclass

import numpy as np


@dataclass
class Loss:
    """Contact lost from `start` for `length` seconds by `depth` (share of what is there, 0 to 1)."""

    start: float
    length: float
    depth: float
    where: str              # "rising", "second", "both" (same volts), "supply", "ground"
    edge: float = 0.0       # seconds of sloping edge at each end, within the length

    def level(self, times, tau):
        """0 to 1, how much of the loss shows behind the filter."""
        t0, t1 = self.start, self.start + self.length
        if self.edge > 0.0:
            inside = np.minimum((times - t0) / self.edge, (t1 - times) / self.edge)
            return np.clip(inside, 0.0, 1.0)
        out = np.zeros_like(times)
        within, after = (times >= t0) & (times < t1), times >= t1
        if tau <= 0.0:
            out[within] = 1.0
            return out
        out[within] = -np.expm1(-(times[within] - t0) / tau)
        top = -np.expm1(-self.length / tau)
        out[after] = top * np.exp(-np.minimum((times[after] - t1) / tau, 700.0))
        return out

    def truth(self, depth_of_supply, scans, seen):
        return {"start": self.start, "length": self.length, "depth": self.depth, "where": self.where,
                "depth_percent_supply": 100.0 * depth_of_supply, "scans": int(scans), "deepest_scan_percent_supply": 100.0 * seen}


def apply(ratios, times_by_line, losses, tau, dying=0.0):
    """Both lines (ratios of the supply, shape (2, n)) with the losses; returns them and the drop, same shape."""
    out = ratios.copy()
    for loss in losses:
        for k, name in enumerate(("rising", "second")):
            if loss.where in (name, "both", "supply", "ground"):
                times = times_by_line[k]
                # Only scans near the loss; a decay is over after 12 time constants.
                a, b = np.searchsorted(times, [loss.start, loss.start + loss.length + 12 * tau])
                a, b = max(0, a - 2), min(times.size, b + 2)
                level = loss.level(times[a:b], tau)
                if loss.where == "both":
                    # The same volts on both lines.
                    out[k, a:b] -= level * loss.depth * np.minimum(ratios[0, a:b], ratios[1, a:b])
                elif loss.where == "ground":
                    out[k, a:b] += level * loss.depth * (1.0 - out[k, a:b])
                else:
                    out[k, a:b] *= 1.0 - level * loss.depth
    return out, out - ratios


def draw(rng, kind, seconds, busy=None):
    """Losses of one kind. `busy`: spans of time (from, to) in which they may begin (default: all of the recording)."""
    def start():
        if busy:
            a, b = busy[rng.integers(len(busy))]
            return float(rng.uniform(a, b))
        return float(rng.uniform(0.3, max(0.4, seconds - 0.5)))

    def where():
        return str(rng.choice(["rising", "second", "both", "supply", "ground"], p=[0.3, 0.3, 0.15, 0.15, 0.1]))

    count = int(rng.choice([1, 2, 3, 8, 30], p=[0.35, 0.2, 0.2, 0.15, 0.1]))
    place = where()
    losses = []
    for _ in range(count):
        if kind == "loss_short":
            losses.append(Loss(start(), 10.0 ** rng.uniform(-5.7, -3.3), rng.uniform(0.3, 1.0), place))
        elif kind == "loss_long":
            losses.append(Loss(start(), 10.0 ** rng.uniform(-3.3, -1.3), rng.uniform(0.3, 1.0), place))
        elif kind == "loss_partial":
            losses.append(Loss(start(), 10.0 ** rng.uniform(-5.0, -1.3), 10.0 ** rng.uniform(-2.0, -0.5), place))
        elif kind == "loss_slow":
            length = 10.0 ** rng.uniform(-2.0, -0.4)
            losses.append(Loss(start(), length, rng.uniform(0.01, 0.10), place, edge=length * rng.uniform(0.1, 0.45)))
        elif kind == "loss_common":
            losses.append(Loss(start(), 10.0 ** rng.uniform(-4.0, -1.5), 10.0 ** rng.uniform(-2.0, 0.0), "both"))
        else:
            raise ValueError(kind)
    return losses


KINDS = ("loss_short", "loss_long", "loss_partial", "loss_slow", "loss_common")
