"""How a grip is turned: angle over time on a fine grid, in degrees above the closed stop.

Written without sight of the project's simulator and analysis. Two hands:

* `rig_sweep`: trapezoids of speed between the stops, with rests at the stops, at several speeds.
* `hand_sweep`: segments of least jerk, s(u) = 10 u^3 - 15 u^4 + 6 u^5 (Flash and Hogan, J. Neurosci. 5(7), 1985), with
  pauses, hesitations and small reversals, speeds over a factor of ten, physiological tremor of 8-12 Hz, and a push beyond
  the stops which the stops cut off.

Both return `Motion`. Nothing here knows what is measured.
"""

from dataclasses import dataclass, field

import numpy as np

STEP = 2e-4  # seconds between points of the fine grid


@dataclass
class Motion:
    """A path: `angle` (deg) at `STEP` intervals from time 0."""

    angle: np.ndarray
    hand: str                       # "rig" or "hand" or "still"
    reaches_closed: bool = True
    reaches_open: bool = True
    rests_at_stops: bool = True
    cycles: int = 0                 # closed stop to open stop and back
    speeds: list = field(default_factory=list)  # deg/s, typical of each part of the path

    @property
    def seconds(self):
        return (len(self.angle) - 1) * STEP

    @property
    def time(self):
        return np.arange(len(self.angle)) * STEP

    def at(self, times):
        return np.interp(times, self.time, self.angle)


def trapezoid(start, end, speed, acceleration):
    """Distance over time of one ramp with constant acceleration, constant speed, the same deceleration."""
    distance = abs(end - start)
    if distance == 0.0:
        return np.zeros(0)
    if distance < speed**2 / acceleration:
        speed = np.sqrt(distance * acceleration)
    lasting = distance / speed + speed / acceleration
    t = np.arange(STEP, lasting + STEP, STEP)
    ta = speed / acceleration
    up = 0.5 * acceleration * np.minimum(t, ta) ** 2
    even = speed * np.clip(t - ta, 0.0, lasting - 2 * ta)
    left = np.clip(t - (lasting - ta), 0.0, ta)
    down = speed * left - 0.5 * acceleration * left**2
    return start + np.sign(end - start) * np.minimum(up + even + down, distance)


def rest(angle, seconds):
    return np.full(max(1, int(round(seconds / STEP))), angle)


def rig_sweep(rng, travel, speeds, cycles_each, rest_s=(0.25, 0.8), low=0.0, high=None):
    """Stop to stop and back, `cycles_each` times at each of `speeds` (deg/s)."""
    high = travel if high is None else high
    acceleration = rng.uniform(600.0, 4000.0)
    pieces = [rest(low, rng.uniform(0.4, 1.0))]
    for speed in speeds:
        for _ in range(cycles_each):
            pieces += [trapezoid(low, high, speed, acceleration), rest(high, rng.uniform(*rest_s)),
                       trapezoid(high, low, speed, acceleration), rest(low, rng.uniform(*rest_s))]
    whole = low == 0.0 and high == travel
    return Motion(np.concatenate(pieces), "rig", low == 0.0, high == travel, True,
                  cycles_each * len(speeds) if whole else 0, [float(s) for s in speeds])


def least_jerk(start, end, seconds):
    u = np.arange(STEP, seconds + STEP, STEP) / seconds
    u = np.minimum(u, 1.0)
    return start + (end - start) * u**3 * (10.0 - 15.0 * u + 6.0 * u**2)


def hand_sweep(rng, travel, seconds, low=0.0, high=None, reaches=(True, True), rests=True):
    """Turned by hand between `low` and `high` for about `seconds`."""
    high = travel if high is None else high
    slowest = rng.uniform(12.0, 40.0)
    pieces = [rest(low, rng.uniform(0.3, 1.0))]
    at, done, strokes, speeds = low, 0.0, 0, []
    upward = True
    while done < seconds or strokes % 2 or strokes < 2:
        goal = high if upward else low
        speed = slowest * 10.0 ** rng.uniform(0.0, 1.0)
        speeds.append(float(speed))
        stops = sorted(rng.uniform(low + 3.0, high - 3.0, rng.poisson(0.7)), reverse=not upward)
        for place in stops:
            if (place - at) * (goal - at) <= 0.0:
                continue
            pieces.append(least_jerk(at, place, max(0.05, abs(place - at) / speed * 1.5)))
            at = place
            kind = rng.choice(["pause", "hesitate", "reverse"])
            if kind == "pause":
                pieces.append(rest(at, rng.uniform(0.05, 1.0)))
            elif kind == "hesitate":
                pieces.append(rest(at, rng.uniform(0.01, 0.15)))
            else:
                back = at - np.sign(goal - at) * rng.uniform(0.5, 3.0)
                back = float(np.clip(back, low, high))
                pieces.append(least_jerk(at, back, rng.uniform(0.08, 0.3)))
                at = back
        # Past the stop where the hand reaches it: the stop cuts the path off.
        beyond = goal
        if upward and reaches[1]:
            beyond = goal + rng.uniform(0.5, 4.0)
        if not upward and reaches[0]:
            beyond = goal - rng.uniform(0.5, 4.0)
        pieces.append(least_jerk(at, beyond, max(0.06, abs(beyond - at) / speed * 1.3)))
        # Where the stop is not reached, every stroke ends elsewhere.
        at = beyond
        if rests:
            pieces.append(rest(at, rng.uniform(0.2, 0.9)))
        else:
            pieces.append(rest(at, rng.uniform(0.0, 0.05)))
        upward = not upward
        strokes += 1
        done = sum(len(p) for p in pieces) * STEP
    angle = np.concatenate(pieces)
    tremor = rng.uniform(0.01, 0.06) * np.sin(2 * np.pi * rng.uniform(8.0, 12.0) * np.arange(len(angle)) * STEP)
    moving = np.convolve(np.abs(np.gradient(angle, STEP)) > 1.0, np.ones(251) / 251, mode="same")
    angle = np.clip(angle + tremor * moving, 0.0, travel)
    return Motion(angle, "hand", reaches[0], reaches[1], rests, strokes // 2 if all(reaches) else 0, speeds)


def still(rng, angle, seconds):
    """Seized, or never turned."""
    return Motion(rest(angle, seconds), "still", angle == 0.0, False, True, 0, [])


def with_play(angle, play, wiper=None):
    """The angle behind a play of `play` degrees (the play operator of Krasnosel'skii and Pokrovskii), centred."""
    return _play(np.ascontiguousarray(angle, dtype=float), 0.5 * float(play), angle[0] if wiper is None else wiper)


def _play(angle, half, first):
    if half == 0.0:
        return angle.copy()
    try:
        return _compiled()(angle, half, first)
    except ImportError:
        return _play_loop(angle, half, first)


def _play_loop(angle, half, first):
    out = np.empty_like(angle)
    w = min(max(first, angle[0] - half), angle[0] + half)
    for i in range(angle.size):
        w = min(max(w, angle[i] - half), angle[i] + half)
        out[i] = w
    return out


_ready = None


def _compiled():
    global _ready
    if _ready is None:
        import numba

        _ready = numba.njit(cache=True)(_play_loop)
    return _ready
