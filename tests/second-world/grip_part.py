"""A twist-grip sensor: what both lines put out at the plug, over the angle, with its faults. No time, no logger.

Written without sight of the project's simulator and analysis. Physics, from textbooks:

* sensor element: ratio of its own supply, straight between two dead bands, bent by a sum of harmonics of unknown phase
  (magnet and wiper run out: an error of angle that both lines share; element errors: each line its own);
* contact track (potentiometer): a stationary random texture that repeats with the place, plus rare deeper grains;
* play: see `motion.with_play`; distributed play: the mean of several plays of different width (Prandtl-Ishlinskii);
* leads: Ohm's law. Supply lead Rs and ground lead Rg carry the sensor's current I, the signal lead Rw and the sensor's source
  resistance meet the leak to ground:  v = (Vg + rho (Vp - Vg)) Rl/(Rl + Rw + Rsource), Vp = V - Rs I, Vg = Rg I.
  A potentiometer's source resistance is rho (1 - rho) R + contact; its current V/R a track. A Hall element: constant current.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from figures import pair_figures
from motion import with_play

GRID = 0.005                 # degrees between points of the tables
TRUTH_STEP = 0.02            # degrees between points of the curves that true figures are taken from
BEYOND = 1.5                 # degrees of table beyond each stop
TOPOLOGIES = ("complementary", "half-slope", "parallel-offset")


@dataclass
class GripPart:
    topology: str
    element: str                        # "hall" or "pot"
    travel: float                       # deg, stop to stop
    nominal: tuple                      # ((closed, open), (closed, open)) ratios of the sheet
    offset: np.ndarray                  # per line, ratio of supply
    gain: np.ndarray                    # per line, share of the line's span
    dead_closed: np.ndarray             # per line, deg
    dead_open: np.ndarray
    bend_common: list                   # (periods over the travel, deg, phase): error of angle
    bend_own: list                      # per line: (periods, share of span, phase)
    texture: np.ndarray                 # per line, ratio of supply, over the table's grid
    play: float                         # deg, common
    spread_play: bool                   # the play is spread over several contacts
    noise: float                        # volts rms at 5 V, white, each line
    current: float                      # A through supply and ground lead at 5 V
    track_ohms: float
    contact_ohms: float
    supply_ohms: float = 0.0
    ground_ohms: float = 0.0
    signal_ohms: np.ndarray = field(default_factory=lambda: np.zeros(2))
    leak_ohms: np.ndarray = field(default_factory=lambda: np.full(2, np.inf))
    stuck: np.ndarray = field(default_factory=lambda: np.full(2, np.nan))  # ratio a dead line rests at
    swapped: bool = False
    angle_faults: list = field(default_factory=list)   # functions angle -> angle lost, with the lines they are on
    noisy: list = field(default_factory=list)          # (from, to, volts rms, lines)
    input_tau: float = 0.0              # s, of each line
    supply_volts: float = 5.0           # what feeds the plug
    _tables: tuple = None

    @property
    def grid(self):
        return np.arange(-BEYOND, self.travel + BEYOND + GRID, GRID)

    def tables(self):
        """Ratio of the supply at the plug over the wiper's angle: grid, and one row a line."""
        if self._tables is None:
            grid = self.grid
            rows = np.array([self._line(k, grid) for k in (0, 1)])
            if self.swapped:
                rows = rows[::-1].copy()
            self._tables = (grid, rows)
        return self._tables

    def _line(self, k, grid):
        if np.isfinite(self.stuck[k]):
            return np.full(grid.shape, self.stuck[k])
        angle = grid.copy()
        for periods, size, phase in self.bend_common:
            angle = angle + size * np.sin(2 * np.pi * periods * grid / self.travel + phase)
        for lost, lines in self.angle_faults:
            if k in lines:
                angle = angle - lost(grid)
        first, last = self.dead_closed[k], self.travel - self.dead_open[k]
        share = np.clip((angle - first) / (last - first), 0.0, 1.0)
        closed, opened = self.nominal[k]
        span = (opened - closed) * (1.0 + self.gain[k])
        middle = 0.5 * (opened + closed) + self.offset[k]
        ratio = middle + span * (share - 0.5)
        for periods, size, phase in self.bend_own[k]:
            ratio = ratio + abs(span) * size * np.sin(2 * np.pi * periods * share + phase)
        ratio = np.clip(ratio + self.texture[k], 0.001, 0.999)
        volts = self.supply_volts
        plus, minus = volts - self.supply_ohms * self.amps(), self.ground_ohms * self.amps()
        source = self.contact_ohms + (ratio * (1.0 - ratio) * self.track_ohms if self.element == "pot" else 0.0)
        out = minus + ratio * (plus - minus)
        if np.isfinite(self.leak_ohms[k]):
            out = out * self.leak_ohms[k] / (self.leak_ohms[k] + self.signal_ohms[k] + source)
        return out / volts

    def amps(self):
        """What the sensor takes: a track in proportion to its supply, a Hall element always the same."""
        return self.current * (self.supply_volts / 5.0 if self.element == "pot" else 1.0)

    def fed_with(self, volts):
        """From now on the plug gets another supply."""
        if volts > 1.0 and volts != self.supply_volts:
            self.supply_volts, self._tables = volts, None

    def wiper(self, angle):
        """The wiper angle(s) behind the play, with their weights."""
        if not self.spread_play:
            return [(1.0, with_play(angle, self.play))]
        widths = self.play * np.array([0.4, 0.8, 1.2, 1.6])
        return [(0.25, with_play(angle, w)) for w in widths]

    def ratios(self, angle):
        """Both lines over a path of angles in the order of time; shape (2, n)."""
        grid, rows = self.tables()
        out = np.zeros((2, angle.size))
        for weight, wiper in self.wiper(angle):
            for k in (0, 1):
                out[k] += weight * np.interp(wiper, grid, rows[k])
        return out

    def true_figures(self, gains=(1.0, 1.0), zeros=(0.0, 0.0)):
        """{(figure, channel): [low, high]}, see figures.py. Empty for a line that rests at one value. With the `gains` and
        `zeros` (ratio) of a logger: what a logger without noise would find."""
        if np.any(np.isfinite(self.stuck)):
            return {}
        there = np.linspace(0.0, self.travel, int(round(self.travel / TRUTH_STEP)) + 1)
        up, down = self.strokes(there)
        plain = replace(self, texture=np.zeros_like(self.texture), _tables=None)
        plain_up, plain_down = plain.strokes(there)
        scale, shift = np.reshape(gains, (2, 1)), np.reshape(zeros, (2, 1))
        up, down, plain_up, plain_down = (c * scale + shift for c in (up, down, plain_up, plain_down))
        widest = self.play * (1.6 if self.spread_play else 1.0)
        found = pair_figures(there, up, down, plain_up, plain_down, self.nominal, widest)
        for k, name in enumerate(("rising", "second")):
            everywhere = 1000.0 * self.noise
            regional = [1000.0 * v for a, b, v, lines in self.noisy if k in lines]
            found["noise", name] = [everywhere, float(np.hypot(everywhere, max(regional, default=0.0)))]
        return found

    def strokes(self, there):
        """Both lines on the way up and on the way down, once the play has been taken up."""
        path = np.concatenate([there, there[::-1], there, there[::-1]])
        both, n = self.ratios(path), there.size
        return both[:, 2 * n:3 * n], both[:, 3 * n:][:, ::-1]


def textured(rng, grid, rms, lengths, grains_per_degree):
    """A random track, rms as given: Gaussian noise smoothed over one to three lengths (deg), plus rare deeper grains."""
    out = np.zeros(grid.size)
    for length in lengths:
        white = rng.standard_normal(grid.size)
        if rng.random() < 0.5:
            reach = np.arange(-4 * length, 4 * length + GRID, GRID)
            kernel = np.exp(-0.5 * (reach / length) ** 2)
        else:  # rough: one-sided exponential, a first-order process
            reach = np.arange(0.0, 8 * length + GRID, GRID)
            kernel = np.exp(-reach / length)
        kernel /= np.sqrt(np.sum(kernel**2))
        size = grid.size + kernel.size
        out += np.fft.irfft(np.fft.rfft(white, size) * np.fft.rfft(kernel, size), size)[:grid.size]
    out *= rms / max(np.std(out), 1e-12)
    for _ in range(rng.poisson(grains_per_degree * (grid[-1] - grid[0]))):
        place, width = rng.uniform(grid[0], grid[-1]), rng.uniform(0.1, 0.5)
        out += rng.choice([-1.0, 1.0]) * rng.uniform(2.0, 4.0) * rms * np.exp(-0.5 * ((grid - place) / width) ** 2)
    return out


def harmonics(rng, size, periods):
    """A few sines of unknown phase whose largest sum is about `size`."""
    weights = rng.dirichlet(np.ones(len(periods)))
    return [(float(p), float(size * w), float(rng.uniform(0, 2 * np.pi))) for p, w in zip(periods, weights)]


def sound_part(rng, topology, nominal, element=None):
    """A healthy part with its spread. Whether it is truly sound is decided from its true figures, not here."""
    element = element or rng.choice(["hall", "pot"])
    travel = 75.0 + rng.uniform(-0.5, 0.5)
    spans = np.array([abs(o - c) for c, o in nominal])
    grid = np.arange(-BEYOND, travel + BEYOND + GRID, GRID)
    common_offset = rng.normal(0.0, 0.004)
    offset = common_offset * np.sign([1.0, nominal[1][1] - nominal[1][0]]) * spans / 0.8 + rng.normal(0.0, 0.0025, 2) * spans / 0.8
    gain = rng.normal(0.0, 0.006) + rng.normal(0.0, 0.003, 2)
    if element == "pot":
        lengths = 10.0 ** rng.uniform(np.log10(0.05), 0.0, rng.integers(1, 4))
        rms = 10.0 ** rng.uniform(-4.0, np.log10(6e-4))
        texture = np.array([textured(rng, grid, rms * s / 0.8, lengths, rng.choice([0.0, 0.02])) for s in spans])
        noise, track, contact = rng.uniform(1e-4, 8e-4), rng.uniform(2e3, 6e3), rng.uniform(50.0, 500.0)
        current = 2 * 5.0 / track
    else:
        texture = np.zeros((2, grid.size))
        noise, track, contact = rng.uniform(2e-4, 1.2e-3), 0.0, rng.uniform(5.0, 200.0)
        current = rng.uniform(8e-3, 20e-3)
    tolerance = rng.uniform(0.0, 0.7, 2)
    return GripPart(
        topology, str(element), travel, nominal, offset, gain,
        np.clip(tolerance[0] + rng.normal(0, 0.05, 2), 0.0, None), np.clip(tolerance[1] + rng.normal(0, 0.05, 2), 0.0, None),
        harmonics(rng, rng.uniform(0.0, 0.5), [0.5, 1.0, 1.7, 2.0, 3.0, 5.0]),
        [harmonics(rng, rng.uniform(0.0, 0.006), [1.0, 2.0, 3.3, 4.0, 7.0]) for _ in spans],
        texture, rng.uniform(0.0, 0.2), bool(rng.random() < 0.4), noise, current, track, contact)
